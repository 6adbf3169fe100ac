"""The class: what was set and came of it, who needs the teacher first, and the table that says so."""

from __future__ import annotations

import zlib
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from practice import pretend_to_measure, recording, take_json
from rich.cells import cell_len

from strumclock import report
from strumclock.batch import measure_folder
from strumclock.cli import main
from strumclock.journal import Answer, Assignment, Journal, TakeEntry
from strumclock.journal.writing import write_take
from strumclock.report.class_text import BLOCKS, GAP, NOT_HELD, PLAIN_BLOCKS, PLAIN_GAP, PLAIN_NOT_HELD
from strumclock.weeks import class_frame, class_list, progress, record
from strumclock.weeks.need import NEEDS

MONDAY = date(2026, 9, 7)
TODAY = date(2026, 11, 28)
TWO, WALTZ = {"name": "two chords", "chords": "A D"}, {"name": "waltz", "chords": "G C"}


def recorded(student: str, week: float, bpm: float, held: bool | None, exercise=TWO, k: int = 0, **told) -> TakeEntry:
    """One take of a student, `week` weeks after the first Monday."""
    seed = zlib.crc32(f"{student}{week}{bpm}{k}{exercise['name']}".encode())
    told.setdefault("margin", {True: 0.85, False: 1.4, None: None}[held])
    return TakeEntry(
        identity=f"sha256:{seed:064x}",
        student=student,
        played_on=MONDAY + timedelta(days=round(7 * week)),
        path=f"{student.lower()}/{seed}.wav",
        measurement=take_json(bpm=bpm, held=held, seed=seed % 1000, exercise=exercise, **told),
    )


def journal_of(folder: Path, takes: list[TakeEntry], given: list[Assignment] = []) -> Journal:  # noqa: B006 (read only)
    journal = Journal(folder)
    with journal.writing() as connection:
        for entry in takes:
            write_take(connection, entry)
    journal.assign(given)
    return journal


def given(student: str, week: int, bpm: float | None = 80.0, due: int | None = 6, exercise=TWO) -> Assignment:
    day = MONDAY + timedelta(weeks=week)
    due_on = None if due is None else day + timedelta(days=due)
    return Assignment(student=student, exercise=exercise, bpm=bpm, given_on=day, due_on=due_on)


@pytest.mark.parametrize(
    ("takes", "state"),
    [
        ([], "missing"),
        ([(1.2, 80, True)], "met"),
        ([(1.2, 84, True)], "met"),
        ([(1.2, 78, True)], "sent"),
        ([(1.2, 80, False)], "sent"),
        ([(0.5, 80, True)], "missing"),
        ([(2.5, 80, True)], "met-late"),
        ([(1.2, 80, False), (1.4, 80, True)], "met"),
    ],
)
def test_an_assignment_is_met_by_a_take_since_it_was_given_that_holds_its_tempo(tmp_path, takes, state):
    """Given in week 1, due six days later, at 80: by what the word says."""
    entries = [recorded("Ines", week, bpm, held) for week, bpm, held in takes]
    journal = journal_of(tmp_path, entries, [given("Ines", 1)])
    (standing,) = progress(journal, "Ines", today=TODAY).standings
    assert standing.state(TODAY) == state
    assert standing.n_takes == sum(week >= 1 for week, _, _ in takes)


def test_a_take_after_the_exercise_was_set_again_belongs_to_the_later_assignment(tmp_path):
    """Set in week 1 and in week 3; the take of week 3 meets the second and not the first."""
    journal = journal_of(tmp_path, [recorded("Ines", 3.2, 80, True)], [given("Ines", 1), given("Ines", 3)])
    later, earlier = progress(journal, "Ines", today=TODAY).standings
    assert (later.state(TODAY), earlier.state(TODAY)) == ("met", "missing")


def test_another_exercise_does_not_meet_an_assignment(tmp_path):
    """The waltz was set, two chords were played."""
    journal = journal_of(tmp_path, [recorded("Ines", 1.2, 90, True)], [given("Ines", 1, exercise=WALTZ)])
    assert progress(journal, "Ines", today=TODAY).standings[0].state(TODAY) == "missing"


