"""How a value shows itself: a short line at a prompt, and in a notebook whatever a renderer makes of it.

A value of this library holds data and no words, and the packages that hold values may not import `report`, which has
the words. So a value that can be looked at derives from `Shown`, and whoever stands above all packages (the package's
face) says with `rendered_by` where the renderer comes from. Until it has, a notebook falls back to the short line.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

Renderer = Callable[[object], str | None]

MOST = 1000
"""Characters of the short line at most: some ten lines of a terminal."""

LONG_TEXT = 60
"""Characters of a text within it; the middle of a longer one is left out."""

FEW = 6
"""Items of a tuple or mapping that are named one by one."""

_source: list[Callable[[], Renderer]] = []


def rendered_by(load: Callable[[], Renderer]) -> None:
    """Say where the renderer comes from: called when the first value is shown, so that nothing is loaded before.

    Parameters
    ----------
    load : callable
        Gives the function that makes HTML of a value, or None of one that it has no words for.
    """
    _source[:] = [load]


class Shown:
    """A value that can be looked at; the base of the library's results."""

    __slots__ = ()

    def __repr__(self) -> str:
        return brief(self)

    def _repr_html_(self) -> str | None:
        """What a notebook shows; None, and with it the short line, where nobody renders."""
        return _source[0]()(self) if _source else None


def brief(value: Any, most: int = MOST) -> str:
    """A value on one line of at most `most` characters: fields that say something, arrays by size and ends.

    Parameters
    ----------
    value : object
        A dataclass, or anything that may stand in one.
    most : int
        Characters.

    Examples
    --------
    >>> @dataclasses.dataclass
    ... class Row:
    ...     name: str
    ...     size_ms: float | None = None
    ...     items: tuple = ()
    >>> brief(Row("jitter", 12.345678)), brief(Row("jitter", items=tuple(range(40))))
    ("Row(name='jitter', size_ms=12.3457)", "Row(name='jitter', items=<40 × int>)")
    >>> len(brief(Row("x" * 5000, items=("y" * 5000,) * 6), most=100)) <= 100
    True
    """
    text = _text(value, most)
    return text if len(text) <= most else f"{text[: most - 2]} …"


def shortened(text: str, most: int = LONG_TEXT) -> str:
    """A text of at most `most` characters: the middle of a longer one is left out.

    Examples
    --------
    >>> shortened("recordings/Ines/2026-11-28 two chords.m4a", 24)
    'recordings/…o chords.m4a'
    """
    if len(text) <= most:
        return text
    left = most // 2 - 1
    return f"{text[:left]}…{text[left + 1 - most :]}"


def _text(value: Any, most: int) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str):
        return repr(shortened(value))
    if hasattr(value, "shape") and hasattr(value, "dtype"):
        return _array(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        has_own = isinstance(value, Shown) and type(value).__repr__ is not Shown.__repr__
        return repr(value) if has_own else _fields(value, most)
    if isinstance(value, Mapping):
        if len(value) > FEW:
            return f"<{len(value)} names>"
        return "{" + ", ".join(f"{_text(k, most)}: {_text(v, most // 4)}" for k, v in value.items()) + "}"
    if isinstance(value, (tuple, list)):
        if len(value) > FEW or any(dataclasses.is_dataclass(item) for item in value):
            return f"<{len(value)} × {type(value[0]).__name__}>"
        inner = ", ".join(_text(item, most // 4) for item in value)
        return f"({inner},)" if len(value) == 1 else f"({inner})"
    return shortened(repr(value))


def _array(value: Any) -> str:
    """An array by its size and its two ends."""
    if value.ndim != 1 or not value.size:
        return f"<array {' × '.join(map(str, value.shape))}>"
    first, last = (_text(end, MOST) for end in (value[0].item(), value[-1].item()))
    return f"<{value.size}: {first} … {last}>"


def _fields(value: Any, most: int) -> str:
    """The fields that are told, found or not empty."""
    said = []
    for field in dataclasses.fields(value):
        inner = getattr(value, field.name)
        if field.repr and inner is not None and not _empty(inner):
            said.append(f"{field.name}={_text(inner, most // 4)}")
    text = f"{type(value).__name__}({', '.join(said)})"
    return text if len(text) <= most else f"{text[: most - 3]} …)"


def _empty(value: Any) -> bool:
    return isinstance(value, (str, tuple, list, Mapping)) and not value
