"""Setting an exercise: what is written, what is made to send, what is refused."""

from __future__ import annotations

import re
import subprocess
import tomllib
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from practice import take_json

from strumclock.assignments import Proposal, assign, propose, settings
from strumclock.audio import load
from strumclock.audio.encoding import encode_mp3
from strumclock.batch.files import find_recordings
from strumclock.batch.settings import SettingsFiles
from strumclock.cli import main
from strumclock.clicktrack import click_track
from strumclock.errors import OutputError, UsageError
from strumclock.grid import Exercise
from strumclock.journal import Journal, TakeEntry
from strumclock.report.language import language_of
from strumclock.report.sheet import Sheet, sheet

GIVEN, DUE = date(2026, 11, 28), date(2026, 12, 5)
SONG = Exercise(name="swing song", meter="4/4", per_beat=2, pattern="D.DU.UxU", chords=("G", "C", "D", "C"), bars=8)
MINE = """\
# my class, since 2019
standard = "steady"   # not tight yet

[exercises.waltz]     # the old one
meter = "3/4"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_text(MINE)
    for name in ("Ines", "Tom"):
        (tmp_path / name).mkdir()
    return tmp_path


def everybody(bpm: float | None = 72.0) -> list[Proposal]:
    return [Proposal(student=None, bpm=bpm)]


def test_what_stood_in_the_settings_stands_there_as_it_was(folder):
    """Byte for byte, comments and spaces too; what was set comes after it and is read back by the settings."""
    assign(folder, SONG, everybody(), given=GIVEN, due=DUE)
    text = (folder / "practice.toml").read_text()
    assert text.startswith(MINE)
    found = SettingsFiles().of(str(folder))
    (one,) = found.assignments
    assert (one.exercise, one.bpm, one.given, one.due, one.students) == ("swing song", 72, GIVEN, DUE, None)
    assert Exercise(**found.exercises["swing song"].told) == Exercise(
        meter="4/4", per_beat=2, pattern="D.DU.UxU", chords=("G", "C", "D", "C"), bars=8
    )


def test_an_exercise_that_is_known_needs_its_name_alone(folder):
    """The waltz stands there; one table of it, not two."""
    assign(folder, Exercise(name="Waltz"), everybody(), given=GIVEN)
    said = tomllib.loads((folder / "practice.toml").read_text())
    assert list(said["exercises"]) == ["waltz"]
    assert said["assignments"] == [{"exercise": "waltz", "bpm": 72, "given": GIVEN}]


def test_an_exercise_that_is_another_one_is_refused_and_nothing_is_written(folder):
    """The waltz is in three."""
    with pytest.raises(UsageError, match="'3/4' of meter, but '4/4' came"):
        assign(folder, Exercise(name="waltz", meter="4/4"), everybody(), given=GIVEN)
    assert (folder / "practice.toml").read_text() == MINE


def test_an_edit_made_meanwhile_is_never_written_over(folder, monkeypatch):
    """The teacher saves the file in an editor between our reading and our writing."""
    real = settings.read
    reads = []

    def edited_after_the_first(place):
        text = real(place)
        if not reads:
            (place / "practice.toml").write_text(MINE + "bars = 9\n")
        reads.append(text)
        return text

    monkeypatch.setattr(settings, "read", edited_after_the_first)
    with pytest.raises(OutputError, match="changed meanwhile"):
        assign(folder, SONG, everybody(), given=GIVEN)
    assert (folder / "practice.toml").read_text() == MINE + "bars = 9\n"
    assert [*folder.rglob("*.m4a"), *folder.rglob("*.html")] == []


@pytest.mark.parametrize(
    ("exercise", "told", "words"),
    [
        (Exercise(), {}, "must have a name"),
        (SONG, {"due": date(2026, 11, 1)}, "due on the day it is given or later"),
        (SONG, {"track": "flac"}, "m4a, mp3, wav"),
    ],
)
def test_what_cannot_be_set_is_one_clear_line(folder, exercise, told, words):
    """What was required, what came; and nothing is written."""
    with pytest.raises(UsageError, match=words):
        assign(folder, exercise, everybody(), **{"given": GIVEN, **told})
    assert (folder / "practice.toml").read_text() == MINE
    assert not (folder / "strumclock-assigned").exists()


@pytest.mark.parametrize("kind", ["m4a", "mp3", "wav"])
def test_the_click_track_that_is_sent_clicks_where_the_track_does(folder, kind):
    """Decoded again (FFmpeg's decoders, priming taken off): the samples of the track, less what the codec changes.

    The best shift by cross-correlation is none, within one sample of the coarser rate.
    """
    made = assign(folder, SONG, everybody(), given=GIVEN, track=kind)
    (path,) = made.tracks
    heard = load(path)
    track = click_track(Exercise(**{**_fields(SONG), "bpm": 72, "count_in": 1}))
    assert heard.duration_s == pytest.approx(track.duration_s, abs=0.1)
    a, b = heard.samples[0] if heard.samples.ndim > 1 else heard.samples, track.samples
    n = min(len(a), len(b), 10 * heard.sample_rate_hz)
    spectrum = np.fft.rfft(a[:n], 2 * n) * np.conj(np.fft.rfft(b[:n], 2 * n))
    shift = int(np.argmax(np.fft.irfft(spectrum)))
    assert min(shift, 2 * n - shift) <= 1


def _fields(exercise: Exercise) -> dict[str, object]:
    return {name: getattr(exercise, name) for name in ("meter", "per_beat", "pattern", "chords", "bars")}


def test_what_is_made_to_send_is_no_take(folder):
    """The click track lies in the class's folder; a batch must not measure it, nor take its folder for a student."""
    assign(folder, SONG, everybody(), given=GIVEN)
    assert find_recordings(folder) == []
    assert settings.students_of(folder, ()) == ["Ines", "Tom"]


def test_each_student_can_have_their_own_tempo(folder):
    """Ines has takes at 80 that just hold, Tom has none: hers comes from them, his is told."""
    journal = Journal(folder)
    for k in range(4):
        measured = take_json(bpm=80, held=True, margin=0.9, seed=k, exercise={"name": "swing song"})
        journal.record(TakeEntry(identity=f"sha256:{k:064x}", student="Ines", played_on=GIVEN, measurement=measured))
    with pytest.raises(UsageError, match="of Tom there is none; tell --bpm"):
        propose(journal, "swing song", ["Ines", "Tom"])
    ines, tom = propose(journal, "Swing Song", ["Ines", "Tom"], otherwise_bpm=60)
    assert ines.why == "next"
    assert 76 <= (ines.bpm or 0) <= 84
    assert (tom.bpm, tom.why) == (60, "none")
    made = assign(folder, SONG, [ines, tom], given=GIVEN)
    assert [path.name for path in made.sheets] == ["Ines.html", "Tom.html"]
    assert "Tom" not in made.sheets[0].read_text()
    assert [(a.bpm, a.students) for a in SettingsFiles().of(str(folder)).assignments] == [
        (ines.bpm, ("Ines",)),
        (60, ("Tom",)),
    ]


def test_next_is_shown_and_asked_before_anything_is_written(folder):
    """Somebody says no."""
    import sys

    command = [sys.executable, "-c", "import sys; from strumclock.cli import main; sys.exit(main())"]
    done = subprocess.run(
        [*command, "assign", "song", "--to", str(folder), "--next", "--bpm", "60"],
        input="n\n", capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "Ines: 60 bpm (no take of it yet)" in done.stdout
    assert done.returncode == 1
    assert (folder / "practice.toml").read_text() == MINE


def test_the_sheet_draws_what_is_played():
    """The pattern's letters in order, the chords where they change, the counts as musicians say them."""
    text = sheet(Sheet(exercise=SONG, bars=8))
    counts = re.findall(r'<text class="count"[^>]*>([^<]*)</text>', text)
    assert counts[:8] == ["1", "&amp;", "2", "&amp;", "3", "&amp;", "4", "&amp;"]
    assert re.findall(r'<text class="chord"[^>]*>([^<]*)</text>', text) == ["G", "C", "D", "C"]
    assert re.findall(r'aria-label="([^"]*)"', text)[0] == "Bar 1: D . D U . U x U"
    assert "script" not in text.lower().replace("nothing is struck", "")


def test_a_bar_of_three_and_eighths_that_do_not_fill_it_are_drawn_until_they_repeat():
    """A pattern of four over three beats comes round after four bars; one of three after one."""
    drawn = sheet(Sheet(exercise=Exercise(name="x", meter="3/4", per_beat=1, pattern="DDUD")))
    assert drawn.count("aria-label=") == 4
    assert sheet(Sheet(exercise=Exercise(name="x", meter="3/4", per_beat=1, pattern="DUD"))).count("aria-label=") == 1


def test_names_on_a_sheet_are_text():
    """A name with markup is shown, not run."""
    text = sheet(Sheet(exercise=Exercise(name="<b>x</b>"), student="<img src=x onerror=alert(1)>"))
    assert "<img" not in text
    assert "<b>" not in text
    assert "&lt;img" in text


def test_the_sheet_speaks_the_students_language():
    """German, from the catalogue; nothing English is left but what is a name."""
    text = sheet(Sheet(exercise=SONG, student="Ines", due=DUE, bars=8), language=language_of("de"))
    assert '<html lang="de">' in text
    assert "Schick es bis" in text
    assert "5. Dezember" in text
    for english in ("What to play", "How to record", "Take care", "nothing is struck", "beats a minute"):
        assert english not in text


def test_the_command_sets_writes_and_says_what_to_send(folder, capsys):
    """From arguments to files."""
    words = ["assign", "song", "--to", str(folder), "--students", "Ines,  Tom", "--bpm", "66", "--pattern", "DDDU"]
    assert main([*words, "--due", "2099-01-01"]) == 0
    said = capsys.readouterr().out
    assert "Ines: 66 bpm" in said
    for line in said.splitlines():
        if line.startswith("To send: "):
            assert Path(line.removeprefix("To send: ")).stat().st_size > 1000
    assert main([*words, "--due", "2099-01-01"]) == 2
    assert "keep one" in capsys.readouterr().err


def test_an_mp3_of_three_channels_is_refused():
    """One or two."""
    with pytest.raises(UsageError, match="one or two channels"):
        encode_mp3(np.zeros((10, 3), np.float32), 44_100, bit_rate=64_000)
