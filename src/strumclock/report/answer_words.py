"""What a student is told about their week, in words: at most three sentences and 300 characters, no statistics.

Which statements these are is decided by `strumclock.weeks.answering`. Each can be said in several ways; the way is
taken that comes after the one used last, so that nobody reads the same sentence twice running.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.journal import Answer
from strumclock.report.answer_file import check_answers_file, write_answers
from strumclock.report.language import Language, language_of
from strumclock.report.statement_words import ways_of
from strumclock.weeks.answering import HEARD, replies, told_before
from strumclock.weeks.statements import Reply, Statement

if TYPE_CHECKING:
    from strumclock.journal import Journal

LONGEST = 300  # letters: by hand, what a phone shows without scrolling


def answers(
    journal: Journal,
    students: Sequence[str] | None = None,
    *,
    language: str | Language | None = None,
    today: date | None = None,
) -> tuple[Answer, ...]:
    """What each student can be told about their week, those first who need the teacher most. Nothing is written down.

    Parameters
    ----------
    journal : Journal
    students : sequence of str, optional
        Names; everybody if left out.
    language : str or Language, optional
        ``"de"``, or the path of a compiled catalogue; English if left out.
    today : date, optional

    Returns
    -------
    tuple of Answer
        None for a student whose last answer still stands, since nothing came after it. ``pandas.DataFrame(answers(…))``
        is a table of them.

    Raises
    ------
    UsageError
        If there is no such student or language.

    Examples
    --------
    >>> import tempfile
    >>> from strumclock.examples import LAST_DAY, example_journal
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     (answer,) = answers(example_journal(folder), ["Joris"], today=LAST_DAY)
    >>> answer.text.partition("! ")[2].partition(". ")[0], answer.said[0]
    ('Thank you for noting down what you played', 'thanks-noted/0')
    """
    day, tongue = today or date.today(), language_of(language)
    return tuple(
        in_words(reply, before, language=tongue, today=day)
        for reply, before in replies(journal, students, today=day)
        if reply.statements
    )


def answer_students(
    journal: Journal,
    path: str | os.PathLike[str],
    students: Sequence[str] | None = None,
    *,
    language: str | Language | None = None,
    today: date | None = None,
) -> tuple[tuple[Answer, ...], dict[str, date | None]]:
    """Answer each student: into a text file and the journal.

    Parameters
    ----------
    journal : Journal
    path : path
        The text file: see `strumclock.report.answer_file`.
    students, language, today
        As in `answers`.

    Returns
    -------
    answers : tuple of Answer
    standing : dict of str to date or None
        Who needs none, with the day of the last answer.

    Raises
    ------
    OutputError
        If the file was changed by hand, or is another; nothing is written then.
    """
    day, tongue = today or date.today(), language_of(language)
    check_answers_file(path)
    said, standing = [], {}
    for reply, before in replies(journal, students, today=day):
        if reply.statements:
            said.append(in_words(reply, before, language=tongue, today=day))
        else:
            standing[reply.student] = reply.answered_on
    for answer in said:
        journal.keep_answer(answer)
    write_answers(said, path, standing=list(standing), on=day)
    return tuple(said), standing


def in_words(reply: Reply, before: Sequence[Answer], *, language: Language, today: date) -> Answer:
    """One student's answer: the statements in ways that were not used in the last answer.

    Parameters
    ----------
    reply : Reply
    before : sequence of Answer
        What the student was told before, oldest first; one of today that was not sent does not count.
    language : Language
    today : date
    """
    told = [_in_order(statement, told_before(before, today), language) for statement in reply.statements]
    hello = language.say("Hi {name}!", name=printable(reply.student)) if reply.student else ""
    fits = _fits(hello, told)
    text, codes = next((one for one in fits if len(one[0]) <= LONGEST), fits[-1])
    if len(text) > LONGEST:  # a name or chord of hundreds of letters
        text = text[: LONGEST - 1].rsplit(" ", 1)[0] + "…"
    said = (*codes, f"{HEARD}{reply.heard}") if reply.heard else codes
    return Answer(
        student=reply.student,
        text=text,
        said=said,
        written_on=today,
        language=language.code,
        exercise_id=reply.exercise_id,
    )


Way = tuple[str, str]  # code and sentence


def _fits(hello: str, told: Sequence[Sequence[Way]]) -> list[tuple[str, tuple[str, ...]]]:
    """The ways to put an answer together, from the one that is wanted to the shortest: without the greeting, without
    what went well, with only what to do."""
    found = []
    for start, greeting in ((0, hello), (0, ""), (1, ""), (len(told) - 1, "")):
        for ways in itertools.product(*told[start:]):
            text = " ".join([*([greeting] if greeting else []), *(sentence for _, sentence in ways)])
            found.append((text, tuple(code for code, _ in ways)))
    return found


def _in_order(statement: Statement, earlier: Sequence[Answer], language: Language) -> list[Way]:
    """The ways to say something, the one that comes after the last used first; that of the last answer is left out."""
    ways = ways_of(statement, language)
    used = [
        int(number) % len(ways)
        for answer in reversed(earlier)
        for code, _, number in (said.rpartition("/") for said in answer.said)
        if code == statement.code and number.isdecimal()
    ]
    first = (used[0] + 1) % len(ways) if used else 0
    numbers = [(first + i) % len(ways) for i in range(len(ways))]
    if used:
        numbers = [number for number in numbers if number != used[0]]
    return [(f"{statement.code}/{number}", ways[number]) for number in numbers]
