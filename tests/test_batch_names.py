"""What file names, takes.csv and practice.toml say, and that nothing is guessed."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from strumclock.batch.files import find_recordings
from strumclock.batch.names import match_exercise, read_name
from strumclock.batch.planning import Planner
from strumclock.batch.settings import Settings, SettingsFiles, add_settings
from strumclock.batch.table import read_table
from strumclock.errors import UsageError

DAY = date(2026, 3, 14)


@pytest.mark.parametrize(
    ("name", "day", "bpm", "words"),
    [
        ("2026-03-14 two chords @84", DAY, 84.0, "two chords"),
        ("2026_03_14_two_chords_84bpm_take2", DAY, 84.0, "two chords"),
        ("20260314 two-chords 84 bpm (3)", DAY, 84.0, "two chords"),
        ("two chords 14.03.2026 bpm84", DAY, 84.0, "two chords"),
        ("two chords @62,5 2026-03-14", DAY, 62.5, "two chords"),
        ("two chords 84", None, None, "two chords 84"),  # a number without a mark is no tempo
        ("Voice 003", None, None, None),
        ("New Recording 12", None, None, None),
        ("AUD-20260314-WA0007", DAY, None, None),
        ("Aufnahme_2026-03-14", DAY, None, None),
        ("2026-03-14", DAY, None, None),
        ("take 2", None, None, None),
        ("120bpm", None, 120.0, None),
        ("1984-tribute", None, None, "1984 tribute"),
        ("20261314", None, None, None),
    ],
)
def test_names_are_read_forgivingly(name, day, bpm, words):
    """The scheme of the module's docstring, as people and recorders write it."""
    says = read_name(name)
    assert (says.played_on, says.bpm, says.words) == (day, bpm, words)


def test_a_time_behind_the_date_is_read():
    """Recorders write 2026-03-14 18.30.05 or 20260314_183005."""
    for name in ("2026-03-14 18.30.05", "20260314_183005", "2026-03-14T18-30-05 two chords"):
        assert read_name(name).played_at == datetime(2026, 3, 14, 18, 30, 5), name


@pytest.mark.parametrize(
    ("name", "problem"),
    [("2026-02-30 x", "the date 2026-02-30 in its name does not exist"), ("x @900", "the tempo @900 in its name")],
)
def test_an_impossible_date_or_tempo_is_pointed_out_and_not_used(name, problem):
    """One clear line, and the value stays unknown."""
    says = read_name(name)
    assert says.problems[0].startswith(problem)
    assert says.played_on is None
    assert says.bpm is None


@given(st.text(max_size=40))
def test_no_name_breaks_the_reading(name):
    """Any text is a file's name somewhere."""
    says = read_name(name)
    assert says.bpm is None or 20 <= says.bpm <= 400


def test_an_exercise_is_recognised_by_name_or_alias_and_never_between_two():
    """The longest that fits; two that fit alike are none."""
    known = {"two chords": ("AD",), "two chords slow": (), "rhythm": ("strum",), "strum": ()}
    assert match_exercise("Two-Chords slow", known) == "two chords slow"
    assert match_exercise("AD", known) == "two chords"
    assert match_exercise("road", known) is None  # the short alias AD must stand alone
    assert match_exercise("strum", known) is None
    assert match_exercise(None, known) is None


TOML = """
student = "Ines"
standard = "first-weeks"
takes_to_hold = 3
[defaults]
count_in = 1
click = "left"
[exercises."two chords"]
chords = "A D"
beats_per_change = 4
bpm = 70
aliases = ["AD"]
goal_bpm = 90
goal_by = 2026-06-01
"""


def test_settings_add_to_those_above_and_win_over_them():
    """practice.toml in the folder or above, the nearest wins."""
    above = add_settings(Settings(), TOML, "above")
    below = add_settings(above, 'student = "Björn"\n[exercises."Two Chords"]\nbpm = 80\n', "below")
    assert (below.student, below.standard, below.takes_to_hold) == ("Björn", "first-weeks", 3)
    exercise = below.exercise("AD")
    assert exercise is not None
    assert exercise.told == {"chords": ("A", "D"), "beats_per_change": 4, "bpm": 80.0}
    assert (exercise.goal_bpm, exercise.goal_by) == (90.0, date(2026, 6, 1))


