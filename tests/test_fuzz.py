"""Hostile inputs in processes of their own; `.ci/run --all` tries 20,000 (`python -m tests.fuzz 20000`)."""

from __future__ import annotations

import random
import subprocess
import sys

import pytest
from support import ROOT
from tests.fuzz.children import Outcome, in_child
from tests.fuzz.mutating import mutated


def test_three_hundred_hostile_inputs_come_to_an_end_that_is_meant(capsys: pytest.CaptureFixture[str]) -> None:
    """A result or one line about an error: no crash, hang, foreign exception or warning (the fuzzer's own seed 1)."""
    command = [sys.executable, "-m", "tests.fuzz", "300"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=600)
    with capsys.disabled():
        print("\n" + "\n".join(done.stdout.splitlines()[-7:]))
    assert done.returncode == 0, done.stdout + done.stderr


def _crashes(_argument: object) -> Outcome:
    import ctypes

    ctypes.string_at(0)
    return "ok", ""


def _leaks(_argument: object) -> Outcome:
    return "ok", str(len(bytearray(2 << 30)))


def _raises(_argument: object) -> Outcome:
    raise ZeroDivisionError


def _chatters(_argument: object) -> Outcome:
    import os

    os.write(2, b"by the way")  # as C libraries do
    return "ok", ""


def _sleeps(_argument: object) -> Outcome:
    import time

    time.sleep(60)
    return "ok", ""


def _ends(_argument: object) -> Outcome:
    import os

    os._exit(3)


@pytest.mark.parametrize(
    ("target", "kind"),
    [
        (_crashes, "crash"),
        (_leaks, "memory"),
        (_raises, "ZeroDivisionError"),
        (_chatters, "noise"),
        (_sleeps, "hang"),
        (_ends, "crash"),
        (lambda argument: ("ok", str(argument)), "ok"),
    ],
)
def test_a_child_that_fails_is_counted_as_failed(target: object, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By construction: a null pointer, 2 GiB, an exception, a print, a minute's sleep, an exit without an answer."""
    monkeypatch.setattr("tests.fuzz.children.TIME_S", 1.0 if kind == "hang" else 20.0)
    assert in_child(target, 1)[0] == kind  # type: ignore[arg-type]


def test_the_mutator_changes_bytes_and_repeats_itself() -> None:
    """The same seed gives the same damage, so that a failure can be had again; hardly any input stays whole."""
    whole = bytes(range(256)) * 8
    first, again = ([mutated(whole, rng) for _ in range(200)] for rng in (random.Random(5), random.Random(5)))
    assert first == again
    assert sum(data == whole for data in first) < 10
    assert any(len(data) < len(whole) for data in first)
    assert any(len(data) > len(whole) for data in first)
