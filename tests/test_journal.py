"""The practice record keeps everything, once, whatever happens, and gives it back as it was."""

from __future__ import annotations

import csv
import shutil
import sqlite3
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, strategies as st
from practice import take_json

from strumclock.errors import JournalError, OutputError, UsageError
from strumclock.journal import Journal, TakeEntry, find_journal, opening, places, schema
from strumclock.journal.csvfile import plain_cell, read_page, safe_cell
from strumclock.journal.fingerprint import same_sound


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path)


def entry(identity: str = "sha256:aa11", student: str = "Ines", **told: object) -> TakeEntry:
    fields = {"played_on": date(2026, 3, 3), "date_source": "name", "path": f"{identity[7:]}.wav", "settings": "s"}
    fields["measurement"] = take_json(exercise={"name": "two chords", "chords": ["A", "D"], "beats_per_change": 4})
    return TakeEntry(identity=identity, student=student, **{**fields, **told})


def test_a_measurement_comes_back_as_it_was(journal):
    """Round trip: the JSON that went in comes out, strums and all."""
    measured = take_json(bpm=92, seed=5, warnings=("clipped",))
    take = journal.record(entry(measurement=measured))
    assert journal.measurement(take) == measured
    assert list(journal.strums(take)["time_s"]) == [s["time_s"] for s in measured["strums"]]


def test_every_figure_has_its_interval_or_its_reason(journal):
    """Every estimate of the JSON is a row; an absent one keeps the reason."""
    take = journal.record(entry())
    table = journal.figures().set_index("place")
    assert set(table["take"]) == {take}
    assert table.loc["timing.mean_offset_ms", ["value", "low", "high", "u"]].tolist() == [5.0, 3.0, 7.0, 0.3]
    assert table.loc["timing.by_beat.2.offset_ms", "value"] == 2.0
    assert table.loc["timing.body_offset_ms", "absent"] == "the spread was not measured"


def test_the_same_sound_is_one_take_however_often_it_is_written(journal):
    """Writing again brings the row up to date, and adds none."""
    first = journal.record(entry())
    second = journal.record(entry(path="renamed.wav", measurement=take_json(bpm=90)))
    assert first == second
    table = journal.takes()
    assert table[["file", "bpm"]].to_numpy().tolist() == [["renamed.wav", 90.0]]


def test_exercises_are_told_apart_by_chords_and_beats_per_change_not_by_tempo(journal):
    """Issue: same chords and beats per change are one exercise; what was inferred does not divide it."""
    told = {"chords": ["A", "D"], "beats_per_change": 4}
    journal.record(entry("sha256:01", measurement=take_json(bpm=70, exercise=told, inferred=("pattern", "meter"))))
    other = take_json(bpm=90, seed=2, exercise={**told, "pattern": "D.DU"}, inferred=("pattern", "meter"))
    journal.record(entry("sha256:02", measurement=other))
    journal.record(entry("sha256:03", measurement=take_json(seed=3, exercise={**told, "beats_per_change": 2})))
    assert len(journal.exercises()) == 2


def test_corrections_by_hand_stay_when_the_take_is_measured_again(journal):
    """Issue: a take can be corrected, excluded or annotated by hand and stays so."""
    take = journal.record(entry())
    journal.correct(take, "date", "2026-03-05")
    journal.exclude(take, "the phone fell over")
    journal.annotate(take, "new strings")
    journal.correct(take, "student", "Björn")
    journal.record(entry(measurement=take_json(bpm=99)))
    row = journal.takes().iloc[0]
    assert (row["date"], row["excluded"], row["remark"], row["student"], row["bpm"]) == (
        date(2026, 3, 5),
        "the phone fell over",
        "new strings",
        "Björn",
        99.0,
    )
    journal.include(take)
    journal.annotate(take, None)
    journal.record(entry())
    row = journal.takes().iloc[0]
    assert row["excluded"] is None
    assert row["remark"] is None


def test_a_corrected_tempo_asks_for_measuring_again_and_a_corrected_date_does_not(journal):
    """What the grid depends on cannot be changed without the sound."""
    take = journal.record(entry())
    assert journal.correct(take, "bpm", "84") is True
    assert journal.correct(take, "date", "2026-03-05") is False
    assert journal.edits_of("sha256:aa11") == {"bpm": "84", "date": "2026-03-05"}


