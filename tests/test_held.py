"""The standard for "held": its arithmetic, not passable by chance, reachable by ordinary people; the next tempo."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support import bench_dir

from strumclock.errors import UsageError
from strumclock.grid import Exercise
from strumclock.timing import (
    STANDARDS,
    Anchoring,
    Held,
    PlacedStrums,
    Standard,
    judge_take,
    measure_timing,
    next_tempo,
)


def judged(
    offset_ms, *, bpm=90.0, per_beat=1, standard="steady", omitted=(), added=0, anchor="recorded-click", **options
) -> Held:
    """Judge a take in 4/4 with a slot at each part of the beat; `offset_ms` has an entry a slot."""
    offset_ms = np.asarray(offset_ms, dtype=float)
    n_slots, part_s = offset_ms.size, 60 / bpm / per_beat
    slots = np.setdiff1d(np.arange(n_slots), omitted)
    lines = part_s * slots
    rule = STANDARDS[standard] if isinstance(standard, str) else standard
    strums = PlacedStrums.of(
        lines + offset_ms[slots] / 1e3,
        lines,
        slot=slots,
        bar=slots // (4 * per_beat) + 1,
        beat=slots // per_beat % 4 + 1,
        part=slots % per_beat + 1,
        beat_s=60 / bpm,
        part_s=part_s,
    )
    timing = measure_timing(strums, anchoring=Anchoring(anchor=anchor), tolerance_s=rule.tolerance_s(part_s))
    return judge_take(
        timing,
        rule,
        n_slots=n_slots,
        n_omitted=n_slots - slots.size,
        n_added=added,
        **{"duration_s": part_s * (n_slots - 1), "bpm": bpm, "part_s": part_s, **options},
    )


def even(n, sd=10.0, seed=0):
    return sd * np.random.default_rng(seed).standard_normal(n)


def test_a_steady_take_is_held_and_goes_up():
    """90 bpm held goes to 92.7, to the nearest whole number (3 %, by the standard)."""
    result = judged(even(64))
    assert result.held is True
    assert result.failed == ()
    assert result.next_bpm == 93


@pytest.mark.parametrize(("bpm", "expected"), [(30, 31), (40, 41), (100, 103), (133, 137), (200, 204)], ids=str)
def test_a_held_tempo_rises_by_three_percent_between_one_and_four_bpm(bpm, expected):
    """By the standard: +3 %, at least 1, at most 4 bpm (arithmetic)."""
    assert next_tempo(bpm, held=True, even_share=1.0) == (expected, False)


@given(bpm=st.floats(30, 300), share=st.floats(0, 1), last=st.none() | st.floats(30, 300), below=st.integers(0, 3))
def test_a_tempo_that_is_not_held_never_rises(bpm, share, last, below):
    """Property: not held means the same tempo or lower, never below 90 % of the last held, nor pushed below 40."""
    following, subdivide = next_tempo(bpm, held=False, even_share=share, last_held_bpm=last, takes_below=below)
    assert following <= bpm + 0.5
    assert following >= 0.95 * bpm - 1
    if following < bpm - 0.5:
        assert share < 0.75
        assert below >= 1
        assert following >= 40
        assert last is None or following >= 0.9 * last - 1e-6
    assert subdivide or following >= 40


@given(
    bpm=st.floats(20, 400),
    held=st.booleans(),
    share=st.floats(0, 1),
    last=st.none() | st.floats(20, 400),
    below=st.integers(0, 3),
)
def test_the_next_tempo_can_be_set_on_a_metronome(bpm, held, share, last, below):
    """Property: a whole number that the tool itself takes for a tempo; a held one rises by 1 to 4 bpm at most."""
    following, _ = next_tempo(bpm, held=held, even_share=share, last_held_bpm=last, takes_below=below)
    assert following == int(following)
    assert Exercise(bpm=following).bpm == following
    if held and bpm <= 396:
        assert 1 - 1e-6 <= following - bpm <= 4 + 1e-6


@pytest.mark.parametrize(("bpm", "expected"), [(93.6, 94), (93.4, 93), (99.98, 100)], ids=str)
def test_a_tempo_between_two_whole_ones_stays_at_the_nearest(bpm, expected):
    """Truth: arithmetic. Whether the take was judged or too short to be, its own tempo stays as it was heard."""
    assert judged(even(64, sd=200), bpm=bpm).next_bpm == expected
    assert judged(even(8), bpm=bpm).next_bpm == expected


def test_the_same_take_fails_for_each_reason_alone():
    """One thing wrong at a time: each is listed with both numbers, and nothing else is."""
    fine = even(64)
    uneven = fine + 200 * (np.arange(64) % 8 == 0) - 200 * (np.arange(64) % 8 == 4)
    cases = {
        "57 of 64 strums were played and 58": {"offset_ms": fine, "omitted": np.arange(0, 63, 9)},
        "7 strums were added and 6": {"offset_ms": fine, "added": 7},
        "48 of 64 strums lie within 83.3 ms of the take's own mean and 58": {"offset_ms": uneven},
        "late on average and 83.3 ms": {"offset_ms": fine + 90},
        "early on average and 83.3 ms": {"offset_ms": fine - 90},
        "fall behind by": {"offset_ms": fine + np.linspace(-60, 60, 64)},
        "pull ahead by": {"offset_ms": fine - np.linspace(-60, 60, 64)},
        "a tempo of their own": {"offset_ms": fine, "left_click": True},
    }
    for words, case in cases.items():
        result = judged(**case)
        assert result.held is False, words
        assert len(result.failed) == 1, result.failed
        assert words in result.failed[0]


def test_a_take_that_left_the_click_is_not_held_however_few_slots_are_left():
    """A take of 45 s, all but 5 slots of it at a tempo of the player's own: not held for that reason alone."""
    result = judged(even(5), bpm=90, left_click=True, duration_s=45.0)
    assert result.held is False
    assert result.failed == ("for a stretch the strums kept a tempo of their own",)
    assert result.next_bpm == 90
    assert judged(even(5), bpm=90, left_click=True, duration_s=8.0).held is None


