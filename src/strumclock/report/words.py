"""How numbers become words: one place for rounding, signs, plurals and lists.

A rounded number never says more than the measured one: what excludes zero is not rounded to zero, a share below the
whole is not rounded to 100 %, and the reach of an interval is rounded outwards.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strumclock.timing import Estimate

MINUS = "\N{MINUS SIGN}"
_SAME = 1e-6  # floating-point noise that must not push an end outwards by a whole step
SYMMETRIC = 0.8  # an interval whose shorter side is this share of its longer one reaches as far to both sides
_UNIT = re.compile(r"(?<=\d) (?=(?:%|ms|s|bpm)\b|%)")
_WHOLE_FROM = 10.0  # at and above this size a figure is told in whole units, below it in tenths


def number(value: float, *, like: float | None = None, sign: bool = False) -> str:
    """A figure to whole units from 10 on, to tenths below; with `like`, as finely as that number is told.

    Examples
    --------
    >>> number(12.34), number(2.34), number(-2.34, sign=True), number(0.02), number(12.6, like=3.1)
    ('12', '2.3', '−2.3', '0.0', '12.6')
    """
    decimals = 0 if abs(value if like is None else like) >= _WHOLE_FROM - 0.05 else 1
    rounded = round(abs(value), decimals)
    head = MINUS if value < 0 and rounded else "+" if sign and rounded else ""
    return f"{head}{rounded:.{decimals}f}"


def amount(value: float, unit: str = "ms") -> str:
    """The size of a figure that is not zero: ``"12 ms"``, ``"2.3 ms"``, ``"less than 0.1 ms"``.

    Examples
    --------
    >>> amount(-12.34), amount(0.02)
    ('12 ms', 'less than 0.1 ms')
    """
    return f"{number(abs(value))} {unit}" if abs(value) >= 0.05 else f"less than 0.1 {unit}"


def reach(estimate: Estimate) -> float:
    """Distance from the value to the farther end of its interval."""
    return max(estimate.high - estimate.value, estimate.value - estimate.low)


def spread(estimate: Estimate, unit: str = "ms") -> str:
    """How far the player's figure may lie from the one told, for one whose interval excludes zero.

    ``"give or take 4 ms"`` where the interval reaches as far to both sides, rounded outwards; else both ends:
    ``"somewhere from 0.2 to 21 ms"``.

    Examples
    --------
    >>> from strumclock.timing import Estimate
    >>> spread(Estimate(value=12.3, low=8.5, high=16.0, u=0.5))
    'give or take 4 ms'
    >>> spread(Estimate(value=-2.3, low=-4.21, high=-0.4, u=0.5))
    'give or take 2 ms'
    >>> spread(Estimate(value=16.4, low=13.7, high=29.6, u=0.5))
    'somewhere from 13.7 to 30 ms'
    >>> spread(Estimate(value=10.4, low=0.2, high=20.6, u=0.5))
    'somewhere from 0.2 to 21 ms'
    """
    if reach(estimate) < 0.1:
        return f"give or take less than 0.1 {unit}"
    around = _outward(reach(estimate), like=estimate.value)
    nearer = min(estimate.high - estimate.value, estimate.value - estimate.low)
    beyond = estimate.excludes(0) and float(around) >= float(number(abs(estimate.value)))
    if beyond or nearer < SYMMETRIC * reach(estimate):
        near, far = sorted((abs(estimate.low), abs(estimate.high)))
        low = max(near, 0.1) if estimate.excludes(0) else near
        return f"somewhere from {low:.1f} to {number(far)} {unit}"
    return f"give or take {around} {unit}"


def spread_of_size(estimate: Estimate, unit: str = "ms") -> str:
    """The same for a size, which cannot be below zero: both ends where "give or take" would reach to zero or beyond.

    Examples
    --------
    >>> from strumclock.timing import Estimate
    >>> spread_of_size(Estimate(value=12.1, low=0.0, high=40.2, u=0.1))
    'somewhere from 0.0 to 40 ms'
    >>> spread_of_size(Estimate(value=6.8, low=5.6, high=8.1, u=0.1))
    'give or take 1.3 ms'
    """
    if reach(estimate) < estimate.value or estimate.low > 0:
        return spread(estimate, unit)
    return f"somewhere from {number(estimate.low)} to {number(estimate.high)} {unit}"


def interval(estimate: Estimate, *, signed: bool = True, decimals: int = 1) -> str:
    """``"+8.4 to +16.2"``: the interval's ends, rounded outwards.

    Examples
    --------
    >>> from strumclock.timing import Estimate
    >>> interval(Estimate(value=12.3, low=-8.41, high=16.21, u=0.5))
    '−8.5 to +16.3'
    """
    scale = 10**decimals
    low = math.floor(estimate.low * scale + _SAME) / scale
    high = math.ceil(estimate.high * scale - _SAME) / scale
    return f"{fixed(low, decimals, sign=signed)} to {fixed(high, decimals, sign=signed)}"


def fixed(value: float, decimals: int, *, sign: bool = False) -> str:
    """A figure with a fixed number of decimals and a true minus sign.

    Examples
    --------
    >>> fixed(-0.126, 2, sign=True), fixed(0.001, 2, sign=True), fixed(99.99952, 3)
    ('−0.13', '0.00', '100.000')
    """
    text = f"{abs(value):.{decimals}f}"
    zero = not text.strip("0.")
    return text if zero else f"{MINUS if value < 0 else '+' if sign else ''}{text}"


def tolerance(value_ms: float) -> str:
    """A tolerance as the standard counts it, to a tenth: ``"37.5 ms"``, ``"75 ms"``."""
    return f"{value_ms:.1f}".removesuffix(".0") + " ms"


def side(value: float, *, late: str = "late", early: str = "early", unit: str = "ms") -> str:
    """A place beside the click in words: ``"12 ms late"``, ``"3.1 ms early"``, ``"on the click"`` for none.

    Examples
    --------
    >>> side(12.3), side(-3.14), side(0.01)
    ('12 ms late', '3.1 ms early', '0 ms')
    """
    if abs(value) < 0.05:
        return f"0 {unit}"
    return f"{amount(value, unit)} {late if value > 0 else early}"


def between_sides(estimate: Estimate, *, late: str = "late", early: str = "early", unit: str = "ms") -> str:
    """An interval around zero in words: ``"from 5.4 ms early to 4.6 ms late"``."""
    return (
        f"from {side(estimate.low, late=late, early=early, unit=unit)} "
        f"to {side(estimate.high, late=late, early=early, unit=unit)}"
    )


def percent(share: float) -> str:
    """A share in whole per cent; never 100 % for less than all, never 0 % for more than none.

    Examples
    --------
    >>> percent(0.996), percent(1.0), percent(0.004), percent(0.0), percent(0.85)
    ('99 %', '100 %', 'under 1 %', '0 %', '85 %')
    """
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "99 %"
    return f"{round(100 * share)} %"


def count(n: int, noun: str, plural: str | None = None) -> str:
    """A number with its noun: ``"1 strum"``, ``"2 strums"``.

    Examples
    --------
    >>> count(1, "strum"), count(0, "strum"), count(2, "sound of speech", "sounds of speech")
    ('1 strum', '0 strums', '2 sounds of speech')
    """
    return f"{n} {noun if n == 1 else plural or noun + 's'}"


def listed(items: Iterable[str], *, last: str = "and") -> str:
    """Items as a person lists them: ``"a, b and c"``.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    words = list(items)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def some(items: Sequence[str], *, at_most: int = 4) -> str:
    """The first few items and how many more there are.

    Examples
    --------
    >>> some(["a", "b", "c"], at_most=2)
    'a, b and 1 more'
    """
    if len(items) <= at_most:
        return listed(items)
    return listed([*items[:at_most], f"{len(items) - at_most} more"])