def test_a_take_is_found_by_number_path_name_and_hash(journal):
    """Four ways to name it; an ambiguous or unknown one is one clear line."""
    take = journal.record(entry("sha256:abcdef0123", path="ines/week 1/a.wav"))
    journal.record(entry("sha256:abcdef9999", path="ines/week 2/a.wav", measurement=take_json(seed=8)))
    for name in (take, str(take), "ines/week 1/a.wav", "week 1/a.wav", "abcdef0"):
        journal.annotate(name, str(name))
        assert journal.takes().query("take == @take")["remark"].item() == str(name)
    with pytest.raises(UsageError, match="2 have it"):
        journal.annotate("a.wav", "x")
    with pytest.raises(UsageError, match="none has it"):
        journal.annotate("b.wav", "x")


@pytest.mark.parametrize(
    ("field", "value"), [("date", "2026-02-30"), ("bpm", "5"), ("bpm", "fast"), ("per_beat", "two"), ("mood", "good")]
)
def test_impossible_corrections_are_refused(journal, field, value):
    """Impossible date, tempo, number or field: one line, and nothing is written."""
    take = journal.record(entry())
    with pytest.raises(UsageError):
        journal.correct(take, field, value)
    assert journal.edits() == {}


def test_forget_deletes_all_of_a_student_and_nothing_of_others(tmp_path):
    """Issue: forget deletes all of a student; the name is not left in the file's free pages either."""
    journal = Journal(tmp_path)
    journal.record(entry("sha256:01", student="Ottilie Zweig", path="ottilie/1.wav", remark="Ottilie was ill"))
    journal.record(entry("sha256:02", student="Ines", measurement=take_json(seed=2)))
    journal.note("Ottilie Zweig", "moved to Graz")
    journal.set_goal("Ottilie Zweig", {"name": "Ottilie's own"}, 90)
    journal.annotate("ottilie/1.wav", "Ottilie again")
    journal.write_csv()
    (tmp_path / "ottilie").mkdir()
    (tmp_path / "ottilie" / "1.wav").touch()
    gone = journal.forget("ottilie zweig")
    assert (gone.takes, gone.notes, gone.goals, gone.recordings) == (1, 1, 1, ("ottilie/1.wav",))
    assert journal.students() == ("Ines",)
    assert len(journal.takes()) == 1
    for path in (p for p in tmp_path.iterdir() if p.is_file()):
        assert b"ttilie" not in path.read_bytes(), path.name
    with journal.reading() as connection:
        for table in (schema.takes, schema.figures, schema.strums):
            column = table.c.id if table is schema.takes else table.c.take_id
            assert connection.execute(sa.select(sa.func.count(sa.distinct(column)))).scalar() == 1


def test_goals_and_notes_keep_their_order_and_the_latest_goal_counts(journal):
    """The same goal told again by every batch is one goal."""
    for bpm in (90, 90, 96):
        journal.set_goal("Ines", {"name": "two chords"}, bpm)
    journal.note("Ines", "asked for a slower click", exercise="two chords", on=date(2026, 3, 1))
    with journal.reading() as connection:
        assert list(connection.execute(sa.select(schema.goals.c.bpm)).scalars()) == [90.0, 96.0]
    assert journal.notes("Ines")["text"].tolist() == ["asked for a slower click"]
    with pytest.raises(UsageError, match="from 20 to 400"):
        journal.set_goal("Ines", {"name": "two chords"}, 1000)
    with pytest.raises(UsageError, match="check the spelling"):
        journal.note("Ines", "x", exercise="three chords")


def test_the_same_performance_in_another_codec_counts_once(journal):
    """A codec shifts every strum alike and by under 3 ms each way; another take by the same player does not match."""
    measured = take_json(seed=11)
    shifted = take_json(seed=11)
    for i, strum in enumerate(shifted["strums"]):
        strum["time_s"] += 0.045 + 0.002 * (i % 2)
    shifted["take"]["duration_s"] += 0.09
    journal.record(entry("sha256:01", measurement=measured))
    journal.record(entry("sha256:02", measurement=shifted))
    journal.record(entry("sha256:03", measurement=take_json(seed=12)))
    table = journal.takes().set_index("sha256")
    assert table["counts"].to_dict() == {"01": True, "02": False, "03": True}


def test_two_takes_of_a_steady_player_are_not_called_the_same_sound():
    """By simulation: 2000 pairs of takes by a player of 7 ms jitter, which few people reach: none is confused."""
    import numpy as np

    rng = np.random.default_rng(5)
    grid = np.arange(40) * 0.5
    assert not any(same_sound(grid + rng.normal(0, 0.007, 40), grid + rng.normal(0, 0.007, 40)) for _ in range(2000))


