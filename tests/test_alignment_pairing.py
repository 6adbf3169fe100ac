"""Pairing strums with slots.  Truth: simulated strums whose slots are known; properties that any pairing must have."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from strumclock.alignment.pairing import NO_SLOT, WINDOW_PARTS, _best_chain, nearest, pair, running_median
from strumclock.robust import robust_sd

times = st.lists(st.floats(0.0, 60.0), min_size=1, max_size=60, unique=True).map(lambda v: np.array(sorted(v)))


@given(strum_s=times, part_s=st.floats(0.1, 1.5), n=st.integers(1, 60))
@settings(max_examples=150, deadline=None)
def test_any_pairing_is_monotone_and_one_to_one(strum_s: np.ndarray, part_s: float, n: int) -> None:
    """Whatever the strums, the slots of the paired ones strictly increase."""
    found = pair(strum_s, np.arange(n) * part_s, np.full(n, part_s))
    slot = found.slot[found.slot != NO_SLOT]
    assert (np.diff(slot) > 0).all()
    assert ((slot >= 0) & (slot < n)).all()


@given(strum_s=times, shift_s=st.floats(-50.0, 500.0))
@settings(max_examples=50, deadline=None)
def test_shifting_strums_and_slots_changes_no_pair(strum_s: np.ndarray, shift_s: float) -> None:
    """A pairing does not know where the recording begins."""
    strum_s = strum_s[np.diff(strum_s, prepend=-1.0) > 1e-3] + 0.00317
    slot_s = np.arange(40) * 0.61
    first = pair(strum_s, slot_s, np.full(40, 0.61))
    moved = pair(strum_s + shift_s, slot_s + shift_s, np.full(40, 0.61))
    same = first.slot == moved.slot
    assert same.mean() > 0.9  # times at a window's very edge may fall to either side of it by rounding
    assert moved.gain == pytest.approx(first.gain, abs=1e-6)


def test_the_chain_is_the_best_of_all_pairings_against_brute_force() -> None:
    """Truth: every monotone one-to-one pairing of a few strums and slots, tried out."""
    rng = np.random.default_rng(5)
    for _ in range(60):
        n, m = int(rng.integers(1, 6)), int(rng.integers(1, 6))
        strum_s, slot_s = np.sort(rng.uniform(0, 2.0, n)), np.arange(m) * 0.4 + rng.uniform(0, 0.3)
        window = WINDOW_PARTS * 0.4
        best = 0.0
        for k in range(1, min(n, m) + 1):
            for i, j in itertools.product(itertools.combinations(range(n), k), itertools.combinations(range(m), k)):
                gain = 1.0 - ((strum_s[list(i)] - slot_s[list(j)]) / window) ** 2
                best = max(best, float(gain.sum()) if (gain > 0).all() else 0.0)
        slot, worth = _best_chain(strum_s, slot_s, np.full(m, 0.4), 0.0)
        kept = slot != NO_SLOT
        again = (1.0 - ((strum_s[kept] - slot_s[slot[kept]]) / window) ** 2).sum()
        assert worth == pytest.approx(best, abs=1e-12)
        assert again == pytest.approx(best, abs=1e-12)


@pytest.mark.parametrize("drift_s_per_min", [-0.12, -0.06, 0.06, 0.12])
def test_a_player_who_drifts_for_five_minutes_is_followed(drift_s_per_min: float) -> None:
    """120 ms/min for 5 min is 0.6 s, twice an eighth at 100 bpm: by construction each strum has its own slot."""
    rng = np.random.default_rng(1)
    part_s = 0.3
    slot_s = np.arange(1000) * part_s
    strum_s = slot_s * (1 + drift_s_per_min / 60.0) - 0.02 + rng.normal(0, 0.02, len(slot_s))
    assert (pair(strum_s, slot_s, np.full(len(slot_s), part_s)).slot == np.arange(len(slot_s))).all()


def test_an_unplanned_strum_half_way_does_not_fill_the_gap_beside_it() -> None:
    """A slot is left out and a strum added half a part before it: one is omitted, one added."""
    strum_s = np.delete(np.arange(20) * 0.6, 10)
    strum_s = np.sort(np.append(strum_s, 9.5 * 0.6))
    slot = pair(strum_s, np.arange(20) * 0.6, np.full(20, 0.6)).slot
    assert slot[10] == NO_SLOT
    assert 10 not in slot


def test_one_late_strum_does_not_pull_its_neighbours_off() -> None:
    """A strum that comes a third of a part late keeps its slot, and so do the others."""
    strum_s = np.arange(20) * 0.6
    strum_s[10] += 0.2
    assert (pair(strum_s, np.arange(20) * 0.6, np.full(20, 0.6)).slot == np.arange(20)).all()


def test_two_strums_near_one_slot_give_it_to_the_nearer() -> None:
    """The slot goes to the strum 20 ms away, the one 100 ms away is added."""
    strum_s = np.sort(np.append(np.arange(10) * 0.6 + 0.02, 5 * 0.6 - 0.1))
    slot = pair(strum_s, np.arange(10) * 0.6, np.full(10, 0.6)).slot
    assert slot[5] == NO_SLOT
    assert slot[6] == 5


def test_no_strums_or_no_slots_pair_nothing() -> None:
    """Empty input is an answer, not an error."""
    assert len(pair(np.zeros(0), np.arange(3.0), np.ones(3)).slot) == 0
    assert pair(np.arange(3.0), np.zeros(0), np.zeros(0)).slot.tolist() == [NO_SLOT] * 3


@given(value=st.lists(st.floats(-5, 5), min_size=1, max_size=60), width=st.sampled_from([1, 3, 9, 17]))
@settings(max_examples=80, deadline=None)
def test_running_median_against_the_plain_one(value: list[float], width: int) -> None:
    """Truth: numpy's median of the values around each place, away from the ends."""
    array = np.array(value)
    found = running_median(array, width)
    half = min(width // 2, (len(array) - 1) // 2)
    assert len(found) == len(array)
    if half >= 1:
        for i in range(half, len(array) - half):
            assert found[i] == np.median(array[i - half : i + half + 1])


def test_robust_sd_of_normal_values_is_their_standard_deviation() -> None:
    """Truth: the standard deviation drawn from, 2; the estimate's own spread is 1.2 % at this n."""
    assert robust_sd(np.random.default_rng(0).normal(7.0, 2.0, 20_000)) == pytest.approx(2.0, abs=0.08)


def test_nearest_against_the_plain_search() -> None:
    """Truth: the smallest of all distances."""
    rng = np.random.default_rng(2)
    time_s, place_s = rng.uniform(-1, 11, 200), np.sort(rng.uniform(0, 10, 30))
    index, deviation = nearest(time_s, place_s)
    distance = np.abs(time_s[:, None] - place_s[None])
    assert np.allclose(np.abs(deviation), distance.min(axis=1), rtol=0, atol=1e-12)
    assert np.allclose(place_s[index] + deviation, time_s, rtol=0, atol=1e-12)
