"""What a student is told about their week: which statements, of what, at which tempo. The words are the report's.

At most three: what got better (only where weeks show it; else what was held, or thanks), the one thing in the way with
its place, one task with the next tempo. What rests on an unsure measurement is not said: then it is said how to record
again. Who sent nothing gets a friendly word; who was just answered and has sent nothing since gets no second answer.

What was heard already is known from the answers that were sent: each keeps the number of the newest take that it was
written from.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from strumclock.errors import UsageError
from strumclock.journal import Answer, Assignment, History, Journal, PastTake, Practised, plain
from strumclock.verdict import TASKS, Where
from strumclock.verdict.reach import settable_bpm
from strumclock.weeks.causes import Cause
from strumclock.weeks.exercise import ExerciseProgress
from strumclock.weeks.hindrances import Hindrance, Looked, looked_at, of_the_week
from strumclock.weeks.need import SILENT_DAYS
from strumclock.weeks.record import AWAITED, Progress, class_list, doubts_of
from strumclock.weeks.statements import Reply, Statement
from strumclock.weeks.week import monday_of

LATEST_TAKES = 8
"""Takes that an answer looks at, at most: a week's."""

LOOKED_AT = 4
"""Of these the ones whose obstacles are weighed: the latest that did not hold, where there are any."""

UNSURE_SHARE = 0.5
"""Share of the new recordings that cannot be trusted from which nothing is concluded from the others either."""

ANSWERED_DAYS = 5
"""So soon after an answer nothing is missed from a student who comes once a week (common practice, no source)."""

LATEST_ANSWERS = 26
"""Answers that are looked back at: half a year's."""

RECORDING = "recording"
HEARD = "heard."
"""Begins the code that keeps the number of the newest take an answer was written from."""


def replies(
    journal: Journal, students: Sequence[str] | None = None, *, today: date | None = None
) -> tuple[tuple[Reply, tuple[Answer, ...]], ...]:
    """What each student is told, with what they were told before; those first who need the teacher most.

    Parameters
    ----------
    journal : Journal
    students : sequence of str, optional
        Names, in any spelling; everybody if left out.
    today : date, optional

    Raises
    ------
    UsageError
        If one of them is not in the journal.
    """
    day = today or date.today()
    said = []
    for one in _chosen(journal, students, day):
        past = journal.history(one.student, last=LATEST_TAKES)
        answered = journal.answers(one.student, last=LATEST_ANSWERS)
        sure = _sure(new_takes(past, answered, day), _now(one, past))
        recorded = [take for take in sure if take.source == RECORDING]
        hard = [take for take in recorded if take.held is False] or recorded
        looked = [looked_at(journal.measurement(take.id)) for take in hard[-LOOKED_AT:]]
        said.append((reply(one, past, looked, answered=answered, today=day), answered))
    return tuple(said)


def _chosen(journal: Journal, students: Sequence[str] | None, today: date) -> tuple[Progress, ...]:
    found = class_list(journal, students=students, today=today)
    known = {plain(one.student) for one in found}
    unknown = [name for name in students or () if plain(name) not in known]
    if unknown:
        names = ", ".join(name or "(no name)" for name in journal.students()) or "nobody yet"
        raise UsageError(
            f"the student must be one of the journal's ({names}), but {unknown[0]!r} came; check the spelling"
        )
    return found


def reply(
    progress: Progress,
    past: History,
    looked: Sequence[Looked],
    *,
    answered: Sequence[Answer] = (),
    today: date,
) -> Reply:
    """What one student is told.

    Parameters
    ----------
    progress : Progress
        Their weeks.
    past : History
        Their latest takes.
    looked : sequence of Looked
        What the new takes that are sure showed, oldest first; where some did not hold, only these.
    answered : sequence of Answer
        What they were told before, oldest first.
    today : date
    """
    sent = [answer for answer in answered if answer.sent_on is not None]
    last_on = sent[-1].sent_on if sent else None
    new = new_takes(past, answered, today)
    heard = max((take.id for take in past.takes), default=0)
    now_id = _now(progress, past)
    awaited = _awaited(progress, today)
    statements: tuple[Statement, ...]
    if not new and last_on is not None and (today - last_on).days < ANSWERED_DAYS:
        statements = ()
    elif not new:
        statements = _friendly(progress, awaited, today)
    elif doubts := _doubts(new):
        statements = (_thanks(new), Statement(code=f"record-{doubts[0]}"))
    elif not progress.exercises:
        statements = (_thanks(new), Statement(code="short-take"))
    else:
        now, sure = progress.exercises[0], _sure(new, now_id)
        told = told_before(answered, today)
        thing = of_the_week([one.obstacles for one in looked])
        good = _good(now, sure, past, looked, told[-1].said if told else ()) or _thanks(new)
        statements = (
            good,
            *_obstacle_and_task(thing, _next_tempo(now, past.exercises.get(now_id or 0), awaited, sure, thing), sure),
        )
    return Reply(student=progress.student, statements=statements, exercise_id=now_id, heard=heard, answered_on=last_on)