def clock(time_s: float) -> str:
    """A place in the recording as a player shows it: ``"0:07"``, ``"1:30"``.

    Examples
    --------
    >>> clock(7.2), clock(89.97)
    ('0:07', '1:30')
    """
    minutes, seconds = divmod(round(time_s), 60)
    return f"{minutes}:{seconds:02d}"


def floor_tenth(value: float) -> str:
    """To a tenth, never rounded up to what was asked for: ``"19.9"``."""
    return f"{math.floor(10 * value) / 10:g}"


def bpm(value: float) -> str:
    """A tempo to at most a tenth: ``"80"``, ``"97.5"``."""
    return f"{value:.1f}".removesuffix(".0")


def wrap(text: str, width: int, *, indent: str = "") -> list[str]:
    """Text in lines of `width` characters, a number never parted from its unit; `indent` before all lines but one.

    Examples
    --------
    >>> wrap("all strums lie within 35 ms of it, and 90 % are asked for", 30)
    ['all strums lie within 35 ms of', 'it, and 90 % are asked for']
    >>> wrap("asked for are 90 %", 16)
    ['asked for are', '90 %']
    """
    kept = _UNIT.sub("\N{NO-BREAK SPACE}", text)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in textwrap.wrap(kept, width, subsequent_indent=indent)]


def sentence(text: str) -> str:
    """`text` with a capital first and a full stop last, whatever it had.

    Examples
    --------
    >>> sentence("the click is not in the recording"), sentence("Tune first.")
    ('The click is not in the recording.', 'Tune first.')
    """
    text = " ".join(text.split())
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _outward(value: float, *, like: float) -> str:
    decimals = 0 if abs(like) >= _WHOLE_FROM - 0.05 else 1
    scale = 10**decimals
    return f"{math.ceil(value * scale - _SAME) / scale:.{decimals}f}".removesuffix(".0")