@pytest.mark.parametrize(
    "text",
    [
        "studnet = 'x'",
        "student = 3",
        "student = ",
        "[defaults]\nbpmm = 80",
        "[defaults]\nbpm = 'fast'",
        "[defaults]\ncount_in = 1.5",
        "exercises = 3",
        "exercises.x = 3",
        "[exercises.x]\ngoal_bpm = 4000",
        "[exercises.x]\ngoal_by = 'soon'",
        "takes_to_hold = 0",
        "standard = 3",
    ],
)
def test_mistakes_in_the_settings_are_one_line_with_the_file_and_what_came(text):
    """An unknown word or impossible value is not passed over in silence."""
    with pytest.raises(UsageError) as caught:
        add_settings(Settings(), text, "/x/practice.toml")
    assert "/x/practice.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_table_is_read_with_its_rows_by_file(tmp_path):
    """Semicolons, a decimal comma, other names for columns, Windows' slashes; two rows for two parts of one file."""
    (tmp_path / "takes.csv").write_text(
        "File;Date;Tempo;start;end;note\nA.wav;2026-03-14;62,5;;;first\nweek 1\\b.wav;14.3.2026;84;0;1:30;\n"
        "week 1\\b.wav;14.3.2026;88;1:30;180;\n",
        encoding="utf-8-sig",
    )
    table = read_table(str(tmp_path))
    assert table.rows["a.wav"][0].told == {"bpm": 62.5}
    assert table.rows["a.wav"][0].remark == "first"
    assert [(row.start_s, row.end_s) for row in table.rows["week 1/b.wav"]] == [(0.0, 90.0), (90.0, 180.0)]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("a.wav,2026-03-14,84\na.wav,2026-03-15,84\n", "it has 2 (line 2 of"),
        ("a.wav,2026-02-30,84\n", "a day that exists"),
        ("a.wav,3/4/2026,84\n", "written 2026-03-14"),
        ("a.wav,2026-03-14,fast\n", "bpm of the row must be a number"),
    ],
)
def test_rows_that_cannot_be_are_errors_of_their_take_only(tmp_path, rows, said):
    """Two rows for one file, an impossible date or tempo: one line for that take."""
    (tmp_path / "takes.csv").write_text("file,date,bpm\n" + rows)
    (row,) = read_table(str(tmp_path)).rows["a.wav"]
    assert said in (row.error or "")


def test_a_table_without_the_file_column_or_with_an_unknown_one_is_refused(tmp_path):
    """A misspelt column would otherwise be passed over for every take."""
    for header in ("name,date", "file,tmpo"):
        (tmp_path / "takes.csv").write_text(header + "\n")
        with pytest.raises(UsageError, match=r"takes\.csv"):
            read_table(str(tmp_path))


def planner(folder: Path, **told: object) -> Planner:
    fields = {"edits": {}, "name_of": lambda p: Path(p).name, "container_time": lambda _: None}
    return Planner(str(folder), **{**fields, **told})


def plan_of(folder: Path, **told: object):
    (found,) = find_recordings(folder)
    (plan,) = planner(folder, **told).plans(found, "ab12")
    return plan


def test_precedence_is_hand_then_row_then_name_then_settings(tmp_path):
    """Each source is taken away in turn, and the next one answers."""
    (tmp_path / "practice.toml").write_text(TOML)
    (tmp_path / "takes.csv").write_text("file,date,bpm,chords\n2026-03-14 two chords @84.wav,2026-03-10,86,E A\n")
    (tmp_path / "2026-03-14 two chords @84.wav").touch()
    hand = {"sha256:ab12": {"bpm": "88", "date": "2026-03-09"}}
    plan = plan_of(tmp_path, edits=hand)
    assert (plan.told["bpm"], plan.told["chords"], plan.played_on, plan.date_source) == (
        88.0, ("E", "A"), date(2026, 3, 9), "hand",
    )  # fmt: skip
    plan = plan_of(tmp_path)
    assert (plan.told["bpm"], plan.played_on, plan.date_source) == (86.0, date(2026, 3, 10), "told")
    (tmp_path / "takes.csv").unlink()
    plan = plan_of(tmp_path)
    assert (plan.told["bpm"], plan.told["chords"], plan.played_on, plan.date_source) == (84.0, ("A", "D"), DAY, "name")
    (tmp_path / "2026-03-14 two chords @84.wav").rename(tmp_path / "two chords.wav")
    plan = plan_of(tmp_path, container_time=lambda _: "2026-03-08T10:00:00")
    assert (plan.told["bpm"], plan.played_on, plan.date_source) == (70.0, date(2026, 3, 8), "container")
    plan = plan_of(tmp_path)
    assert plan.date_source == "file"
    assert any("only the file's time" in need for need in plan.needs)
    assert plan.options == {"click": "left", "standard": "first-weeks"}
    assert (plan.student, plan.told["count_in"]) == ("Ines", 1)


