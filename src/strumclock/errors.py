"""What can go wrong, as one tree.

Every error is one line: what was required, what came, what to do::

    StrumclockError
    ├── UsageError (ValueError)        an argument, option or exercise makes no sense      exit 2
    ├── AudioFileError (OSError)       a file is missing, empty, truncated or not audio    exit 1
    ├── RecordingError (ValueError)    a recording was read but cannot be measured         exit 1
    │   └── ClickError                 no click where one was promised
    ├── JournalError                   the practice record cannot be read or written      exit 1
    └── OutputError (OSError)          a result cannot be written where it was asked for   exit 1

What is weak but usable is a `Notice`: a code for programs and a sentence for people, kept in the result.
What cannot be known is an `Absent`: it stands where the value would, and says why.
"""

from __future__ import annotations

from dataclasses import dataclass


class StrumclockError(Exception):
    """Root of every error that this library raises on purpose."""


class UsageError(StrumclockError, ValueError):
    """An argument, option or exercise makes no sense."""


class AudioFileError(StrumclockError, OSError):
    """A file is missing, empty, truncated or not audio."""


class RecordingError(StrumclockError, ValueError):
    """A recording was read but cannot be measured."""


class ClickError(RecordingError):
    """No click where one was promised."""


class JournalError(StrumclockError):
    """The practice record cannot be read or written."""


class OutputError(StrumclockError, OSError):
    """A result cannot be written where it was asked for."""


JOINERS = "\u200c\u200d"  # within words of Persian and Hindi, and within emoji
_BREAKS = "\t\n\x0b\x0c\r\x1c\x1d\x1e\x1f\x85\u2028\u2029"


def printable(text: str) -> str:
    r"""A text on one line that a terminal shows and does not obey: whatever users told goes through here.

    Control characters, line ends, changes of writing direction and bytes that are no text stand as Python escapes them;
    everything else stays, whatever the language.

    Examples
    --------
    >>> print(printable("\x1b[31mred\nline"))
    \x1b[31mred\nline
    """
    if text.isprintable():
        return text
    return "".join(c if _harmless(c) else c.encode("unicode_escape").decode("ascii") for c in text)


def _harmless(character: str) -> bool:
    return character.isprintable() or character in JOINERS or (character.isspace() and character not in _BREAKS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Something weak but usable about a result.

    Attributes
    ----------
    code : str
        A stable word for programs, such as ``"clipped"``.
    message : str
        One sentence for people: what was seen, and what it does to the numbers.
    """

    code: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Absent:
    """A quantity that cannot be known, in the place where it would stand.

    Attributes
    ----------
    code : str
        A stable word for programs, such as ``"no-click"``.
    reason : str
        One clause for people: why it cannot be known. Names no option of the command line and gives no order.

    Examples
    --------
    >>> bool(Absent(code="no-click", reason="no click was heard in the recording"))
    False
    """

    code: str
    reason: str

    def __bool__(self) -> bool:
        """False, so that ``if figure:`` asks whether there is one."""
        return False
