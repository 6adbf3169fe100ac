"""The practice record: which takes were played, when, and every figure of them, over weeks, in a real database."""

from strumclock.journal.csvfile import read_date, read_page
from strumclock.journal.entry import TakeEntry, exercise_label, identity_of, plain
from strumclock.journal.forgetting import Forgotten, Traces
from strumclock.journal.history import Figure, History, PastTake, Practised
from strumclock.journal.paper import Imported
from strumclock.journal.places import find_journal
from strumclock.journal.store import Journal

__all__ = [
    "Figure",
    "Forgotten",
    "History",
    "Imported",
    "Journal",
    "PastTake",
    "Practised",
    "TakeEntry",
    "Traces",
    "exercise_label",
    "find_journal",
    "identity_of",
    "plain",
    "read_date",
    "read_page",
]
