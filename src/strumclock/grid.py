"""Where should each strum be?  An `Exercise` (what was asked) becomes a `BeatGrid` (a time for every strum).

Conventions: nominal times have the first played downbeat at 0 s; bars, beats and parts of a beat count from 1;
``bpm`` counts beats, and the beat is the meter's lower figure, in 6/8, 9/8, 12/8 … the dotted quarter.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.errors import UsageError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BPM_RANGE = (20.0, 400.0)  # metronomes, with room: below 20 no pulse is felt, above 400 it is a part
SWING_RANGE = (0.5, 0.8)  # straight to beyond 3:1; past that the second part is a grace note to the next beat
PER_BEAT_RANGE = (1, 4)
COUNT_IN_MAX_BARS = 16
BARS_MAX = 10_000  # 30 min at 400 bpm in 1/4 is 12 000 beats: more is a slip of the keyboard
LOWER_FIGURES = (1, 2, 4, 8, 16)
METER_MAX_BEATS = 32

_IGNORED_IN_PATTERN = re.compile(r"[\s|]+")
_LETTER = {"D": "D", "d": "D", "U": "U", "u": "U", "x": "x", "X": "x", ".": "."}


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature, read.

    Attributes
    ----------
    upper, lower : int
        The two figures.
    """

    upper: int
    lower: int

    @property
    def beat_is_dotted(self) -> bool:
        """Whether the beat is a dotted quarter: 6/8, 9/8, 12/8 …; 3/8 counts eighths."""
        return self.lower == 8 and self.upper > 3 and self.upper % 3 == 0

    @property
    def beats_per_bar(self) -> int:
        """Beats in a bar: 4 in 4/4, 2 in 6/8."""
        return self.upper // 3 if self.beat_is_dotted else self.upper

    @property
    def beat_quarters(self) -> float:
        """Length of a beat in quarter notes: 1 in 4/4, 1.5 in 6/8, 2 in 2/2."""
        return 1.5 if self.beat_is_dotted else 4.0 / self.lower

    @property
    def default_per_beat(self) -> int:
        """Parts of a beat where none are told: 3 where the beat is dotted, else 1."""
        return 3 if self.beat_is_dotted else 1

    def __str__(self) -> str:
        return f"{self.upper}/{self.lower}"


