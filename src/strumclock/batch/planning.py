"""What was played, when and by whom: for each recording, from what was told, in order of precedence.

A correction by hand, a row of takes.csv, the file's name, practice.toml, the folder's name (the student), what was set
then (the exercise, if the sound fits it), the sound itself. The date: told, the name, the container's creation time,
the file's time (uncertain: it does not count until it is confirmed). What stays unknown is listed under what it needs.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, is_dataclass, replace
from datetime import date, datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from strumclock.batch.assigned import ToldAssignment, set_then
from strumclock.batch.files import Found
from strumclock.batch.names import NameSays, match_exercise, read_name
from strumclock.batch.renamed import Former, former_names, named_so
from strumclock.batch.settings import EXERCISE_FIELDS, Settings, SettingsFiles, value_of
from strumclock.batch.students import student_of
from strumclock.batch.table import Row, Table, file_key, read_table
from strumclock.errors import UsageError, printable
from strumclock.grid import Exercise
from strumclock.journal import identity_of, plain

if TYPE_CHECKING:
    # the package loads scipy, which a batch that finds nothing new can spare
    from strumclock.verdict import Standard

NEED_STUDENT = 'the student\'s name: student = "…" in practice.toml'
NEED_EXERCISE = "the exercise: in the file's name, or a row of takes.csv"
NEED_FIT = "the exercise, since the sound does not fit what was set then: in the file's name, or a row of takes.csv"
NEED_DATE = "the date, which is only the file's time: in the file's name, or a row of takes.csv"
NEED_TEMPO = "the tempo, which no click told: @84 in the file's name, bpm in practice.toml or takes.csv"

UNFIT_MARK = "-unfit"
"""Behind the fingerprint of what a take was tried as and did not fit: it is not tried again until that changes."""

Edits = Mapping[str, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One take to be measured.

    Attributes
    ----------
    path, name : str
        Where it lies, and how the journal calls it.
    identity : str
    student : str
        Empty where nobody told it.
    told : mapping
        The exercise's fields, ``name`` included, as told.
    options : mapping
        For the measuring: click, start_s, standard, changes …
    played_on, played_at, date_source : as in the journal
    equipment, remark, excluded : str or None
    settings : str
        Fingerprint of all that the measuring depends on.
    needs : tuple of str
    problems : tuple of str
        What was told and cannot be, and was passed over.
    error : str or None
        Why it is not measured.
    assumed : ToldAssignment or None
        Nobody named the exercise: this one was set then.
    otherwise : Plan or None
        The plan where the sound does not fit what was set: its exercise stays unknown.
    """

    path: str
    name: str
    identity: str
    student: str = ""
    told: Mapping[str, Any] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    played_on: date | None = None
    played_at: datetime | None = None
    date_source: str | None = None
    equipment: str | None = None
    remark: str | None = None
    excluded: str | None = None
    settings: str = ""
    needs: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    error: str | None = None
    assumed: ToldAssignment | None = None
    otherwise: Plan | None = None

    @property
    def exercise(self) -> Exercise:
        """The exercise, checked."""
        return Exercise(**self.told)


