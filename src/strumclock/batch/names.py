"""What a file's name says: date, exercise, tempo.

The scheme is ``date exercise @tempo``, such as ``2026-03-14 two chords @84.m4a``, and forgiving: any order; spaces,
underscores or hyphens; ``84bpm``, ``84 bpm``, ``bpm84`` or ``@84``; ``2026-03-14``, ``2026_03_14``, ``20260314`` or
``14.03.2026``, with a time behind it (``2026-03-14 18.30``) or not; ``take 2`` and ``(2)`` are passed over. A number
without a mark is no tempo, and what a recorder calls a file by itself ("Voice 003") is no exercise: nothing is guessed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from strumclock.grid import BPM_RANGE

_DATE = re.compile(r"(?<!\d)(?P<y>(?:19|20)\d\d)(?P<s>[-_.]?)(?P<m>\d\d)(?P=s)(?P<d>\d\d)(?!\d)")
_DATE_DOTTED = re.compile(r"(?<!\d)(?P<d>\d{1,2})\.(?P<m>\d{1,2})\.(?P<y>(?:19|20)\d\d)(?!\d)")
_TIME = re.compile(
    r"^[\sT_-]{1,3}(?P<h>[01]\d|2[0-3])(?P<s>[-.:_h]?)(?P<m>[0-5]\d)(?:[-.:_]?(?P<sec>[0-5]\d))?(?![\d])(?!\s*bpm)"
)
_TEMPO = re.compile(
    r"(?<![\d.,])(?P<a>\d{1,3}(?:[.,]\d+)?)[\s_-]?bpm(?![a-z])|(?<![a-z])bpm[\s_=-]?(?P<b>\d{1,3}(?:[.,]\d+)?)(?!\d)"
    r"|@[\s_]?(?P<c>\d{1,3}(?:[.,]\d+)?)(?!\d)",
    re.IGNORECASE,
)
_TAKE = re.compile(
    r"(?<![a-z])(?:take|tk|nr|no|#)[\s_.-]?\d{1,3}(?!\d)|\(\d{1,3}\)|(?<![a-z])copy(?![a-z])", re.IGNORECASE
)
_WORDS_OF_RECORDERS = (
    "a aac aud audio aufnahme aufzeichnung clip file grabacion grabación img jam memo memos mic mov my neue new note "
    "notiz phone practice ptt rec record recorded recorder recording registrazione sound sprachmemo standard take "
    "takes track untitled vid video vn voice wa"
)
_GENERIC = frozenset(_WORDS_OF_RECORDERS.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class NameSays:
    """What was read from a name; None where it says nothing.

    Attributes
    ----------
    played_on, played_at : date, datetime or None
    bpm : float or None
    words : str or None
        What is left: the exercise, if it is one.
    problems : tuple of str
        What looks like a date or tempo and cannot be one.
    """

    played_on: date | None = None
    played_at: datetime | None = None
    bpm: float | None = None
    words: str | None = None
    problems: tuple[str, ...] = ()


def read_name(stem: str) -> NameSays:
    """Read a file's name without its ending.

    Examples
    --------
    >>> says = read_name("2026-03-14 two_chords @84 take2")
    >>> says.played_on.isoformat(), says.bpm, says.words
    ('2026-03-14', 84.0, 'two chords')
    >>> read_name("Voice 003").words is None
    True
    """
    text = unicodedata.normalize("NFC", stem)
    problems: list[str] = []
    day, moment = None, None
    found = _DATE.search(text) or _DATE_DOTTED.search(text)
    if found:
        try:
            day = date(int(found["y"]), int(found["m"]), int(found["d"]))
        except ValueError:
            problems.append(f"the date {found[0]} in its name does not exist")
        rest = text[found.end() :]
        clock = _TIME.match(rest)
        if clock:
            if day:
                moment = datetime(
                    day.year, day.month, day.day, int(clock["h"]), int(clock["m"]), int(clock["sec"] or 0)
                )
            rest = rest[clock.end() :]
        text = f"{text[: found.start()]} {rest}"
    bpm = None
    tempo = _TEMPO.search(text)
    if tempo:
        value = float((tempo["a"] or tempo["b"] or tempo["c"]).replace(",", "."))
        if BPM_RANGE[0] <= value <= BPM_RANGE[1]:
            bpm = value
        else:
            problems.append(
                f"the tempo {tempo[0].strip()} in its name is not from {BPM_RANGE[0]:g} to {BPM_RANGE[1]:g}"
            )
        text = f"{text[: tempo.start()]} {text[tempo.end() :]}"
    text = _TAKE.sub(" ", text)
    words = " ".join(re.sub(r"[_\-–—,.]+", " ", text).split())
    telling = [w for w in re.findall(r"[^\W\d_]+", words.casefold()) if w not in _GENERIC]
    return NameSays(
        played_on=day, played_at=moment, bpm=bpm, words=words if telling else None, problems=tuple(problems)
    )


def match_exercise(words: str | None, known: Mapping[str, Iterable[str]]) -> str | None:
    """The known exercise that some words name: the longest whose name, or one of whose other names, they contain.

    Parameters
    ----------
    words : str or None
    known : mapping
        Other names by name.

    Examples
    --------
    >>> match_exercise("slow TwoChords with capo", {"two chords": (), "chords": ("c",)})
    'two chords'
    """
    if not words:
        return None
    inside = _letters(words)
    parts = {_letters(part) for part in words.split()}
    fits = []
    for name, others in known.items():
        for called in (name, *others):
            short = _letters(called)
            whole = short in parts if len(short) < 4 else short in inside  # a short name must stand alone
            if short and whole:
                fits.append((len(short), name))
    if not fits:
        return None
    longest = max(length for length, _ in fits)
    names = {name for length, name in fits if length == longest}
    return names.pop() if len(names) == 1 else None


def _letters(text: str) -> str:
    return "".join(c for c in unicodedata.normalize("NFKC", text).casefold() if c.isalnum())
