"""A folder becomes a record: only what is new, each take once, whatever dies."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from practice import pretend_to_measure, recording

from strumclock.batch import BatchReport, Step, cache as cache_module, measure_folder
from strumclock.errors import JournalError, UsageError
from strumclock.journal import Journal

TOML = """
student = "Ines"
[exercises."two chords"]
chords = "A D"
beats_per_change = 4
goal_bpm = 90
"""


class Here(Executor):
    """Runs each take at once in this process, so that a test of what is decided needs no other."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


def batch(folder: Path, **told: Any) -> BatchReport:
    return measure_folder(folder, **{"measure": pretend_to_measure, "executor": Here(), **told})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_text(TOML)
    log = str(tmp_path / "measured.log")
    for day in (3, 10, 17):
        for take in (1, 2):
            recording(tmp_path, f"2026-03-{day:02d} two chords @{60 + day} take {take}.wav", log=log)
    for path in tmp_path.glob("*.wav"):  # recorded a while ago, not within the time stamp's coarseness
        os.utime(path, (time.time() - 1000, time.time() - 1000))
    return tmp_path


def measured(folder: Path) -> list[str]:
    """Names of the files that were really measured, in order, since it was asked last."""
    log = folder / "measured.log"
    names = log.read_text().split("\n")[:-1] if log.exists() else []
    log.unlink(missing_ok=True)
    return names


def test_a_second_run_measures_only_what_is_new(folder):
    """Six takes, then none, then the one that was added."""
    first = batch(folder)
    assert (first.found, first.measured, first.unchanged, first.ok) == (6, 6, 0, True)
    assert len(measured(folder)) == 6
    again = batch(folder)
    assert (again.measured, again.unchanged) == (0, 6)
    recording(folder, "2026-03-24 two chords @90.wav", log=str(folder / "measured.log"))
    third = batch(folder)
    assert (third.measured, third.unchanged) == (1, 6)
    assert measured(folder) == ["2026-03-24 two chords @90.wav"]


def test_a_settings_change_measures_what_it_concerns_again(folder):
    """Another count-in for the exercise concerns all; a goal or an alias none; a row of takes.csv its take."""
    batch(folder)
    measured(folder)
    settings = folder / "practice.toml"
    settings.write_text(TOML + "goal_by = 2026-06-01\naliases = ['AD']\n")
    assert batch(folder).measured == 0
    (folder / "takes.csv").write_text("file,bpm,remark\n2026-03-03 two chords @63 take 1.wav,64,slower\n")
    assert batch(folder).measured == 1
    assert measured(folder) == ["2026-03-03 two chords @63 take 1.wav"]
    settings.write_text(TOML + "count_in = 1\n")
    assert batch(folder).measured == 6


def test_another_version_measures_everything_again(folder, monkeypatch):
    """Figures of two versions are not mixed."""
    batch(folder)
    monkeypatch.setattr(cache_module, "installed_version", lambda _: "99")
    assert batch(folder).measured == 6


def test_a_touched_or_renamed_file_is_not_measured_again_and_a_changed_one_is(folder):
    """The content decides, not name or time."""
    batch(folder)
    measured(folder)
    one, two, three, *_ = sorted(folder.glob("*.wav"))
    os.utime(one)
    two.rename(folder / "2026-03-04 two chords @63.wav")
    three.write_text(three.read_text().replace('"salt"', '"salt" '))
    assert batch(folder).measured == 1
    assert measured(folder) == [three.name]
    table = Journal(folder).takes()
    assert "2026-03-04 two chords @63.wav" in set(table["file"])
    assert table.query("file == '2026-03-04 two chords @63.wav'")["date"].item() == date(2026, 3, 4)
    assert table["counts"].sum() == 6  # the older content of the changed file is kept, and no longer counts


def test_a_file_changed_within_its_time_stamp_is_still_seen(folder):
    """Same size, same stamp, read within two seconds of its change: git's "racy" case; it is read again."""
    path = folder / "2026-03-24 two chords @90.wav"
    recording(folder, path.name, seed=1)
    stamp = path.stat().st_mtime
    batch(folder)
    recording(folder, path.name, seed=2)
    os.utime(path, (stamp, stamp))
    assert batch(folder).measured == 1


