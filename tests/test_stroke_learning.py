"""What teaches spread and direction: the learned functions are the shipped ones, the takes are repeatable."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from strumclock.stroke import network
from strumclock.stroke.picture import BANDS, STEPS


@pytest.fixture
def learning(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(Path(__file__).parent / "benchmarks"))
    import learn_strokes

    return learn_strokes


@pytest.fixture
def scenes(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(Path(__file__).parent / "benchmarks"))
    import stroke_scenes

    return stroke_scenes


def test_the_taught_function_is_the_shipped_one(learning: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """The learner's forward pass on scaled input against the package's with the folded weights."""
    rng = np.random.default_rng(1)
    x = rng.normal(3, 8, (50, STEPS * BANDS)).astype(np.float32)
    net = learning.Net(x, 7, seed=2)
    names = ("spread_w1", "spread_b1", "spread_w2", "spread_b2")
    monkeypatch.setattr(network, "learned_weights", lambda: dict(zip(names, net.folded(), strict=True)))
    shown = net.forward(((x - net.middle) / net.scale).astype(np.float32))[1]
    np.testing.assert_allclose(network._through("spread", x.reshape(50, STEPS, BANDS)), shown, rtol=0, atol=1e-3)


def test_learning_finds_a_rule_that_is_there(learning: ModuleType) -> None:
    """Truth: the target is the difference of two cells of the picture."""
    rng = np.random.default_rng(2)
    x = rng.normal(0, 6, (3000, STEPS * BANDS)).astype(np.float32)
    x -= x.mean(axis=1, keepdims=True)
    y = (0.1 * (x[:, 5] - x[:, 60])).astype(np.float32)
    net = learning.learn("spread", x[:2500], y[:2500])
    told = net.forward(((x[2500:] - net.middle) / net.scale).astype(np.float32))[1]
    assert np.corrcoef(told, y[2500:])[0, 1] > 0.8


def test_area_under_the_curve_against_counting(learning: ModuleType) -> None:
    """Truth: the share of pairs in the right order, counted."""
    rng = np.random.default_rng(3)
    score, up = rng.standard_normal(40), rng.random(40) < 0.4
    counted = np.mean(score[up][:, None] > score[~up])
    assert learning.area(score, up) == pytest.approx(counted)


def test_the_same_seed_gives_the_same_take_and_its_truth_is_in_the_sound(scenes: ModuleType) -> None:
    """Truth: equal samples; the sound rises at each strum."""
    once, again = (scenes.simulate(5, ["synthetic"], strums=8) for _ in range(2))
    assert np.array_equal(once.samples, again.samples)
    assert np.all(np.diff(once.strum_s) > 0.05)
    assert np.all((once.spread_s > 0) & (once.spread_s < 0.12))
    first = int(once.strum_s[0] * scenes.RATE_HZ)
    before, after = once.samples[first - 4410 : first - 882], once.samples[first : first + 4410]
    assert np.mean(after**2) > 10 * np.mean(before**2)
    assert set(np.unique(scenes.simulate(6, ["synthetic"], strums=8, one_way=True).up)) == {False}
