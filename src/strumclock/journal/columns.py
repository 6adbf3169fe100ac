"""Types of the journal's columns. A value that we cannot have written is damage, told where it is read, not a crash
later: SQLite keeps whatever stands in its pages, a text in a column of numbers too.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from sqlalchemy import Date, DateTime, Dialect, Float, Integer, Text
from sqlalchemy.types import TypeDecorator

from strumclock.errors import UsageError, printable
from strumclock.journal.entry import DamagedError

Process = Callable[[Any], Any]
MOST = 2**31 - 1  # PostgreSQL's integer
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")  # a note may have lines and tabs


class Day(TypeDecorator[date]):
    """A date."""

    impl = Date
    cache_ok = True

    def result_processor(self, dialect: Dialect, coltype: object) -> Process:
        """The database's own reading of dates, with what it cannot read told."""
        return _careful(super().result_processor(dialect, coltype), "a date")


class Moment(TypeDecorator[datetime]):
    """A date with a time."""

    impl = DateTime
    cache_ok = True

    def result_processor(self, dialect: Dialect, coltype: object) -> Process:
        """The database's own reading of times, with what it cannot read told."""
        return _careful(super().result_processor(dialect, coltype), "a time")


class Real(TypeDecorator[float]):
    """A number."""

    impl = Float
    cache_ok = True

    def process_result_value(self, value: Any, dialect: Dialect) -> float | None:
        """Refuse what is no number."""
        del dialect
        return value if value is None or type(value) is float else _number(value, "a number")


class Whole(TypeDecorator[int]):
    """A whole number."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: int | None, dialect: Dialect) -> int | None:
        """Refuse what no database holds."""
        del dialect
        if value is not None and abs(value) > MOST:
            raise UsageError(f"a whole number must be {MOST} at most, but a larger one came; correct it")
        return value

    def process_result_value(self, value: Any, dialect: Dialect) -> int | None:
        """Refuse what is no whole number."""
        del dialect
        if value is None or type(value) is int:
            return value
        raise DamagedError(f"a whole number that reads {value!r}")


class Words(TypeDecorator[str]):
    """A text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Escape what no database holds or no terminal should get: control characters, bytes that are no text."""
        del dialect
        return value if value is None else CONTROL.sub(lambda found: printable(found[0]), value)

    def process_result_value(self, value: Any, dialect: Dialect) -> str | None:
        """Refuse what is no text."""
        del dialect
        if value is None or type(value) is str:
            return value
        raise DamagedError(f"a text that reads {value!r:.60}")


def _number(value: Any, what: str) -> float:
    if isinstance(value, (int, float)):
        return float(value)
    raise DamagedError(f"{what} that reads {value!r:.60}")


def _careful(process: Process | None, what: str) -> Process:
    def read(value: Any) -> Any:
        try:
            return process(value) if process is not None else value
        except (ValueError, TypeError):
            raise DamagedError(f"{what} that reads {value!r:.60}") from None

    return read