def test_a_file_cut_anew_on_the_same_day_replaces_its_older_version(journal):
    """Trimmed or exported again: the older take no longer counts, and corrections pass on. On another day both stay."""
    first = journal.record(entry("sha256:01", path="a.wav"))
    journal.annotate(first, "capo 2")
    journal.record(entry("sha256:02", path="a.wav", replaces="sha256:01", measurement=take_json(seed=2)))
    later = entry(
        "sha256:03", path="a.wav", replaces="sha256:02", played_on=date(2026, 4, 1), measurement=take_json(seed=3)
    )
    journal.record(later)
    table = journal.takes().set_index("sha256")
    assert table["counts"].to_dict() == {"01": False, "02": True, "03": True}
    assert table.loc["02", "remark"] == "capo 2"


# the CSV copy


@given(st.text())
def test_no_cell_begins_like_a_formula_and_text_comes_back(text):
    """OWASP's list of dangerous beginnings (= + - @ tab, line end); reading takes the apostrophe off again."""
    cell = safe_cell(text)
    assert not cell.lstrip(" \u00a0\ufeff").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert plain_cell(cell) == text or text.startswith("'")


def test_the_csv_copy_is_read_by_a_spreadsheet_without_danger(journal):
    """A remark like =HYPERLINK() arrives as text; negative figures stay numbers."""
    measured = take_json(offset_ms=-12.5, exercise={"name": "@SUM(A1)"})
    journal.record(entry(remark='=HYPERLINK("http://example.org")', measurement=measured))
    path = journal.write_csv()
    text = path.read_bytes()
    assert text.startswith(b"\xef\xbb\xbf")
    row = next(csv.DictReader(text.decode("utf-8-sig").splitlines()))
    assert row["remark"] == '\'=HYPERLINK("http://example.org")'
    assert row["exercise"] == "'@SUM(A1)"
    assert row["mean_offset_ms"] == "-12.5"
    assert row["week"] == "2026-W10"


def test_a_csv_copy_that_cannot_be_written_leaves_the_old_one(journal, tmp_path):
    """The folder for the copy is missing: one line, and the journal is complete."""
    journal.record(entry())
    with pytest.raises(OutputError, match="does not exist"):
        journal.write_csv(tmp_path / "missing" / "copy.csv")
    assert [p.name for p in tmp_path.iterdir()] == [places.FILE_NAME]


def test_a_page_from_paper_is_read_once(journal, tmp_path):
    """Date, exercise, tempo; semicolons; what cannot be read is listed, the rest is written; again adds nothing."""
    page = tmp_path / "page.csv"
    page.write_text(
        "Datum;Exercise;Tempo;Held\n2026-01-05;two chords;60;yes\n12.1.2026;two chords;62,5;yes\n"
        "12.1.2026;two chords;62,5;no\n2026-02-30;two chords;64;\n03/04/2026;two chords;64;\n"
        "2026-01-20;two chords;900;\n",
        encoding="utf-8",
    )
    first = journal.import_csv(page, student="Ines")
    assert (first.added, first.known) == (3, 0)
    assert [p.partition(":")[0] for p in first.problems] == [f"line {n} of {page}" for n in (5, 6, 7)]
    again = journal.import_csv(page, student="Ines")
    assert (again.added, again.known) == (0, 3)
    table = journal.takes()
    assert table["bpm"].tolist() == [60.0, 62.5, 62.5]
    assert table["held"].tolist() == [True, True, False]


def test_a_page_without_its_columns_is_refused(tmp_path):
    """What was required, what came, what to do."""
    page = tmp_path / "page.csv"
    page.write_text("when,what\n")
    with pytest.raises(UsageError, match="but date, bpm is missing"):
        read_page(page)
    with pytest.raises(UsageError, match="there is none"):
        read_page(tmp_path / "none.csv")


# weeks


@pytest.mark.parametrize(
    ("day", "week"),
    [("2020-12-31", "2020-W53"), ("2021-01-03", "2020-W53"), ("2021-01-04", "2021-W01"), ("2024-12-30", "2025-W01")],
)
def test_iso_weeks_at_the_ends_of_years(journal, day, week):
    """ISO 8601: 2020-12-31 is 2020-W53-4, 2021-01-03 is 2020-W53-7, 2024-12-30 is 2025-W01-1."""
    journal.record(entry(played_on=date.fromisoformat(day)))
    assert journal.takes()["week"].item() == week


