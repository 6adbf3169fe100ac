"""One take through the whole pipeline: the truth is the synthesiser's, which places every strum on a known sample."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from clicktakes import RATE_HZ as CLICK_RATE_HZ, make_take
from support import REFERENCE_AUDIO, bench_dir

import strumclock as sc
from strumclock import report
from strumclock.grid import build_grid
from strumclock.journal.entry import take_columns
from strumclock.pipeline import measure
from strumclock.synthesis import Player, Scene, synthesise
from strumclock.synthesis.scene import clicks

REFERENCE_TAKES = ("steady.flac", "late_changes.flac", "pulling_ahead.flac", "omitted_and_added.flac", "phone.m4a")


def _truth(name: str) -> dict[str, object]:
    return json.loads((REFERENCE_AUDIO / name).with_suffix(".json").read_text())  # type: ignore[no-any-return]


def _told(truth: dict[str, object]) -> sc.Exercise:
    told = dict(truth["exercise"])  # type: ignore[call-overload]
    return sc.Exercise(**{k: tuple(v) if k == "chords" and v else v for k, v in told.items() if v is not None})


def _true_figures(truth: dict[str, object]) -> tuple[float, float, float]:
    """Mean offset, jitter about the drift line, drift of the strums that were meant for a slot."""
    strums = [s for s in truth["strums"] if s["slot"] is not None]  # type: ignore[attr-defined]
    offset, slots = np.array([s["offset_ms"] for s in strums]), np.array(truth["slots_s"])
    line = slots[[s["slot"] for s in strums]]
    slope, cut = np.polyfit(line, offset, 1)
    return float(offset.mean()), float((offset - slope * line - cut).std(ddof=2)), float(60 * slope)


@pytest.mark.parametrize("name", REFERENCE_TAKES)
def test_reference_take_against_its_truth(name: str) -> None:
    """Every figure lies within three times its stated uncertainty, or a millisecond, of the truth.

    Of fifteen figures one in twenty may honestly lie beyond two; beyond three lies one in four hundred.
    """
    truth = _truth(name)
    mean_ms, jitter_ms, drift = _true_figures(truth)
    m = measure(REFERENCE_AUDIO / name, _told(truth))
    assert m.grid is not None
    assert m.timing is not None
    assert m.grid.anchor == "recorded-click"
    assert m.grid.first_downbeat_s == pytest.approx(truth["first_downbeat_s"], abs=0.001)
    for found, true, least in (
        (m.timing.mean_offset_ms, mean_ms, 1.0),
        (m.timing.jitter_ms, jitter_ms, 1.0),
        (m.timing.drift_ms_per_min, drift, 3.0),
    ):
        assert found is not None
        assert abs(found.value - true) <= max(least, 3 * found.u)


@pytest.mark.parametrize("name", REFERENCE_TAKES)
def test_reference_takes_omitted_slots_are_named(name: str) -> None:
    """The slots named as omitted are those that the truth leaves out."""
    truth = _truth(name)
    m = measure(REFERENCE_AUDIO / name, _told(truth))
    assert [o.slot for o in m.omitted] == truth["omitted"]


def test_without_a_click_the_offset_is_absent_with_its_reason() -> None:
    """A take recorded with the click in headphones has no mean offset, and says why."""
    truth = _truth("headphones.flac")
    m = measure(REFERENCE_AUDIO / "headphones.flac", _told(truth))
    assert m.grid is not None
    assert m.timing is not None
    assert m.grid.anchor == "fitted"
    assert m.timing.mean_offset_ms is None
    assert m.absent["timing.mean_offset_ms"].code == "no-click"
    assert all(s.offset_ms is None for s in m.strums)
    assert m.timing.jitter_ms is not None
    assert m.timing.jitter_ms.value == pytest.approx(_true_figures(truth)[1], abs=1.0)


def test_a_click_with_no_guitar_has_no_strums(tmp_path: Path) -> None:
    """A click track alone is refused: its clicks are not taken for strums."""
    from strumclock.clicktrack import click_track, write_click_track

    write_click_track(click_track(sc.Exercise(bpm=80, bars=6)), tmp_path / "click.wav")
    with pytest.raises(sc.RecordingError, match="strum"):
        measure(tmp_path / "click.wav", sc.Exercise(bpm=80))


def test_a_take_as_samples_measures_like_its_file() -> None:
    """The same samples as an array give the same strum times as the file (against itself)."""
    recording = sc.load(REFERENCE_AUDIO / "steady.flac")
    array = sc.from_array(recording.samples, recording.sample_rate_hz)
    told = _told(_truth("steady.flac"))
    a, b = measure(REFERENCE_AUDIO / "steady.flac", told), measure(array, told)
    assert [s.time_s for s in a.strums] == [s.time_s for s in b.strums]
    assert a.timing is not None
    assert b.timing is not None
    assert a.timing.mean_offset_ms == b.timing.mean_offset_ms


def test_the_click_on_its_own_channel_is_found_unasked() -> None:
    """A stereo take with the guitar left and the click right is anchored on the click's channel (synthesised)."""
    from strumclock.synthesis import Player, Scene, synthesise

    exercise = sc.Exercise(bpm=100, meter="4/4", per_beat=1, bars=6, count_in=1)
    take = synthesise(exercise, Player(offset_ms=8.0), Scene(click_channel=True), seed=5)
    m = measure(sc.from_array(take.samples, take.sample_rate_hz), exercise)
    assert m.grid is not None
    assert m.grid.anchor == "click-channel"