@pytest.fixture(scope="module")
def school(tmp_path_factory) -> Journal:
    """Seven students, each made to be where the list must put them."""
    takes = []
    for week in range(12):
        for k in (0, 0.3):
            takes += [
                recorded("Plateau", week + k, 78, True, k=week),
                recorded("Faller", week + k, 110 - 3 * week, week % 2 == 0, k=week),
                recorded("Unheld", week + k, 80, week < 6, k=week, margin=0.95 if week < 6 else 1.6),
                recorded("Fine", week + k, 60 + 2 * week, True, k=week),
                recorded("Unsure", week + k, 60 + 2 * week, True, k=week, offset_ms=None, warnings=("clipped",)),
            ]
            if week < 8:
                takes.append(recorded("Silent", week + k, 60 + 2 * week, True, k=week))
    late = [given("Forgetful", 9)]
    return journal_of(tmp_path_factory.mktemp("school"), takes, [*late, given("New", 11, due=10)])


def test_the_list_is_in_order_of_need(school):
    """Issue: stuck, falling, silent, unsure measurement, the same obstacle for weeks, then the others."""
    found = class_list(school, today=TODAY)
    needs = {one.student: one.need for one in found}
    assert needs["Plateau"] == needs["Unheld"] == "stuck"
    assert needs["Silent"] == needs["Forgetful"] == "silent"
    assert needs["Unsure"] == "unsure"
    assert needs["Fine"] == needs["New"] == "fine"
    order = [NEEDS.index(one.need) for one in found]
    assert order == sorted(order)


def test_whoever_was_just_given_their_first_exercise_is_not_silent_and_who_let_it_pass_is(school):
    """New's is due on 4 December, Forgetful's was due on 15 November."""
    found = {one.student: report.class_table([one]) for one in class_list(school, today=TODAY)}
    assert "Going on" in found["New"]
    assert "awaited: two chords 80" in found["New"]
    assert "What was due has not come" in found["Forgetful"]
    assert "missing: two chords 80" in found["Forgetful"]


def test_missing_exercise_and_since_choose_students(school):
    """By construction of the seven."""

    def names(**chosen) -> set[str]:
        return {one.student for one in class_list(school, today=TODAY, **chosen)}

    assert names(missing=True) == {"New", "Forgetful"}
    assert names(exercise="waltz") == set()
    assert names(exercise="two") == {"Plateau", "Faller", "Unheld", "Fine", "Unsure", "Silent"}
    assert names(since=MONDAY + timedelta(weeks=11)) == {"Plateau", "Faller", "Unheld", "Fine", "Unsure"}


def test_a_folder_below_shows_its_own_students_only(school):
    """One teacher's folder in a school's record; one that is there and empty is a student who has sent nothing."""
    root = Path(school.where).parent
    (root / "other" / "Forgetful").mkdir(parents=True)
    assert {one.student for one in class_list(school, today=TODAY, below=root / "fine")} == {"Fine"}
    assert {one.student for one in class_list(school, today=TODAY, below=root / "other")} == {"Forgetful"}
    assert len(class_list(school, today=TODAY, below=root)) == 8


def test_folders_are_told_apart_letter_by_letter(tmp_path):
    """Names that begin alike, differ in case, or hold a pattern's signs (SQL's % and _) are other folders."""
    folders = {"a_b": "A", "a_bc": "B", "aXb": "C", "A_B": "D", "a%b": "E", "ä": "F", "a_b/c": "G", "a_b-": "H"}
    journal = Journal(tmp_path)
    for number, (folder, student) in enumerate(folders.items()):
        entry = recorded(student, number, 80, True)
        journal.record(replace(entry, path=f"{folder}/1.wav"))
    for folder, student in folders.items():
        assert journal.students_below(tmp_path / folder) == (("A", "G") if folder == "a_b" else (student,))


@pytest.mark.parametrize("width", [60, 80, 110, 140])
def test_the_table_fits_its_width_whatever_the_names(school, width):
    """Truth: cells of a terminal (Unicode's East Asian widths, by rich): no line is wider, nothing is lost silently."""
    answers = {"Fine": Answer(student="Fine", text="Well played.", written_on=date(2026, 11, 21))}
    table = report.class_table(class_list(school, today=TODAY), answers=answers, width=width)
    assert max(cell_len(line) for line in table.splitlines()) <= width
    assert "Plateau" in table
    assert width < 110 or "21 Nov (not sent)" in table
    assert "missing" in table
    assert width < 80 or "held / reach" in table


