"""The journal as a page: a CSV copy that a spreadsheet opens without danger, and pages kept on paper read in.

Text that a spreadsheet would take for a formula (beginning with ``= + - @``, a tab or a line end) gets an apostrophe in
front, as OWASP advises ("CSV Injection"); numbers stay numbers. Reading takes such an apostrophe off again.
"""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from strumclock.audio.files import regular_file
from strumclock.errors import AudioFileError, UsageError
from strumclock.grid import BPM_RANGE
from strumclock.saving import replacing

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # with the full-width ones
IMPORT_COLUMNS = {
    "date": ("date", "day", "datum"),
    "exercise": ("exercise", "piece", "what"),
    "bpm": ("bpm", "tempo"),
    "student": ("student", "name"),
    "held": ("held", "clean"),
    "chords": ("chords",),
    "beats_per_change": ("beats_per_change", "beats per change"),
    "remark": ("remark", "note", "notes"),
}
YES = {"yes", "y", "true", "1", "x", "ja", "✓"}
NO = {"no", "n", "false", "0", "nein", "-"}


def safe_cell(value: object) -> str:
    """A cell's text that no spreadsheet executes.

    Examples
    --------
    >>> safe_cell("=HYPERLINK(1)"), safe_cell(-3.25), safe_cell(None)
    ("'=HYPERLINK(1)", '-3.25', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    text = str(value)
    if isinstance(value, (int, date)):
        return text
    bare = text.lstrip(" \u00a0\ufeff")
    return "'" + text if bare.startswith(FORMULA_STARTS) or text.startswith(FORMULA_STARTS) else text


def plain_cell(text: str) -> str:
    """The inverse of `safe_cell` for text."""
    rest = text[1:]
    return rest if text.startswith("'") and rest.lstrip(" \u00a0\ufeff").startswith(FORMULA_STARTS) else text


def write_csv(
    path: Path, header: Sequence[str], rows: Iterable[Mapping[str, Any]], *, rights: int | None = None
) -> None:
    """Write a CSV file, whole or not at all: UTF-8 with the mark that spreadsheets look for, lines as in RFC 4180.

    Parameters
    ----------
    path : Path
    header : sequence of str
    rows : iterable of mapping
        Cells by their column.
    rights : int, optional
        The file's mode; see `strumclock.saving.replacing`.

    Raises
    ------
    OutputError
        If the folder cannot be written or the disk is full; an older file is left as it was.
    """
    with replacing(path, rights=rights) as temporary, open(temporary, "w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows([safe_cell(row.get(column)) for column in header] for row in rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperRow:
    """One line of a page kept on paper."""

    line: int
    student: str | None
    played_on: date
    exercise: str
    bpm: float
    held: bool | None
    chords: tuple[str, ...] | None
    beats_per_change: float | None
    remark: str | None


def csv_rows(text: str, path: str | os.PathLike[str]) -> Iterator[tuple[int, list[str]]]:
    """The rows of a table that some spreadsheet wrote, separated by commas, semicolons or tabs, each with its line.

    Raises
    ------
    UsageError
        If a row cannot be read: a cell longer than Python's reader takes (131,072 characters), for example.
    """
    first = text.partition("\n")[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count))
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        raise UsageError(
            f"line {reader.line_num} of {path} must be a row of cells, but it cannot be read ({error}); correct it"
        ) from None


def read_page(path: str | os.PathLike[str]) -> tuple[list[PaperRow], list[str]]:
    """Read a page: columns date, exercise and tempo, in any order, separated by commas, semicolons or tabs.

    Returns
    -------
    rows : list of PaperRow
    problems : list of str
        One line for each row that cannot be read; the other rows are good.

    Raises
    ------
    UsageError
        If the file is missing, is no text, or lacks one of the three columns.
    """
    try:
        text = regular_file(path, "a CSV file must be given, but").read_text(encoding="utf-8-sig")
    except AudioFileError as error:
        raise UsageError(str(error)) from None
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise UsageError(
            f"a CSV file must be given, but {path} cannot be read: {reason}; save it as CSV (UTF-8)"
        ) from None
    reader = csv_rows(text, path)
    header = [" ".join(cell.strip().casefold().split()) for cell in next(reader, (1, []))[1]]
    where = {
        field: next((header.index(name) for name in names if name in header), None)
        for field, names in IMPORT_COLUMNS.items()
    }
    missing = [field for field in ("date", "exercise", "bpm") if where[field] is None]
    if missing:
        raise UsageError(
            f"line 1 of {path} must name the columns date, exercise and bpm, but {', '.join(missing)} is missing"
        )
    rows: list[PaperRow] = []
    problems: list[str] = []
    for line, cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        found = {
            field: plain_cell(cells[index]).strip() if index is not None and index < len(cells) else ""
            for field, index in where.items()
        }
        try:
            rows.append(_paper_row(line, found))
        except UsageError as error:
            problems.append(f"line {line} of {path}: {error}")
    return rows, problems


def _paper_row(line: int, found: Mapping[str, str]) -> PaperRow:
    held = found["held"].casefold()
    if held and held not in YES | NO:
        raise UsageError(f"held must be yes or no, but {found['held']!r} came")
    if not found["exercise"]:
        raise UsageError("an exercise must be named, but the cell is empty")
    return PaperRow(
        line=line,
        student=found["student"] or None,
        played_on=read_date(found["date"]),
        exercise=found["exercise"],
        bpm=_number("the tempo", found["bpm"], *BPM_RANGE),
        held=None if not held else held in YES,
        chords=tuple(found["chords"].split()) or None,
        beats_per_change=_number("beats_per_change", found["beats_per_change"], 0.25, 64.0)
        if found["beats_per_change"]
        else None,
        remark=found["remark"] or None,
    )


def _number(what: str, text: str, low: float, high: float) -> float:
    try:
        value = float(re.sub(r"\s*bpm$", "", text, flags=re.IGNORECASE).replace(",", "."))
    except ValueError:
        raise UsageError(f"{what} must be a number, but {text!r} came; correct it") from None
    if not low <= value <= high:
        raise UsageError(f"{what} must lie from {low:g} to {high:g}, but {text} came")
    return value


def read_date(text: str) -> date:
    """A date written 2026-03-14 or 14.3.2026; 03/04/2026 means two different days and is refused.

    Raises
    ------
    UsageError
        If the text is no such date, or there is no such day.

    Examples
    --------
    >>> read_date("14.3.2026").isoformat()
    '2026-03-14'
    """
    text = text.strip()
    iso = re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})", text)
    dotted = re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", text)
    try:
        if iso:
            return date(int(iso[1]), int(iso[2]), int(iso[3]))
        if dotted:
            return date(int(dotted[3]), int(dotted[2]), int(dotted[1]))
    except ValueError:
        raise UsageError(f"a date must be a day that exists, but {text!r} came; correct it") from None
    raise UsageError(f"a date must be written 2026-03-14 (or 14.3.2026), but {text!r} came; write it so")
