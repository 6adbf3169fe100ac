"""One take measured again at once, after somebody corrected what is told of it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from strumclock.batch.cache import KnownFiles, KnownTakes
from strumclock.batch.files import Found
from strumclock.batch.planning import Planner
from strumclock.batch.running import Measure, attempt, measure_file
from strumclock.errors import UsageError
from strumclock.journal import Journal
from strumclock.journal.edits import known_take


def correct(
    journal: Journal, take: str | int, field: str, value: str | None, *, measure: Measure = measure_file
) -> str:
    """Correct a field of a take by hand, and let the record follow at once.

    Parameters
    ----------
    journal : Journal
    take : str or int
        Its number, file or hash.
    field : str
    value : str or None
        None takes a correction back.
    measure : callable
        The measuring itself.

    Returns
    -------
    str
        What changed, in a line or two.

    Raises
    ------
    UsageError
        If the field or value makes no sense, or the sound contradicts it: nothing is changed then.
    """
    with journal.reading() as connection:
        row = known_take(connection, take)
    before = journal.edits_of(row.identity).get(field)
    again = journal.correct(row.id, field, value)
    now = "as it was before anybody corrected it" if value is None else value
    said = f"{row.path or take}: {field} is {now}"
    if not again or row.source != "recording":
        return said
    path = Path(journal.root or ".") / (row.path or "")
    if journal.root is None or not path.is_file():
        return f"{said}; the next batch that finds the recording measures it again"
    try:
        return f"{said}; {_measured_again(journal, path, row.identity, measure)}"
    except UsageError:
        journal.correct(row.id, field, before)
        raise


def _measured_again(journal: Journal, path: Path, identity: str, measure: Measure) -> str:
    """Measure a file as it is told now, write it down, and say what came of it."""
    state = os.stat(path)
    found = Found(
        path=str(path),
        folder=str(path.parent),
        size=state.st_size,
        stamp=str(state.st_mtime_ns),
        changed_at=state.st_mtime,
    )
    files, takes = KnownFiles(journal, str(path.parent)), KnownTakes(journal)
    sha256 = files.sha256(found)
    planner = Planner(
        str(journal.root), edits=journal.edits(), name_of=journal.name_of, container_time=files.container_time
    )
    plan = next((one for one in planner.plans(found, sha256) if one.identity == identity), None)
    if plan is None:
        return "its file holds another sound now: the next batch looks at it"
    if plan.error is not None:
        raise UsageError(plan.error)
    outcome = attempt(plan, measure)
    if outcome.error is not None or outcome.measurement is None:
        raise UsageError(f"{plan.name} must be measurable as it is told now, but: {outcome.error}")
    _refuse_what_the_click_contradicts(plan.name, outcome.measurement, plan.told.get("bpm"))
    takes.write(outcome, files)
    held = (outcome.measurement["held"] or {}).get("held")
    bpm = outcome.measurement["exercise"]["bpm"]
    at = "" if bpm is None else f" {bpm:.4g} bpm"
    return "measured again:" + {True: f"{at} held", False: f"{at} not held yet", None: " it cannot be judged"}[held]


def _refuse_what_the_click_contradicts(name: str, measurement: Mapping[str, Any], told: float | None) -> None:
    """A tempo that the click of the recording does not have, nor half or double of it, is a slip."""
    codes = {warning["code"] for warning in measurement["warnings"]}
    heard = ((measurement["grid"] or {}).get("bpm_heard") or {}).get("value")
    if told is not None and heard is not None and "tempo-differs" in codes:
        raise UsageError(
            f"a tempo must be the one that was played, but {told:g} came and the click of {name} is heard at "
            f"{heard:.1f} bpm; correct it to that"
        )