def parse_meter(text: str) -> Meter:
    """Read a meter such as ``"4/4"`` or ``"6/8"``.

    Raises
    ------
    UsageError
        If the text is no such meter.

    Examples
    --------
    >>> parse_meter("6/8").beats_per_bar, parse_meter("7/8").beats_per_bar
    (2, 7)
    """
    found = re.fullmatch(r"\s*([0-9]{1,3})\s*/\s*([0-9]{1,3})\s*", text) if isinstance(text, str) else None
    if found:
        upper, lower = int(found[1]), int(found[2])
        if 1 <= upper <= METER_MAX_BEATS and lower in LOWER_FIGURES:
            return Meter(upper, lower)
    raise UsageError(
        f"the meter must be two figures such as 4/4, 3/4 or 6/8 (upper 1 to {METER_MAX_BEATS}, "
        f"lower 1, 2, 4, 8 or 16), but {text!r} came; write it as 4/4"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """What the player was asked to play.  ``None`` = not told.

    Parameters
    ----------
    name : str, optional
        Under which the practice record files the take.
    bpm : float, optional
        Beats a minute, 20 to 400.
    meter : str, optional
        Such as ``"4/4"``.  The beat is the lower figure; in 6/8, 9/8, 12/8 the dotted quarter.
    per_beat : int, optional
        Parts of each beat, 1 to 4.
    pattern : str, optional
        One letter a part: ``D`` down, ``U`` up, ``x`` muted stroke, ``.`` nothing; spaces and ``|`` are
        dropped.  It fills whole beats and repeats from the first played bar.
    swing : float, optional
        Place of the second of two parts in the beat, 0.5 (straight) to 0.8.  With 4 parts a beat it holds for each half
        of the beat (the second and the fourth part move); with 1 or 3 parts there is nothing to swing.
    count_in : int, optional
        Bars of click before the first played bar.
    bars : int, optional
        Bars played.
    chords : tuple of str, optional
        One for every `beats_per_change` beats, repeated.  A text is split at spaces.
    beats_per_change : int, optional
        Beats on each chord; a bar where chords are told and this is not.

    Raises
    ------
    UsageError
        If any of them makes no sense, alone or with the others.

    Examples
    --------
    >>> e = Exercise(bpm=80, meter="4/4", per_beat=2, pattern="D.DU .UDU", chords=("A", "D"))
    >>> e.pattern, e.beats_per_bar, e.changes_per_minute
    ('D.DU.UDU', 4, 20.0)
    """

    name: str | None = None
    bpm: float | None = None
    meter: str | None = None
    per_beat: int | None = None
    pattern: str | None = None
    swing: float | None = None
    count_in: int | None = None
    bars: int | None = None
    chords: tuple[str, ...] | None = None
    beats_per_change: int | None = None

    def __post_init__(self) -> None:
        put: Callable[[str, Any], None] = lambda key, value: object.__setattr__(self, key, value)  # noqa: E731
        if self.name is not None and not (isinstance(self.name, str) and self.name.strip()):
            raise UsageError(f"an exercise's name must be a text, but {self.name!r} came; leave it out or give one")
        if self.bpm is not None:
            put("bpm", _number("bpm", self.bpm, *BPM_RANGE, "the tempo in beats a minute"))
        if self.meter is not None:
            put("meter", str(parse_meter(self.meter)))
        if self.per_beat is not None:
            put("per_beat", _whole("per_beat", self.per_beat, *PER_BEAT_RANGE, "the parts of a beat"))
        if self.pattern is not None:
            put("pattern", _read_pattern(self.pattern))
        if self.swing is not None:
            put("swing", _number("swing", self.swing, *SWING_RANGE, "the place of the second of two parts"))
        if self.count_in is not None:
            put("count_in", _whole("count_in", self.count_in, 0, COUNT_IN_MAX_BARS, "the bars counted in"))
        if self.bars is not None:
            put("bars", _whole("bars", self.bars, 1, BARS_MAX, "the bars played"))
        if self.chords is not None:
            put("chords", _read_chords(self.chords))
        if self.beats_per_change is not None:
            put("beats_per_change", _whole("beats_per_change", self.beats_per_change, 1, 1024, "beats on a chord"))
        if self.per_beat is not None:
            if self.pattern is not None and len(self.pattern) % self.per_beat:
                raise UsageError(
                    f"a pattern must fill whole beats: at {self.per_beat} parts a beat its length must be a multiple "
                    f"of {self.per_beat}, but {self.pattern!r} has {len(self.pattern)}; "
                    "add '.' for silent parts or change per_beat"
                )
            if self.per_beat in (1, 3) and self.swing not in (None, 0.5):
                raise UsageError(
                    f"swing needs 2 or 4 parts a beat, but per_beat is {self.per_beat} and swing {self.swing:g}; "
                    "set per_beat to 2 or leave swing out"
                )

    @property
    def time_signature(self) -> Meter | None:
        """The meter, read; None where not told."""
        return None if self.meter is None else parse_meter(self.meter)

    @property
    def beats_per_bar(self) -> int | None:
        """Beats in a bar; None where the meter is not told."""
        return None if self.meter is None else parse_meter(self.meter).beats_per_bar

    @property
    def beat_is_dotted(self) -> bool:
        """Whether the beat is a dotted quarter (6/8, 9/8, 12/8); False where the meter is not told."""
        return self.meter is not None and parse_meter(self.meter).beat_is_dotted

    @property
    def change_every_beats(self) -> int | None:
        """Beats on each chord: as told, or a bar where only the chords are told; None without either."""
        if self.beats_per_change is not None:
            return self.beats_per_change
        return None if self.chords is None else self.beats_per_bar

    @property
    def changes_per_minute(self) -> float | None:
        """Chord changes a minute: bpm ÷ beats_per_change, times the share of places where the chord really differs from
        the last (``A A D D`` changes at every other one).  None where not known or where nothing changes."""
        every = self.change_every_beats
        if self.bpm is None or every is None:
            return None
        share = 1.0
        if self.chords is not None:
            following = self.chords[1:] + self.chords[:1]
            share = sum(a != b for a, b in zip(self.chords, following, strict=True)) / len(self.chords)
        return self.bpm / every * share or None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeatGrid:
    """Times at which strums belong, and the beat lines between them.  Arrays are copied and read-only.

    Attributes
    ----------
    slot_s : (n,) float
        Time of each slot [s], strictly increasing.  A slot is a place where the pattern puts a strum.
    bar, beat, part : (n,) int
        Where each slot is, each from 1.
    stroke : (n,) '<U1'
        ``D`` down, ``U`` up, ``x`` muted, ``?`` not told (any stroke).
    at_change : (n,) bool
        Whether the slot is the first one on a new chord.
    beat_s, part_s : (n,) float
        Length of the slot's beat, and of the finest part in it (beat ÷ per_beat) [s].
    line_s, line_bar, line_beat : (m,)
        Every beat line of the played bars: time [s], bar and beat.
    per_beat, beats_per_bar : int
        Parts of a beat; beats in a bar (of the first bar, where a tempo map changes the meter).
    end_s : float
        Where the last bar ends [s].
    count_in_s : (k,) float
        Beat lines of the counted-in bars, before the first played downbeat [s].
    chord : (n,) str
        The chord at each slot, empty where not told.
    """

    slot_s: FloatArray
    bar: IntArray
    beat: IntArray
    part: IntArray
    stroke: NDArray[np.str_]
    at_change: NDArray[np.bool_]
    beat_s: FloatArray
    part_s: FloatArray
    line_s: FloatArray
    line_bar: IntArray
    line_beat: IntArray
    per_beat: int
    beats_per_bar: int
    end_s: float
    count_in_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    chord: NDArray[np.str_] = field(default_factory=lambda: np.zeros(0, "<U1"))

    def __post_init__(self) -> None:
        put: Callable[[str, Any], None] = lambda key, value: object.__setattr__(self, key, value)  # noqa: E731
        n, m = np.size(self.slot_s), np.size(self.line_s)
        if np.size(self.chord) == 0:
            put("chord", np.zeros(n, "<U1"))
        shapes = dict.fromkeys(("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord"), n)
        shapes |= dict.fromkeys(("line_s", "line_bar", "line_beat"), m) | {"count_in_s": np.size(self.count_in_s)}
        kinds: dict[str, Any] = dict.fromkeys(("bar", "beat", "part", "line_bar", "line_beat"), np.int64)
        kinds |= {"stroke": "<U1", "chord": str, "at_change": np.bool_}
        for key, size in shapes.items():
            value = np.array(getattr(self, key), dtype=kinds.get(key, np.float64))
            if value.shape != (size,):
                raise UsageError(f"a grid's {key} must have shape ({size},), but {value.shape} came; one value a place")
            if key.endswith("_s") and not np.isfinite(value).all():
                raise UsageError(f"a grid's {key} must be finite seconds, but NaN or infinity came; leave those out")
            value.flags.writeable = False
            put(key, value)
        for key in ("slot_s", "line_s", "count_in_s"):
            if (np.diff(getattr(self, key)) <= 0).any():
                raise UsageError(f"a grid's {key} must increase, but it does not; sort it and leave out repeats")

    def __len__(self) -> int:
        return len(self.slot_s)

    @property
    def click_s(self) -> FloatArray:
        """Every beat line, the counted-in bars included: where a metronome would click [s]."""
        return np.concatenate([self.count_in_s, self.line_s])

    def placed(self, first_downbeat_s: float, rate: float = 1.0) -> BeatGrid:
        """The grid put into a recording: time t becomes first_downbeat_s + t · rate.

        Parameters
        ----------
        first_downbeat_s : float
            File time of beat 1 of the first played bar [s].
        rate : float
            Seconds of the recording for one nominal second (bpm told ÷ bpm heard), above 0.

        Examples
        --------
        >>> build_grid(Exercise(bpm=60, meter="3/4"), bars=1).placed(2.0, 1.5).slot_s.tolist()
        [2.0, 3.5, 5.0]
        """
        if not (math.isfinite(first_downbeat_s) and math.isfinite(rate) and rate > 0):
            raise UsageError(
                f"placing a grid needs a finite downbeat and a rate above 0, but {first_downbeat_s!r} and {rate!r} "
                "came; give seconds and a ratio near 1"
            )
        return BeatGrid(
            slot_s=first_downbeat_s + self.slot_s * rate, line_s=first_downbeat_s + self.line_s * rate,
            end_s=first_downbeat_s + self.end_s * rate, count_in_s=first_downbeat_s + self.count_in_s * rate,
            beat_s=self.beat_s * rate, part_s=self.part_s * rate, bar=self.bar, beat=self.beat, part=self.part,
            stroke=self.stroke, at_change=self.at_change, line_bar=self.line_bar, line_beat=self.line_beat,
            per_beat=self.per_beat, beats_per_bar=self.beats_per_bar, chord=self.chord,
        )  # fmt: skip


def build_grid(exercise: Exercise, *, bars: int) -> BeatGrid:
    """The grid of an exercise at its one tempo, first played downbeat at 0.

    Each time is computed from its own place (beats · 60 ÷ bpm), so nothing is summed and no rounding grows.

    Parameters
    ----------
    exercise : Exercise
        Needs ``bpm``.  Meter not told: 4/4; parts not told: 3 where the beat is dotted, else as many as make the
        pattern one bar, without a pattern 1; pattern not told: a strum on every part, its stroke ``?``.
    bars : int
        Bars to lay out (rather than ``exercise.bars``, which may not be told).

    Returns
    -------
    BeatGrid

    Raises
    ------
    UsageError
        If the tempo is missing, or the parts of a beat cannot be told from the pattern.

    Examples
    --------
    >>> g = build_grid(Exercise(bpm=60, meter="4/4", per_beat=2, pattern="D.DU"), bars=1)
    >>> g.slot_s.tolist(), "".join(g.stroke)
    ([0.0, 1.0, 1.5, 2.0, 3.0, 3.5], 'DDUDDU')
    """
    bars = _whole("bars", bars, 1, BARS_MAX, "the bars of a grid")
    if exercise.bpm is None:
        raise UsageError("a grid needs a tempo, but the exercise tells no bpm; give it, or find it from the clicks")
    meter = exercise.time_signature or Meter(4, 4)
    bpm, per_bar = exercise.bpm, meter.beats_per_bar
    line = np.arange(bars * per_bar)

    def place(lines: FloatArray) -> FloatArray:
        return lines * 60.0 / bpm

    return lay_out(
        exercise, meter=meter, line_bar=line // per_bar + 1, line_beat=line % per_bar + 1, place=place,
        count_in=(exercise.count_in or 0) * per_bar,
    )  # fmt: skip


def lay_out(
    exercise: Exercise,
    *,
    meter: Meter,
    line_bar: ArrayLike,
    line_beat: ArrayLike,
    place: Callable[[FloatArray], FloatArray],
    count_in: int = 0,
    restart: ArrayLike = (0,),
) -> BeatGrid:
    """Put an exercise's pattern and chords on given beat lines, wherever these are in time.

    Parameters
    ----------
    exercise : Exercise
    meter : Meter
        The first bar's.
    line_bar, line_beat : (m,) int
        Bar and beat of each line.
    place : callable
        Fractional line indices (``m`` is the end, negative ones are counted in) → seconds.
    count_in : int
        Beat lines before line 0.
    restart : (k,) int
        Lines at which pattern and chords begin anew, the first of them 0.

    Returns
    -------
    BeatGrid
    """
    bars, beats = np.asarray(line_bar, dtype=np.int64), np.asarray(line_beat, dtype=np.int64)
    m = len(bars)
    per_beat = _parts(exercise, meter)
    letters = np.array(list(exercise.pattern) if exercise.pattern else ["?"] * per_beat)
    starts = np.asarray(restart, dtype=np.int64)
    line = np.repeat(np.arange(m), per_beat)
    part = np.tile(np.arange(per_beat), m)
    since = line - starts[np.searchsorted(starts, line, side="right") - 1]  # lines since the pattern last began
    stroke = letters[(since * per_beat + part) % len(letters)]
    played = stroke != "."
    line, part, since, stroke = line[played], part[played], since[played], stroke[played]
    fraction = part_places(per_beat, exercise.swing)[part]
    edges = place(np.arange(m + 1, dtype=np.float64))
    beat_s = np.diff(edges)[line]
    at_change, chord = _changes(exercise, since, meter)
    return BeatGrid(
        slot_s=place(line + fraction), bar=bars[line], beat=beats[line], part=part + 1, stroke=stroke,
        at_change=at_change, beat_s=beat_s, part_s=beat_s / per_beat, line_s=edges[:-1], line_bar=bars,
        line_beat=beats, per_beat=per_beat, beats_per_bar=meter.beats_per_bar, end_s=float(edges[-1]),
        count_in_s=place(np.arange(-count_in, 0, dtype=np.float64)), chord=chord,
    )  # fmt: skip


def part_places(per_beat: int, swing: float | None = None) -> FloatArray:
    """Places of a beat's parts within the beat, the beat line 0 and the next one 1.

    Swing moves the second of two parts; of four, the second and the fourth (each half of the beat swings).

    Examples
    --------
    >>> part_places(2, 2 / 3).round(3).tolist(), part_places(4, 0.6).round(3).tolist()
    ([0.0, 0.667], [0.0, 0.3, 0.5, 0.8])
    """
    places = np.arange(per_beat) / per_beat
    if swing is not None and per_beat in (2, 4):
        pair = 2.0 / per_beat
        places[1::2] = places[::2] + swing * pair
    return places


def parts_of_pattern(pattern: str, meter: Meter) -> int | None:
    """Parts of a beat that a pattern's length suggests: 3 where the beat is dotted, else those that make it one bar.

    None where that is no number from 1 to 4.

    Examples
    --------
    >>> parts_of_pattern("D.DU.UDU", parse_meter("4/4")), parts_of_pattern("D..", parse_meter("6/8"))
    (2, 3)
    """
    if meter.beat_is_dotted and len(pattern) % 3 == 0:
        return 3
    parts, rest = divmod(len(pattern), meter.beats_per_bar)
    return parts if not rest and PER_BEAT_RANGE[0] <= parts <= PER_BEAT_RANGE[1] else None


def _parts(exercise: Exercise, meter: Meter) -> int:
    """Parts of a beat: told, else read from the pattern's length, else the meter's own."""
    if exercise.per_beat is not None:
        return exercise.per_beat
    if exercise.pattern is None:
        return meter.default_per_beat
    parts = parts_of_pattern(exercise.pattern, meter)
    if parts is None:
        raise UsageError(
            f"per_beat must be told unless the pattern is one bar at 1 to 4 parts a beat, but {exercise.pattern!r} "
            f"has {len(exercise.pattern)} parts in {meter}; give per_beat"
        )
    return parts


def _changes(exercise: Exercise, line: IntArray, meter: Meter) -> tuple[NDArray[np.bool_], NDArray[np.str_]]:
    """For slots on the given lines: whether each is the first on a new chord, and the chord."""
    chords = exercise.chords
    every = exercise.beats_per_change or (meter.beats_per_bar if chords else None)
    if every is None or not len(line):
        return np.zeros(len(line), np.bool_), np.zeros(len(line), "<U1")
    number = line // every
    now = np.array(chords)[number % len(chords)] if chords else np.zeros(len(line), "<U1")
    key = now if chords else number
    return np.concatenate([[False], key[1:] != key[:-1]]), now


def _read_pattern(text: str) -> str:
    """The pattern in its plain letters, without spaces and bar lines."""
    letters = _IGNORED_IN_PATTERN.sub("", text) if isinstance(text, str) else ""
    wrong = sorted(set(letters) - set(_LETTER))
    if wrong:
        raise UsageError(
            f"a pattern is made of D (down), U (up), x (muted) and . (nothing), but {text!r} has "
            f"{', '.join(map(repr, wrong))}; write one letter for each part of the beat"
        )
    letters = "".join(_LETTER[c] for c in letters)
    if not letters.strip("."):
        raise UsageError(f"a pattern needs at least one D, U or x, but {text!r} came; write a letter for each part")
    return letters


def _read_chords(value: object) -> tuple[str, ...]:
    """Chords as a tuple of names; a text is split at spaces and bar lines."""
    names = tuple(_IGNORED_IN_PATTERN.sub(" ", value).split()) if isinstance(value, str) else value
    if isinstance(names, (list, tuple)) and names and all(isinstance(c, str) and c.strip() for c in names):
        return tuple(c.strip() for c in names)
    raise UsageError(f"chords must be names such as 'A D E D', but {value!r} came; give them or leave them out")


def _number(key: str, value: object, low: float, high: float, what: str) -> float:
    """A finite real number in a range."""
    if isinstance(value, Real) and not isinstance(value, bool) and low <= float(value) <= high:
        return float(value)
    raise UsageError(f"{key} ({what}) must be a number from {low:g} to {high:g}, but {value!r} came; correct it")


def _whole(key: str, value: object, low: int, high: int, what: str) -> int:
    """A whole number in a range; 2.0 counts as whole."""
    if isinstance(value, Real) and not isinstance(value, bool):
        number = float(value)
        if number.is_integer() and low <= number <= high:
            return int(number)
    raise UsageError(f"{key} ({what}) must be a whole number from {low} to {high}, but {value!r} came; correct it")