def test_the_same_file_twice_is_one_take(folder):
    """A copy under another name is pointed out, and measured once."""
    first = sorted(folder.glob("*.wav"))[0]
    shutil.copy(first, folder / "2026-03-03 two chords @63 copy.wav")
    report = batch(folder)
    assert report.measured == 6
    assert report.twice == (("2026-03-03 two chords @63 take 1.wav", "2026-03-03 two chords @63 copy.wav"),)
    assert len(Journal(folder).takes()) == 6


def test_of_copies_the_one_whose_name_says_most_stands_for_all(folder):
    """A copy whose name sorts first but says nothing neither counts twice nor takes date and exercise away."""
    first = sorted(folder.glob("*.wav"))[0]
    shutil.copy(first, folder / "1 copy\nof it.wav")
    report = batch(folder)
    assert report.twice == (("1 copy\\nof it.wav", first.name),)  # as it is printed
    assert not report.needs
    assert all("\n" not in line for line in report.lines())
    assert "1 copy\\nof it.wav" in str(report)


def test_a_recording_that_cannot_be_measured_needs_nothing_said_of_it(folder):
    """What is wrong with it is said once."""
    (folder / "notes.wav").write_text("no sound")
    report = batch(folder)
    assert [failure.path for failure in report.failed] == ["notes.wav"]
    assert not report.needs


def test_the_same_sound_in_two_codecs_is_pointed_out_and_counts_once(folder):
    """Other bytes, the same strums: the pretended measuring gives them by their seed."""
    recording(folder, "2026-03-24 two chords @90.wav", seed=77)
    recording(folder, "2026-03-24 two chords @90.m4a", seed=77)
    report = batch(folder)
    assert report.same_sound == (("2026-03-24 two chords @90.wav", "2026-03-24 two chords @90.m4a"),)
    assert Journal(folder).takes()["counts"].sum() == 7


def test_a_bad_file_becomes_a_row_and_the_rest_is_done(folder):
    """Its error is in the report and the journal; it is not tried again until it changes; the batch is not ok."""
    recording(
        folder,
        "2026-03-24 two chords @90.wav",
        fail="a strum was required; none came; play",
        log=str(folder / "measured.log"),
    )
    recording(folder, "2026-03-25 two chords @90.wav", crash="a defect")
    report = batch(folder)
    assert (report.measured, report.ok) == (6, False)
    assert [f.error for f in report.failed] == [
        "a strum was required; none came; play",
        "measuring it failed (KeyError: 'a defect'); please report this",
    ]
    measured(folder)
    again = batch(folder)
    assert [f.error for f in again.failed] == [f.error for f in report.failed]
    assert measured(folder) == []
    rows = Journal(folder).takes().query("status == 'failed'")
    assert rows["error"].tolist() == [f.error for f in report.failed]


def test_rows_that_cannot_be_read_do_not_stop_the_others_and_delete_nothing(folder):
    """Two rows for one file: that take is listed, and what was measured of it stays."""
    batch(folder)
    name = "2026-03-03 two chords @63 take 1.wav"
    (folder / "takes.csv").write_text(f"file,bpm\n{name},60\n{name},61\n")
    report = batch(folder)
    assert [f.path for f in report.failed] == [name]
    assert report.unchanged == 5
    assert Journal(folder).takes().query("file == @name")["status"].item() == "measured"


def test_parts_of_one_file_are_takes_of_their_own(folder):
    """Start and end in takes.csv: the whole no longer counts; without the rows it does again."""
    batch(folder)
    name = "2026-03-03 two chords @63 take 1.wav"
    (folder / "takes.csv").write_text(f"file,start,end\n{name},0,60\n{name},60,120\n")
    assert batch(folder).measured == 2
    assert Journal(folder).takes().query("file == @name")["counts"].tolist().count(True) >= 1
    assert Journal(folder).takes().query("file == @name and counts")["sha256"].str.contains("#").all()
    (folder / "takes.csv").unlink()
    batch(folder)
    assert not Journal(folder).takes().query("file == @name and counts")["sha256"].str.contains("#").any()


