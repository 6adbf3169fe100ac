"""What a take must show to hold its tempo: a standard that a teacher can set, number by number.

The numbers are common practice without a source, checked against people and against chance:
``tests/benchmarks/standard_calibration.py`` prints which share of ordinary people's and of trained drummers' takes each
preset passes, and how often a player who strums at random would pass it.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass

from strumclock.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """What a take must show to hold its tempo.

    Attributes
    ----------
    name : str
    tolerance_share : float
        Tolerance as a share of the time between neighbouring places of the pattern's finest part.
    tolerance_min_s : float
        The tolerance is at least this, s: trained players' errors do not shrink with the tempo.
    tolerance_max_share : float
        The tolerance is never more than this share of that time, whatever the minimum says.
    min_slots, min_duration_s : int, float
        A shorter take is not judged.
    played_share, added_share, even_share : float
        Slots played at least; strums added at most, as a share of the slots; strums within the tolerance about the
        take's own mean at least.
    mean_offset_max_s : float or None
        Mean offset at most, either side, s; None where it is not asked for.
    drift : bool
        Whether drift is asked for: at most the tolerance in a minute, in the whole take if that is longer.

    Examples
    --------
    >>> STANDARDS["steady"].tolerance_s(0.9)
    0.075
    >>> STANDARDS["steady"].tolerance_s(0.15), STANDARDS["steady"].tolerance_s(0.08)
    (0.035, 0.02)
    """

    name: str = "steady"
    tolerance_share: float = 1 / 12
    tolerance_min_s: float = 0.035
    tolerance_max_share: float = 1 / 4
    min_slots: int = 16
    min_duration_s: float = 20.0
    played_share: float = 0.9
    added_share: float = 0.1
    even_share: float = 0.9
    mean_offset_max_s: float | None = 0.050
    drift: bool = True

    def __post_init__(self) -> None:
        for field in ("tolerance_share", "tolerance_max_share", "played_share", "added_share", "even_share"):
            share = getattr(self, field)
            if not 0 < share <= 1:  # not of a number that is none, too
                raise UsageError(f"a standard's {field} must be above 0 and at most 1; got {share!r}")
        for field in ("tolerance_min_s", "min_slots", "min_duration_s"):
            number = getattr(self, field)
            if not 0 <= number < math.inf:
                raise UsageError(f"a standard's {field} must be a number and not negative; got {number!r}")
        if self.min_slots < 1:
            raise UsageError(f"a standard's min_slots must be 1 or more; got {self.min_slots!r}")
        if self.mean_offset_max_s is not None and not 0 < self.mean_offset_max_s < math.inf:
            raise UsageError(f"a standard's mean_offset_max_s must be above 0, or None; got {self.mean_offset_max_s!r}")

    def tolerance_s(self, part_s: float) -> float:
        """Tolerance for a pattern whose neighbouring places are `part_s` seconds apart, s."""
        return min(max(self.tolerance_share * part_s, self.tolerance_min_s), self.tolerance_max_share * part_s)

    def as_dict(self) -> dict[str, object]:
        """The JSON's ``held.standard``."""
        return asdict(self)


STANDARDS = {
    "first-weeks": Standard(
        name="first-weeks",
        tolerance_share=1 / 8,
        tolerance_min_s=0.050,
        tolerance_max_share=1 / 5,
        even_share=0.8,
        mean_offset_max_s=None,
        drift=False,
    ),
    "steady": Standard(),
    "tight": Standard(name="tight", tolerance_share=1 / 24, tolerance_min_s=0.025, mean_offset_max_s=0.030),
}
"""The presets."""


def the_standard(standard: str | Standard | None) -> Standard:
    """The standard itself, of a preset's name too; left out, ``steady``.

    Raises
    ------
    UsageError
        If there is no preset of that name.

    Examples
    --------
    >>> the_standard(None) is STANDARDS["steady"], the_standard("tight").tolerance_min_s
    (True, 0.025)
    """
    if isinstance(standard, Standard):
        return standard
    name = standard or "steady"
    if name not in STANDARDS:
        raise UsageError(f"the standard must be one of {', '.join(STANDARDS)}; got {name!r}")
    return STANDARDS[name]
