"""What a person can tell the program, field by field: one description each, of which all that reads fields is made.

A value that is told (`Exercise`, `MeasureOptions`) declares its fields with `given`. The checks at construction, the
command line's options, the keys of ``practice.toml``, the columns of ``takes.csv``, what can be corrected by hand and
the JSON Schema come from these descriptions: a new field is one entry in its value.
"""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from numbers import Real
from types import MappingProxyType
from typing import Any

from strumclock.errors import UsageError

_KEY = "given"
_YES_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
_KINDS = {tuple: "a list of chords", bool: "true or false", str: "a text", int: "a whole number"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """One field that a person can tell.

    Attributes
    ----------
    kind : type
        ``str``, ``int``, ``float``, ``bool`` or ``tuple`` (several texts).
    what : str
        What it is, in a few words, for messages: ``"the tempo in beats a minute"``.
    help : str
        A sentence for the command line, with its unit and its default.
    low, high : float or None
        The range, ends included; None for what is no number.
    check : callable or None
        Where a range does not say it: takes what was told, gives what is kept or raises `UsageError`.
    word : str
        What a sentence calls it: ``"tempo"``.
    in_files : bool
        Whether ``practice.toml`` and ``takes.csv`` may tell it.
    metavar : str or None
        What the command line's help shows for the value, where its kind does not say it.
    """

    kind: type
    what: str
    help: str
    low: float | None = None
    high: float | None = None
    check: Callable[[Any], Any] | None = None
    word: str = ""
    in_files: bool = True
    metavar: str | None = None

    def checked(self, name: str, value: object) -> Any:
        """What was told, in its type; `UsageError` where it is no such value or out of range."""
        if self.check is not None:
            return self.check(value)
        if self.kind is bool:
            if type(value).__name__ in ("bool", "bool_"):  # NumPy's too
                return bool(value)
            raise UsageError(f"{name} ({self.what}) must be true or false, but {value!r} came; correct it")
        if self.kind is str:
            return checked_text(name, value, self.what)
        low, high = -math.inf if self.low is None else self.low, math.inf if self.high is None else self.high
        if self.kind is int:
            return whole_between(name, value, int(low), int(high), self.what)
        return number_between(name, value, low, high, self.what)

    def read(self, name: str, value: Any, where: str) -> Any:
        """The value in its type, from TOML or from the text of a table's cell; the range is checked later.

        Examples
        --------
        >>> tempo = Given(kind=float, what="the tempo", help="", low=20, high=400)
        >>> tempo.read("bpm", "92,5", "line 2"), tempo.read("bpm", 90, "line 2")
        (92.5, 90.0)
        """
        reader: Callable[[Any], Any] = _READERS.get(self.kind, self._number)
        try:
            return reader(value)
        except (ValueError, TypeError, AttributeError, KeyError, OverflowError):
            kind = _KINDS.get(self.kind, "a number")
            raise UsageError(f"{name} of {where} must be {kind}, but {value!r} came; correct it") from None

    def _number(self, value: Any) -> float | int:
        if isinstance(value, bool):
            raise ValueError
        number = float(value.replace(",", ".") if isinstance(value, str) else value)
        if self.kind is not int:
            return number
        if number != int(number):
            raise ValueError
        return int(number)


def given(kind: type, what: str, help: str, *, default: Any = None, **more: Any) -> Any:
    """A dataclass field with its description; see `Given`."""
    description = Given(kind=kind, what=what, help=help, **more)
    return dataclasses.field(default=default, metadata={_KEY: description})


def fields_of(told: type) -> Mapping[str, Given]:
    """The described fields of a value's type, by name, in their order."""
    found = {field.name: field.metadata[_KEY] for field in dataclasses.fields(told) if _KEY in field.metadata}
    return MappingProxyType(found)


def check_fields(told: Any) -> None:
    """Check every described field of a frozen value under construction, and keep it in its type. None is: not told."""
    for name, field in fields_of(type(told)).items():
        value = getattr(told, name)
        if value is not None:
            object.__setattr__(told, name, field.checked(name, value))


def number_between(key: str, value: object, low: float, high: float, what: str) -> float:
    """A finite real number in a range."""
    if isinstance(value, Real) and not isinstance(value, bool) and low <= float(value) <= high:
        return float(value)
    raise UsageError(f"{key} ({what}) must be a number from {low:.10g} to {high:.10g}, but {value!r} came; correct it")


def whole_between(key: str, value: object, low: int, high: int, what: str) -> int:
    """A whole number in a range; 2.0 counts as whole."""
    if isinstance(value, Real) and not isinstance(value, bool):
        number = float(value)
        if number.is_integer() and low <= number <= high:
            return int(number)
    raise UsageError(f"{key} ({what}) must be a whole number from {low} to {high}, but {value!r} came; correct it")


def checked_text(key: str, value: object, what: str) -> str:
    """A text that says something, or a path."""
    text = os.fspath(value) if isinstance(value, os.PathLike) else value
    if isinstance(text, str) and text.strip():
        return text
    raise UsageError(f"{key} ({what}) must be a text, but {value!r} came; leave it out or give one")


def _texts(value: Any) -> tuple[str, ...]:
    return tuple(value.replace(",", " ").split()) if isinstance(value, str) else tuple(str(v) for v in value)


def _yes_or_no(value: Any) -> bool:
    return value if isinstance(value, bool) else _YES_NO[value.casefold()]


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError
    return value


_READERS: Mapping[type, Callable[[Any], Any]] = {tuple: _texts, bool: _yes_or_no, str: _text}