def new_takes(past: History, answered: Sequence[Answer], today: date) -> tuple[PastTake, ...]:
    """The recordings and paper takes that no sent answer was written from; where none was ever sent, those of the last
    two weeks. Takes that could not be measured are among them, excluded and replaced ones are not."""
    heard = [int(code.removeprefix(HEARD)) for a in answered if a.sent_on for code in a.said if code.startswith(HEARD)]
    there = [take for take in past.takes if not take.excluded and not take.replaced]
    there = [take for take in there if take.not_counted is None or take.failed]
    if heard:
        return tuple(take for take in there if take.id > max(heard))
    return tuple(t for t in there if t.played_on is None or (today - t.played_on).days <= SILENT_DAYS)


def told_before(answered: Sequence[Answer], today: date) -> list[Answer]:
    """The answers that a new one comes after: not one of the same day that was not sent, whose place it takes."""
    return [one for one in answered if one.sent_on is not None or one.written_on < today]


def _now(progress: Progress, past: History) -> int | None:
    """The exercise that was played last, by its number."""
    if not progress.exercises:
        return None
    label = progress.exercises[0].label
    return next((number for number, one in past.exercises.items() if one.label == label), None)


def _sure(new: Sequence[PastTake], exercise_id: int | None) -> list[PastTake]:
    """New takes of an exercise from which something can be concluded, those noted on a page among them."""
    return [take for take in new if take.exercise_id == exercise_id and not doubts_of(take)]


def _awaited(progress: Progress, today: date) -> Assignment | None:
    """What was set last, where no take of it came yet."""
    last = progress.standings[:1]
    return last[0].assignment if last and last[0].state(today) in AWAITED else None


def _friendly(progress: Progress, awaited: Assignment | None, today: date) -> tuple[Statement, ...]:
    """A word to who sent nothing: no count of days, no reproach, one small step."""
    bpm = awaited.bpm if awaited is not None else _to_begin_again(progress)
    name = str(awaited.exercise.get("name") or "") if awaited is not None else ""
    said = [
        Statement(code="silent" if progress.n_takes else "first"),
        Statement(code="short-take-of" if name else "short-take", bpm=bpm, exercise=name),
    ]
    if awaited is not None and awaited.due_on is not None and awaited.due_on >= today:
        said.append(Statement(code="time-left", day=awaited.due_on))
    return tuple(said)


def _to_begin_again(progress: Progress) -> float | None:
    """The tempo after a pause: the next one, but no faster than what was played last."""
    if not progress.exercises:
        return None
    now = progress.exercises[0]
    tempi = [bpm for bpm in (now.next_bpm, now.weeks[-1].tried_bpm) if bpm is not None]
    return settable_bpm(min(tempi)) if tempi else None


def _doubts(new: Sequence[PastTake]) -> list[str]:
    """Why the new recordings cannot be trusted, most frequent first; none where most of them can."""
    lists = [doubts_of(take) for take in new]
    if sum(bool(doubts) for doubts in lists) < UNSURE_SHARE * len(lists):
        return []
    counts = Counter(code.replace(" ", "-") for doubts in lists for code in doubts)
    return sorted(counts, key=lambda code: (-counts[code], code))


