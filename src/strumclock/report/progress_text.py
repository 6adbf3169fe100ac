"""Weeks of practice in words: a student's table, and for each student of a class what the teacher can send.

What goes to a student has at most three sentences: one improvement first, then what stands out, then one next step.
Nobody is scolded, nothing is advised that means more hours, and every number is one that was held or measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strumclock.weeks import ExerciseProgress, Progress, Week

_TO_OCTOBER = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October")
MONTHS = (*_TO_OCTOBER, "November", "December")
MINUS = "\N{MINUS SIGN}"
NEED_WORDS = {
    "stuck": "the tempo is not rising",
    "falling": "the tempo is falling",
    "silent": "nothing recorded lately",
    "unsure": "the recordings are hard to measure",
    "fine": "going on",
}
DOUBT_WORDS = {
    "no click heard": "the click cannot be heard in them",
    "too little to judge": "they are too short to judge",
    "could not be measured": "their files cannot be read or hold no playing",
    "clipped": "they are overdriven",
    "truncated": "their files are cut off",
    "gaps": "their files have gaps",
    "poor-fit": "many strums fit no place of the pattern",
    "few-strums": "they hold few strums",
    "click-fades": "the click fades in them",
    "tempo-differs": "the click's tempo is another than the one told",
}
DOUBT_STEPS = {
    "no click heard": "for the next take let a second device play the click near the phone",
    "too little to judge": "let the next take last half a minute or longer",
    "could not be measured": "listen to the next recording before it is sent",
    "clipped": "for the next take put the phone a step further from the guitar",
    "poor-fit": "for the next take tell the pattern, or play the one that is told",
    "click-fades": "for the next take turn the phone's voice filter off, or put the click nearer to it",
    "tempo-differs": "for the next take write the click's tempo into the file's name",
}
RECENT_WEEKS = 8


def day(d: date, *, today: date | None = None) -> str:
    """A day in words, with its year unless that is today's.

    Examples
    --------
    >>> day(date(2026, 3, 2)), day(date(2026, 3, 2), today=date(2026, 5, 1))
    ('2 March 2026', '2 March')
    """
    year = "" if today is not None and d.year == today.year else f" {d.year}"
    return f"{d.day} {MONTHS[d.month - 1]}{year}"


def tempo(bpm: float, beats_per_change: float | None = None) -> str:
    """A tempo, and the chord changes a minute that it means.

    Examples
    --------
    >>> tempo(84), tempo(84, 4)
    ('84 bpm', '84 bpm (21 changes a minute)')
    """
    changes = f" ({bpm / beats_per_change:.3g} changes a minute)" if beats_per_change else ""
    return f"{bpm:.4g} bpm{changes}"


def to_send(progress: Progress) -> tuple[str, ...]:
    """At most three sentences that can be sent to the student.

    Parameters
    ----------
    progress : Progress

    Returns
    -------
    tuple of str
        One improvement (or what was done, where none can be shown); what stands out, if anything; one next step.
    """
    if not progress.exercises:
        return ("There is no take in the journal that counts yet.", "Next: one take of half a minute with the click.")
    now = progress.exercises[0]
    said = [_good(progress, now)]
    stands_out = _stands_out(progress, now)
    if stands_out:
        said.append(stands_out)
    said.append(_next_step(progress, now))
    return tuple(said)


def _good(progress: Progress, now: ExerciseProgress) -> str:
    """The first sentence: an improvement that the record shows, else what was done."""
    today, held = progress.today, [w for w in now.weeks if w.held_bpm is not None]
    best, first = now.highest_held_bpm, held[0].held_bpm if held else None
    if best is not None and first is not None and best > first and now.highest_held_in is not None:
        then, earlier = (day(monday, today=today) for monday in (now.highest_held_in, held[0].monday))
        return (
            f"{_named(now)}: in the week of {then} you held {tempo(best, now.beats_per_change)}, "
            f"{best - first:.4g} bpm more than in the week of {earlier}."
        )
    if now.evenness_improved and now.evenness is not None:
        before, after = now.evenness.line
        change = f"from a jitter of about {_share(before)} of the beat to {_share(after)}"
        return f"{_named(now)}: your strums have become more even, {change}."
    if best is not None and now.highest_held_in is not None:
        when = day(now.highest_held_in, today=today)
        return f"{_named(now)}: you held {tempo(best, now.beats_per_change)} in the week of {when}."
    once = max((w.once_held_bpm for w in now.weeks if w.once_held_bpm is not None), default=None)
    if once is not None:
        return f"{_named(now)}: one of your takes held {tempo(once, now.beats_per_change)}."
    done = f"{_count(sum(week.n_takes for week in now.weeks), 'take')} in {_count(len(now.weeks), 'week')}"
    return f"{_named(now)}: you have put down {done}, so there is a record to build on."


def _stands_out(progress: Progress, now: ExerciseProgress) -> str | None:
    today = progress.today
    silent = progress.silent_days
    if progress.need == "silent" and progress.last_played is not None and silent is not None:
        return f"The last take is of {day(progress.last_played, today=today)}, {silent} days ago."
    if now.stuck is not None:
        return (
            f"Since about the week of {day(now.stuck.since, today=today)} the tempo has stayed near "
            f"{now.stuck.bpm:.4g} bpm; before, it rose by about {now.stuck.before_per_week:.2g} bpm a week."
        )
    if now.state == "level" and now.reached is not None:
        return f"The tempo has been the same since the week of {day(now.reached.since, today=today)}."
    if now.state == "falling" and now.reached is not None:
        since = day(now.reached.since, today=today)
        return (
            f"Since the week of {since} the tempo has come down by about {-now.reached.slope.per_unit:.2g} bpm a week."
        )
    if now.leaning is not None:
        way = "pull ahead of" if now.leaning.drift_ms_per_min < 0 else "fall behind"
        all_of_them = now.leaning.n == now.leaning.of
        takes = f"In {'all' if all_of_them else now.leaning.n} of the last {now.leaning.of} takes"
        return f"{takes} the strums {way} the click, by about {abs(now.leaning.drift_ms_per_min):.0f} ms a minute."
    if progress.need == "unsure":
        doubt = progress.doubts[0] if progress.doubts else ""
        why = f", mostly because {DOUBT_WORDS[doubt]}" if doubt in DOUBT_WORDS else ""
        return f"{progress.doubtful} of the last {progress.n_recent} recordings cannot be measured well{why}."
    if now.goal is not None and now.goal.reached_in is not None:
        return f"The goal of {tempo(now.goal.bpm, now.beats_per_change)} is reached."
    if now.goal is not None and now.goal.earliest is not None and now.goal.latest is not None:
        span = _between(now.goal.earliest, now.goal.latest, today)
        return f"At the present rate the goal of {now.goal.bpm:.4g} bpm is held {span}."
    return None


def _next_step(progress: Progress, now: ExerciseProgress) -> str:
    if progress.need == "unsure":
        for doubt in progress.doubts:
            if doubt in DOUBT_STEPS:
                return f"Next: {DOUBT_STEPS[doubt]}."
    if now.next_bpm is None:
        return "Next: one take of half a minute with the click, its tempo in the file's name."
    slower = ", with a click between the beats too" if now.subdivide else ""
    takes = "one take" if progress.need == "silent" else "two takes"
    return f"Next: {takes} at {tempo(now.next_bpm, now.beats_per_change)}{slower}; stop at any pain or tension."


def _between(earliest: date, latest: date, today: date) -> str:
    if earliest == latest:
        return f"in about the week of {day(earliest, today=today)}"
    return f"between the weeks of {day(earliest, today=today)} and {day(latest, today=today)}"


def _named(exercise: ExerciseProgress) -> str:
    return exercise.label[:1].upper() + exercise.label[1:]


def _share(value: float) -> str:
    return f"{100 * value:.2g} %"


def _percent(log_sd: float) -> str:
    """A standard deviation of logarithms, as the factor that it is."""
    return f"{100 * (math.exp(log_sd) - 1):.0f} %"


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"


def progress_summary(progress: Progress) -> str:
    """A student's weeks: for each exercise what can be said, and a table.

    Parameters
    ----------
    progress : Progress

    Returns
    -------
    str
    """
    lines = [progress.student or "(no name)"]
    left_out = f", {progress.n_not_counted} of them not counted" if progress.n_not_counted else ""
    lines.append(f"{_count(progress.n_takes, 'take')}{left_out}")
    for exercise in progress.exercises:
        lines += ["", _named(exercise), *(f"  {line}" for line in facts(exercise, today=progress.today)), ""]
        lines += [f"  {line}" for line in _table(exercise)]
    return "\n".join(lines)


def facts(exercise: ExerciseProgress, *, today: date | None = None) -> list[str]:
    """What the weeks of an exercise show, a line each, each with what it rests on."""
    per = exercise.beats_per_change
    takes = f"{_count(exercise.takes_to_hold, 'take')} of one week"
    lines = []
    if exercise.highest_held_bpm is not None and exercise.highest_held_in is not None:
        when = day(exercise.highest_held_in, today=today)
        lines.append(f"Highest tempo held by {takes}: {tempo(exercise.highest_held_bpm, per)}, in the week of {when}.")
    else:
        lines.append(f"No tempo was held by {takes} yet.")
    lines.append(_trend_line(exercise, today))
    lines += _luck_lines(exercise)
    if exercise.moved is not None:
        side = "later" if exercise.moved.by_share > 0 else "earlier"
        by = _share(abs(exercise.moved.by_share))
        lines.append(
            f"From the week of {day(exercise.moved.in_week, today=today)} the strums lie {by} of a beat {side} "
            f"than before: was the phone or the click's speaker moved?"
        )
    if exercise.goal is not None:
        lines.append(_goal_line(exercise, today))
    if exercise.next_bpm is not None:
        between = ", with a click between the beats too" if exercise.subdivide else ""
        at = tempo(exercise.next_bpm, per)
        lines.append(f"Next tempo by the standard: {at}{between}; stop at any pain or tension.")
    return lines


def _trend_line(exercise: ExerciseProgress, today: date | None) -> str:
    if exercise.stuck is not None:
        return (
            f"Plateau near {exercise.stuck.bpm:.4g} bpm since about the week of "
            f"{day(exercise.stuck.since, today=today)} "
            f"(before: {exercise.stuck.before_per_week:+.2g} bpm a week; "
            f"{chance(exercise.stuck.p)} for a straight line)."
        )
    trend = exercise.reached if exercise.state in ("falling", "level") else exercise.tempo
    if trend is None or trend.slope.low is None or trend.slope.high is None:
        held = sum(w.held_bpm is not None for w in exercise.weeks)
        return f"Too early for a trend: {_count(held, 'week')} with a tempo held, six are needed."
    word = {"rising": "rises", "falling": "falls", "level": "is unchanged"}.get(exercise.state, "shows no sure trend")
    return (
        f"Tempo {word}: {signed(trend.slope.per_unit)} bpm a week, 95 % interval {signed(trend.slope.low)} to "
        f"{signed(trend.slope.high)} (Theil-Sen over {trend.n_weeks} weeks since {day(trend.since, today=today)}; "
        f"Mann-Kendall {chance(trend.test.p)})."
    )


def _luck_lines(exercise: ExerciseProgress) -> list[str]:
    spread = exercise.jitter
    if spread is None:
        return []
    if spread.p <= 0.05:
        verdict = "weeks differ by more than takes of one week do"
    else:
        verdict = "weeks differ no more than takes of one week do"
    line = (
        f"Jitter: from take to take it varies by {_percent(spread.within_sd)}, from week to week by "
        f"{_percent(spread.between_sd)}; {verdict} (F = {spread.f:.2g}, {chance(spread.p)})."
    )
    better = ["It has become more even."] if exercise.evenness_improved else []
    return [line, *better]


def _goal_line(exercise: ExerciseProgress, today: date | None) -> str:
    goal = exercise.goal
    assert goal is not None
    wanted = tempo(goal.bpm, exercise.beats_per_change)
    by = f" by {day(goal.by, today=today)}" if goal.by else ""
    if goal.reached_in is not None:
        return f"Goal {wanted}{by}: reached in the week of {day(goal.reached_in, today=today)}."
    if goal.earliest is not None and goal.latest is not None:
        span = _between(goal.earliest, goal.latest, today or date.min)
        return f"Goal {wanted}{by}: at the present rate held {span}."
    return f"Goal {wanted}{by}: {goal.reason}."


def chance(p: float) -> str:
    """A probability in words of a table.

    Examples
    --------
    >>> chance(0.034), chance(5e-7)
    ('p = 0.034', 'p < 0.001')
    """
    return f"p = {p:.2g}" if p >= 0.001 else "p < 0.001"


def signed(value: float) -> str:
    """A number with its sign, as typeset.

    Examples
    --------
    >>> signed(1.25), signed(-0.4), signed(0)
    ('+1.2', '−0.4', '0')
    """
    text = f"{abs(value):.2g}"
    if float(text) == 0:
        return "0"
    return f"{MINUS if value < 0 else '+'}{text}"


def _table(exercise: ExerciseProgress) -> list[str]:
    header = ["week", "takes", "held bpm", "tried to", "jitter", "mean offset"]
    if exercise.beats_per_change:
        header.insert(3, "changes/min")
    rows = [_cells(week, bool(exercise.beats_per_change)) for week in exercise.weeks]
    widths = [max(len(row[i]) for row in (header, *rows)) for i in range(len(header))]
    lines = ["  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in (header, *rows)]
    return [*lines, "jitter and mean offset in % of the beat; + = late; – = none, or not known"]


def _cells(week: Week, changes: bool) -> list[str]:
    cells = [
        week.name,
        str(week.n_takes),
        _number(week.held_bpm),
        _number(week.tried_bpm),
        f"{100 * week.jitter_share.value:.1f}" if week.jitter_share else "–",
        signed_percent(week.offset_share.value) if week.offset_share else "–",
    ]
    if changes:
        cells.insert(3, "–" if week.changes_per_minute is None else f"{week.changes_per_minute:.1f}")
    return cells


def signed_percent(share: float) -> str:
    """A share in percent to a tenth, with its sign."""
    text = f"{abs(100 * share):.1f}"
    return text if float(text) == 0 else f"{MINUS if share < 0 else '+'}{text}"


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.4g}"


def class_summary(students: Sequence[Progress]) -> str:
    """A class, those first who need the teacher most, each with what can be sent."""
    if not students:
        return "Nobody is in the journal yet."
    blocks = []
    for progress in students:
        head = f"{progress.student or '(no name)'}: {NEED_WORDS[progress.need]}"
        blocks.append("\n".join([head, *(f"  {sentence}" for sentence in to_send(progress))]))
    return "\n\n".join(blocks)