def test_corrections_by_hand_are_what_the_next_batch_measures_with(folder):
    """Issue: a take can be corrected by hand and stays so after it is measured again."""
    batch(folder)
    name = "2026-03-03 two chords @63 take 1.wav"
    journal = Journal(folder)
    assert journal.correct(name, "bpm", "66")
    journal.exclude(name, "the cat")
    journal.correct(name, "date", "2026-03-05")
    assert batch(folder).measured == 1
    row = journal.takes().query("file == @name").iloc[0]
    assert (row["bpm"], row["date"], row["excluded"], row["counts"]) == (66.0, date(2026, 3, 5), "the cat", False)
    assert batch(folder).measured == 0
    assert journal.takes().query("file == @name").iloc[0].equals(row)
    journal.annotate(name, "said by hand")
    (folder / "takes.csv").write_text(f"file,remark\n{name},said in the table\n")
    batch(folder)
    assert journal.takes().query("file == @name")["remark"].item() == "said by hand"


def test_a_recording_moved_to_another_student_takes_its_row_along(tmp_path):
    """Dropped into the wrong folder first: the take is not in two students' records."""
    for student in ("ines", "bo"):
        (tmp_path / student).mkdir()
        (tmp_path / student / "practice.toml").write_text(f'student = "{student.title()}"')
    path = recording(tmp_path / "ines", "2026-03-24 two chords @90.wav")
    batch(tmp_path)
    path.rename(tmp_path / "bo" / path.name)
    batch(tmp_path)
    table = Journal(tmp_path).takes()
    assert table[["student", "file"]].to_numpy().tolist() == [["Bo", f"bo/{path.name}"]]


def test_a_deleted_recording_stays_in_the_record(folder):
    """A phone's memory is small: what was measured is not lost with the sound."""
    batch(folder)
    next(folder.glob("*.wav")).unlink()
    assert batch(folder).found == 5
    assert Journal(folder).takes()["counts"].sum() == 6


def test_goals_and_takes_to_hold_of_the_settings_reach_the_progress(folder):
    """practice.toml's goal and number of takes are the teacher's."""
    from strumclock.weeks import progress

    (folder / "practice.toml").write_text("takes_to_hold = 1\n" + TOML)
    batch(folder)
    found = progress(Journal(folder), "Ines", today=date(2026, 3, 20)).exercises[0]
    assert found.goal is not None
    assert found.goal.bpm == 90
    (folder / "practice.toml").write_text("takes_to_hold = 3\n" + TOML)
    batch(folder)
    found = progress(Journal(folder), "Ines", today=date(2026, 3, 20)).exercises[0]
    assert found.highest_held_bpm is None


def test_what_is_needed_is_listed_with_its_files(tmp_path):
    """Nothing told at all: the take is measured, and the report says what it lacks."""
    recording(tmp_path, "Voice 001.wav")
    report = batch(tmp_path)
    assert report.measured == 1
    needs = " | ".join(report.needs)
    for word in ("student", "exercise", "date"):
        assert word in needs
    assert all(files == ("Voice 001.wav",) for files in report.needs.values())
    assert "Needs the student's name" in str(report)


def test_progress_is_told_take_by_take_with_the_time_left(folder):
    """A bar and an estimate need: done, total, and seconds left once two takes are done."""
    steps: list[Step] = []
    batch(folder, progress=steps.append)
    assert [step.done for step in steps] == [1, 2, 3, 4, 5, 6]
    assert {step.total for step in steps} == {6}
    assert steps[0].left_s is None
    assert steps[-1].left_s == 0.0
    assert all(step.left_s is not None and step.left_s >= 0 for step in steps[1:])


