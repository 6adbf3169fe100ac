"""Weeks of practice in words, for the teacher: a student's table; the weeks in three sentences, for pages and pictures.

Of the three, one improvement comes first, then what stands out, then one next step. Nobody is scolded, nothing is
advised that means more hours, and every number is one that was held or measured. (What students are sent has no
numbers of this kind: `strumclock.report.answer_words`.)
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from strumclock.report.cause_words import better_words, cause_words, day
from strumclock.report.trend_words import MINUS, beyond_tried, counted, rate_in_words, trend_lines

if TYPE_CHECKING:
    from strumclock.weeks import ExerciseProgress, Outlook, Progress, Span, Week

TABLE_NOTE = "tempi in bpm, jitter and mean offset in ms; + = late; – = none, or not known"
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


def tempo(bpm: float, beats_per_change: float | None = None) -> str:
    """A tempo, and the chord changes a minute that it means.

    Examples
    --------
    >>> tempo(84), tempo(84, 4)
    ('84 bpm', '84 bpm (21 changes a minute)')
    """
    changes = f" ({bpm / beats_per_change:.3g} changes a minute)" if beats_per_change else ""
    return f"{bpm:.4g} bpm{changes}"


def in_short(progress: Progress) -> tuple[str, ...]:
    """The weeks in at most three sentences.

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
    """The first sentence: an improvement that the weeks show, else what was done."""
    today, reach = progress.today, now.reach
    if now.state == "rising" and reach is not None:
        return (
            f"{_named(now)}: your tempo is rising, by about {rate_in_words(reach.per_week_bpm.value)} bpm a week; "
            f"{beyond_tried(now) or f'about {reach.now.value:.0f} bpm'} is in reach now."
        )
    better = next((c for c in now.causes if c.state == "smaller" and c.kind != "scatter"), now.more_even)
    if better is not None:
        return f"{_named(now)}: {better_words(better, today)}."
    if now.highest_held_bpm is not None and now.highest_held_in is not None:
        when = day(now.highest_held_in, today=today)
        return f"{_named(now)}: you held {tempo(now.highest_held_bpm, now.beats_per_change)} in the week of {when}."
    once = max((w.once_held_bpm for w in now.weeks if w.once_held_bpm is not None), default=None)
    if once is not None:
        return f"{_named(now)}: one of your takes held {tempo(once, now.beats_per_change)}."
    done = f"{counted(sum(week.n_takes for week in now.weeks), 'take')} in {counted(len(now.weeks), 'week')}"
    return f"{_named(now)}: you have put down {done}, so there is a record to build on."


def _stands_out(progress: Progress, now: ExerciseProgress) -> str | None:
    today, reach = progress.today, now.reach
    silent = progress.silent_days
    if progress.need == "silent" and progress.last_played is not None and silent is not None:
        return f"The last take is of {day(progress.last_played, today=today)}, {silent} days ago."
    stays = next((c for c in now.causes if c.stands and c.state != "smaller"), None)
    why = f"; {cause_words(stays)}" if stays is not None else ""
    if reach is not None and now.state in ("plateau", "level"):
        near = "the tempo in reach has stayed " + (
            "the same" if beyond_tried(now) else f"near {reach.now.value:.0f} bpm"
        )
        return f"Since about the week of {day(reach.since, today=today)} {near}{why}."
    if reach is not None and now.state == "falling":
        down = rate_in_words(-reach.per_week_bpm.value)
        near = f"by about {down} bpm a week, to about {reach.now.value:.0f} bpm"
        return f"The tempo in reach has come down lately, {near}{why}."
    if progress.need == "unsure":
        doubt = progress.doubts[0] if progress.doubts else ""
        mostly = f", mostly because {DOUBT_WORDS[doubt]}" if doubt in DOUBT_WORDS else ""
        return f"{progress.doubtful} of the last {progress.n_recent} recordings cannot be measured well{mostly}."
    if stays is not None:
        words = cause_words(stays)
        return f"{words[:1].upper()}{words[1:]}."
    if now.goal is not None:
        return _goal_in_short(now, now.goal, today)
    return None


def _goal_in_short(now: ExerciseProgress, goal: Outlook, today: date) -> str | None:
    if goal.reached_in is not None:
        return f"The goal of {goal.bpm:.4g} bpm is reached."
    if goal.in_reach:
        return f"The goal of {goal.bpm:.4g} bpm {'is' if _tried(now, goal.bpm) else 'may be'} in reach."
    if goal.earliest is not None and goal.latest is not None:
        span = _between(goal.earliest, goal.latest, today)
        return f"The goal of {goal.bpm:.4g} bpm may come into reach {span}, if it goes on like this."
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


def _tried(exercise: ExerciseProgress, bpm: float) -> bool:
    """Whether a take was played at a tempo or faster."""
    return any(week.tried_bpm is not None and week.tried_bpm >= bpm for week in exercise.weeks)


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
    lines.append(f"{counted(progress.n_takes, 'take')}{left_out}")
    for exercise in progress.exercises:
        lines += ["", _named(exercise), *(f"  {line}" for line in facts(exercise, today=progress.today)), ""]
        lines += [f"  {line}" for line in _table(exercise)]
    return "\n".join(lines)


