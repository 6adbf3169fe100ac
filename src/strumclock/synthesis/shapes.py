"""Which strings a chord uses, and where each is stopped.

A shape is six frets, low E string to high: ``x`` is not played, ``0`` open.  Names are the common open-position ones;
any other shape can be written out, as in ``"x02210"``.
"""

from __future__ import annotations

import re

from strumclock.errors import UsageError

OPEN_STRINGS_MIDI = (40, 45, 50, 55, 59, 64)  # E2 A2 D3 G3 B3 E4, standard tuning
HIGHEST_FRET = 12  # above it a shape is a slip of the keyboard, and the string model has not been listened to

SHAPES = {
    "A": "x02220", "Am": "x02210", "A7": "x02020", "Am7": "x02010", "Amaj7": "x02120", "Asus2": "x02200",
    "Asus4": "x02230", "B": "x24442", "Bm": "x24432", "B7": "x21202", "C": "x32010", "C7": "x32310",
    "Cmaj7": "x32000", "Cadd9": "x32030", "C#m": "x46654", "D": "xx0232", "Dm": "xx0231", "D7": "xx0212",
    "Dmaj7": "xx0222", "Dsus2": "xx0230", "Dsus4": "xx0233", "E": "022100", "Em": "022000", "E7": "020100",
    "Em7": "022030", "F": "133211", "Fmaj7": "xx3210", "F#m": "244222", "G": "320003", "G7": "320001",
    "Gm": "355333", "A5": "x022xx", "D5": "xx023x", "E5": "022xxx", "G5": "355xxx",
}  # fmt: skip


def shape(name: str) -> tuple[int | None, ...]:
    """The frets of a chord, low string to high; None where a string is not played.

    Parameters
    ----------
    name : str
        A name in `SHAPES`, or six frets such as ``"x02210"``.

    Raises
    ------
    UsageError
        If it is neither.

    Examples
    --------
    >>> shape("A")
    (None, 0, 2, 2, 2, 0)
    >>> shape("x02210") == shape("Am")
    True
    """
    text = SHAPES.get(name, name)
    if isinstance(text, str) and re.fullmatch(r"[x0-9]{6}", text) and text != "xxxxxx":
        return tuple(None if c == "x" else int(c) for c in text)
    raise UsageError(
        f"a chord to be synthesised must be one of {' '.join(SHAPES)} or six frets such as x02210, low string first, "
        f"but {name!r} came; write its frets out"
    )


def sounding(name: str, *, capo: int = 0) -> tuple[tuple[int, float], ...]:
    """The strings that a chord uses as (string, MIDI pitch), string 0 the low E, low to high.

    Examples
    --------
    >>> sounding("D")
    ((2, 50), (3, 57), (4, 62), (5, 66))
    """
    if not (isinstance(capo, int) and 0 <= capo <= HIGHEST_FRET):
        raise UsageError(f"a capo sits at fret 0 (none) to {HIGHEST_FRET}, but {capo!r} came; give a whole number")
    return tuple((i, OPEN_STRINGS_MIDI[i] + fret + capo) for i, fret in enumerate(shape(name)) if fret is not None)
