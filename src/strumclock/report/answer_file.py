"""The answers of an evening as a text file: a block for each student, to be edited by hand, sent, and read back.

::

    == Ines ==
    Hi Ines! You held 72: your fastest so far. …

    == Tom ==
    …

Lines that begin with ``#`` are the program's own. The last of them has a checksum of all above it: a file that somebody
has changed is not written over.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from strumclock.errors import OutputError, UsageError, printable
from strumclock.journal import Answer, plain
from strumclock.report.writing import check_outputs
from strumclock.saving import write_text

if TYPE_CHECKING:
    from strumclock.journal import Journal

HEAD = re.compile(r"^== (.*) ==\s*$")
OWN, CHECKSUM = "#", "# checksum "
LARGEST_BYTES = 10_000_000  # a school's answers have some 100,000
HOW_TO = """\
# Change these words as you like, and send each student theirs. Not sent: lines that begin with #, blocks without words.
# When they are sent, tell the practice record:  strumclock answer FOLDER --sent THIS_FILE
# They speak of the takes that came since the last answer; `strumclock class` tells what is in the way over the weeks.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What was written down as sent.

    Attributes
    ----------
    on : date
    students : tuple of str
        Who was sent something.
    edited : tuple of str
        Those of them whose words a hand had changed.
    known : tuple of str
        Who had been sent these words already.
    without_words : tuple of str
        Whose block is empty.
    """

    on: date
    students: tuple[str, ...]
    edited: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    without_words: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = [f"sent on {self.on.isoformat()}: {', '.join(self.students) or 'nobody'}"]
        if self.edited:
            lines.append(f"in your own words: {', '.join(self.edited)}")
        if self.known:
            lines.append(f"written down before: {', '.join(self.known)}")
        if self.without_words:
            lines.append(f"not sent, since their block is empty: {', '.join(self.without_words)}")
        return "\n".join(lines)


def write_answers(
    answers: Sequence[Answer], path: str | os.PathLike[str], *, standing: Sequence[str] = (), on: date
) -> Path:
    """Write the file. Blocks of other students that it has already, unchanged since the program wrote them, stay.

    Parameters
    ----------
    answers : sequence of Answer
    path : path
    standing : sequence of str
        Students whose last answer still stands, to be listed.
    on : date
        The day at its head.

    Raises
    ------
    OutputError
        If something else is there, or the file was changed by hand: it holds words that are nowhere else.
    """
    check_answers_file(path)
    blocks = {name: text for name, text in read_answers(path).items() if text} if os.path.lexists(path) else {}
    blocks |= {answer.student: answer.text for answer in answers}
    parts = [f"# Answers of {on.isoformat()}\n{HOW_TO}"]
    parts += [f"== {printable(name)} ==\n{text}\n" for name, text in blocks.items()]
    if standing:
        parts.append(f"# Nothing came since their last answer: {', '.join(printable(name) for name in standing)}\n")
    whole = "\n".join(parts)
    return write_text(path, f"{whole}{CHECKSUM}{_checksum(whole)}\n")


def check_answers_file(path: str | os.PathLike[str]) -> None:
    """Refuse to write over what is no file of answers, or one that was changed by hand.

    Raises
    ------
    OutputError
    """
    check_outputs({"--to": path})
    if not os.path.lexists(path):
        return
    above, mark, checksum = _text_of(path).rpartition(CHECKSUM)
    if not mark or checksum.strip() != _checksum(above):
        raise OutputError(
            f"answers must not be written over words of your own, but {printable(os.fspath(path))} was changed by hand "
            "or is another file; send it with --sent, or name another file with --to"
        )


def read_answers(path: str | os.PathLike[str]) -> dict[str, str]:
    """Each student's words in a file of answers, in its order.

    Raises
    ------
    UsageError
        If it cannot be read, is none, or has two blocks for one student.
    """
    found: dict[str, list[str]] = {}
    name = None
    for line in _text_of(path).splitlines():
        head = HEAD.match(line)
        if head is not None:
            name = head[1].strip()
            if plain(name) in {plain(other) for other in found}:
                raise UsageError(
                    f"answers must have one block a student, but {printable(os.fspath(path))} has two for "
                    f"{printable(name)}; put them together"
                )
            found[name] = []
        elif line.startswith(OWN):
            continue
        elif name is not None:
            found[name].append(line.rstrip())
        elif line.strip():
            raise UsageError(
                f"answers must stand below a line such as == Ines ==, but {printable(os.fspath(path))} begins with "
                f"{printable(line[:40])!r}; put the student's name above it"
            )
    return {name: "\n".join(lines).strip() for name, lines in found.items()}


def mark_sent(journal: Journal, path: str | os.PathLike[str], *, on: date) -> Sent:
    """Write down in the journal that the answers of a file were sent, in the words that stand there now.

    A block that was added by hand becomes an answer too. The same file again changes nothing.

    Raises
    ------
    UsageError
        If one of the students is not in the journal; nothing is written then.
    """
    blocks = read_answers(path)
    known = {plain(name): name for name in journal.students()}
    strangers = [name for name in blocks if plain(name) not in known]
    if strangers:
        raise UsageError(
            f"answers must be to students of the journal, but {printable(strangers[0])} is none; correct the name in "
            f"{printable(os.fspath(path))}"
        )
    written: dict[str, list[Answer]] = {}
    for answer in journal.answers():
        written.setdefault(answer.student, []).append(answer)
    students, edited, before, empty = [], [], [], []
    for told, text in blocks.items():
        name = known[plain(told)]
        theirs = written.get(name, [])
        waiting = [one for one in theirs if one.sent_on is None]
        if not text:
            empty.append(name)
        elif any(one.sent_on is not None and one.text == text for one in theirs) and not any(
            one.text == text for one in waiting
        ):
            before.append(name)
        else:
            _send(journal, name, text, waiting, on)
            students.append(name)
            if not any(one.text == text for one in waiting):
                edited.append(name)
    return Sent(on=on, students=tuple(students), edited=tuple(edited), known=tuple(before), without_words=tuple(empty))


def _send(journal: Journal, name: str, text: str, waiting: Sequence[Answer], on: date) -> None:
    """One answer: the one that was written last and waits, else a new one in the teacher's own words."""
    same = [one for one in waiting if one.text == text]
    chosen = (same or list(waiting))[-1:]
    number = chosen[0].number if chosen else None
    if number is None:
        number = journal.keep_answer(Answer(student=name, text=text, written_on=on))
    journal.mark_sent(number, text=text, on=on)


