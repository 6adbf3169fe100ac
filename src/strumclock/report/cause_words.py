"""What stands in the way over weeks, in words: how large it is, what it was at first, since when it is the same."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strumclock.weeks import Cause

_TO_OCTOBER = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October")
MONTHS = (*_TO_OCTOBER, "November", "December")


def day(d: date, *, today: date | None = None) -> str:
    """A day in words, with its year unless that is today's.

    Examples
    --------
    >>> day(date(2026, 3, 2)), day(date(2026, 3, 2), today=date(2026, 5, 1))
    ('2 March 2026', '2 March')
    """
    year = "" if today is not None and d.year == today.year else f" {d.year}"
    return f"{d.day} {MONTHS[d.month - 1]}{year}"


def short_day(d: date, *, today: date) -> str:
    """A day for a table: without its year if that is today's.

    Examples
    --------
    >>> short_day(date(2026, 11, 3), today=date(2026, 11, 28)), short_day(date(2025, 11, 3), today=date(2026, 11, 28))
    ('3 Nov', '3 Nov 2025')
    """
    year = "" if d.year == today.year else f" {d.year}"
    return f"{d.day} {MONTHS[d.month - 1][:3]}{year}"


def cause_words(cause: Cause, *, today: date | None = None) -> str:
    """One cause over weeks, as half a sentence.

    Parameters
    ----------
    cause : Cause
    today : date, optional
        Its year is not told.
    """
    said = _cause_now(cause, cause.now.value)
    first = day(cause.weeks[0][0], today=today)
    if cause.state in ("smaller", "larger"):
        return f"{said}; in the week of {first} it was about {_amount(cause, cause.first.value)}"
    if cause.state == "same":
        return f"{said}, much the same for {len(cause.weeks)} weeks"
    return said


def cause_name(cause: Cause) -> str:
    """A cause in a few words, for an axis or a table: ``"late at A→D"``, ``"pulling ahead"``, ``"strums left out"``."""
    late = "late" if cause.now.value > 0 else "early"
    if cause.kind == "pair":
        return f"{late} at {cause.where.replace('>', '→')}"
    return {
        "scatter": "scatter",
        "omitted": "strums left out",
        "drift": "falling behind" if cause.now.value > 0 else "pulling ahead",
        "changes": f"{late} at changes",
    }.get(cause.kind) or f"{late} on {_place(cause)}"


def cause_trend(cause: Cause) -> str:
    """A cause with its size, first and now: ``"late at A→D: 120 → 70 ms"``; where it does not change, once."""
    now, then = _amount(cause, cause.now.value), _amount(cause, cause.first.value)
    if cause.state in ("smaller", "larger"):
        return f"{cause_name(cause)}: {then.partition(' ')[0]} → {now}"
    same = f", the same for {len(cause.weeks)} weeks" if cause.state == "same" else ""
    return f"{cause_name(cause)}: {now}{same}"


def _cause_now(cause: Cause, value: float) -> str:
    amount = _amount(cause, value)
    if cause.kind == "scatter":
        return f"the strums scatter by about {amount}"
    if cause.kind == "omitted":
        return f"about {amount} of the strums are left out"
    if cause.kind == "drift":
        return f"the strums {'fall behind' if value > 0 else 'pull ahead of'} the click by about {amount}"
    side = "late" if value > 0 else "early"
    if cause.kind == "pair":
        before, _, after = cause.where.partition(">")
        return f"the changes from {before} to {after} come about {amount} {side}"
    if cause.kind == "changes":
        return f"the chord changes come about {amount} {side}"
    return f"the strums on {_place(cause)} come about {amount} {side} of the others"


def _place(cause: Cause) -> str:
    return f"beat {cause.where}" if cause.kind == "beat" else f"part {cause.where} of the beat"


def _amount(cause: Cause, value: float) -> str:
    if cause.unit == "share":
        return f"{100 * abs(value):.0f} %"
    return f"{abs(value):.0f} ms" + (" a minute" if cause.unit == "ms/min" else "")


def better_words(cause: Cause, today: date) -> str:
    """A cause that has become smaller, as what got better."""
    first = day(cause.weeks[0][0], today=today)
    now, then = (_amount(cause, span.value) for span in (cause.now, cause.first))
    change = f"about {now} now, about {then} in the week of {first}"
    if cause.kind == "scatter":
        return f"your strums have become more even: they scatter by {change}"
    if cause.kind == "omitted":
        return f"you leave out fewer strums: {change}"
    if cause.kind == "drift":
        return f"you stay closer to the click: it moves by {change}"
    what = {"changes": "chord changes", "pair": f"changes from {' to '.join(cause.where.split('>'))}"}.get(cause.kind)
    return f"your {what or 'strums on ' + _place(cause)} come closer to the beat: {change}"
