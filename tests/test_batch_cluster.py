"""The batch on a real cluster: a scheduler and two workers on loopback, one killed half-way; folders by fsspec."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from practice import pretend_to_measure, recording

from strumclock.batch import Step, cluster_executor, measure_folder
from strumclock.errors import UsageError
from strumclock.journal import Journal

pytestmark = pytest.mark.slow


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and two workers of one thread, each a process of its own: the address, and the workers."""
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    address_file = tmp_path / "scheduler.json"
    path = os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])
    environment = {**os.environ, "PYTHONPATH": path, "DASK_DISTRIBUTED__WORKER__DAEMON": "false"}
    common = {"env": environment, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    started = [
        subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
             "--no-dashboard", "--scheduler-file", str(address_file)], **common,
        )
    ]  # fmt: skip
    workers = [
        subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", str(address_file), "--no-nanny",
             "--nthreads", "1", "--no-dashboard", "--host", "127.0.0.1"], **common,
        )
        for _ in range(2)
    ]  # fmt: skip
    started += workers
    try:
        deadline = time.monotonic() + 60
        while not address_file.exists():
            assert time.monotonic() < deadline, "the scheduler did not start"
            time.sleep(0.1)
        yield json.loads(address_file.read_text())["address"], workers
    finally:
        for process in started:  # nothing of theirs is worth a tidy end, and a scheduler takes its time for one
            process.kill()
            process.wait(20)


def wait_for_workers(address: str, n: int) -> None:
    from distributed import Client

    client = Client(address, set_as_default=False)
    client.wait_for_workers(n, timeout=60)
    client.close()


def test_a_worker_killed_half_way_loses_and_doubles_nothing(cluster, tmp_path):
    """Twenty takes, two workers, one killed after six: every take is in the journal once, and none failed."""
    address, workers = cluster
    folder = tmp_path / "takes"
    for k in range(20):
        recording(folder, f"2026-03-{k + 1:02d} two chords @80.wav", sleep_s=0.3, log=str(tmp_path / "measured.log"))
    wait_for_workers(address, 2)
    steps: list[Step] = []

    def kill_one(step: Step) -> None:
        steps.append(step)
        if step.done == 6:
            workers[0].send_signal(signal.SIGKILL)

    with cluster_executor(address) as (executor, at_a_time):
        assert at_a_time == 2
        report = measure_folder(
            folder, executor=executor, workers=at_a_time, measure=pretend_to_measure, progress=kill_one
        )
    assert workers[0].wait(10) == -signal.SIGKILL
    assert (report.measured, report.failed) == (20, ())
    table = Journal(folder).takes()
    assert len(table) == 20
    assert table["sha256"].is_unique
    names = (tmp_path / "measured.log").read_text().split("\n")[:-1]
    assert set(names) == set(table["file"])
    assert len(names) <= 20 + 4  # only what the lost worker had in hand was begun again


def test_a_folder_that_only_fsspec_reaches(tmp_path):
    """A URL instead of a path: found, hashed, fetched, measured; settings and table read from there; only once."""
    recording(tmp_path / "far", "2026-03-03 two chords @80.wav")
    recording(tmp_path / "far" / "sub", "2026-03-04 two chords @80.wav")
    (tmp_path / "far" / "practice.toml").write_text('student = "Ines"')
    (tmp_path / "far" / "takes.csv").write_text("file,bpm\nsub/2026-03-04 two chords @80.wav,84\n")
    url = f"file://{tmp_path / 'far'}"
    with pytest.raises(UsageError, match="needs a journal of its own"):
        measure_folder(url, measure=pretend_to_measure)
    journal = Journal(tmp_path / "near.sqlite")
    first = measure_folder(url, journal=journal, measure=pretend_to_measure, workers=1)
    assert (first.measured, first.failed) == (2, ())
    table = journal.takes()
    assert table["bpm"].tolist() == [80.0, 84.0]
    assert set(table["student"]) == {"Ines"}
    assert table["file"].str.startswith("file://").all()
    for path in (tmp_path / "far").rglob("*.wav"):
        os.utime(path, (time.time() - 1000, time.time() - 1000))
    assert measure_folder(url, journal=journal, measure=pretend_to_measure, workers=1).measured == 0


def test_an_address_where_no_scheduler_answers_is_one_line(monkeypatch):
    """What was required, what came, what to do."""
    pytest.importorskip("distributed", reason="the cluster extra is not installed")
    from strumclock.batch import cluster

    monkeypatch.setattr(cluster, "ANSWER_WITHIN_S", 1)
    with pytest.raises(UsageError, match=r"must answer at tcp://127\.0\.0\.1:1"), cluster_executor("tcp://127.0.0.1:1"):
        pass
