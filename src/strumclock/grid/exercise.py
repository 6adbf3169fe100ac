"""What the player was asked to play, checked once when it is told."""

from __future__ import annotations

import re
from dataclasses import dataclass

from strumclock.errors import UsageError
from strumclock.fields import check_fields, given
from strumclock.grid.meter import Meter, parse_meter
from strumclock.showing import Shown

BPM_RANGE = (20.0, 400.0)  # metronomes, with room: below 20 no pulse is felt, above 400 it is a part
SWING_RANGE = (0.5, 0.8)  # straight to beyond 3:1; past that the second part is a grace note to the next beat
PER_BEAT_RANGE = (1, 4)  # DESIGN: quarters to sixteenths
COUNT_IN_MAX_BARS = 16  # by hand: more is a slip of the keyboard
BARS_MAX = 10_000  # 30 min at 400 bpm in 1/4 is 12 000 beats: more is a slip of the keyboard
BEATS_PER_CHANGE_MAX = 1024  # 2.5 min on one chord even at 400 bpm: more is a slip of the keyboard

_IGNORED_IN_PATTERN = re.compile(r"[\s|]+")
_LETTER = {"D": "D", "d": "D", "U": "U", "u": "U", "x": "x", "X": "x", ".": "."}


def _read_meter(text: str) -> str:
    """The meter as it is written, without spaces."""
    return str(parse_meter(text))


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


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Exercise(Shown):
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

    name: str | None = given(str, "an exercise's name", "What the exercise is called.", word="name", in_files=False)
    bpm: float | None = given(
        float, "the tempo in beats a minute", "Tempo told, in beats per minute; left out, it is taken from the click.",
        low=BPM_RANGE[0], high=BPM_RANGE[1], word="tempo",
    )  # fmt: skip
    meter: str | None = given(
        str, "the meter", "Such as 4/4, 3/4 or 6/8 (whose beat is the dotted quarter).",
        check=_read_meter, word="meter",
    )  # fmt: skip
    per_beat: int | None = given(
        int, "the parts of a beat", "Parts of each beat, 1 to 4: 2 is eighths in 4/4.",
        low=PER_BEAT_RANGE[0], high=PER_BEAT_RANGE[1], word="parts of the beat",
    )  # fmt: skip
    pattern: str | None = given(
        str, "the pattern", "A letter a part: D down, U up, x muted, . nothing; such as D.DU.UDU.",
        check=_read_pattern, word="pattern",
    )  # fmt: skip
    swing: float | None = given(
        float, "the place of the second of two parts", "Place of the second of two parts in the beat, 0.5 to 0.8.",
        low=SWING_RANGE[0], high=SWING_RANGE[1], word="swing",
    )  # fmt: skip
    count_in: int | None = given(
        int, "the bars counted in", "Bars of click before the first played bar.",
        low=0, high=COUNT_IN_MAX_BARS, word="count-in",
    )  # fmt: skip
    bars: int | None = given(int, "the bars played", "Bars played.", low=1, high=BARS_MAX, word="bars")
    chords: tuple[str, ...] | None = given(
        tuple, "the chords", 'The chords in turn, such as "A D E D".',
        check=_read_chords, word="chords", metavar="TEXT",
    )  # fmt: skip
    beats_per_change: int | None = given(
        int, "beats a chord", "Beats on each chord.", low=1, high=BEATS_PER_CHANGE_MAX, word="beats on each chord"
    )

    def __post_init__(self) -> None:
        check_fields(self)
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