class Planner:
    """Makes plans; reads each settings file and table once.

    Parameters
    ----------
    root : str
        The batch's folder: tables of folders above it are not looked at.
    edits : mapping
        Hand corrections by identity.
    name_of : callable
        How the journal calls a path.
    container_time : callable
        Gives a recording's creation time as its container says it (ISO 8601), or None.
    former : mapping of str to collection, optional
        Names that the journal's exercises have or had, with the details told with each.
    standard, changes, tuning
        As in `measure_folder`; they win over practice.toml.
    assume : bool
        Take what was set then for the exercise, where nobody names one.
    """

    def __init__(
        self,
        root: str,
        *,
        edits: Mapping[str, Edits],
        name_of: Callable[[str], str],
        container_time: Callable[[Found], str | None],
        former: Former = MappingProxyType({}),
        standard: str | Standard | None = None,
        changes: bool | None = None,
        tuning: bool | None = None,
        assume: bool = True,
    ) -> None:
        self._root = root
        self._assume = assume
        self._former = former
        self._edits = edits
        self._name_of = name_of
        self._container_time = container_time
        self._asked = {
            key: value
            for key, value in (("standard", standard), ("changes", changes), ("tuning", tuning))
            if value is not None
        }
        self.settings = SettingsFiles()
        self._tables: dict[str, Table] = {}

    def plans(self, found: Found, sha256: str) -> list[Plan]:
        """The takes in one recording: one, unless takes.csv names several parts of it."""
        rows = self._rows(found) or (Row(where=""),)
        return [self._plan(found, sha256, row) for row in rows]

    def _rows(self, found: Found) -> tuple[Row, ...]:
        """The rows about a file in its folder's table, or in one of those above up to the batch's folder."""
        folder, relative = found.folder, found.name
        while True:
            if folder not in self._tables:
                self._tables[folder] = read_table(folder)
            rows = self._tables[folder].rows.get(file_key(relative))
            if rows:
                return rows
            above, _, last = folder.replace("\\", "/").rpartition("/")
            if len(folder) <= len(self._root) or not above:
                return ()
            folder, relative = folder[: len(above)], f"{last}/{relative}"

    def _plan(self, found: Found, sha256: str, row: Row) -> Plan:
        identity = identity_of(sha256, row.start_s, row.end_s)
        bare = Plan(path=found.path, name=self._name_of(found.path), identity=identity)
        try:
            if row.error:
                raise UsageError(row.error)
            return self._told(bare, found, row, self._edits.get(identity, {}))
        except UsageError as error:
            settings = self.settings.of(found.folder) if row.error else Settings()
            return replace(bare, student=settings.student or "", error=str(error))

    def _told(self, bare: Plan, found: Found, row: Row, edits: Edits) -> Plan:
        settings = self.settings.of(found.folder)
        says = read_name(printable(found.name).rpartition(".")[0])
        student = edits.get("student") or row.student or settings.student or self.student_of(found.folder) or ""
        dated = self._dated(bare, found, row, says, edits)
        name, known_told, known_options = self._exercise(settings, says, row, edits)
        plan = self._complete(dated, settings, says, row, edits, (student, name, known_told, known_options))
        if not self._assume or name is not None or row.told or says.words is not None:
            return plan
        assumed = set_then(settings.assignments, student, dated.played_on) or _only_one(settings)
        if assumed is None:
            return plan
        known = settings.exercises[plain(assumed.exercise)]
        guess = self._complete(dated, settings, says, row, edits, (student, known.name, known.told, known.options))
        return replace(guess, assumed=assumed, otherwise=replace(plan, settings=f"{guess.settings}{UNFIT_MARK}"))

    def _complete(
        self,
        dated: Plan,
        settings: Settings,
        says: NameSays,
        row: Row,
        edits: Edits,
        known: tuple[str, str | None, Mapping[str, Any], Mapping[str, Any]],
    ) -> Plan:
        """The plan with all that was told, once it is known whose it is and which exercise."""
        student, name, known_told, known_options = known
        by_hand = {name: edits[name] for name in EXERCISE_FIELDS if edits.get(name)}
        corrected = {name: value_of(name, value, "the correction by hand") for name, value in by_hand.items()}
        told: dict[str, Any] = {**settings.told, **known_told}
        if says.bpm is not None:
            told["bpm"] = says.bpm
        told |= {**row.told, **corrected}
        if name:
            told["name"] = name
        options = {**settings.options, **known_options, **row.options, **self._asked}
        options |= {key: value for key, value in (("start_s", row.start_s), ("end_s", row.end_s)) if value is not None}
        if "standard" not in options and settings.standard is not None:
            options["standard"] = settings.standard
        options = {key: as_standard(value) if key == "standard" else value for key, value in options.items()}
        exercise = Exercise(**told)  # refuses what cannot be
        told = {key: value for key in told if (value := getattr(exercise, key)) is not None}
        plan = replace(
            dated,
            student=student,
            told=told,
            options=options,
            equipment=edits.get("equipment", row.equipment or settings.equipment),
            remark=edits.get("remark", row.remark),
            excluded=edits.get("excluded", row.excluded),
            settings=fingerprint(told, options),
            problems=says.problems,
        )
        return replace(plan, needs=_needs(plan))

    def student_of(self, folder: str) -> str | None:
        """The student whose folder this is, by its name."""
        return student_of(folder, self._root, self.settings.has_file)

    def _exercise(
        self, settings: Settings, says: NameSays, row: Row, edits: Edits
    ) -> tuple[str | None, Mapping[str, Any], Mapping[str, Any]]:
        """The exercise's name, and what practice.toml says of it."""
        known = {e.name: (*e.aliases, *former_names(settings, e, self._former)) for e in settings.exercises.values()}
        named = edits.get("exercise") or row.exercise
        if named is None:
            named = match_exercise(says.words, known)
            if named is None and not known and (says.played_on or says.bpm):
                named = says.words  # a name that follows the scheme, where no list says which exercises there are
        elif known and settings.exercise(named) is None and (now := named_so(known, named)) is not None:
            named = now
        elif known and settings.exercise(named) is None:
            raise UsageError(
                f"the exercise of {says_where(row)} must be one of practice.toml ({', '.join(known)}), "
                f"but {named!r} came; correct it, or add it there"
            )
        found = settings.exercise(named) if named else None
        if found is None:
            return named, {}, {}
        return found.name, found.told, found.options

    def _dated(self, plan: Plan, found: Found, row: Row, says: NameSays, edits: Edits) -> Plan:
        if edits.get("date"):
            return replace(plan, played_on=date.fromisoformat(edits["date"] or ""), date_source="hand")
        if row.played_on:
            return replace(plan, played_on=row.played_on, played_at=row.played_at, date_source="told")
        if says.played_on:
            return replace(plan, played_on=says.played_on, played_at=says.played_at, date_source="name")
        said = self._container_time(found)
        if said:
            moment = datetime.fromisoformat(said)
            return replace(plan, played_on=moment.date(), played_at=moment, date_source="container")
        if found.changed_at is not None:
            moment = datetime.fromtimestamp(found.changed_at).replace(microsecond=0)
            return replace(plan, played_on=moment.date(), played_at=moment, date_source="file")
        return plan


