"""A number with its two uncertainties: of this take's player, and of how well this take was measured."""

from __future__ import annotations

import math
from dataclasses import dataclass

from strumclock.errors import UsageError
from strumclock.showing import Shown

COVERAGE_FACTOR = 1.96
"""Standard uncertainties from the middle to the end of a 95 % interval of a normal distribution (GUM, table G.1)."""

MOST_PLACES = 6
"""Decimals that a number is shown with at most: a microsecond in seconds, a nanosecond in milliseconds."""


def t_factor(freedom: float) -> float:
    """Standard errors from the middle to the end of Student's 95 % interval with these degrees of freedom.

    Examples
    --------
    >>> round(t_factor(4), 3)
    2.776
    """
    from scipy.special import stdtrit  # not needed to read a value

    return float(stdtrit(freedom, 0.975))


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Estimate(Shown):
    """A value, the player's 95 % interval and the standard uncertainty of measuring.

    Attributes
    ----------
    value : float
        What this take showed.
    low, high : float
        The 95 % interval of *this take's player*: what this player, playing on just so, would come to. It holds the
        sampling of a finite take, whose errors hang together, and the measuring. Another day's take may lie outside:
        how far takes lie apart only several takes can say.
    u : float
        Standard uncertainty of measuring *this take*: how far `value` may be from what was really played.

    Raises
    ------
    UsageError
        If a number is not finite, the value lies outside its interval or `u` is negative.

    Examples
    --------
    >>> late = Estimate(value=12.34, low=8.0, high=16.5, u=0.5)
    >>> print(late)
    +12.3 (+8.0 to +16.5)
    >>> f"{late:+.1f ms}"
    '+12.3 ms (+8.0 to +16.5)'
    >>> f"{Estimate(value=9.1, low=7.7, high=11.0, u=0.2):.0f ms}"
    '9 ms (8 to 11)'
    >>> late.excludes(0.0)
    True
    >>> Estimate(value=12.3456, low=8.0, high=16.54, u=0.153)
    Estimate(value=12.35, low=8.00, high=16.54, u=0.15)
    """

    value: float
    low: float
    high: float
    u: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(x) for x in (self.value, self.low, self.high, self.u)):
            raise UsageError(f"an estimate needs finite numbers; got {self!r}; leave out what cannot be known")
        if not self.low <= self.value <= self.high:
            raise UsageError(f"an estimate needs low <= value <= high; got {self!r}")
        if self.u < 0:
            raise UsageError(f"a standard uncertainty cannot be negative; got {self.u!r}")

    def __str__(self) -> str:
        return format(self, "+.1f")

    def __repr__(self) -> str:
        return f"Estimate({', '.join(f'{name}={number}' for name, number in self.written().items())})"

    def written(self) -> dict[str, str]:
        """The four numbers as text, to the second figure of `u`: more says nothing (GUM 7.2.6).

        Examples
        --------
        >>> Estimate(value=12.3456, low=8.0, high=16.54, u=0.153).written()["value"]
        '12.35'
        """
        known = math.isfinite(self.u) and self.u > 0
        places = min(max(1 - math.floor(math.log10(self.u)), 0), MOST_PLACES) if known else MOST_PLACES
        return {name: f"{number:.{places}f}" for name, number in self.as_dict().items()}

    def __format__(self, spec: str) -> str:
        """Format as ``"<number format> <unit>"``: the unit stands once, after the value; both parts may be left out."""
        number, _, unit = spec.partition(" ")
        number = number or "+.1f"
        value, low, high = (format(x, number) for x in (self.value, self.low, self.high))
        return f"{value}{' ' + unit if unit else ''} ({low} to {high})"

    def excludes(self, number: float) -> bool:
        """Whether the interval lies wholly on one side of `number`."""
        return self.low > number or self.high < number

    def as_dict(self) -> dict[str, float]:
        """The four numbers as the JSON's ``{"value", "low", "high", "u"}``."""
        return {"value": self.value, "low": self.low, "high": self.high, "u": self.u}

    def widened(self, u: float) -> Estimate:
        """The same value with an independent standard uncertainty `u` of measuring added to its interval and its `u`.

        Examples
        --------
        >>> wider = Estimate(value=0.0, low=-3.0, high=3.0, u=0.0).widened(4 / 1.96)
        >>> round(wider.low, 3), round(wider.high, 3), round(wider.u, 3)
        (-5.0, 5.0, 2.041)
        """
        reach = COVERAGE_FACTOR * u
        return Estimate(
            value=self.value,
            low=self.value - math.hypot(self.value - self.low, reach),
            high=self.value + math.hypot(self.high - self.value, reach),
            u=math.hypot(self.u, u),
        )
