"""The tempo in reach by one take, and the rule of the next tempo, against their definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, strategies as st

from strumclock.errors import UsageError
from strumclock.timing.estimate import Estimate
from strumclock.verdict.reach import SLOPE, TAKE_SD, next_tempo, settable_bpm, take_reach

TEMPI = st.floats(min_value=20, max_value=400)
MARGINS = st.floats(min_value=0.13, max_value=7.9)


def test_three_takes_of_four_hold_the_tempo_in_reach():
    """By simulation of the definition: margins at that tempo scatter by TAKE_SD; 75 % of them are at most 1."""
    at_60 = math.exp(-0.4)  # this player's middle margin at 60
    reach = take_reach(60, at_60).value
    luck = np.random.default_rng(1).normal(0, TAKE_SD, 40_000)
    assert np.mean(at_60 * (reach / 60) ** SLOPE * np.exp(luck) <= 1) == pytest.approx(0.75, abs=0.01)


@pytest.mark.parametrize("tried_sd", [0.05, 0.1, 0.2])
def test_the_interval_of_one_take_holds_the_tempo_in_reach(tried_sd):
    """By simulation: slopes and luck as the module says they vary, tempi offered near and far: 93 to 99 % hold."""
    rng = np.random.default_rng(2)
    inside = []
    just = math.exp(-0.674490 * TAKE_SD)  # margin at the tempo in reach, by its definition
    for slope, luck in zip(SLOPE * np.exp(0.45 * rng.normal(size=9000)), rng.normal(0, TAKE_SD, 9000), strict=True):
        true, tried = 90.0, 90 * math.exp(tried_sd * rng.normal())
        found = take_reach(tried, just * (tried / true) ** slope * math.exp(luck))
        inside.append(found.low <= true <= found.high)
    assert 0.93 <= np.mean(inside) <= 0.99


@given(bpm=TEMPI, margin=MARGINS, faster=st.floats(min_value=1.01, max_value=1.5))
def test_the_reach_scales_with_the_tempo_and_falls_with_the_margin(bpm, margin, faster):
    """The rule is one of ratios: the same margin at a tempo faster by a tenth is a reach faster by a tenth."""
    found = take_reach(bpm, margin)
    assert take_reach(bpm * faster, margin).value == pytest.approx(faster * found.value, rel=1e-9)
    assert take_reach(bpm, margin * faster).value < found.value or margin * faster > 8


@given(bpm=TEMPI, margin=MARGINS, held=st.sampled_from([True, False, None]))
def test_the_next_tempo_keeps_its_limits(bpm, margin, held):
    """The rule as written: whole, at most 4 up and a tenth down, a held take not slower, a missed one not faster."""
    following, subdivide = next_tempo(take_reach(bpm, margin), bpm, held=held)
    assert following == int(following)
    assert following <= bpm + 4 + 1e-6 or following == math.ceil(bpm)
    assert following >= min(0.9 * bpm, 40) - 1e-6
    assert following >= 0.9 * bpm - 1 + 1e-6
    assert following >= 40 or following >= math.floor(min(bpm, 40))
    if held:
        assert following >= bpm - 0.5
    if held is False:
        assert following <= bpm + 1 - 1e-6
        if bpm == int(bpm):
            assert following <= bpm
    if subdivide:
        assert following <= 45


def test_what_is_known_less_well_is_asked_for_less():
    """The same tempo in reach, known within 2 % and within 20 %."""
    sure = Estimate(value=100, low=98, high=102, u=0)
    unsure = Estimate(value=100, low=82, high=122, u=0)
    assert next_tempo(sure, 98)[0] == 99
    assert next_tempo(unsure, 98)[0] < 97


def test_below_forty_the_click_is_subdivided():
    """Slower than people follow a click (Repp 2006): 40 and subdivided; who plays 36 is not sent up to 40."""
    assert next_tempo(take_reach(42, 3.0), 42, held=False) == (40.0, True)
    assert next_tempo(take_reach(36, 3.0), 36, held=False) == (36.0, True)
    assert next_tempo(take_reach(36, 0.13), 36, held=True)[0] == 40


@pytest.mark.parametrize("wrong", [-0.1, math.nan])
def test_a_margin_that_is_none_is_refused(wrong):
    """Validated at the edge, in one line."""
    with pytest.raises(UsageError, match="a margin must be 0 or more"):
        take_reach(80, wrong)
    with pytest.raises(UsageError, match="above 0 bpm"):
        take_reach(0, 1.0)


def test_a_take_that_shows_nothing_of_the_margin_is_bounded():
    """An infinite margin (no strum in its place) counts as an eightfold one."""
    assert take_reach(80, math.inf) == take_reach(80, 8.0)
    assert settable_bpm(take_reach(80, 0.0).value) == settable_bpm(take_reach(80, 1 / 8).value)
