"""The stroke itself: how wide, which way, how even, how hard; and up- against down-strokes."""

from strumclock.stroke.direction import Directions, tell_directions
from strumclock.stroke.figures import Timed, measure_stroke
from strumclock.stroke.harmony import chromas
from strumclock.stroke.loudness import Levels, measure_levels
from strumclock.stroke.picture import pictures
from strumclock.stroke.spread import Spreads, measure_spreads
from strumclock.stroke.values import Accent, Heard, Side, Stroke, StrumStroke, UpAgainstDown

__all__ = [
    "Accent",
    "Directions",
    "Heard",
    "Levels",
    "Side",
    "Spreads",
    "Stroke",
    "StrumStroke",
    "Timed",
    "UpAgainstDown",
    "chromas",
    "measure_levels",
    "measure_spreads",
    "measure_stroke",
    "pictures",
    "tell_directions",
]
