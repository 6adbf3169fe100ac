"""The practice record: which takes were played, when, and every figure of them, over weeks, in a real database."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.journal.answered import Answer as Answer
    from strumclock.journal.assigned import Assignment as Assignment
    from strumclock.journal.csvfile import read_date as read_date, read_page as read_page
    from strumclock.journal.entry import (
        TakeEntry as TakeEntry,
        exercise_label as exercise_label,
        identity_of as identity_of,
        plain as plain,
    )
    from strumclock.journal.forgetting import Forgotten as Forgotten, Traces as Traces
    from strumclock.journal.history import (
        Figure as Figure,
        History as History,
        PastTake as PastTake,
        Practised as Practised,
    )
    from strumclock.journal.paper import Imported as Imported
    from strumclock.journal.places import find_journal as find_journal
    from strumclock.journal.store import Journal as Journal

_HOME = {
    "answered": ("Answer",),
    "assigned": ("Assignment",),
    "csvfile": (
        "read_date",
        "read_page",
    ),
    "entry": (
        "TakeEntry",
        "exercise_label",
        "identity_of",
        "plain",
    ),
    "forgetting": (
        "Forgotten",
        "Traces",
    ),
    "history": (
        "Figure",
        "History",
        "PastTake",
        "Practised",
    ),
    "paper": ("Imported",),
    "places": ("find_journal",),
    "store": ("Journal",),
}
"""Where each name lives: imported when it is first asked for, since not everything needs the database."""

__all__ = [
    "Answer",
    "Assignment",
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


def __getattr__(name: str) -> Any:
    """Import a name from its module when it is first asked for (PEP 562)."""
    for module, names in _HOME.items():
        if name in names:
            return getattr(importlib.import_module(f"strumclock.journal.{module}"), name)
    raise AttributeError(f"module 'strumclock.journal' has no attribute {name!r}")