# the file


def test_the_file_is_safe_in_a_synchronised_folder(journal, tmp_path):
    """One file, no write-ahead log, nothing left open or beside it after a write."""
    journal.record(entry())
    assert [p.name for p in tmp_path.iterdir()] == [places.FILE_NAME]
    with sqlite3.connect(tmp_path / places.FILE_NAME) as raw:
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    with journal.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA busy_timeout").scalar() == 1000 * opening.BUSY_TIMEOUT_S


def test_the_journal_of_a_folder_above_is_found(tmp_path, monkeypatch):
    """A teacher's class folder has one journal for all the folders below it."""
    monkeypatch.setenv("HOME", str(tmp_path))
    (tmp_path / "class" / "ines").mkdir(parents=True)
    Journal(tmp_path / "class").note("Ines", "first lesson")
    assert find_journal(tmp_path / "class" / "ines") == tmp_path / "class" / places.FILE_NAME
    (tmp_path / "alone").mkdir()
    assert find_journal(tmp_path / "alone") == tmp_path / "alone" / places.FILE_NAME


def test_an_absent_journal_is_not_made_by_reading(tmp_path):
    """`progress` in the wrong folder leaves no empty file behind."""
    with pytest.raises(JournalError, match="run a batch there first"):
        Journal(tmp_path, create=False)
    assert list(tmp_path.iterdir()) == []


def test_a_newer_journal_is_refused_and_not_touched(journal, tmp_path):
    """A journal of a newer version: one clear line, nothing changed."""
    journal.record(entry())
    path = tmp_path / places.FILE_NAME
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE meta SET value = '999' WHERE key = 'version'")
    raw.close()
    before = path.read_bytes()
    with pytest.raises(JournalError, match=r"up to version \d+, but .* is of version 999; update strumclock"):
        Journal(tmp_path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"not a database at all" * 100, None])
def test_a_foreign_file_or_database_is_refused_and_not_touched(tmp_path, content):
    """Another program's file or database: one clear line, nothing changed."""
    path = tmp_path / "other.sqlite"
    if content is None:
        with sqlite3.connect(path) as raw:
            raw.execute("CREATE TABLE students (name)")
        raw.close()
    else:
        path.write_bytes(content)
    before = path.read_bytes()
    with pytest.raises(JournalError, match=r"no such file|something else"):
        Journal(path)
    assert path.read_bytes() == before