def _only_one(settings: Settings) -> ToldAssignment | None:
    """The folder's only exercise, as if it had been set."""
    if len(settings.exercises) != 1:
        return None
    (known,) = settings.exercises.values()
    return ToldAssignment(exercise=known.name, bpm=None, given=date.min, due=None, students=None)


def says_where(row: Row) -> str:
    """Where an exercise was named."""
    return row.where or "the correction by hand"


def _needs(plan: Plan) -> tuple[str, ...]:
    needs = []
    if not plan.student:
        needs.append(NEED_STUDENT)
    if not plan.told.get("name") and not plan.told.get("chords"):
        needs.append(NEED_EXERCISE)
    if plan.date_source in (None, "file"):
        needs.append(NEED_DATE)
    return tuple(needs)


def as_standard(said: Any) -> Any:
    """A standard's name, checked; or a table of a standard's numbers on top of the preset that it names."""
    from strumclock.verdict import STANDARDS, Standard

    if isinstance(said, str):
        if said not in STANDARDS:
            raise UsageError(
                f"a standard must be one of {', '.join(STANDARDS)}, or a table, but {said!r} came; correct it"
            )
        return said
    if isinstance(said, Mapping):
        numbers = dict(said)
        preset = STANDARDS.get(str(numbers.pop("like", "steady")))
        if preset is None:
            raise UsageError(f"like of a standard must be one of {', '.join(STANDARDS)}, but {said['like']!r} came")
        try:
            return replace(preset, **{"name": "own", **numbers})
        except TypeError:
            fields = ", ".join(f for f in Standard.__dataclass_fields__ if f != "name")
            raise UsageError(f"a standard's table may say like, {fields}, but {', '.join(numbers)} came") from None
    return said


def fingerprint(told: Mapping[str, Any], options: Mapping[str, Any]) -> str:
    """A short hash of what the measuring depends on: the exercise but for its name, and the options."""
    relevant = {
        "told": {key: value for key, value in told.items() if key != "name"},
        "options": {
            key: asdict(value) if is_dataclass(value) and not isinstance(value, type) else value
            for key, value in options.items()
        },
    }
    return hashlib.sha256(json.dumps(relevant, sort_keys=True, default=str).encode()).hexdigest()[:16]