@pytest.mark.parametrize("n", [63, 64])
def test_the_limits_themselves_pass(n):
    """Nine tenths played and even, a tenth added: "at least" and "at most" hold at their edges."""
    edge = int(np.floor(0.1 * n))
    assert judged(even(n), added=edge).held is True
    assert judged(even(n), omitted=np.arange(1, 1 + edge)).held is True


def test_first_weeks_asks_for_less():
    """`first-weeks`: 80 % even and no placement; `tight`: half the tolerance (by the standard)."""
    late = even(64) + 150
    assert judged(late).held is False
    assert judged(late, standard="first-weeks").held is True
    assert judged(even(64, sd=30), standard="steady").held is True
    assert judged(even(64, sd=30), standard="tight").held is False


def test_without_a_click_placement_is_not_asked_for():
    """A fitted grid knows no offsets, so a late take can still be held."""
    assert judged(even(64) + 150, anchor="fitted").held is True


def test_a_short_take_is_not_judged():
    """15 slots, or 19 s, are not judged; 16 slots in exactly 20 s are (the last strum counts as long as the others)."""
    short, brief = judged(even(15), bpm=40), judged(even(30), bpm=96)
    assert short.held is None
    assert "15 slots and 16" in short.failed[0]
    assert brief.held is None
    assert "18.7 s and 20 s" in brief.failed[0]
    assert short.next_bpm == 40
    assert judged(even(32), bpm=96).held is True
    assert judged(even(16), bpm=48).held is True


@pytest.mark.parametrize(
    ("part_s", "steady", "tight"),
    [(1.0, 0.125, 0.0625), (0.6, 0.075, 0.0375), (0.15, 0.025, 0.012), (0.08, 0.02, 0.012), (0.04, 0.01, 0.01)],
)
def test_tolerance_by_the_standard(part_s, steady, tight):
    """An eighth (a sixteenth) of the part, at least 25 (12) ms, never more than a quarter (arithmetic)."""
    assert STANDARDS["steady"].tolerance_s(part_s) == pytest.approx(steady)
    assert STANDARDS["tight"].tolerance_s(part_s) == pytest.approx(tight)


def judged_kindly(deviation_ms, *, n_slots, n_added, bpm, per_beat, standard) -> Held:
    """Judge by played, added and even strums alone, as if placement and drift were always right."""
    deviation_ms = np.asarray(deviation_ms, dtype=float)
    part_s = 60 / bpm / per_beat
    bare = measure_timing(PlacedStrums.of([], [], slot=[]))
    timing = replace(bare, n=deviation_ms.size, deviation_ms=deviation_ms - deviation_ms.mean())
    return judge_take(
        timing,
        STANDARDS[standard],
        n_slots=n_slots,
        n_omitted=n_slots - deviation_ms.size,
        n_added=n_added,
        duration_s=part_s * (n_slots - 1),
        bpm=bpm,
        part_s=part_s,
    )


@pytest.mark.parametrize("standard", STANDARDS)
@pytest.mark.parametrize("per_beat", [1, 2, 3, 4])
@pytest.mark.parametrize("bpm", [40, 60, 90, 120, 160, 200, 240])
def test_a_random_player_fails(bpm, per_beat, standard):
    """Strums at random times, and one at random within each slot: none of 60 takes of the least length is held."""
    rng = np.random.default_rng([bpm, per_beat])
    part_s = 60 / bpm / per_beat
    n = max(16, int(np.ceil(20 / part_s)))
    told = {"n_slots": n, "bpm": bpm, "per_beat": per_beat, "standard": standard}
    for _ in range(30):
        strums = np.sort(rng.uniform(-part_s / 2, (n - 0.5) * part_s, n))
        slot = np.rint(strums / part_s).astype(int)
        offset_ms = 1e3 * (strums - slot * part_s)
        nearest = [offset_ms[slot == k][np.argmin(np.abs(offset_ms[slot == k]))] for k in np.unique(slot)]
        assert judged_kindly(nearest, n_added=n - len(nearest), **told).held is False
        one_each = 1e3 * rng.uniform(-part_s / 2, part_s / 2, n)
        assert judged_kindly(one_each, n_added=0, **told).held is False


def test_ordinary_people_hold_steady_at_100_bpm():
    """Bååth & Madison 2012, 119 trials of ordinary adults at 600 ms, 17 s each (the 20 s are waived): most hold it."""
    rows = np.genfromtxt(bench_dir() / "data" / "tapping_600_3000ms.csv", delimiter=",", names=True)
    trials = defaultdict(list)
    for row in rows[rows["isi"] == 600]:
        trials[(row["subject"], row["trial"])].append(row["asynch"])
    steady = replace(STANDARDS["steady"], min_duration_s=15.0)
    results = [judged(taps, bpm=100, standard=steady).held for taps in trials.values() if len(taps) >= 25]
    assert len(results) == 119
    assert np.mean([held is True for held in results]) > 0.6


def test_a_standard_refuses_nonsense():
    """A share above 1 or a negative time is refused in one line."""
    with pytest.raises(UsageError, match="even_share"):
        Standard(even_share=1.2)
    with pytest.raises(UsageError, match="must not be negative"):
        Standard(tolerance_min_s=-0.1)