def test_a_locked_journal_says_so(journal, tmp_path, monkeypatch):
    """Another program holds it: one clear line after the waiting time."""
    journal.note("Ines", "first lesson")
    monkeypatch.setattr(opening, "BUSY_TIMEOUT_S", 0.1)
    other = sqlite3.connect(tmp_path / places.FILE_NAME, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(JournalError, match="another program holds it"):
        Journal(tmp_path).record(entry())
    other.execute("ROLLBACK")
    other.close()
    assert len(journal.takes()) == 0


def test_a_full_disk_says_so_and_loses_nothing(journal, tmp_path):
    """SQLite's own limit on pages gives the error that a full disk gives; earlier takes are kept."""
    journal.record(entry())

    @sa.event.listens_for(journal._engine, "connect")
    def _(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute("PRAGMA max_page_count = 1")

    large = entry("sha256:bb22", measurement=take_json(seed=2, n=2000))
    with pytest.raises(JournalError, match="the disk is full"):
        journal.record(large)
    kept = Journal(tmp_path)
    assert kept.takes()["sha256"].tolist() == ["aa11"]
    with kept.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"


def test_an_older_journal_is_brought_up_to_date_or_left_whole(journal, tmp_path, monkeypatch):
    """The steps run inside one transaction: a step that fails leaves the old version whole."""
    take = journal.record(entry())
    now = schema.SCHEMA_VERSION

    def add(connection: sa.Connection) -> None:
        connection.exec_driver_sql("ALTER TABLE takes ADD COLUMN mood TEXT")

    def fail(connection: sa.Connection) -> None:
        connection.exec_driver_sql("ALTER TABLE takes ADD COLUMN weather TEXT")
        connection.exec_driver_sql("SELECT nothing FROM nowhere")

    monkeypatch.setattr(opening, "SCHEMA_VERSION", now + 2)
    monkeypatch.setattr(opening, "MIGRATIONS", {now: add, now + 1: fail})
    with pytest.raises(JournalError):
        Journal(tmp_path)
    with sqlite3.connect(tmp_path / places.FILE_NAME) as raw:
        assert raw.execute("SELECT value FROM meta WHERE key = 'version'").fetchone() == (str(now),)
        assert "mood" not in {row[1] for row in raw.execute("PRAGMA table_info(takes)")}
    raw.close()
    monkeypatch.setattr(opening, "MIGRATIONS", {now: add, now + 1: lambda _: None})
    assert Journal(tmp_path).measurement(take)
    with sqlite3.connect(tmp_path / places.FILE_NAME) as raw:
        assert raw.execute("SELECT value FROM meta WHERE key = 'version'").fetchone() == (str(now + 2),)
    raw.close()


def test_a_journal_of_version_1_is_migrated_and_loses_nothing(tmp_path):
    """`data/journal_version_1.sqlite` was written by the version before margins (2af0805): three takes, a goal."""
    shutil.copy(Path(__file__).parent / "data" / "journal_version_1.sqlite", tmp_path / places.FILE_NAME)
    journal = Journal(tmp_path)
    past = journal.history("Ines")
    assert [(take.bpm, take.held, take.margin) for take in past.takes] == [
        (80, True, None),
        (82, True, None),
        (85, False, None),
    ]
    assert [take.played_on.isoformat() for take in past.takes] == ["2026-01-05", "2026-01-12", "2026-01-19"]
    assert [practised.goal_bpm for practised in past.exercises.values()] == [100]
    assert journal.measurement(1)["schema"] == "strumclock.take/1"
    with sqlite3.connect(tmp_path / places.FILE_NAME) as raw:
        assert raw.execute("SELECT value FROM meta WHERE key = 'version'").fetchone() == (str(schema.SCHEMA_VERSION),)
    raw.close()


WRITER = """
import sys
sys.path.insert(0, {tests!r})
from datetime import date
from practice import take_json
from strumclock.journal import Journal, TakeEntry
journal = Journal({where!r})
for n in range({first}, {last}):
    journal.record(TakeEntry(identity=f"sha256:{{n:08x}}", student="Ines", played_on=date(2026, 3, 3),
                             path=f"{{n}}.wav", measurement=take_json(seed=n)))
    print(n, flush=True)
"""


def writer(where: Path | str, first: int, last: int) -> subprocess.Popen[str]:
    """Another process that writes takes, and tells of each when it is committed."""
    code = WRITER.format(tests=str(Path(__file__).parent), where=str(where), first=first, last=last)
    return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)


def test_killed_while_writing_nothing_committed_is_lost(tmp_path):
    """kill -9 three times in the middle: every take that was said to be written is there, whole, and no other half."""
    Journal(tmp_path)
    said: set[int] = set()
    for round_ in range(3):
        process = writer(tmp_path, 1000 * round_, 1000 * round_ + 1000)
        assert process.stdout is not None
        for _ in range(5 + round_):
            said.add(int(process.stdout.readline()))
        process.kill()
        said |= {int(line) for line in process.stdout.read().split()}
        process.wait()
        process.stdout.close()
    journal = Journal(tmp_path)
    with journal.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    written = {int(name.removesuffix(".wav")) for name in journal.takes()["file"]}
    assert said <= written
    assert len(written) <= len(said) + 3  # at most the one that was committed but not yet told, each time
    for take in journal.takes()["take"]:
        assert len(journal.measurement(take)["strums"]) == 32
        assert len(journal.figures().query("take == @take")) > 5


def test_two_writers_at_once_neither_corrupt_nor_double(tmp_path):
    """Two processes write the same forty takes: forty rows, each whole."""
    Journal(tmp_path)
    two = [writer(tmp_path, 0, 40), writer(tmp_path, 0, 40)]
    for process in two:
        process.communicate()
        assert process.returncode == 0
    journal = Journal(tmp_path)
    assert len(journal.takes()) == 40
    with journal.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


def test_takes_with_dates_in_any_order_are_listed_oldest_first(journal):
    """The table is in order of date, whatever the order of writing."""
    days = [date(2026, 3, 3) + timedelta(days=d) for d in (5, 1, 3)]
    for n, day in enumerate(days):
        journal.record(entry(f"sha256:{n}", played_on=day, measurement=take_json(seed=n)))
    assert journal.takes()["date"].tolist() == sorted(days)
