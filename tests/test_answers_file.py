"""Who is answered when, and the file of answers: edited by hand, sent, read back, never written over."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from practice import take_json

import strumclock as sc
from strumclock import report
from strumclock.cli import main
from strumclock.errors import OutputError, UsageError
from strumclock.journal import Assignment, Journal, TakeEntry
from strumclock.weeks.answering import replies

TODAY = date(2026, 11, 28)

# when nothing new came ------------------------------------------------------------------------------------------------


def recorded(student: str, on: date, *, seed: int, **told: object) -> TakeEntry:
    """One invented take."""
    return TakeEntry(
        identity=f"sha256:{student}{seed}",
        student=student,
        played_on=on,
        date_source="name",
        path=f"{student}/{seed}.m4a",
        measurement=take_json(seed=seed, exercise={"name": "Two chords", "chords": ["A", "D"]}, margin=0.9, **told),
    )


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    """Ines played twice this week, Tom was set something and played nothing."""
    made = Journal(tmp_path)
    for seed in (1, 2):
        made.record(recorded("Ines", TODAY - timedelta(days=seed), seed=seed))
    made.assign([Assignment(student="Tom", exercise={"name": "Island strum"}, bpm=66.0, given_on=TODAY)])
    return made


def test_who_was_just_answered_and_sent_nothing_since_gets_no_second_answer(journal: Journal) -> None:
    """Sent on Saturday: nothing on Sunday, a friendly word a week later, an answer as soon as a take comes."""
    (ines,) = report.answers(journal, ["ines"], today=TODAY)
    journal.mark_sent(journal.keep_answer(ines), on=TODAY)
    assert report.answers(journal, ["Ines"], today=TODAY + timedelta(days=1)) == ()
    (word,) = report.answers(journal, ["Ines"], today=TODAY + timedelta(days=7))
    assert word.said[0].startswith("silent/")
    journal.record(recorded("Ines", TODAY - timedelta(days=3), seed=3))  # an older take that came only now
    (again,) = report.answers(journal, ["Ines"], today=TODAY + timedelta(days=1))
    assert again.said[0].startswith("held/")
    assert "One of your recordings" in again.text or "one of your recordings" in again.text


def test_the_same_day_again_gives_the_same_answer_until_it_is_sent(journal: Journal) -> None:
    """An answer that was not sent is no answer: a second one takes its place."""
    first = report.answers(journal, today=TODAY)
    for answer in first:
        journal.keep_answer(answer)
    assert report.answers(journal, today=TODAY) == first
    for answer in first:
        journal.keep_answer(answer)
    assert len(journal.answers()) == len(first)


def test_a_tempo_that_the_teacher_has_set_since_wins_over_the_takes(journal: Journal) -> None:
    """Set on Saturday after Friday's takes: the answer names 71 and not what the takes give."""
    exercise_told = {"name": "Two chords", "chords": "A D", "meter": "4/4", "per_beat": 1, "pattern": "DDDD"}
    (before,) = report.answers(journal, ["Ines"], today=TODAY)
    number = next(reply.exercise_id for reply, _ in replies(journal, ["Ines"], today=TODAY))
    assert before.exercise_id == number is not None
    journal.assign([Assignment(student="Ines", exercise=exercise_told, bpm=71.0, given_on=TODAY)])
    assert [a.exercise_id for a in journal.assignments("Ines")] == [number]
    (after,) = report.answers(journal, ["Ines"], today=TODAY)
    assert "71" in after.text
    assert "71" not in before.text


def test_takes_that_could_not_be_measured_are_answered_by_how_to_record_again(journal: Journal) -> None:
    """Two files that could not be read: no conclusion, and no silence."""
    for seed in (11, 12):
        journal.record(
            TakeEntry(identity=f"sha256:x{seed}", student="Tom", played_on=TODAY, path=f"{seed}.m4a", error="no sound")
        )
    (tom,) = report.answers(journal, ["Tom"], today=TODAY)
    assert tom.text == (
        "Hi Tom! Thank you for your 2 recordings. The recording did not come through: please listen to it before you "
        "send it again."
    )


def test_answers_are_a_table_too(journal: Journal) -> None:
    """From Python: a row a student, by pandas itself."""
    table = pd.DataFrame(sc.answers(journal, today=TODAY))
    assert list(table["student"]) == ["Tom", "Ines"]
    assert {"text", "said", "written_on", "language", "exercise_id"} <= set(table.columns)


def test_an_unknown_student_is_refused(journal: Journal) -> None:
    """What was required, what came, what to do."""
    with pytest.raises(UsageError, match=r"one of the journal's \(Ines, Tom\), but 'Nobody' came"):
        report.answers(journal, ["Ines", "Nobody"])


# the file ------------------------------------------------------------------------------------------------------------


def test_answers_are_edited_sent_and_written_down_in_the_words_that_were_sent(journal: Journal, tmp_path: Path) -> None:
    """Against the file that a hand changed: Ines's words, Tom's block emptied, and a block that was added for Ines's
    brother, who is not in the journal, is refused before anything is written."""
    path = tmp_path / "answers.txt"
    report.answer_students(journal, path, today=TODAY)
    text = path.read_text()
    tom = report.read_answers(path)["Tom"]
    path.write_text(
        text.replace("Hi Ines!", "Dear Ines, how was the concert?").replace(tom, "") + "\n== Jim ==\nHello!\n"
    )
    with pytest.raises(UsageError, match="students of the journal, but Jim is none"):
        report.mark_sent(journal, path, on=TODAY)
    assert all(a.sent_on is None for a in journal.answers())
    path.write_text(path.read_text().partition("== Jim")[0])
    done = report.mark_sent(journal, path, on=TODAY)
    assert (done.students, done.edited, done.without_words) == (("Ines",), ("Ines",), ("Tom",))
    (ines,) = journal.answers("Ines")
    assert ines.text.startswith("Dear Ines, how was the concert?")
    assert ines.sent_on == TODAY
    assert [a.sent_on for a in journal.answers("Tom")] == [None]
    assert report.mark_sent(journal, path, on=TODAY).known == ("Ines",)
    assert len(journal.answers("Ines")) == 1