def test_only_strums_are_found_when_only_they_are_asked_for() -> None:
    """Free measuring has strums, no grid and no timing, and says why."""
    m = measure(REFERENCE_AUDIO / "headphones.flac", free=True)
    assert m.strums
    assert m.grid is None
    assert m.timing is None
    assert "timing" in m.absent


def test_the_default_measure_loads_nothing_heavy() -> None:
    """Measuring a FLAC take loads neither librosa, numba, scikit-learn, matplotlib nor PyAV (sys.modules)."""
    code = (
        "import sys, strumclock as sc\n"
        f"sc.measure({str(REFERENCE_AUDIO / 'steady.flac')!r}, sc.Exercise(bpm=84))\n"
        "heavy = {'librosa', 'numba', 'sklearn', 'matplotlib', 'av', 'pandas', 'sqlalchemy'} & set(sys.modules)\n"
        "print(', '.join(sorted(heavy)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == ""


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # the bench leaves a file open
def test_bench_takes_are_answered_with_the_right_anchor(tmp_path: Path) -> None:
    """Takes mixed from recorded guitars (the shared bench) come back with F >= 0.95 and the anchor that they allow."""
    bench = bench_dir()
    sys.path.insert(0, str(bench))
    try:
        from cases import CASES
        from match import summary
        from render import render, write
    finally:
        sys.path.remove(str(bench))
    for name, anchor in (
        ("plain-90", "recorded-click"),
        ("headphones", "fitted"),
        ("click-on-right-channel", "click-channel"),
    ):
        part, scene = CASES[name]
        samples, truth = render(part, scene, 1)
        path = write(tmp_path / name, samples, truth)
        told = sc.Exercise(bpm=part.bpm, meter="4/4", per_beat=part.per_beat, count_in=part.count_in)
        m = measure(path, told)
        assert m.grid is not None
        assert m.grid.anchor == anchor
        assert summary([s.time_s for s in m.strums], truth["strums"])["f"] >= 0.95


def test_strums_that_left_the_click_are_marked_in_the_take_and_neither_added_nor_omitted() -> None:
    """Synthesised: ten bars at the click's 96, then twenty at 84; strums, slots and sentence agree on the counts."""
    exercise = sc.Exercise(bpm=96, meter="4/4", per_beat=1, pattern="D", count_in=1)
    steady = build_grid(exercise, bars=30)
    own = np.concatenate([[0.0], np.cumsum(np.where(np.arange(119) < 40, 60 / 96, 60 / 84))])
    played = replace(steady, slot_s=own, line_s=own, beat_s=np.full(120, 0.7), end_s=float(own[-1]) + 0.7)
    scene = Scene(click_db=None, lead_s=1.0)
    guitar = synthesise(exercise, Player(timekeeper_ms=5.0), scene, seed=3, grid=played)
    click_s = scene.lead_s + np.arange(0.0, guitar.truth.strum_s[-1] - scene.lead_s, 60 / 96)
    accented = np.arange(len(click_s)) % 4 == 0
    samples = guitar.samples + 0.2 * clicks(click_s, accented, "tick", len(guitar.samples))
    m = measure(sc.from_array(samples, guitar.sample_rate_hz), exercise)
    (left,) = m.left_click
    assert left.played_bpm == pytest.approx(84, abs=0.5)
    beside = [s for s in m.strums if s.left_click]
    assert len(beside) == pytest.approx(80, abs=3)
    assert all(s.slot is None and left.start_s <= s.time_s <= left.end_s for s in beside)
    assert sum(s.added for s in m.strums) <= 1
    assert len(m.omitted) <= 1
    row = take_columns(json.loads(report.to_json(m)))
    assert row["added"] == sum(s.added for s in m.strums)


def test_a_click_that_changes_its_tempo_is_said_so_against_its_placing() -> None:
    """Eight bars at 80 clicks a minute, then eight at 100: the warning names both."""
    at_s = 0.7 + np.cumsum(np.r_[0, np.full(31, 0.75), np.full(32, 0.6)])
    m = sc.measure(sc.from_array(make_take(click_at_s=at_s, click_db=-6).samples, CLICK_RATE_HZ), sc.Exercise(bpm=80))
    (notice,) = (w for w in m.warnings if w.code == "click-changes-tempo")
    assert "80 bpm" in notice.message
    assert "100 bpm" in notice.message
    assert [(p.kind, p.measured) for p in m.parts] == [("played", True)] * 2
    assert [p.bpm for p in m.parts] == pytest.approx([80, 100], abs=0.01)
    assert [step.bpm for step in m.steps] == [80, 100]
    assert [step.n for step in m.steps] == pytest.approx([28, 32], abs=1)
    assert not [w for w in m.warnings if w.code in ("left-click", "slides-far", "click-fades", "parts")]


def test_a_click_that_creeps_up_by_steps_is_measured_step_by_step() -> None:
    """Twenty clicks at 90, then sixteen at each of 92 to 98: each step's mean against its strums as placed."""
    gaps_s = np.concatenate([np.full(20, 60 / 90), *(np.full(16, 60 / bpm) for bpm in (92, 94, 96, 98))])
    take = make_take(click_at_s=0.7 + np.cumsum(np.r_[0, gaps_s]), click_db=-6, jitter_ms=5.0)
    told = sc.Exercise(bpm=90, meter="4/4", count_in=1, per_beat=1)
    m = sc.measure(sc.from_array(take.samples, CLICK_RATE_HZ), told)
    assert [step.bpm for step in m.steps] == [90, 92, 94, 96, 98]
    edges = [4, 21, 37, 53, 69, len(take.click_s)]
    for step, first, stop in zip(m.steps, edges[:-1], edges[1:], strict=True):
        true_ms = 1000 * float(np.mean(take.strum_s[first - 4 : stop - 4] - take.click_s[first:stop]))
        assert step.n == pytest.approx(stop - first, abs=1)
        assert step.mean_offset_ms is not None
        assert abs(step.mean_offset_ms.value - true_ms) < 2.0


@pytest.mark.parametrize(("jitter_ms", "said"), [(0.3, True), (5.0, False)])
def test_strums_more_even_than_a_hand_without_a_click_are_said_to_be_against_their_placing(
    jitter_ms: float, said: bool
) -> None:
    take = make_take(click_db=None, jitter_ms=jitter_ms, count_in=0, noise_db=-50, seed=5)
    m = sc.measure(sc.from_array(take.samples, CLICK_RATE_HZ), sc.Exercise(bpm=100, meter="4/4", per_beat=1))
    assert [w.code for w in m.warnings].count("too-even") == said


def test_a_take_wholly_at_a_tempo_of_its_own_is_measured_told_and_drawn(tmp_path: Path) -> None:
    """Quarters at 90 against a click at 100, nothing told: 90 bpm is stated, the JSON obeys its schema, the picture is
    drawn, the take is not held. Truth: the synthesiser's tempo and the click's."""
    bpm, own = 100, sc.Exercise(bpm=90, meter="4/4", per_beat=1, bars=14)
    played = synthesise(own, Player(), Scene(click_db=None, lead_s=3.1), seed=3)
    n = len(played.samples)
    click_s = np.arange(0.7, n / played.sample_rate_hz - 0.2, 60 / bpm)
    click = clicks(click_s, np.arange(len(click_s)) % 4 == 0, "tick", n)
    samples = 0.7 * played.samples + 0.3 * click / np.abs(click).max()
    m = measure(sc.from_array(samples, played.sample_rate_hz))
    (left,) = m.left_click
    assert left.played_bpm == pytest.approx(90, abs=0.2)
    assert m.held is not None
    assert m.held.held is False
    document = report.to_dict(m)
    jsonschema.Draft202012Validator(report.load_schema()).validate(document)
    assert document["timing"]["within_tolerance"]["tolerance_ms"] == 50
    report.write_outputs(m, plot=str(tmp_path / "own.png"))
    assert (tmp_path / "own.png").stat().st_size > 10_000


def test_what_free_leaves_out_is_not_called_unknown() -> None:
    """Only the strums were asked for: the summary does not say that whether the tempo is held cannot be known."""
    m = measure(REFERENCE_AUDIO / "steady.flac", free=True)
    assert "tempo is held" not in report.summary(m)
    assert m.absent["held"].code == "not-asked"


@pytest.mark.parametrize(
    ("told", "said"),
    [({"bpm": 90}, "it belongs to the exercise: Exercise\\(bpm=…\\)"), ({"clik": "none"}, "choose of .*click")],
)
def test_what_measure_cannot_be_told_is_named_with_what_it_can(told: dict[str, object], said: str) -> None:
    """In one line, before the file is looked for."""
    with pytest.raises(sc.UsageError, match=f"an option of measuring was required, but .* came; .*{said}"):
        sc.measure("no such file.wav", **told)
