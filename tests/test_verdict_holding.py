"""The standard for "held": each criterion's arithmetic and margin, its presets, and that chance does not pass."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, strategies as st
from tests.verdict_takes import even, played

from strumclock.errors import UsageError
from strumclock.verdict import STANDARDS, Held, Played, Standard, Stretch, judge_take, the_standard
from strumclock.verdict.holding import Contrast


def failed(held: Held) -> dict[str, tuple[float, float]]:
    """What was not met: found and asked, by code."""
    return {criterion.code: (round(criterion.found, 6), round(criterion.asked, 6)) for criterion in held.failed}


@pytest.mark.parametrize(
    ("name", "part_s", "tolerance_ms"),
    [
        ("first-weeks", 1.0, 125.0),  # an eighth of a second
        ("first-weeks", 0.3, 50.0),  # the floor
        ("first-weeks", 0.2, 40.0),  # a fifth of the part
        ("steady", 0.6, 50.0),  # a twelfth
        ("steady", 0.3, 35.0),  # the floor
        ("steady", 0.1, 25.0),  # a quarter of the part
        ("tight", 1.2, 50.0),  # a twenty-fourth
        ("tight", 0.3, 25.0),  # the floor
        ("tight", 0.08, 20.0),  # a quarter of the part
    ],
)
def test_each_preset_has_the_designs_tolerance(name, part_s, tolerance_ms):
    """Truth: the table of DESIGN.md, "The standard"."""
    assert STANDARDS[name].tolerance_s(part_s) * 1e3 == pytest.approx(tolerance_ms, rel=1e-12)


def test_the_presets_ask_for_what_the_design_says():
    """Truth: the table of DESIGN.md, "The standard"."""
    asked = {name: (s.even_share, s.mean_offset_max_s, s.drift, s.min_slots) for name, s in STANDARDS.items()}
    assert asked == {
        "first-weeks": (0.8, None, False, 16),
        "steady": (0.9, 0.05, True, 16),
        "tight": (0.9, 0.03, True, 16),
    }


def test_an_even_take_is_held_and_its_margin_is_the_largest_ratio():
    """90 bpm: a twelfth of 667 ms is 55.6 ms; nine tenths of 40 strums lie within the 36th smallest deviation."""
    offsets = even(40)
    held = judge_take(played(offsets))
    assert held.held is True
    assert held.failed == ()
    assert held.margin == pytest.approx(np.sort(np.abs(offsets))[35] / (60e3 / 90 / 12), rel=1e-9)


def test_the_same_take_fails_for_each_reason_alone():
    """One thing wrong at a time: its code with both numbers, and nothing else. Truth: arithmetic at 90 bpm."""
    fine = even(64)
    tolerance = 60e3 / 90 / 12
    uneven = fine + 200 * (np.arange(64) % 8 == 0) - 200 * (np.arange(64) % 8 == 4)
    of_change = Contrast(code="changes", at_least_ms=56.0)
    cases = [
        ({"omitted": (57, 58)}, played(fine, missing=np.arange(0, 63, 9)), {}),
        ({"added": (7, 6)}, played(fine, added=((1, 1, 1),) * 7), {}),
        ({"uneven": (48, 58)}, played(uneven), {}),
        ({"placement": (51.0, 50.0)}, played(fine + 51), {}),
        ({"placement": (-51.0, 50.0)}, played(fine - 51), {}),
        ({"drift": (-56.0, round(tolerance, 6))}, played(fine), {"drift_ms_per_min": -56.0}),
        ({"changes": (56.0, round(tolerance, 6))}, played(fine), {"contrasts": [of_change]}),
        ({"place": (60.0, round(tolerance, 6))}, played(fine), {"contrasts": [Contrast(code="place", at_least_ms=60)]}),
    ]
    for expected, take, shown in cases:
        held = judge_take(take, **shown)
        assert held.held is False
        assert failed(held) == expected
        assert held.margin > 1


def test_a_drift_is_held_against_the_whole_take_where_that_is_longer_than_a_minute():
    """Truth: 30 ms a minute over two minutes are 60 ms, over half a minute counted as a minute 30; 55.6 pass."""
    long, short = played(even(181)), played(even(46))
    assert long.duration_s == pytest.approx(120)
    assert judge_take(long, drift_ms_per_min=30.0).held is False
    assert judge_take(short, drift_ms_per_min=30.0).held is True


@pytest.mark.parametrize(
    ("take", "code"),
    [
        (played(even(15), bpm=40), "slots"),
        (played(even(20), bpm=90), "duration"),
        (played(even(64), u_ms=60.0), "unsure"),
        (played(even(64), n_heard=64, n_sure=47), "hardly-strums"),
    ],
)
def test_too_little_or_too_badly_known_a_take_is_not_judged(take, code):
    """Truth: 16 slots and 20 s are asked for; strums known to 60 ms say nothing about 55.6; 48 are three quarters of
    64."""
    held = judge_take(take)
    assert held.held is None
    assert held.margin is None
    assert code in failed(held)


def test_a_take_of_which_three_quarters_are_surely_strums_is_judged():
    """48 of 64; and a take of bare times, of which none was heard."""
    assert judge_take(played(even(64), n_heard=64, n_sure=48)).held is True
    assert judge_take(played(even(64))).held is True


def test_a_take_of_exactly_the_least_length_is_judged():
    """The last strum counts as long as the others: 30 strums at 90 bpm last 20 s."""
    assert judge_take(played(even(30))).held is True
    assert judge_take(played(even(29))).held is None


def test_a_take_that_stopped_or_left_the_click_did_not_hold_through_it():
    """Truth: the design; however even the rest."""
    gap = Stretch(start_s=10, end_s=16, slots=9)
    for options in ({"stopped": (gap,)}, {"own_tempo": (replace(gap, bpm=97.0),)}):
        held = judge_take(played(even(64), **options))
        assert held.held is False
        assert held.margin > 1


def test_who_stops_in_the_middle_of_a_short_take_did_not_hold_it():
    """24 strums at 90 bpm last 16 s; with a stop of 8 s it is no short take but one that stopped."""
    assert judge_take(played(even(24))).held is None
    stop = Stretch(start_s=10, end_s=18, slots=12)
    held = judge_take(played(even(24), stopped=(stop,)))
    assert (held.held, [criterion.code for criterion in held.failed]) == (False, ["stopped"])


def test_with_a_fitted_grid_placement_is_not_asked():
    """Nothing is known of the mean there."""
    assert judge_take(played(even(64) + 80, fitted=True)).held is True


@given(
    share=st.floats(0.05, 4), n=st.integers(32, 200), preset=st.sampled_from(sorted(STANDARDS)), seed=st.integers(0, 99)
)
def test_a_take_holds_exactly_where_its_margin_is_one_or_less(share, n, preset, seed):
    """Property: the margin is the judgement in one number."""
    standard = STANDARDS[preset]
    take = played(even(n, sd=share * 30, seed=seed), bpm=80)
    held = judge_take(take, standard)
    assert held.held == (held.margin <= 1 + 1e-9)
    assert held.held == (not held.failed)


@given(factor=st.floats(1.01, 3), seed=st.integers(0, 99))
def test_more_scatter_is_more_margin_in_proportion(factor, seed):
    """Property: the margin of an uneven take is found over asked, so it scales with the errors."""
    standard = Standard(mean_offset_max_s=None, drift=False)
    errors = even(64, seed=seed)
    once, more = (judge_take(played(x), standard).margin for x in (errors, factor * errors))
    assert more == pytest.approx(factor * once, rel=1e-9)


@pytest.mark.parametrize("bpm", [40, 80, 120, 200])
@pytest.mark.parametrize("per_beat", [1, 2, 4])
def test_no_preset_is_passed_by_chance(bpm, per_beat):
    """200 players whose strums fall anywhere between their neighbours' middles: none holds the shortest take judged.

    The slow table (`standard_calibration.py`) does the same with more players.
    """
    rng = np.random.default_rng(bpm + per_beat)
    part_s = 60 / bpm / per_beat
    n = max(16, math.ceil(20 / part_s))
    for standard in STANDARDS.values():
        held = [
            judge_take(played(500 * part_s * rng.uniform(-1, 1, n), bpm=bpm, per_beat=per_beat), standard).held
            for _ in range(200)
        ]
        assert not any(held)


@pytest.mark.parametrize(
    "wrong",
    [
        {"tolerance_share": 0.0},
        {"even_share": float("nan")},
        {"tolerance_min_s": float("nan")},
        {"tolerance_min_s": float("inf")},
        {"min_slots": 0},
        {"min_duration_s": -1.0},
        {"mean_offset_max_s": float("nan")},
        {"mean_offset_max_s": 0.0},
    ],
    ids=str,
)
def test_a_standard_that_makes_no_sense_is_refused(wrong):
    """Shares lie above 0 and up to 1, times are finite and not negative."""
    with pytest.raises(UsageError, match=next(iter(wrong))):
        Standard(**wrong)


def test_a_standard_is_found_by_its_name():
    """And an unknown name lists those there are."""
    assert the_standard("tight") is STANDARDS["tight"]
    with pytest.raises(UsageError, match="first-weeks, steady, tight"):
        the_standard("loose")


def test_offsets_that_are_no_numbers_are_refused():
    """A NaN would pass every comparison."""
    with pytest.raises(UsageError, match="finite"):
        played([1.0, float("nan")])
    with pytest.raises(UsageError, match="an entry for each"):
        Played(**{f: getattr(played(even(4)), f) for f in Played.__dataclass_fields__} | {"bar": np.arange(3)})


def test_the_tempo_in_reach_is_read_from_everything_but_the_placement():
    """Arithmetic: 80 ms early of 50 let pass is a margin of 1.6, the scatter's stays; a slower tempo mends no lean."""
    offsets = even(64)
    on_click, early = judge_take(played(offsets)), judge_take(played(offsets - 80))
    assert early.margin == pytest.approx(abs(offsets.mean() - 80) / 50, rel=1e-9)
    assert early.tempo_margin == pytest.approx(on_click.margin, rel=1e-9)
    assert on_click.tempo_margin == on_click.margin
    assert early.held is False
    assert judge_take(played(even(15), bpm=40)).tempo_margin is None
