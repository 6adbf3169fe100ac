"""``takes.csv``: one row a take, for what neither the file's name nor practice.toml says.

Columns, all but ``file`` optional: file, date, time, student, exercise, the exercise's and the measuring's fields as in
practice.toml, start, end (seconds: several takes in one file), equipment, remark, exclude (the reason why it does not
count). A spreadsheet may have written it with commas, semicolons or tabs.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from strumclock.batch.files import read_text_file
from strumclock.batch.settings import EXERCISE_FIELDS, OPTION_FIELDS, value_of
from strumclock.errors import UsageError, printable
from strumclock.journal import read_date
from strumclock.journal.csvfile import csv_rows, plain_cell

FILE_NAME = "takes.csv"
_OTHER = ("file", "date", "time", "student", "exercise", "start", "end", "equipment", "remark", "exclude")
_ALSO_CALLED = {
    "path": "file",
    "filename": "file",
    "tempo": "bpm",
    "name": "exercise",
    "note": "remark",
    "notes": "remark",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What a row tells about a take; an error instead, where it cannot be read."""

    where: str
    played_on: date | None = None
    played_at: datetime | None = None
    student: str | None = None
    exercise: str | None = None
    told: Mapping[str, Any] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    start_s: float | None = None
    end_s: float | None = None
    equipment: str | None = None
    remark: str | None = None
    excluded: str | None = None
    error: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The rows of one takes.csv, by file.

    Attributes
    ----------
    rows : mapping
        By the file's name as `file_key` has it, relative to the folder of the table.
    path : str or None
    """

    rows: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    path: str | None = None


def file_key(name: str) -> str:
    """A file's name, so that two systems' spellings of it agree."""
    return unicodedata.normalize("NFC", name.strip().replace("\\", "/")).removeprefix("./").casefold()


def read_table(folder: str) -> Table:
    """The takes.csv of a folder; an empty table where there is none.

    Raises
    ------
    UsageError
        If it has no column ``file``, or one that is unknown.
    """
    found = read_text_file(folder, FILE_NAME)
    if found is None:
        return Table()
    path, text = found
    reader = csv_rows(text, path)
    header = ["_".join(cell.strip().casefold().split()) for cell in next(reader, (1, []))[1]]
    header = [_ALSO_CALLED.get(name, name) for name in header]
    if "file" not in header:
        raise UsageError(
            f"line 1 of {path} must name its columns, file among them, but it has {', '.join(header)!r:.200}"
        )
    known = (*_OTHER, *EXERCISE_FIELDS, *OPTION_FIELDS)
    unknown = [name for name in header if name and name not in known]
    if unknown:
        raise UsageError(
            f"the columns of {path} may be {', '.join(known)}, but {unknown[0]!r} came; check the spelling"
        )
    rows: dict[str, list[Row]] = {}
    for line, cells in reader:
        said = {name: printable(plain_cell(cell).strip()) for name, cell in zip(header, cells, strict=False) if name}
        if not said.get("file"):
            continue
        where = f"line {line} of {path}"
        try:
            row = _row(said, where)
        except UsageError as error:
            row = Row(where=where, error=f"{where}: {error}")
        rows.setdefault(file_key(said["file"]), []).append(row)
    return Table(rows={key: _checked(several) for key, several in rows.items()}, path=path)


def _row(said: Mapping[str, str], where: str) -> Row:
    day = read_date(said["date"]) if said.get("date") else None
    moment = None
    if said.get("time"):
        if day is None:
            raise UsageError("a time needs its date, but the date is empty; fill it in")
        try:
            moment = datetime.combine(day, time.fromisoformat(said["time"].replace(".", ":")))
        except ValueError:
            raise UsageError(f"a time must be written 18:30, but {said['time']!r} came; write it so") from None
    told = {name: value_of(name, said[name], "the row") for name in EXERCISE_FIELDS if said.get(name)}
    options = {name: value_of(name, said[name], "the row") for name in OPTION_FIELDS if said.get(name)}
    return Row(
        where=where,
        played_on=day,
        played_at=moment,
        student=said.get("student") or None,
        exercise=said.get("exercise") or None,
        told=told,
        options=options,
        start_s=_seconds("start", said.get("start")),
        end_s=_seconds("end", said.get("end")),
        equipment=said.get("equipment") or None,
        remark=said.get("remark") or None,
        excluded=said.get("exclude") or None,
    )


def _seconds(what: str, text: str | None) -> float | None:
    """Seconds, or minutes and seconds as 1:30."""
    if not text:
        return None
    try:
        pieces = [float(piece.replace(",", ".")) for piece in text.split(":")]
    except ValueError:
        raise UsageError(f"{what} must be seconds or 1:30, but {text!r} came; write it so") from None
    value = 0.0
    for piece in pieces:
        value = value * 60 + piece
    if value < 0:
        raise UsageError(f"{what} must not be negative, but {text!r} came; correct it")
    return value


def _checked(rows: list[Row]) -> tuple[Row, ...]:
    """Several rows for one file must be different parts of it."""
    parts = {(row.start_s, row.end_s) for row in rows}
    if len(rows) == 1 or (len(parts) == len(rows) and (None, None) not in parts):
        return tuple(rows)
    lines = ", ".join(row.where for row in rows)
    error = (
        f"a file must have one row, or rows with different start and end, but it has {len(rows)} ({lines}); keep one"
    )
    return (Row(where=rows[0].where, error=error),)
