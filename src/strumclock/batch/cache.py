"""What the journal knows already: files that were read, takes that were measured; so that only what changed is done."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version as installed_version
from typing import Any

import sqlalchemy as sa

from strumclock.batch.files import Found, container_time, is_remote, local_copy, sha256_of_file
from strumclock.batch.planning import Plan
from strumclock.batch.report import Failure
from strumclock.batch.running import Outcome
from strumclock.batch.settings import SettingsFiles
from strumclock.journal import Journal, TakeEntry, plain
from strumclock.journal.edits import set_goal
from strumclock.journal.entry import exercise_row, sha256_of
from strumclock.journal.schema import exercises, files, students, takes
from strumclock.journal.writing import exercise_id, upsert

CLOCK_STEP_S = 2.0
"""A file changed this shortly before it was read may change again within the same time stamp (FAT counts 2 s)."""
CHUNK = 500
ABOUT = ("path", "played_on", "played_at", "date_source", "equipment", "remark", "excluded")


class KnownFiles:
    """Which file holds which sound; read again only when size or time stamp changed."""

    def __init__(self, journal: Journal, root: str) -> None:
        self._journal = journal
        below = journal.name_of(root.rstrip("/") + "/x").removesuffix("x")
        with journal.reading() as connection:
            query = sa.select(files).where(files.c.path.startswith(below, autoescape=True))
            self._rows: dict[str, dict[str, Any]] = {row.path: dict(row._mapping) for row in connection.execute(query)}
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
        if not self._changed and not gone:
            return
        with self._journal.writing() as connection:
            for name in sorted(self._changed - gone):
                upsert(connection, files, self._rows[name], on=("path",))
            for name in gone:
                connection.execute(files.delete().where(files.c.path == name))


@dataclass(slots=True, kw_only=True)
class Tally:
    """Plans that need no measuring."""

    unchanged: int = 0
    failed: list[Failure] = field(default_factory=list)


class KnownTakes:
    """Which takes are measured, and with what."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._version = installed_version("strumclock")
        self.changed = False

    def still_to_do(self, plans: Sequence[Plan]) -> tuple[list[Plan], Tally]:
        """The plans that must be measured; what changed about the others but for the sound is brought up to date."""
        todo, tally = [], Tally()
        for start in range(0, len(plans), CHUNK):
            part = plans[start : start + CHUNK]
            known = self._rows(part)
            moved = []
            for plan in part:
                row = known.get((plan.identity, plain(plan.student)))
                if plan.error:
                    tally.failed.append(Failure(path=plan.name, error=plan.error))
                    continue
                if (
                    row is None
                    or row.retry
                    or row.superseded_by
                    or (row.settings, row.version)
                    != (
                        plan.settings,
                        self._version,
                    )
                ):
                    todo.append(plan)
                    continue
                if row.status == "failed":
                    tally.failed.append(Failure(path=plan.name, error=row.error))
                else:
                    tally.unchanged += 1
                if self._moved(row, plan):
                    moved.append((plan, row))
            self._bring_up_to_date(moved)
            self._retire(part)
        return todo, tally

    def _rows(self, plans: Sequence[Plan]) -> dict[tuple[str, str], Any]:
        names = ("id", "identity", "settings", "version", "status", "error", "retry", "superseded_by", *ABOUT)
        query = sa.select(*(takes.c[name] for name in names), students.c.key, exercises.c.key.label("exercise"))
        query = query.join(students, takes.c.student_id == students.c.id)
        query = query.outerjoin(exercises, takes.c.exercise_id == exercises.c.id)
        query = query.where(takes.c.identity.in_({plan.identity for plan in plans}))
        with self._journal.reading() as connection:
            return {(row.identity, row.key): row for row in connection.execute(query)}

    def _moved(self, row: Any, plan: Plan) -> bool:
        about = all(getattr(row, name) == getattr(plan, "name" if name == "path" else name) for name in ABOUT)
        return not about or row.exercise != exercise_row(plan.told)["key"]

    def _bring_up_to_date(self, moved: Sequence[tuple[Plan, Any]]) -> None:
        if not moved:
            return
        self.changed = True
        with self._journal.writing() as connection:
            for plan, row in moved:
                values = {name: getattr(plan, "name" if name == "path" else name) for name in ABOUT}
                values["exercise_id"] = exercise_id(connection, plan.told)
                connection.execute(takes.update().where(takes.c.id == row.id).values(**values))

    def _retire(self, plans: Sequence[Plan]) -> None:
        """A recording that is now measured in parts no longer counts as a whole, and the other way round."""
        wanted = {plan.identity for plan in plans}
        first = {sha256_of(plan.identity): plan.identity for plan in plans}
        with self._journal.reading() as connection:
            stale = []
            for sha256, identity in first.items():
                span = sa.and_(takes.c.identity >= f"sha256:{sha256}", takes.c.identity < f"sha256:{sha256}~")
                query = sa.select(takes.c.id, takes.c.identity).where(span, takes.c.superseded_by.is_(None))
                stale += [(row.id, identity) for row in connection.execute(query) if row.identity not in wanted]
        if stale:
            self.changed = True
            with self._journal.writing() as connection:
                for take, identity in stale:
                    connection.execute(takes.update().where(takes.c.id == take).values(superseded_by=identity))

    def write(self, outcome: Outcome, known_files: KnownFiles) -> None:
        """Write down what came of one take."""
        self.changed = True
        plan = outcome.plan
        before = known_files.before(plan.name)
        self._journal.record(
            TakeEntry(
                identity=plan.identity,
                student=plan.student,
                path=plan.name,
                played_on=plan.played_on,
                played_at=plan.played_at,
                date_source=plan.date_source,
                equipment=plan.equipment,
                remark=plan.remark,
                excluded=plan.excluded,
                exercise=plan.told,
                measurement=outcome.measurement,
                error=outcome.error,
                retry=outcome.retry,
                settings=plan.settings,
                version=self._version,
                replaces=f"sha256:{before}" if before else None,
            )
        )

    def set_standards(self, settings: SettingsFiles, plans: Sequence[Plan], folders: Mapping[str, str]) -> None:
        """How many takes must hold a tempo, by practice.toml, and its goals for the students who play the exercise."""
        asked = {plain(plan.student): settings.of(folders[plan.path]).takes_to_hold for plan in plans}
        with self._journal.reading() as connection:
            rows = {row.key: row.takes_to_hold for row in connection.execute(sa.select(students))}
        changed = {key: value for key, value in asked.items() if key in rows and rows[key] != value}
        if changed:
            with self._journal.writing() as connection:
                for key, value in changed.items():
                    connection.execute(students.update().where(students.c.key == key).values(takes_to_hold=value))
        self._set_goals(settings, plans, folders)

    def _set_goals(self, settings: SettingsFiles, plans: Sequence[Plan], folders: Mapping[str, str]) -> None:
        wanted: dict[tuple[str, str], tuple[Plan, Any]] = {}
        for plan in plans:
            known = settings.of(folders[plan.path]).exercise(plan.told.get("name"))
            if known is not None and known.goal_bpm is not None:
                wanted[plain(plan.student), exercise_row(plan.told)["key"]] = (plan, known)
        if not wanted:
            return
        with self._journal.writing() as connection:
            for plan, known in wanted.values():
                set_goal(connection, plan.student, dict(plan.told), known.goal_bpm, known.goal_by)

    def same_sound(self, plans: Sequence[Plan]) -> tuple[tuple[str, str], ...]:
        """Files that hold a performance that another file holds too: (the file, the earlier one)."""
        other = takes.alias()
        query = sa.select(takes.c.identity, takes.c.path, other.c.path.label("first")).join(
            other, sa.and_(takes.c.same_sound_as == other.c.identity, takes.c.student_id == other.c.student_id)
        )
        wanted = {plan.identity for plan in plans}
        with self._journal.reading() as connection:
            rows = [row for row in connection.execute(query) if row.identity in wanted]
        return tuple(sorted((row.path, row.first) for row in rows))

    def without_tempo(self, plans: Sequence[Plan]) -> set[str]:
        """Identities of measured takes whose tempo neither was told nor heard."""
        wanted = {plan.identity for plan in plans if "bpm" not in plan.told}
        if not wanted:
            return set()
        query = sa.select(takes.c.identity).where(takes.c.bpm.is_(None), takes.c.status == "measured")
        with self._journal.reading() as connection:
            return wanted & set(connection.execute(query).scalars())
