"""A correction by hand, applied at once: the take is measured again where that needs it, and what changed is said.

What the click contradicts is refused, and nothing is written then: a told tempo that the clicks do not beat would be
passed over by every measuring afterwards.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version as installed_version
from pathlib import Path
from typing import Any

from strumclock.batch.files import Found, container_time, is_remote, sha256_of_file
from strumclock.batch.noted import Noted, Week
from strumclock.batch.planning import Plan, Planner
from strumclock.batch.running import Measure, Outcome, attempt, measure_file
from strumclock.errors import RecordingError, UsageError
from strumclock.journal import Journal, TakeEntry, plain
from strumclock.journal.edits import NAMELESS, TOLD_FIELDS, check_edit
from strumclock.journal.entry import sha256_of
from strumclock.journal.known import exercise_names
from strumclock.journal.one_take import OneTake, one_take
from strumclock.weeks import progress

BESIDE_THE_SOUND = ("excluded", "remark", "equipment")
"""What can be said of a take without any consequence for how it is measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Again:
    """The take as it must be from now on: the plan, and the measurement where one was needed."""

    plan: Plan
    outcome: Outcome | None


def note_take(
    journal: Journal,
    take: str | int,
    field: str,
    value: str | None,
    *,
    folder: str | os.PathLike[str] | None = None,
    measure: Measure = measure_file,
) -> Noted:
    """Correct what was played, when and by whom, exclude a take or write a remark about it.

    Parameters
    ----------
    journal : Journal
    take : str or int
        Its number, its file's path or name, or the first figures of its hash.
    field : str
        ``student``, ``date``, ``exercise``, ``equipment``, a field of the exercise such as ``bpm``; ``excluded`` with
        the reason; ``remark``.
    value : str or None
        None takes back what was said by hand.
    folder : path, optional
        The folder that is measured with ``batch``; the journal's own by default.
    measure : callable
        The measuring itself.

    Returns
    -------
    Noted
        What is different now.

    Raises
    ------
    UsageError
        If there is no such take or field, the value is impossible or contradicted by the click, or the take must be
        measured again and its recording is not there. Nothing is written then.
    RecordingError
        If the take cannot be measured with the correction. Nothing is written then.

    Examples
    --------
    >>> import tempfile
    >>> from strumclock.examples import example_journal
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     print(note_take(example_journal(folder), 1, "excluded", "read off the wrong line"))
    take 1 does not count any more: read off the wrong line
    """
    if field not in ("excluded", "remark"):
        check_edit(field, value)
    before = one_take(journal, take)
    whose = {before.student, value or ""} if field == "student" else {before.student}
    weeks = _weeks(journal, whose)
    again = None
    if field not in BESIDE_THE_SOUND and before.source == "recording":
        again = _again(journal, before, field, value, folder, measure)
    _write(journal, before, field, value, again)
    return Noted(
        before=before,
        after=one_take(journal, before.id),
        field=field,
        measured=again is not None and again.outcome is not None,
        notices=_new_notices(before, again),
        weeks_before=weeks,
        weeks_after=_weeks(journal, whose),
    )


def _again(
    journal: Journal,
    before: OneTake,
    field: str,
    value: str | None,
    folder: str | os.PathLike[str] | None,
    measure: Measure,
) -> _Again | None:
    """The take planned anew, and measured where that changes what it is measured with; None without its sound."""
    path = _path_of(journal, before)
    if path is None:
        if field in TOLD_FIELDS or value is None:
            raise UsageError(
                f"a take whose {field} is corrected must be measured again, but its recording {before.name} is not "
                "there, or holds another sound; put it back, or leave the take out with --exclude"
            )
        return None
    plan = _plan(journal, before, path, {**journal.edits_of(before.identity), field: value}, folder)
    if plan.error is not None:
        raise UsageError(plan.error)
    if value is not None and plan.settings == before.settings and before.error is None:
        return _Again(plan=plan, outcome=None)
    outcome = attempt(plan, measure)
    if outcome.error is not None:
        told = f"with {field} {value}" if value is not None else f"without the corrected {field}"
        raise RecordingError(f"{before.name} must be measured again {told}, but: {outcome.error}")
    if field == "bpm" and value is not None:
        _refuse_other_click(outcome.measurement or {}, value)
    return _Again(plan=outcome.plan, outcome=outcome)