def test_a_missing_folder_and_a_mistake_in_its_settings_are_one_line(tmp_path):
    """A folder that is not there; a practice.toml that is no TOML: nothing is begun, no journal is made."""
    with pytest.raises(UsageError, match="is none; check the path"):
        batch(tmp_path / "gone")
    (tmp_path / "practice.toml").write_text("student = ")
    recording(tmp_path, "a.wav")
    with pytest.raises(UsageError, match=r"practice\.toml must be TOML"):
        batch(tmp_path)


def test_a_recording_that_vanishes_meanwhile_is_a_row_and_is_tried_again(folder):
    """A synchronised folder takes a file away between the listing and the measuring."""
    path = recording(folder, "2026-03-24 two chords @90.wav")

    class Vanishing(Here):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            path.unlink(missing_ok=True)
            return super().submit(fn, *args, **kwargs)

    text = path.read_text()
    report = batch(folder, executor=Vanishing())
    assert (report.measured, len(report.failed)) == (6, 1)
    assert "No such file" in report.failed[0].error
    path.write_text(text)
    assert batch(folder).measured == 1


def test_a_folder_that_vanishes_with_its_journal_is_one_line(folder):
    """A stick that is pulled out: the journal cannot be written any more, and this is said."""

    class Pulled(Here):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            shutil.rmtree(folder, ignore_errors=True)
            return super().submit(fn, *args, **kwargs)

    with pytest.raises(JournalError, match="must lie in a folder that exists"):
        batch(folder, executor=Pulled())


def test_a_folder_reached_by_a_link_is_the_same_folder(tmp_path):
    """The journal calls a recording alike whichever way the folder was reached."""
    real = tmp_path / "real"
    recording(real, "2026-03-03 two chords @80.wav")
    (tmp_path / "link").symlink_to(real, target_is_directory=True)
    batch(tmp_path / "link")
    assert Journal(real).takes()["file"].tolist() == ["2026-03-03 two chords @80.wav"]
    assert batch(real).measured == 0


def test_any_executor_will_do(folder):
    """concurrent.futures' own threads."""
    with ThreadPoolExecutor(3) as threads:
        assert batch(folder, executor=threads, workers=3).measured == 6


def test_a_take_that_kills_its_process_is_a_row_and_the_rest_is_done(folder):
    """In processes of our own: a decoder that crashes, or memory that runs out, takes one take with it."""
    recording(folder, "2026-03-11 two chords @70.wav", die=True)
    report = batch(folder, executor=None, workers=2)
    assert report.measured == 6
    assert [f.path for f in report.failed] == ["2026-03-11 two chords @70.wav"]
    assert "died" in report.failed[0].error
    assert len(Journal(folder).takes().query("status == 'measured'")) == 6


RUN = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever runs the tests in the background may ignore it
sys.path.insert(0, {tests!r})
from practice import pretend_to_measure
from strumclock.batch import measure_folder
if __name__ == "__main__":
    report = measure_folder({folder!r}, measure=pretend_to_measure, workers={workers},
                            progress=lambda step: print(step.path, flush=True))
    print("interrupted" if report.interrupted else "ended", flush=True)
