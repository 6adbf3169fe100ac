"""Strum times on the shared bench: recorded guitars with known times, and strumming recorded twice."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import soundfile as sf
from support import bench_dir

from strumclock.onsets import Strums, find_strums

# the bench leaves its index files to the garbage collector
pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], ModuleType]:
    """Import one of the bench's modules by name."""
    monkeypatch.syspath_prepend(str(bench_dir()))

    def load(name: str) -> ModuleType:
        import importlib

        return importlib.import_module(name)

    return load


def _found(bench: Callable[[str], ModuleType], case: str, seed: int) -> tuple[Strums, np.ndarray, dict[str, float]]:
    """The case without its click (that is another module's work), its strums, and the errors against the truth."""
    part, scene, *_ = bench("cases").CASES[case]
    samples, truth = bench("render").render(part, dataclasses.replace(scene, click_db=None, click_channel=False), seed)
    found = find_strums(samples, 44100)
    return found, np.array(truth["strums"]), bench("match").summary(found.time_s, truth["strums"])


@pytest.mark.parametrize("case", ["plain-90", "electric-eighths-140"])
def test_dry_takes_against_rendered_truth(bench: Callable[[str], ModuleType], case: str) -> None:
    """Recorded notes placed at known times: every strum, without bias, to a quarter of a millisecond for most."""
    found, true_s, errors = _found(bench, case, seed=5)
    assert errors["f"] >= 0.97
    assert abs(errors["median"]) <= 0.5
    assert errors["mad"] <= 0.4
    nearest = np.abs(found.time_s[:, None] - true_s).min(axis=1)
    assert np.mean(nearest <= 2 * found.u_s) >= 0.9


@pytest.mark.slow
@pytest.mark.parametrize(
    "case", ["room-noise", "beginner", "sixteenths-70", "swing-110", "misses-and-extras", "phone-mp3"]
)
def test_other_takes_against_rendered_truth(bench: Callable[[str], ModuleType], case: str) -> None:
    """Rooms, noise, spreads of 50 ms, up-strokes on four strings, strums left out and added."""
    found, true_s, errors = _found(bench, case, seed=6)
    assert errors["f"] >= 0.97
    assert abs(errors["median"]) <= 0.5
    assert errors["mad"] <= 0.6
    nearest = np.abs(found.time_s[:, None] - true_s).min(axis=1)
    assert np.mean(nearest[nearest < 0.05] <= 2 * found.u_s[nearest < 0.05]) >= 0.9


@pytest.mark.slow
def test_real_strumming_recorded_twice_agrees_against_itself(bench: Callable[[str], ModuleType]) -> None:
    """Line and phone heard the same strums: where both are sure to a millisecond, they agree to one.

    The labels count hits; the floors stand a little under what was measured, see DEVELOPERS.md for that.
    """
    found: dict[Path, Strums] = {}

    def times(path: Path) -> np.ndarray:
        found[path] = find_strums(*sf.read(path, dtype="float32"))
        return found[path].time_s

    r = bench("real").report(times, bench_dir() / "data" / "strumming_real", range(5))
    assert r["F_line"] >= 0.92
    assert r["F_phone"] >= 0.90
    assert r["agree_share"] >= 0.85
    assert r["mad_ms"] <= 1.0
