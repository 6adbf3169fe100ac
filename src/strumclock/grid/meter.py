"""Meters: what the beat is and how many make a bar."""

from __future__ import annotations

import re
from dataclasses import dataclass

from strumclock.errors import UsageError

LOWER_FIGURES = (1, 2, 4, 8, 16)  # note values that musicians count in
METER_MAX_BEATS = 32  # by hand: more is a slip of the keyboard


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
