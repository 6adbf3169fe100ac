"""What is known about the strokes of a take: `Stroke` and its parts, field for field the JSON's ``stroke``."""

from __future__ import annotations

from dataclasses import dataclass, field

from strumclock.errors import Absent
from strumclock.timing import Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class StrumStroke:
    """The stroke of one strum.

    Attributes
    ----------
    time_s : float
        The strum's time [s in the file]; that of a row of ``strums``.
    level_db : float
        Loudness against the take's median strum.
    spread_ms, spread_u_ms : float or None
        First to last string, and its standard uncertainty.
    p_up : float or None
        Probability of an up-stroke, by the sound; None where the take does not tell.
    """

    time_s: float
    level_db: float
    spread_ms: float | None
    spread_u_ms: float | None
    p_up: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """Directions by the sound alone.

    Attributes
    ----------
    n_down, n_up : int
        Strums whose direction is known with 90 % and more.
    n_unsure : int
        The others.
    right : float
        Share of the known directions that should be right, by their own probabilities.
    agrees : float or None
        Share of the known directions that agree with the told pattern's letters; None where none were told.
    """

    n_down: int
    n_up: int
    n_unsure: int
    right: float
    agrees: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """Down-strokes, or up-strokes, alone.

    Attributes
    ----------
    n : int
        Strums.
    jitter_ms : Estimate or None
        Their standard deviation about the drift line and their own mean; None where there is no grid or too few.
    level_db : Estimate or None
        Mean loudness against the take's median strum.
    spread_ms : Estimate or None
        Mean time from first to last string.
    """

    n: int
    jitter_ms: Estimate | None
    level_db: Estimate | None
    spread_ms: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class UpAgainstDown:
    """Up-strokes less down-strokes.

    Attributes
    ----------
    source : {'told', 'heard'}
        Whether the pattern's letters or the sound tell the directions.
    down, up : Side
    offset_ms : Estimate or None
        How much later up-strokes are, about the drift line; positive = later.
    level_db : Estimate or None
        How much louder they are.
    """

    source: str
    down: Side
    up: Side
    offset_ms: Estimate | None
    level_db: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Accent:
    """Loudness at one place of the bar against the mean of all places.

    Attributes
    ----------
    beat, part : int
        From 1.
    n : int
        Strums.
    level_db : Estimate
        Positive = louder.
    """

    beat: int
    part: int
    n: int
    level_db: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """The strokes of a take.

    Attributes
    ----------
    n : int
        Strums.
    spread_ms : Estimate or None
        Mean time from first to last string.
    heard : Heard or None
        Directions by the sound alone.
    up_against_down : UpAgainstDown or None
    evenness_db : Estimate or None
        Standard deviation of the loudness about the means of the bar's places (about the mean without a grid).
    accents : tuple of Accent
        The bar's places, where each has three strums or more.
    attack_db : Estimate or None
        Hardness of the attack: mean power from 2 to 5 kHz over that from 80 Hz to 2 kHz in the first 30 ms. To be held
        against takes of the same guitar, room and phone only.
    attack_sd_db : Estimate or None
        How much it varies from strum to strum.
    by_strum : tuple of StrumStroke
    absent : dict of str to Absent
        What cannot be known, by its place in the JSON, with the reason.
    """

    n: int
    spread_ms: Estimate | None
    heard: Heard | None
    up_against_down: UpAgainstDown | None
    evenness_db: Estimate | None
    accents: tuple[Accent, ...]
    attack_db: Estimate | None
    attack_sd_db: Estimate | None
    by_strum: tuple[StrumStroke, ...]
    absent: dict[str, Absent] = field(default_factory=dict)