def _good(
    now: ExerciseProgress, sure: Sequence[PastTake], past: History, looked: Sequence[Looked], before: Sequence[str]
) -> Statement | None:
    """What got better, the first that was not said last time; else what was held, or was well in every take."""
    told = {code.rpartition("/")[0] for code in before}
    shown = [*_faster(now, sure), *(_smaller(cause) for cause in now.causes if cause.state == "smaller")]
    for statement in shown:
        if statement.code not in told:
            return statement
    held = _held(sure)
    if held:
        bpm = held[min(past.takes_to_hold or now.takes_to_hold, len(held)) - 1]
        return Statement(code="held" if looked else "held-noted", bpm=bpm, n=sum(other >= bpm for other in held))
    well = {"even": all(one.even for one in looked), "every-strum": all(one.every_strum for one in looked)}
    codes = [code for code, true in well.items() if true and looked]
    fresh = [code for code in codes if code not in told] or codes
    return Statement(code=fresh[0]) if fresh else None


def _thanks(new: Sequence[PastTake]) -> Statement:
    n = sum(take.source == RECORDING for take in new)
    return Statement(code="thanks" if n else "thanks-noted", n=n)


def _held(sure: Sequence[PastTake]) -> list[float]:
    """The tempi of the takes that held, the highest first."""
    return sorted((take.bpm for take in sure if take.held and take.bpm is not None), reverse=True)


def _faster(now: ExerciseProgress, sure: Sequence[PastTake]) -> list[Statement]:
    """A tempo held in enough takes and higher than any before; a tempo in reach that rises."""
    found = []
    held, days = _held(sure), [take.played_on for take in sure if take.played_on]
    if len(held) >= now.takes_to_hold and held[0] == held[now.takes_to_hold - 1]:
        first = monday_of(min(days))
        once = [(w.monday, w.once_held_bpm) for w in now.weeks if w.once_held_bpm is not None]
        earlier = [bpm for monday, bpm in once if monday < first]
        if earlier and held[0] > max(earlier) and held[0] >= max(bpm for _, bpm in once):
            found.append(Statement(code="better-tempo", bpm=held[0]))
    if now.state == "rising":
        found.append(Statement(code="better-rising"))
    return found


def _smaller(cause: Cause) -> Statement:
    """A cause that has become smaller."""
    if cause.kind == "pair":
        before, _, after = cause.where.partition(">")
        return Statement(code="better-changes", where=Where(from_chord=before or None, to_chord=after))
    if cause.kind == "beat":
        return Statement(code="better-beat", where=Where(beat=int(cause.where)))
    return Statement(code=f"better-{cause.kind}")


SIDED = frozenset({"changes", "place", "drift", "step", "placement"})
"""Obstacles that lie early or late."""


def _obstacle_and_task(
    thing: Hindrance | None, following: Statement, sure: Sequence[PastTake]
) -> tuple[Statement, ...]:
    """The obstacle, if there is one, and what to do about it at the next tempo. Where most of the new takes did not
    hold and share no obstacle, that; of takes noted on a page it is not known what they share."""
    if thing is None and sum(take.held is False for take in sure) > len(sure) / 2:
        recorded = any(take.source == RECORDING for take in sure)
        return (*[Statement(code="not-yet")] * recorded, replace(following, code="task-once-more"))
    if thing is None:
        return (replace(following, code="task-go-on"),)
    side = ("-late" if thing.late else "-early") if thing.kind in SIDED else ""
    obstacle = Statement(code=f"obstacle-{thing.kind}{side}", where=thing.where, per_beat=thing.per_beat)
    task = replace(following, code=f"task-{TASKS[thing.kind]}", where=thing.where, per_beat=thing.per_beat)
    return obstacle, task


def _next_tempo(
    now: ExerciseProgress,
    practised: Practised | None,
    awaited: Assignment | None,
    sure: Sequence[PastTake],
    thing: Hindrance | None,
) -> Statement:
    """The next tempo: what the teacher has set since the newest take, else the one that the takes give. Who leans on
    the click stays at the tempo: no other mends that."""
    last = next((take.bpm for take in reversed(sure) if take.bpm is not None), None)
    bpm, subdivide = now.next_bpm, now.subdivide
    if thing is not None and thing.kind == "placement" and last is not None:
        bpm, subdivide = settable_bpm(last), False
    name = plain(practised.name) if practised is not None else ""
    meant = awaited is not None and name and plain(str(awaited.exercise.get("name") or "")) == name
    if awaited is not None and awaited.bpm is not None and meant:
        bpm, subdivide = awaited.bpm, False
    rises = bpm is not None and last is not None and bpm > last + 0.5
    return Statement(code="", bpm=bpm, rises=rises, subdivide=subdivide)
