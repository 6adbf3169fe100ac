"""Setting an exercise: the settings, a click track for each tempo, a sheet for each student or for all."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from strumclock.assignments import settings
from strumclock.assignments.proposing import Proposal
from strumclock.assignments.track import ENDINGS, encoded
from strumclock.batch.files import ASSIGNED_FOLDER
from strumclock.clicktrack import ClickTrack, click_track
from strumclock.errors import OutputError, StrumclockError, UsageError
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.journal.places import SETTINGS_NAME
from strumclock.report.language import ENGLISH, Language
from strumclock.report.sheet import Sheet, sheet
from strumclock.saving import replacing, write_text

COUNT_IN_BARS = 1  # where the exercise tells none: a convention


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What was written.

    Attributes
    ----------
    exercise : str
    proposals : tuple of Proposal
    settings : Path
        The practice.toml.
    tracks, sheets : tuple of Path
    """

    exercise: str
    proposals: tuple[Proposal, ...]
    settings: Path
    tracks: tuple[Path, ...]
    sheets: tuple[Path, ...]

    def __str__(self) -> str:
        lines = [f"{self.settings}: {self.exercise} is set"]
        lines += [f"  {told(one)}" for one in self.proposals]
        lines += [f"To send: {path}" for path in (*self.sheets, *self.tracks)]
        return "\n".join(lines)


def told(one: Proposal) -> str:
    """A proposal in words.

    Examples
    --------
    >>> told(Proposal(student="Ines", bpm=72.0, why="next")), told(Proposal(student=None, bpm=None))
    ('Ines: 72 bpm', 'everybody: any tempo')
    """
    at = "any tempo" if one.bpm is None else f"{one.bpm:.4g} bpm"
    return f"{one.student or 'everybody'}: {at}{' (no take of it yet)' if one.why == 'none' else ''}"


def assign(
    folder: str | os.PathLike[str],
    exercise: Exercise,
    proposals: Sequence[Proposal],
    *,
    given: date | None = None,
    due: date | None = None,
    track: str = "m4a",
    language: Language = ENGLISH,
) -> Made:
    """Set an exercise.

    Parameters
    ----------
    folder : path
        Of the class; its practice.toml is made or added to.
    exercise : Exercise
        With its name; its tempo is that of the proposals.
    proposals : sequence of Proposal
        To whom, at which tempo.
    given : date, optional
        Today.
    due : date, optional
    track : str
        Kind of the click track: ``"m4a"``, ``"mp3"`` or ``"wav"``.
    language : Language
        Of the sheet.

    Raises
    ------
    UsageError
        If the exercise has no name, is another one than the settings have, or is due before it is given.
    OutputError
        If something cannot be written, or the settings were changed meanwhile. Then nothing is set.
    """
    place, day = Path(folder), given or date.today()
    if not place.is_dir():
        raise UsageError(f"an exercise is set in a class's folder, but {folder} is none; make it first")
    if not exercise.name:
        raise UsageError("an exercise that is set must have a name, but none came; name it")
    if due is not None and due < day:
        raise UsageError(f"an exercise must be due on the day it is given or later, but {due} is before {day}")
    if track not in ENDINGS:
        raise UsageError(f"a click track must be one of {', '.join(ENDINGS)}, but {track!r} came")
    about = {name: value for name in fields_of(Exercise) if (value := getattr(exercise, name)) is not None}
    fields = {name: value for name, value in about.items() if name not in ("name", "bpm")}
    before = settings.read(place)
    name, fields, new = settings.told_exercise(place, exercise.name, fields)
    after = settings.with_assignments(before, name, fields if new else None, proposals, given=day, due=due)
    whole = Exercise(**{**fields, "name": name})
    to = place / ASSIGNED_FOLDER / _file_name(f"{day} {name}")
    tracks: dict[float, tuple[Path, bytes, ClickTrack]] = {}
    for bpm in sorted({one.bpm for one in proposals if one.bpm is not None}):
        made = click_track(_counted_in(replace(whole, bpm=bpm)))
        tracks[bpm] = (to / f"click {_file_name(name)} {bpm:.4g}.{track}", encoded(made, track), made)
    sheets = {
        to / f"{_file_name(one.student or name)}.html": sheet(
            _sheet(replace(whole, bpm=one.bpm), one, due, tracks), language=language
        )
        for one in proposals
    }
    settings.check(place, after)
    _make(to)
    new_files = [path for path in (*sheets, *(path for path, _, _ in tracks.values())) if not path.exists()]
    for path, data, _ in tracks.values():
        with replacing(path) as temporary:
            temporary.write_bytes(data)
    for path, text in sheets.items():
        write_text(path, text)
    try:
        settings.write(place, before, after)  # last: what is not in it is not set
    except StrumclockError:
        for path in new_files:
            path.unlink(missing_ok=True)
        raise
    return Made(
        exercise=name,
        proposals=tuple(proposals),
        settings=place / SETTINGS_NAME,
        tracks=tuple(path for path, _, _ in tracks.values()),
        sheets=tuple(sheets),
    )


def _counted_in(exercise: Exercise) -> Exercise:
    """With the bars that are counted in before it, where nobody told how many."""
    return exercise if exercise.count_in is not None else replace(exercise, count_in=COUNT_IN_BARS)


def _sheet(
    exercise: Exercise, one: Proposal, due: date | None, tracks: dict[float, tuple[Path, bytes, ClickTrack]]
) -> Sheet:
    path, sound, bars = None, None, exercise.bars
    if one.bpm is not None:
        file, _, made = tracks[one.bpm]
        path, sound = file.name, encoded(made, "m4a")
        bars = bars or sum(n for n, _ in made.steps)
    return Sheet(
        exercise=_counted_in(exercise), student=one.student, due=due, bars=bars, track_name=path, track_m4a=sound
    )


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder} must be made, but the system said: {error.strerror or error}") from None


def _file_name(text: str) -> str:
    """A text as a file's name on any system.

    Examples
    --------
    >>> _file_name('2026-11-28 A/D: "slow"')
    '2026-11-28 A D slow'
    """
    plain = " ".join(re.sub(r'[\\/:*?"<>|\x00-\x1f]+', " ", text).split()).strip(". ")
    return plain[:80] or "exercise"
