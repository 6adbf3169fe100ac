"""A class's folder: whose a take is, what was set, what came of it, and what needs a word."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from practice import recording, take_json
from test_batch_folder import batch

from strumclock.batch.running import fits
from strumclock.batch.settings import Settings, add_settings
from strumclock.batch.students import name_of_folder, silent_folders, student_of
from strumclock.errors import UsageError
from strumclock.journal import Journal
from strumclock.weeks import progress

TODAY = date.today()
GIVEN = TODAY - timedelta(days=10)
CLASS = f"""
root = true
[exercises."two chords"]
chords = "A D"
beats_per_change = 4

[exercises.waltz]
chords = "G C"
meter = "3/4"

[[assignments]]
exercise = "two chords"
bpm = 72
given = {GIVEN}
due = {TODAY + timedelta(days=2)}
"""
DAY = (GIVEN + timedelta(days=1)).isoformat()


@pytest.fixture
def school(tmp_path: Path) -> Path:
    """A class of three: Ines with a named take, Tom with a messenger's file, Wren with nothing."""
    folder = tmp_path / "class"
    for name in ("Ines", "Tom", "Wren"):
        (folder / name).mkdir(parents=True)
    (folder / "practice.toml").write_text(CLASS)
    recording(folder / "Ines", f"{DAY} two chords @72.wav", bpm=72, seed=1)
    recording(folder / "Tom", f"PTT-{DAY.replace('-', '')}-WA0003.wav", bpm=70, seed=2)
    return folder


def counted(folder: Path) -> dict[str, list[str]]:
    """The exercises of the takes that count, by student."""
    takes = Journal(folder, create=False).takes()
    found: dict[str, list[str]] = {}
    for row in takes[takes["counts"]].itertuples():
        found.setdefault(str(row.student), []).append(str(row.exercise))
    return found


@pytest.mark.parametrize(
    ("folder", "name"),
    [
        ("class/Ines", "Ines"),
        ("class/Ana María", "Ana María"),
        ("class/2026-03-14", None),
        ("class/Week 3", None),
        ("class/recordings", None),
        ("class/New Recording", None),
        ("class/.hidden", None),
    ],
)
def test_a_folders_name_is_a_student_unless_it_is_a_day_or_a_recorders_word(folder, name):
    """By what the words mean; nobody is called Week 3."""
    assert name_of_folder(folder) == name


def test_the_first_folder_below_the_class_is_the_student_whatever_lies_below_it():
    """A week's folder in Ines's own is Ines's; the class's own folder is nobody's."""
    of = {"/c/Ines": "Ines", "/c/Ines/week 2": "Ines", "/c/Ines/home": "Ines", "/c": None, "/c/2026-03-14": None}
    assert {folder: student_of(folder, "/c", lambda _: False) for folder in of} == of
    assert student_of("/school/Anna/Ines", "/school", lambda folder: folder == "/school/Anna") == "Ines"


def test_a_folder_is_a_student_and_an_empty_one_has_sent_nothing(school):
    """Nobody wrote a name anywhere: the folders' names are the students."""
    report = batch(school)
    assert Journal(school).students() == ("Ines", "Tom", "Wren")
    assert counted(school) == {"Ines": ["two chords"], "Tom": ["two chords"]}
    assert [Path(one).name for one in silent_folders(str(school))] == ["Wren"]
    said = {one.student: (one.new, one.state) for one in report.gathered}
    assert said == {"Ines": (1, "met"), "Tom": (1, "sent"), "Wren": (0, "waiting")}
    assert "Nothing yet: Wren (two chords at 72)" in str(report)


def test_what_says_otherwise_wins_over_the_folders_name(school):
    """practice.toml in the folder, and a row of takes.csv."""
    (school / "Ines" / "practice.toml").write_text('student = "Inés Duarte"\n')
    (school / "takes.csv").write_text(f"file,student\nTom/PTT-{DAY.replace('-', '')}-WA0003.wav,Thomas\n")
    batch(school)
    assert {"Inés Duarte", "Thomas"} <= set(Journal(school).students())
    assert set(counted(school)) == {"Inés Duarte", "Thomas"}


def test_a_messengers_file_is_taken_for_what_was_set_then_and_it_is_said(school):
    """Tom's file has a date and no exercise; its tempo is near the one that was set."""
    report = batch(school)
    (file,) = (school / "Tom").glob("*.wav")
    assert report.assumed == ((f"Tom/{file.name}", "two chords"),)
    assert f"Taken for “two chords”, which was set then: Tom/{file.name}" in str(report)
    assert batch(school).assumed == ()


def test_a_messengers_file_that_does_not_fit_is_listed_each_time_and_never_counted_for_it(school):
    """Twice the tempo: another piece. It needs a word in every run until it gets one; then it counts for that."""
    name = f"PTT-{DAY.replace('-', '')}-WA0009.wav"
    recording(school / "Tom", name, bpm=150, seed=3)
    for _ in range(2):
        report = batch(school)
        (need,) = [need for need, files in report.needs.items() if f"Tom/{name}" in files and "does not fit" in need]
        assert f"--take Tom/{name} --correct exercise" in str(report)
        assert counted(school)["Tom"].count("two chords") == 1
    assert need.startswith("the exercise")
    Journal(school).correct(f"Tom/{name}", "exercise", "waltz")
    assert f"Tom/{name}" not in str(batch(school).needs)
    assert sorted(counted(school)["Tom"]) == ["two chords", "waltz"]


