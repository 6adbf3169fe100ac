"""What the journal knows already: files that were read, takes that were measured; so that only what changed is done."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version as installed_version
from typing import Any

from strumclock.batch.assigned import for_student
from strumclock.batch.files import Found, container_time, is_remote, local_copy, sha256_of_file
from strumclock.batch.planning import Plan
from strumclock.batch.report import Failure
from strumclock.batch.running import Outcome
from strumclock.batch.settings import SettingsFiles
from strumclock.journal import Journal, known, plain
from strumclock.journal.entry import exercise_row
from strumclock.journal.schema import CHUNK

CLOCK_STEP_S = 2.0
"""A file changed this shortly before it was read may change again within the same time stamp (FAT counts 2 s)."""


class KnownFiles:
    """Which file holds which sound; read again only when size or time stamp changed."""

    def __init__(self, journal: Journal, root: str) -> None:
        self._journal = journal
        below = journal.name_of(root.rstrip("/") + "/x").removesuffix("x")
        self._rows = known.known_files(journal, below)
        self._changed: set[str] = set()
        self._before: dict[str, str] = {}

    def sha256(self, found: Found) -> str:
        """The hash of a file's bytes, from the journal where the file has not changed."""
        name = self._journal.name_of(found.path)
        row = self._rows.get(name)
        if row and self._same(row, found):
            return str(row["sha256"])
        with local_copy(found.path) as path:
            read_at = time.time()
            digest = sha256_of_file(path)
            said = container_time(path) if is_remote(found.path) else None
        if row and row["sha256"] != digest:
            self._before[name] = row["sha256"]
        self._rows[name] = {
            "path": name,
            "sha256": digest,
            "size": found.size,
            "stamp": found.stamp,
            "hashed_at": read_at,
            "student_key": None,
            "container_date": said,
        }
        self._changed.add(name)
        return digest

    def _same(self, row: Mapping[str, Any], found: Found) -> bool:
        if (row["size"], row["stamp"]) != (found.size, found.stamp):
            return False
        return found.changed_at is None or row["hashed_at"] > found.changed_at + CLOCK_STEP_S

    def container_time(self, found: Found) -> str | None:
        """When the container says that it was made; looked up once."""
        name = self._journal.name_of(found.path)
        row = self._rows[name]
        if row["container_date"] is None:
            row["container_date"] = "" if is_remote(found.path) else container_time(found.path) or ""
            self._changed.add(name)
        return row["container_date"] or None

    def before(self, name: str) -> str | None:
        """The hash that the file had when it was last read, if that was another."""
        return self._before.get(name)

    def write(self, found: Sequence[Found], plans: Iterable[Plan]) -> None:
        """Write down what was read, whose it is, and what is gone."""
        for plan in plans:
            row = self._rows.get(plan.name)
            if row is not None and row["student_key"] != plain(plan.student):
                row["student_key"] = plain(plan.student)
                self._changed.add(plan.name)
        gone = self._rows.keys() - {self._journal.name_of(f.path) for f in found}
        if self._changed or gone:
            known.note_files(self._journal, [self._rows[name] for name in sorted(self._changed - gone)], gone)


@dataclass(slots=True, kw_only=True)
class Tally:
    """Plans that need no measuring."""

    unchanged: int = 0
    failed: list[Failure] = field(default_factory=list)
    unfit: list[str] = field(default_factory=list)


class KnownTakes:
    """Which takes are measured, and with what."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._version = installed_version("strumclock")
        self.moves: dict[str, set[str]] = {}
        """Whose takes go to whom, by the students' keys."""

    def still_to_do(self, plans: Sequence[Plan]) -> tuple[list[Plan], Tally]:
        """The plans that must be measured; what changed about the others but for the sound is brought up to date."""
        todo, tally = [], Tally()
        for start in range(0, len(plans), CHUNK):
            part = plans[start : start + CHUNK]
            rows = known.known_takes(self._journal, {plan.identity for plan in part})
            moved = []
            for plan in part:
                mine = plain(plan.student)
                row = rows.get((plan.identity, mine))
                for _, other in () if row else (key for key in rows if key[0] == plan.identity):
                    self.moves.setdefault(other, set()).add(mine)
                if plan.error:
                    tally.failed.append(Failure(path=plan.name, error=plan.error))
                    continue
                unfit = row is not None and plan.otherwise is not None and row.settings == plan.otherwise.settings
                known_so = row is not None and (unfit or row.settings == plan.settings)
                if row is None or row.stale or not known_so or row.version != self._version:
                    todo.append(plan)
                    continue
                if row.error is not None:
                    tally.failed.append(Failure(path=plan.name, error=row.error))
                else:
                    tally.unchanged += 1
                kept = plan
                if unfit and plan.otherwise is not None:
                    kept = plan.otherwise  # it did not fit what was set when it was measured
                    tally.unfit.append(plan.name)
                if row.about != _about(kept) or row.exercise_key != exercise_row(kept.told)["key"]:
                    moved.append((row.id, _about(kept), kept.told))
            if moved:
                known.tell_about(self._journal, moved)
            known.retire(self._journal, {plan.identity for plan in part})
        return todo, tally

    def write(self, outcome: Outcome, known_files: KnownFiles) -> None:
        """Write down what came of one take."""
        before = known_files.before(outcome.plan.name)
        replaces = f"sha256:{before}" if before else None
        self._journal.record(outcome.entry(version=self._version, replaces=replaces))

    def set_standards(self, settings: SettingsFiles, plans: Sequence[Plan], folders: Mapping[str, str]) -> None:
        """How many takes must hold a tempo, by practice.toml, and its goals for the students who play the exercise."""
        asked = {plain(plan.student): settings.of(folders[plan.path]).takes_to_hold for plan in plans}
        known.set_takes_to_hold(self._journal, asked)
        wanted: dict[tuple[str, str], known.Goal] = {}
        for plan in plans:
            told = settings.of(folders[plan.path]).exercise(plan.told.get("name"))
            if told is not None and told.goal_bpm is not None:
                goal = known.Goal(student=plan.student, exercise=plan.told, bpm=told.goal_bpm, by=told.goal_by)
                wanted[plain(plan.student), exercise_row(plan.told)["key"]] = goal
        known.set_goals(self._journal, wanted.values())

    def set_assignments(self, settings: SettingsFiles, students: Mapping[str, str]) -> None:
        """What practice.toml says was set, for the students of its folder: by name, the folder that speaks for them."""
        given = []
        for student, folder in students.items():
            told = settings.of(folder)
            given += list(for_student(told.assignments, student, told.exercises))
        if given:
            self._journal.assign(given)

    def same_sound(self, plans: Sequence[Plan]) -> tuple[tuple[str, str], ...]:
        """Files that hold a performance that another file holds too: (the file, the earlier one)."""
        return known.same_sound(self._journal, {plan.identity for plan in plans})

    def without_tempo(self, plans: Sequence[Plan]) -> set[str]:
        """Identities of measured takes whose tempo neither was told nor heard."""
        return known.without_tempo(self._journal, {plan.identity for plan in plans if "bpm" not in plan.told})


def _about(plan: Plan) -> dict[str, Any]:
    """What is known of a take beside its sound."""
    return {name: getattr(plan, "name" if name == "path" else name) for name in known.ABOUT}