def test_a_terminal_without_blocks_gets_ascii_that_can_be_told_apart(tmp_path):
    """Truth: ASCII itself; a week without takes is no level of the line."""
    takes = [recorded("Ines", week, 70 + 4 * week, None if week == 3 else week != 5) for week in range(9) if week != 4]
    found = class_list(journal_of(tmp_path, takes, [given("Ines", 1, bpm=None)]), today=TODAY)
    assert report.class_table(found, plain=True).isascii()
    assert not set(PLAIN_BLOCKS) & {PLAIN_GAP, PLAIN_NOT_HELD}
    assert not set(BLOCKS) & {GAP, NOT_HELD}


def test_a_wide_name_takes_its_cells(tmp_path):
    """Names of wide letters are cut by cells, and the columns stay in line."""
    journal = journal_of(tmp_path, [recorded("山田太郎山田太郎山田太郎", 0, 80, True), recorded("Ines", 0, 80, True)])
    lines = report.class_table(class_list(journal, today=TODAY), width=80).splitlines()
    starts = {cell_len(line.partition("×")[0]) for line in lines if "×" in line}
    assert len(starts) == 1


def test_the_line_of_weeks_shows_held_unheld_and_silent_weeks(tmp_path):
    """Held in two weeks, tried and not held in the third, nothing in the fourth, held again faster."""
    takes = [recorded("Ines", week + k, bpm, held) for week, bpm, held in WEEKS for k in (0, 0.3)]
    found = progress(journal_of(tmp_path, takes), "Ines", today=TODAY)
    assert report.spark(found.exercises[0]) == "▁▂×·█"
    assert report.spark(found.exercises[0], plain=True) == "_,x.^"


WEEKS = [(0, 70, True), (1, 72, True), (2, 76, False), (4, 80, True)]


def test_a_student_in_the_frame_is_the_student_in_the_list(school):
    """Against the values themselves; what is not known is missing, not zero."""
    found = class_list(school, today=TODAY)
    frame = class_frame(found)
    assert frame["student"].tolist() == [one.student for one in found]
    plateau = frame.set_index("student").loc["Plateau"]
    assert plateau["held_bpm"] == 78
    assert plateau["need"] == "stuck"
    assert frame.set_index("student").loc["New"].isna()["held_bpm"]


def test_the_command_says_that_nobody_fits(school, capsys):
    """A filter that leaves nobody is no empty record."""
    assert main(["class", str(Path(school.where).parent), "--exercise", "tango"]) == 0
    assert capsys.readouterr().out.strip() == "Nobody fits what was asked for."


def test_a_bad_day_is_one_line(school, capsys):
    """--since takes a date."""
    assert main(["class", str(Path(school.where).parent), "--since", "last week"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_after_a_batch_the_list_finds_all_concluded(tmp_path, monkeypatch):
    """The batch has worked out the weeks of those from whom something came; the list only reads, and says the same."""
    for name in ("Ines", "Tom"):
        for bpm in (72, 76):
            recording(tmp_path / name, f"2026-11-{bpm - 50} two chords @{bpm}.wav")
    measure_folder(tmp_path, workers=1, measure=pretend_to_measure)
    worked_out = []
    weeks_of = record.exercise_progress
    monkeypatch.setattr(record, "exercise_progress", lambda *a, **k: worked_out.append(a) or weeks_of(*a, **k))
    journal = Journal(tmp_path)
    found = class_list(journal, today=TODAY)
    assert worked_out == []
    assert [one.student for one in found] == ["Ines", "Tom"]
    for one in found:
        assert one.exercises[0].weeks == progress(journal, one.student).exercises[0].weeks


def test_of_several_exercises_the_list_shows_the_one_played_last(tmp_path):
    """Two chords until week 5, the waltz in week 6; the whole record has both, the last one first."""
    takes = [recorded("Ines", week, 80, True) for week in range(6)]
    journal = journal_of(tmp_path, [*takes, recorded("Ines", 6, 90, True, exercise=WALTZ)])
    whole = progress(journal, "Ines", today=TODAY).exercises
    (one,) = class_list(journal, today=TODAY)[0].exercises
    assert len(whole) == 2
    assert one.label == whole[0].label
    assert "waltz" in one.label
