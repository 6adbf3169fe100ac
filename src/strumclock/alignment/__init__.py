"""Which strum was meant for which slot, what was omitted, what was added, and how the grid got its place.

The parts: `pulse` finds the beats in time, `inference` what was not told, `start` the first played downbeat,
`pairing` the slot of every strum, and `aligning` puts them together.
"""

from strumclock.alignment.joining import cut_alignment
from strumclock.alignment.parts import align
from strumclock.alignment.result import (
    ADDED,
    LEFT_CLICK,
    OTHER_PART,
    OUTSIDE,
    Alignment,
    Anchor,
    Departure,
    Part,
    PartKind,
)

__all__ = [
    "ADDED",
    "LEFT_CLICK",
    "OTHER_PART",
    "OUTSIDE",
    "Alignment",
    "Anchor",
    "Departure",
    "Part",
    "PartKind",
    "align",
    "cut_alignment",
]