def test_a_file_that_was_changed_by_hand_is_never_written_over(journal: Journal, tmp_path: Path) -> None:
    """Against its bytes; unchanged it is brought up to date, and blocks of others stay in it."""
    path = tmp_path / "answers.txt"
    report.answer_students(journal, path, ["Tom"], today=TODAY)
    report.answer_students(journal, path, ["Ines"], today=TODAY)
    assert list(report.read_answers(path)) == ["Tom", "Ines"]
    edited = path.read_text().replace("Hi Tom!", "Dear Tom,")
    path.write_text(edited)
    before = journal.answers()
    with pytest.raises(OutputError, match="changed by hand"):
        report.answer_students(journal, path, today=TODAY)
    assert path.read_text() == edited
    assert journal.answers() == before
    other = tmp_path / "lesson.txt"
    other.write_text("What we did today\n")
    with pytest.raises(OutputError, match="another file"):
        report.answer_students(journal, other, today=TODAY)
    with pytest.raises(OutputError, match="settings of a folder"):
        report.answer_students(journal, tmp_path / "practice.toml", today=TODAY)


@pytest.mark.parametrize(
    ("raw", "why"),
    [
        (b"\xff\xfe\x00", "UTF-8"),
        (b"hello\n", "below a line such as"),
        (b"== Ines ==\na\n\n== INES ==\nb\n", "two for"),
    ],
)
def test_what_is_no_file_of_answers_is_refused_in_one_line(raw: bytes, why: str, tmp_path: Path) -> None:
    """No text, no block, two blocks for one student."""
    path = tmp_path / "answers.txt"
    path.write_bytes(raw)
    with pytest.raises(UsageError, match=why) as caught:
        report.read_answers(path)
    assert "\n" not in str(caught.value)


def test_a_file_saved_by_another_editor_is_read_the_same(tmp_path: Path) -> None:
    """A byte-order mark and the line ends of Windows."""
    path = tmp_path / "answers.txt"
    path.write_bytes("\ufeff# x\r\n\r\n== Ines ==\r\nHallo,\r\ngut so.\r\n".encode())
    assert report.read_answers(path) == {"Ines": "Hallo,\ngut so."}


def test_a_block_added_by_hand_is_an_answer_too(journal: Journal, tmp_path: Path) -> None:
    """The teacher writes to Tom without having asked for an answer."""
    path = tmp_path / "answers.txt"
    path.write_text("== tom ==\nSee you on Monday!\n")
    assert report.mark_sent(journal, path, on=TODAY).students == ("Tom",)
    assert [(a.text, a.sent_on) for a in journal.answers("Tom")] == [("See you on Monday!", TODAY)]


def test_the_command_writes_the_file_and_the_record_in_the_language_of_the_folder(
    journal: Journal, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wiring: practice.toml's language, the file's name, what is printed, and --sent."""
    (tmp_path / "practice.toml").write_text('language = "de"\n')
    assert main(["answer", str(tmp_path), "--on", TODAY.isoformat()]) == 0
    path = tmp_path / "answers-2026-11-28.txt"
    assert "Hallo Ines!" in path.read_text()
    assert "Hallo Tom!" in capsys.readouterr().out
    assert {a.language for a in journal.answers()} == {"de"}
    assert main(["answer", str(tmp_path), "--sent", str(path), "--on", "2026-11-29"]) == 0
    assert "sent on 2026-11-29: Tom, Ines" in capsys.readouterr().out
    assert {a.sent_on for a in journal.answers()} == {date(2026, 11, 29)}
    assert main(["answer", str(tmp_path), "--language", "en", "--students", "Ines", "--on", "2026-11-30"]) == 0
    assert "Nothing came since their last answer: Ines (29 November)" in capsys.readouterr().out
    assert main(["answer", str(tmp_path), "--sent", "x", "--to", "y"]) == 2


@pytest.mark.usefixtures("journal")
def test_a_class_in_a_schools_record_is_answered_by_its_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of two classes only the one whose folder was named; a folder of nobody is refused."""
    for folder in ("monday/Tom", "tuesday", "empty"):
        (tmp_path / folder).mkdir(parents=True)
    assert main(["answer", str(tmp_path / "monday"), "--on", TODAY.isoformat()]) == 0
    assert set(report.read_answers(tmp_path / "monday" / "answers-2026-11-28.txt")) == {"Tom"}
    assert main(["answer", str(tmp_path / "empty")]) == 2
    assert "has none; measure it with batch" in capsys.readouterr().err


def test_a_students_folder_says_whose_weeks_are_meant(
    journal: Journal, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ines and Bo have takes in a folder each: `progress FOLDER` of one is hers; the class's folder needs a name."""
    journal.record(recorded("Bo", TODAY, seed=9))
    (tmp_path / "Ines").mkdir()
    assert main(["progress", str(tmp_path / "Ines")]) == 0
    assert capsys.readouterr().out.startswith("Ines\n2 takes")
    assert main(["progress", str(tmp_path)]) == 2
    assert "--student is needed" in capsys.readouterr().err
    (tmp_path / "elsewhere" / "Ines").mkdir(parents=True)  # a record told from elsewhere: the folder there says nothing
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert main(["progress", "--journal", str(tmp_path)]) == 2
