"""Which strum was meant for which slot, what was omitted, what was added, and how the grid got its place.

Read in this order: `parts` finds the stretches of a recording and chooses the take; `runs` counts bars on through a
stepped tempo or a gap; `stretch` aligns one stretch to one row of clicks. What was meant is searched in `hypotheses`
(where the beats are: `pulse`; how what was told was meant: `meanings`; who left the click: `departures`, `tempo`), by
the one `score`. Then `completing` adds what was not told (`inference`), `placing` lays the grid into the recording and
`pairing` gives every strum its slot; `by_place` judges doubtful sounds again by where they fall. `result` holds the
values, `notices` what is to be said of them.
"""

from strumclock.alignment.by_place import judged_by_place, played_anyway, same_places
from strumclock.alignment.parts import align
from strumclock.alignment.placing import cut_alignment
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
    "judged_by_place",
    "played_anyway",
    "same_places",
]
