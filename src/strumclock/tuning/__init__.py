"""How the guitar is tuned: six open strings one by one, or the whole guitar's pitch from a strummed take.

Pitch is stated in cents against equal temperament, cents = 1200 log2(f / f_reference), with A4 = 440 Hz (ISO 16)
unless told otherwise.
"""

from strumclock.tuning.strings import NOTICE_CENTS, OPEN_STRINGS, WARNING_CENTS, open_strings
from strumclock.tuning.values import OpenString, OpenStrings, Tuning
from strumclock.tuning.whole import A4_HZ, CANNOT_TELL_CENTS, take_pitch

__all__ = [
    "A4_HZ",
    "CANNOT_TELL_CENTS",
    "NOTICE_CENTS",
    "OPEN_STRINGS",
    "WARNING_CENTS",
    "OpenString",
    "OpenStrings",
    "Tuning",
    "open_strings",
    "take_pitch",
]