"""


def start_batch(folder: Path, script: Path, workers: int = 1) -> subprocess.Popen[str]:
    """A batch in a process group of its own, which tells of each take that is written down."""
    script.write_text(RUN.format(tests=str(Path(__file__).parent), folder=str(folder), workers=workers))
    return subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True, start_new_session=True)


def slow_folder(folder: Path, n: int, sleep_s: float) -> None:
    for k in range(n):
        recording(folder, f"2026-03-{k + 1:02d} two chords @80.wav", sleep_s=sleep_s, log=str(folder / "measured.log"))
    for path in folder.glob("*.wav"):
        os.utime(path, (time.time() - 1000, time.time() - 1000))


def test_killed_in_the_middle_it_goes_on_where_it_was(tmp_path):
    """kill -9 of the whole group: what was told is in the journal; the next run measures the rest, none twice."""
    folder = tmp_path / "takes"
    slow_folder(folder, 8, 0.15)
    process = start_batch(folder, tmp_path / "run.py")
    assert process.stdout is not None
    told = [process.stdout.readline().strip() for _ in range(3)]
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    process.stdout.close()
    time.sleep(0.3)
    kept = Journal(folder, create=False).takes()
    assert set(told) <= set(kept["file"])
    measured(folder)
    report = batch(folder)
    assert report.measured == 8 - len(kept)
    assert not set(measured(folder)) & set(kept["file"])
    assert len(Journal(folder).takes()) == 8


def test_ctrl_c_keeps_every_finished_take_and_the_one_in_work(tmp_path):
    """SIGINT to the group, as a terminal sends it: no traceback, the report says so, nothing finished is lost."""
    folder = tmp_path / "takes"
    slow_folder(folder, 8, 0.3)
    process = start_batch(folder, tmp_path / "run.py")
    assert process.stdout is not None
    told = [process.stdout.readline().strip() for _ in range(2)]
    os.killpg(process.pid, signal.SIGINT)
    rest = process.stdout.read().split("\n")
    assert process.wait() == 0
    process.stdout.close()
    assert "interrupted" in rest
    told += [line for line in rest if line.endswith(".wav")]
    kept = Journal(folder, create=False).takes()
    assert set(kept["file"]) == set(told)
    assert 2 <= len(kept) < 8


@pytest.mark.slow
def test_two_batches_at_once_neither_corrupt_nor_double(tmp_path):
    """The same folder from two programs: every take is there once."""
    folder = tmp_path / "takes"
    slow_folder(folder, 12, 0.02)
    two = [start_batch(folder, tmp_path / f"run{n}.py", workers=2) for n in (1, 2)]
    for process in two:
        process.communicate()
        assert process.returncode == 0
    journal = Journal(folder)
    assert len(journal.takes()) == 12
    with journal.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    assert batch(folder).measured == 0


def test_a_container_says_when_it_was_recorded(tmp_path):
    """PyAV writes creation_time into an M4A; 1904 and 1970 are the zeros of clocks, not dates."""
    import av
    import numpy as np

    from strumclock.batch.files import container_time

    for name, said, expected in (
        ("a.m4a", "2026-03-08T10:00:00Z", "2026-03-08"),
        ("b.m4a", "1904-01-01T00:00:00Z", None),
        ("c.m4a", None, None),
    ):
        with av.open(str(tmp_path / name), "w") as container:
            if said:
                container.metadata["creation_time"] = said
            stream = container.add_stream("aac", rate=44100, layout="mono")
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 4096), np.float32), format="fltp", layout="mono")
            frame.sample_rate = 44100
            for packet in (*stream.encode(frame), *stream.encode(None)):
                container.mux(packet)
        found = container_time(str(tmp_path / name))
        assert (found or "")[:10] == (expected or "")
    (tmp_path / "d.wav").write_bytes(b"no sound")
    assert container_time(str(tmp_path / "d.wav")) is None


def test_the_real_measuring_is_the_default(tmp_path):
    """A synthesised take of 24 s through the whole pipeline, from the folder to the journal."""
    import soundfile

    from strumclock.grid import Exercise
    from strumclock.synthesis import synthesise

    exercise = Exercise(bpm=80, meter="4/4", per_beat=1, pattern="DDDD", chords=("A", "D"), count_in=1, bars=7)
    sound = synthesise(exercise, seed=3)
    soundfile.write(tmp_path / "2026-03-03 two chords @80.flac", sound.samples, sound.sample_rate_hz)
    (tmp_path / "practice.toml").write_text(TOML + "count_in = 1\nbars = 7\npattern = 'DDDD'\n")
    report = measure_folder(tmp_path, workers=1)
    assert report.failed == ()
    journal = Journal(tmp_path)
    row = journal.takes().iloc[0]
    assert (row["student"], row["exercise"], row["bpm"], row["anchor"]) == (
        "Ines",
        "two chords",
        80.0,
        "recorded-click",
    )
    assert row["mean_offset_ms"] == pytest.approx(-8.0, abs=6.0)  # the synthesiser's default player, one take
    assert json.dumps(journal.measurement(int(row["take"])))