def test_what_is_unknown_is_listed_and_not_guessed(tmp_path):
    """A recorder's own name, no settings: student, exercise and date are needs; the rest comes from the sound."""
    (tmp_path / "Voice 003.wav").touch()
    plan = plan_of(tmp_path)
    assert (plan.student, plan.told, plan.date_source) == ("", {}, "file")
    assert [need.partition(":")[0].partition(",")[0] for need in plan.needs] == [
        "the student's name", "the exercise", "the date",
    ]  # fmt: skip


def test_an_unknown_exercise_is_an_error_of_its_take(tmp_path):
    """A row that names what practice.toml does not have: one line, with what it has."""
    (tmp_path / "practice.toml").write_text(TOML)
    (tmp_path / "takes.csv").write_text("file,exercise\na.wav,two cords\n")
    (tmp_path / "a.wav").touch()
    assert "must be one of practice.toml (two chords), but 'two cords' came" in (plan_of(tmp_path).error or "")


def test_only_what_the_measuring_depends_on_changes_the_fingerprint(tmp_path):
    """Renaming an exercise or a remark measures nothing again; another tempo or standard does."""
    (tmp_path / "practice.toml").write_text(
        "[exercises.a]\nbpm = 80\n[exercises.b]\nbpm = 80\n[exercises.c]\nbpm = 81\n"
    )
    prints = {}
    for name in ("a", "b", "c"):
        (tmp_path / "takes.csv").write_text(f"file,exercise,remark\nx.wav,{name},{name}\n")
        (tmp_path / "x.wav").touch()
        prints[name] = plan_of(tmp_path).settings
    prints["tight"] = plan_of(tmp_path, standard="tight").settings
    assert prints["a"] == prints["b"]
    assert len({prints["b"], prints["c"], prints["tight"]}) == 3


def test_a_standard_of_ones_own_is_built_on_a_preset(tmp_path):
    """A teacher can set every number; an unknown one is refused."""
    (tmp_path / "x.wav").touch()
    (tmp_path / "practice.toml").write_text("[standard]\nlike = 'first-weeks'\neven_share = 0.7\n")
    standard = plan_of(tmp_path).options["standard"]
    assert (standard.even_share, standard.drift) == (0.7, False)
    (tmp_path / "practice.toml").write_text("[standard]\nevenness = 0.7\n")
    assert "but evenness came" in (plan_of(tmp_path).error or "")


def test_settings_are_looked_for_up_to_the_home_folder(tmp_path, monkeypatch):
    """Nothing above the home folder is anybody's practice."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    (tmp_path / "home" / "class" / "ines").mkdir(parents=True)
    (tmp_path / "practice.toml").write_text('student = "Nobody"')
    (tmp_path / "home" / "class" / "practice.toml").write_text('equipment = "old guitar"')
    found = SettingsFiles().of(str(tmp_path / "home" / "class" / "ines"))
    assert (found.student, found.equipment) == (None, "old guitar")


def test_hidden_and_other_files_are_passed_over(tmp_path):
    """Endings decide, in any case; hidden files and folders are no recordings."""
    for name in ("a.WAV", "b.m4a", ".c.wav", ".hidden/d.wav", "sub/e.opus", "notes.txt", "takes.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    assert [found.name for found in find_recordings(tmp_path)] == ["a.WAV", "b.m4a", "e.opus"]
    with pytest.raises(UsageError, match="is none"):
        find_recordings(tmp_path / "gone")