def test_a_take_from_before_anything_was_set_is_not_guessed(school):
    """A fortnight before the day on which it was given."""
    name = f"PTT-{(GIVEN - timedelta(days=14)).strftime('%Y%m%d')}-WA0001.wav"
    recording(school / "Tom", name, bpm=72, seed=4)
    report = batch(school)
    assert any(f"Tom/{name}" in files for files in report.needs.values())
    assert [file for file, _ in report.assumed if file == f"Tom/{name}"] == []


def test_a_date_that_is_only_the_files_time_does_not_count_until_it_is_confirmed(school):
    """Issue: listed and not counted until confirmed; `note --correct date` confirms it."""
    recording(school / "Wren", "Recording (3).wav", bpm=72, seed=5)
    report = batch(school)
    assert "Wren/Recording (3).wav" in str(report.needs)
    assert "Wren" not in counted(school)
    assert progress(Journal(school), "Wren", today=TODAY).exercises == ()
    Journal(school).correct("Wren/Recording (3).wav", "date", DAY)
    batch(school)
    assert counted(school)["Wren"] == ["two chords"]


def test_a_renamed_folder_takes_the_whole_record_along(school):
    """Issue: a rename merges; notes and goals follow, and nobody of the old name is left."""
    batch(school)
    journal = Journal(school)
    journal.note("Ines", "has a new guitar")
    journal.set_goal("Ines", "two chords", 90)
    (school / "Ines").rename(school / "Ines Duarte")
    batch(school)
    assert Journal(school).students() == ("Ines Duarte", "Tom", "Wren")
    assert journal.notes("Ines Duarte")["text"].tolist() == ["has a new guitar"]
    assert [e.goal_bpm for e in journal.history("Ines Duarte").exercises.values()] == [90]


def test_a_name_that_is_told_later_leaves_nobody_without_a_name(tmp_path):
    """First a take in the class's own folder, then a practice.toml that says whose it is."""
    recording(tmp_path, f"{DAY} two chords @72.wav", bpm=72)
    batch(tmp_path)
    assert Journal(tmp_path).students() == ("",)
    (tmp_path / "practice.toml").write_text('student = "Wren"\n')
    batch(tmp_path)
    assert Journal(tmp_path).students() == ("Wren",)


def test_whoever_is_listed_without_a_name_can_be_forgotten(tmp_path):
    """By what the list calls them."""
    recording(tmp_path, f"{DAY} two chords @72.wav", bpm=72)
    batch(tmp_path)
    assert Journal(tmp_path).forget("(no name)").takes == 1


def test_a_take_moved_to_another_student_does_not_rename_anybody(school):
    """Ines's folder is still there, empty: she has sent nothing, and is not Tom."""
    batch(school)
    Journal(school).note("Ines", "ill this week")
    (take,) = (school / "Ines").glob("*.wav")
    take.rename(school / "Tom" / take.name)
    batch(school)
    assert Journal(school).students() == ("Ines", "Tom", "Wren")
    assert Journal(school).notes("Ines")["text"].tolist() == ["ill this week"]


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ('exercise = "tango"\ngiven = 2026-11-01', "must be one of [exercises] (two chords)"),
        ('exercise = "two chords"', "must say given"),
        ('exercise = "two chords"\ngiven = 2026-11-08\ndue = 2026-11-01', "due of"),
        ('exercise = "two chords"\ngiven = "Monday"', "must be a date"),
        ('exercise = "two chords"\ngiven = 2026-11-08\nbpm = 9000', "bpm"),
        ('exercise = "two chords"\ngiven = 2026-11-08\nstudents = "Ines"', "must be a list of names"),
        ('exercise = "two chords"\ngiven = 2026-11-08\nweek = 3', "'week' came"),
        (
            'exercise = "two chords"\ngiven = 2026-11-08\n[[assignments]]\nexercise = "two chords"\ngiven = 2026-11-08',
            "keep one",
        ),
    ],
)
def test_an_assignment_that_cannot_be_is_one_clear_line(told, words):
    """What was required, what came, what to do."""
    text = f'[exercises."two chords"]\nchords = "A D"\n[[assignments]]\n{told}\n'
    with pytest.raises(UsageError, match=r"\[\[assignments\]\]|assignments") as error:
        add_settings(Settings(), text, "practice.toml")
    assert words in str(error.value)
    assert "\n" not in str(error.value)


def test_fitting_asks_for_the_places_and_the_tempo():
    """Arithmetic at the edges: a quarter faster or slower, three tenths of the places."""
    take = take_json(bpm=80, n=32)
    assert fits(take, 80)
    assert fits(take, None)
    assert fits(take, 64)
    assert not fits(take, 63)
    assert fits(take, 100)
    assert not fits(take, 101)
    assert fits({**take, "omitted": [{}] * 13}, 80)
    assert not fits({**take, "omitted": [{}] * 14}, 80)
    assert not fits({**take, "warnings": [{"code": "poor-fit"}]}, 80)
    assert not fits({**take, "timing": None}, 80)
