"""What teaches the strum finder: its network is the shipped one, its gradients are right, its takes are repeatable."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from strumclock.onsets.bands import STEPS
from strumclock.onsets.network import _logits
from strumclock.onsets.residual import CHANNELS


@pytest.fixture
def learning(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(Path(__file__).parent / "benchmarks"))
    import learn_onsets

    return learn_onsets


def _batch(n: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return (
        rng.standard_normal((n, STEPS, CHANNELS)).astype(np.float32),
        rng.standard_normal((n, 390)).astype(np.float32),
    )


def test_the_taught_network_is_the_shipped_one(learning: ModuleType) -> None:
    """The learner's forward pass against the package's, with the same random weights."""
    learner = learning.Learner(seed=3)
    x, picture = _batch(4)
    np.testing.assert_allclose(learner.forward(x, picture), _logits(x, picture, learner.weights()), rtol=0, atol=1e-4)


def test_gradients_agree_with_finite_differences(learning: ModuleType) -> None:
    """Each layer's largest gradient, against the change of the loss when that weight moves."""
    learner = learning.Learner(seed=4)
    x, picture = _batch(3, seed=1)
    target = learning.targets(np.array([0.0, np.nan, 0.01]))
    weight = np.array([1.0, 0.8, 1.0], np.float32)
    learner.learn(x, picture, target, weight)
    gradients = {name: layer.by_kernel.copy() for name, layer in learner.layers().items()}
    for name, layer in learner.layers().items():
        g = gradients[name]
        at = np.unravel_index(np.abs(g).argmax(), g.shape)
        step = np.float32(3e-3)
        layer.kernel[at] += step
        up = learner.learn(x, picture, target, weight)
        layer.kernel[at] -= 2 * step
        down = learner.learn(x, picture, target, weight)
        layer.kernel[at] += step
        assert (up - down) / (2 * step) == pytest.approx(g[at], rel=0.15, abs=2e-3), name


@pytest.mark.usefixtures("learning")
def test_a_simulated_take_is_repeatable_and_begins_its_strums_inside() -> None:
    """The same seed gives the same samples; strum times lie inside the take and increase."""
    import strum_scenes

    sounds = strum_scenes.Sounds()
    first, again = (strum_scenes.simulate(12, sounds, seconds=6.0) for _ in range(2))
    np.testing.assert_array_equal(first.samples, again.samples)
    assert np.all(np.diff(first.strums_s) > 0)
    assert 0 < first.strums_s[0] < first.strums_s[-1] < 6.0
    assert np.isfinite(first.samples).all()


def test_a_take_in_which_nothing_is_played_teaches_only_none(learning: ModuleType) -> None:
    """Seed 0 is such a take: its knocks and squeaks are candidates, and no candidate is a strum."""
    import strum_scenes

    taught = learning.examples(0, strum_scenes.Sounds())
    assert len(taught["at"]) > 0
    assert np.isnan(taught["at"]).all()
