"""Two takes held against each other: the truth is how the synthesiser made them differ."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np

import strumclock as sc
from strumclock.pipeline import Measurement, compare, measure
from strumclock.pipeline.comparison import TakeToTake, take_to_take
from strumclock.report import plot_comparison, write_comparison_plot
from strumclock.synthesis import Player, Scene, synthesise

EXERCISE = sc.Exercise(bpm=96, meter="4/4", per_beat=1, bars=12, count_in=1)


def _take(seed: int, *, offset_ms: float = 0.0, bpm: float = 96) -> Measurement:
    exercise = sc.Exercise(bpm=bpm, meter="4/4", per_beat=1, bars=12, count_in=1)
    take = synthesise(exercise, Player(offset_ms=offset_ms), Scene(), seed=seed)
    return measure(
        sc.from_array(take.samples, take.sample_rate_hz),
        exercise,
        click_to_mic_m=0.3,
        guitar_to_mic_m=0.3,
        click_to_ear_m=0.5,
    )


def test_a_player_forty_milliseconds_ahead_leads() -> None:
    """B, made to play 40 ms earlier, leads by about that."""
    found = compare(_take(1, offset_ms=15), _take(2, offset_ms=-25))
    assert found.same_exercise
    assert found.leads == "B"
    assert found.apart_ms is not None
    assert found.apart_ms.low <= -40 <= found.apart_ms.high
    mean = next(d for d in found.differences if d.figure == "mean_offset_ms")
    assert mean.shown


def test_two_takes_of_one_player_are_not_told_apart() -> None:
    """Two takes made alike show no difference larger than its uncertainty."""
    found = compare(_take(3), _take(4))
    assert found.leads is None
    assert not any(d.shown for d in found.differences)


def test_a_take_against_itself_is_no_apart() -> None:
    """A take against itself: apart by zero, by definition."""
    m = _take(5)
    found = compare(m, m)
    assert all(d.b_minus_a.value == 0 for d in found.differences)


def test_two_tempos_are_compared_by_what_does_not_depend_on_them() -> None:
    """Takes at 96 and 80 bpm: evenness as a share of the interval and placement; the reason names both tempi."""
    a = _take(6)
    found = compare(a, _take(7, bpm=80))
    assert not found.same_exercise
    assert not found.same_tempo
    assert [d.figure for d in found.differences] == ["jitter_percent", "mean_offset_ms"]
    even = found.differences[0].a
    assert a.timing is not None
    assert a.timing.jitter_ms is not None
    assert abs(even.value - a.timing.jitter_ms.value / (60_000 / 96) * 100) < 0.01 * even.value
    assert "96" in found.absent["apart_ms"].reason
    assert "80" in found.absent["apart_ms"].reason


def test_what_the_two_takes_share_is_counted_once() -> None:
    """The room's sound path enters the difference of two means once, not twice (the rule): its u is all of theirs."""
    a, b = (_take(seed) for seed in (10, 11))
    mean = next(d for d in compare(a, b).differences if d.figure == "mean_offset_ms")
    assert max(mean.a.u, mean.b.u) - 1e-9 <= mean.b_minus_a.u < np.hypot(mean.a.u, mean.b.u)


def test_only_the_record_tells_whether_a_difference_is_more_than_usual() -> None:
    """40 ms apart: these two takes differ; more than takes do that lie 2 ms apart, not more than those 40 ms apart."""
    a, b = _take(12, offset_ms=15), _take(13, offset_ms=-25)
    for sd, beyond in ((None, None), (2.0, True), (40.0, False)):
        usual = {} if sd is None else {"mean_offset_ms": TakeToTake(sd=sd, n=10)}
        mean = next(d for d in compare(a, b, usual=usual).differences if d.figure == "mean_offset_ms")
        assert mean.shown
        assert mean.beyond_usual is beyond


def test_take_to_take_scatter_leaves_a_trend_out() -> None:
    """Takes that improve by 2 ms each and scatter by 3 ms: √(3² + 2²/2) ms; their plain sd is 1155 ms (theory)."""
    values = -2.0 * np.arange(2000) + 3 * np.random.default_rng(1).standard_normal(2000)
    found = take_to_take(values.tolist())
    assert found is not None
    assert abs(found.sd / np.hypot(3.0, np.sqrt(2.0)) - 1) < 0.1
    assert take_to_take(values[:4].tolist()) is None


def test_the_picture_of_two_takes_is_written(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A picture with a row a figure, and one that says why there is none (looked at when it was made)."""
    for i, (a, b) in enumerate(((_take(14), _take(15)), (_take(14), replace(_take(15), timing=None)))):
        path = write_comparison_plot(compare(a, b), tmp_path / f"{i}.png")
        assert path.read_bytes().startswith(b"\x89PNG")
    assert len(plot_comparison(compare(_take(14), _take(15))).axes) == 4


def test_comparison_as_json_has_no_object_left_over() -> None:
    """The comparison's dictionary survives a JSON round trip (RFC 8259, no NaN)."""
    found = compare(_take(8), _take(9)).to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["schema"] == "strumclock.comparison/2"