def facts(exercise: ExerciseProgress, *, today: date | None = None) -> list[str]:
    """What the weeks of an exercise show, a line each."""
    per = exercise.beats_per_change
    takes = f"{counted(exercise.takes_to_hold, 'take')} of one week"
    lines = []
    if exercise.highest_held_bpm is not None and exercise.highest_held_in is not None:
        when = day(exercise.highest_held_in, today=today)
        lines.append(f"Highest tempo held by {takes}: {tempo(exercise.highest_held_bpm, per)}, in the week of {when}.")
    else:
        lines.append(f"No tempo was held by {takes} yet.")
    if exercise.reach is not None:
        reach = exercise.reach.now
        beyond = beyond_tried(exercise)
        lines.append(
            f"In reach: {beyond}; so far below it the takes cannot say how much more."
            if beyond
            else f"In reach: about {reach.value:.0f} bpm (between {reach.low:.0f} and {reach.high:.0f}), "
            f"where three of four takes would hold."
        )
        lines += trend_lines(exercise, exercise.reach, today)
    for cause in exercise.causes:
        words = cause_words(cause, today=today)
        lines.append(f"{words[:1].upper()}{words[1:]}.")
    if exercise.moved is not None:
        side = "later" if exercise.moved.by_ms > 0 else "earlier"
        lines.append(
            f"From the week of {day(exercise.moved.in_week, today=today)} on the strums lie about "
            f"{abs(exercise.moved.by_ms):.0f} ms {side} than before: was the phone or the click's speaker moved?"
        )
    if exercise.goal is not None:
        lines.append(_goal_line(exercise, exercise.goal, today))
    if exercise.next_bpm is not None:
        between = ", with a click between the beats too" if exercise.subdivide else ""
        at = tempo(exercise.next_bpm, per)
        on_the_way = ", on the way down" if _on_the_way_down(exercise) else ""
        lines.append(f"Next tempo: {at}{on_the_way}{between}; stop at any pain or tension.")
    return lines


def _on_the_way_down(exercise: ExerciseProgress) -> bool:
    """Whether the next tempo is slower than the last, but not yet what is in reach: it goes down a tenth at a time."""
    tried = next((week.tried_bpm for week in reversed(exercise.weeks) if week.tried_bpm is not None), None)
    if exercise.reach is None or exercise.next_bpm is None or tried is None:
        return False
    return exercise.reach.now.high < exercise.next_bpm < tried


def _goal_line(exercise: ExerciseProgress, goal: Outlook, today: date | None) -> str:
    wanted = tempo(goal.bpm, exercise.beats_per_change)
    head = f"Goal {wanted}" + (f" by {day(goal.by, today=today)}" if goal.by else "")
    if goal.reached_in is not None:
        return f"{head}: held in the week of {day(goal.reached_in, today=today)}."
    if goal.in_reach and not _tried(exercise, goal.bpm):
        return f"{head}: it may be in reach; it was not tried yet."
    if goal.in_reach:
        return f"{head}: in reach now, not held yet."
    if goal.earliest is None:
        return f"{head}: {goal.reason}."
    if goal.latest is None:
        return f"{head}: not before the week of {day(goal.earliest, today=today)}; it may not be reached."
    span = _between(goal.earliest, goal.latest, today or date.min)
    return f"{head}: in reach {span}, if it goes on like this; it may not be reached."


def weeks_table(exercise: ExerciseProgress) -> tuple[list[str], ...]:
    """The weeks of an exercise as cells of text, the header first; `TABLE_NOTE` says what they are."""
    header = ["week", "takes", "held", "tried", "in reach", "jitter", "mean offset"]
    if exercise.beats_per_change:
        header.insert(3, "changes/min")
    in_reach = dict(exercise.reach_known)
    rows = [_cells(week, in_reach.get(week.monday), bool(exercise.beats_per_change)) for week in exercise.weeks]
    return (header, *rows)


def _table(exercise: ExerciseProgress) -> list[str]:
    rows = weeks_table(exercise)
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    return [*lines, TABLE_NOTE]


def _cells(week: Week, reach: Span | None, changes: bool) -> list[str]:
    cells = [
        week.name,
        str(week.n_takes),
        _number(week.held_bpm),
        _number(week.tried_bpm),
        f"{reach.value:.0f}" if reach else "–",
        f"{week.jitter_ms.value:.0f}" if week.jitter_ms else "–",
        _signed_ms(week.offset_ms.value) if week.offset_ms else "–",
    ]
    if changes:
        cells.insert(3, "–" if week.changes_per_minute is None else f"{week.changes_per_minute:.1f}")
    return cells


def _signed_ms(value: float) -> str:
    text = f"{abs(value):.0f}"
    return text if text == "0" else f"{MINUS if value < 0 else '+'}{text}"


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.4g}"