def _path_of(journal: Journal, take: OneTake) -> str | None:
    """Where the take's own sound lies on this machine; None where it does not."""
    if take.path is None or is_remote(take.path):
        return None
    path = Path(take.path) if journal.root is None else journal.root / take.path
    if not path.is_file() or sha256_of_file(str(path)) != sha256_of(take.identity):
        return None
    return str(path)


def _plan(
    journal: Journal, take: OneTake, path: str, edits: dict[str, str | None], folder: str | os.PathLike[str] | None
) -> Plan:
    """What a batch of the folder would make of the take with these corrections; whose it is stays as it is."""
    state = os.stat(path)
    place = os.path.dirname(path)
    homes = (folder, journal.root)
    root = next((str(Path(h).resolve()) for h in homes if h is not None and _lies_in(place, h)), place)
    found = Found(path=path, folder=place, size=state.st_size, stamp="", changed_at=state.st_mtime)
    planner = Planner(
        root,
        edits={take.identity: {"student": take.student, **edits}},
        name_of=journal.name_of,
        container_time=lambda one: container_time(one.path),
        former=exercise_names(journal),
    )
    plans = planner.plans(found, sha256_of(take.identity) or "")
    mine = [plan for plan in plans if plan.identity == take.identity]
    if not mine:
        raise UsageError(
            f"a take that is corrected must be one of its recording as takes.csv has it now, but {take.name} is not; "
            "measure the folder with batch first"
        )
    return mine[0]


def _lies_in(place: str, folder: str | os.PathLike[str]) -> bool:
    return not is_remote(folder) and Path(place).resolve().is_relative_to(Path(folder).resolve())


def _refuse_other_click(measurement: Mapping[str, Any], value: str) -> None:
    heard = (measurement.get("grid") or {}).get("bpm_heard")
    if heard is not None and "tempo-differs" in {warning["code"] for warning in measurement["warnings"]}:
        raise UsageError(
            f"a tempo that is told must be the click's, but the clicks in the recording beat {heard['value']:.1f} a "
            f"minute and {value} came; tell {heard['value']:.0f}, or exclude the take (nothing was changed)"
        )


def _write(journal: Journal, before: OneTake, field: str, value: str | None, again: _Again | None) -> None:
    if field == "excluded":
        if value is None:
            journal.include(before.id)
        else:
            journal.exclude(before.id, value)
    elif field == "remark":
        journal.annotate(before.id, value)
    else:
        journal.correct(before.id, field, value, measured=_entry(before, field, again) if again else None)


def _entry(before: OneTake, field: str, again: _Again) -> TakeEntry | None:
    """The take as it is written down anew; None where it need not be."""
    if again.outcome is None:
        return None
    student = again.plan.student if field == "student" else before.student
    return again.outcome.entry(
        version=installed_version("strumclock"), identity=before.identity, student=student, path=before.path
    )


def _new_notices(before: OneTake, again: _Again | None) -> tuple[str, ...]:
    """What the new measurement warns of and the old one did not."""
    if again is None or again.outcome is None or again.outcome.measurement is None:
        return ()
    warnings = again.outcome.measurement["warnings"]
    return tuple(str(one["message"]) for one in warnings if one["code"] not in before.warnings)


def _weeks(journal: Journal, names: set[str]) -> tuple[Week, ...]:
    """What the weeks of some students come to now, by exercise."""
    known_names = {plain(name): name for name in journal.students()}
    found = []
    for name in sorted({plain(one) for one in names} & known_names.keys()):
        for one in progress(journal, known_names[name] or NAMELESS).exercises:
            found.append(
                Week(
                    student=known_names[name], exercise=one.label, held_bpm=one.highest_held_bpm, next_bpm=one.next_bpm
                )
            )
    return tuple(found)