def as_blocks(answers: Sequence[Answer], standing: Mapping[str, date | None]) -> str:
    """Answers for the screen: each student's words below the name; who needs none is listed last.

    Examples
    --------
    >>> ines = Answer(student="Ines", text="Hi Ines! Go on like this.", written_on=date(2026, 11, 28))
    >>> print(as_blocks([ines], {"Tom": date(2026, 11, 26)}))
    Ines
      Hi Ines! Go on like this.
    <BLANKLINE>
    Nothing came since their last answer: Tom (26 November)
    """
    from strumclock.report.language import ENGLISH

    blocks = [f"{answer.student or '(no name)'}\n  " + answer.text.replace("\n", "\n  ") for answer in answers]
    if standing:
        names = [name + (f" ({ENGLISH.day(day)})" if day else "") for name, day in standing.items()]
        blocks.append(f"Nothing came since their last answer: {', '.join(names)}")
    return "\n\n".join(blocks) or "Nobody is in the journal yet."


def _text_of(path: str | os.PathLike[str]) -> str:
    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
        if len(raw) > LARGEST_BYTES:
            raise UsageError(
                f"a file of answers must be a text of at most {LARGEST_BYTES // 1_000_000} MB, but "
                f"{printable(os.fspath(path))} is larger; name the right file"
            )
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except OSError as error:
        raise UsageError(
            f"a file of answers must be readable, but of {printable(os.fspath(path))} the system said: "
            f"{error.strerror or error}; check the name"
        ) from None
    except UnicodeDecodeError:
        raise UsageError(
            f"a file of answers must be UTF-8 text, but {printable(os.fspath(path))} is not; save it as UTF-8"
        ) from None


def _checksum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]
