"""The verdict's small decisions, each by itself: what is counted, compared and named, against arithmetic done here."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats
from tests.verdict_takes import effect, estimate, even, played

from strumclock.errors import UsageError
from strumclock.timing import Estimate, Finding
from strumclock.verdict import STANDARDS, Standard, Stretch, conclude, judge_take
from strumclock.verdict.concluding import shown_effects
from strumclock.verdict.holding import Contrast, evenness_ms
from strumclock.verdict.obstacles import Where, _share_gone, find_obstacles
from strumclock.verdict.reach import log_margin, next_tempo, settable_bpm, take_reach

STEADY = STANDARDS["steady"]
TOLERANCE_MS = 60e3 / 90 / 12  # at 90 bpm with a strum a beat


def finding(kind: str, where: Any, value: float, *, shown: bool = True) -> Finding:
    """Something found of a take, 3 ms to either side."""
    return Finding(kind=kind, where=where, size=estimate(value, 3), p=0.001, shown=shown, audible=True)


def timing_of(*findings: Finding, jitter_ms: float = 10.0) -> Any:
    """A stand-in for a take's figures: what the verdict reads of them; its drift has no figure of its own."""
    jitter = estimate(jitter_ms, 1)
    return SimpleNamespace(named=findings, jitter_within_ms=jitter, jitter_ms=jitter, drift_ms_per_min=None)


def failed(held: Any) -> dict[str, Any]:
    """What was not met, by its code."""
    return {criterion.code: criterion for criterion in held.failed}


# --- what was played --------------------------------------------------------------------------------------------------


def test_a_take_lasts_as_long_as_its_slots_and_its_stops():
    """Slots one second apart: the last counts as long as the others; a stop adds its own length (arithmetic here)."""
    take = played(even(20), bpm=60)
    assert take.lasted_s == pytest.approx(20)
    assert played([1.0], bpm=60).lasted_s == 0
    stopped = (Stretch(start_s=3, end_s=7.5, slots=4), Stretch(start_s=9, end_s=10, slots=1))
    assert played(even(20), bpm=60, stopped=stopped).lasted_s == pytest.approx(25.5)
    own = (Stretch(start_s=3, end_s=9, slots=6, bpm=70.0),)
    assert played(even(20), bpm=60, own_tempo=own, duration_s=26.0).lasted_s == pytest.approx(26 * 20 / 19)
    assert played([], bpm=60, own_tempo=own, duration_s=26.0).lasted_s == 26


def test_a_takes_middle_and_counts():
    """Deviations about the take's own mean, minutes about the middle, omitted slots counted (arithmetic here)."""
    take = played([10.0, 20.0, 60.0, 0.0], bpm=60, missing=[3])
    assert (take.n, take.n_slots) == (3, 4)
    assert take.deviation_ms.tolist() == [-20, -10, 30]
    assert take.minutes == pytest.approx([-1 / 60, 0, 1 / 60])
    nothing = played([])
    assert (nothing.n, nothing.deviation_ms.size, nothing.minutes.size, nothing.lasted_s) == (0, 0, 0, 0.0)


def test_arrays_that_do_not_belong_together_are_refused():
    """One entry a strum in every array, finite; pairs for all strums or for none."""
    for wrong in ({"pairs": (None,)}, {"beat": np.ones(3, dtype=int)}, {"at_change": np.zeros(5, dtype=bool)}):
        with pytest.raises(UsageError, match="each of its 4 strums in slots"):
            played(even(4), **wrong)
    with pytest.raises(UsageError, match="finite offsets"):
        played(even(4), line_s=np.array([0.0, 1.0, np.nan, 3.0]))
    assert played(even(4), pairs=(None,) * 4).n == 4


# --- held against a standard ------------------------------------------------------------------------------------------


def test_each_criterion_says_what_was_found_and_asked():
    """40 slots, 3 left out, 5 added, a drift, a contrast: every number of every criterion (arithmetic here)."""
    deviation = np.concatenate([np.full(20, 60.0), np.full(20, -60.0)])
    take = played(deviation + 70, missing=[1, 2, 3, 21, 22, 23], added=((1, 1, 1),) * 5)
    contrasts = [Contrast(code="place", at_least_ms=x) for x in (20.0, 70.0, 30.0)]
    held = judge_take(take, STEADY, drift_ms_per_min=-80.0, contrasts=contrasts)
    found = failed(held)
    assert set(found) == {"omitted", "added", "uneven", "placement", "place", "drift"}
    rows = {code: (c.found, c.asked, c.of) for code, c in found.items()}
    assert rows["omitted"] == (34, 36, 40)
    assert rows["added"] == (5, 4, 40)
    assert rows["uneven"] == (0, 31, 34)
    assert rows["placement"][:2] == (pytest.approx(70), 50)
    assert rows["place"][:2] == (70, pytest.approx(TOLERANCE_MS))
    assert rows["drift"][:2] == (pytest.approx(-80), pytest.approx(TOLERANCE_MS))
    margins = {code: c.margin for code, c in found.items()}
    assert margins == pytest.approx(
        {
            "omitted": 6 / 4,
            "added": 5 / 4,
            "uneven": 60 / TOLERANCE_MS,
            "placement": 70 / 50,
            "place": 70 / TOLERANCE_MS,
            "drift": 80 / TOLERANCE_MS,
        }
    )
    assert held.margin == pytest.approx(6 / 4)
    assert (held.even_share, held.tolerance_s) == (0, pytest.approx(TOLERANCE_MS / 1e3))
    assert str(held) == "not held by “steady” (omitted, added, uneven, place, placement, drift)"


def test_a_drift_counts_for_the_minutes_of_the_take():
    """30 ms a minute over two minutes come to 60: more than the 55.6 let pass (arithmetic here)."""
    n = 181  # at 90 bpm two minutes from first to last
    held = judge_take(played(even(n)), STEADY, drift_ms_per_min=30.0)
    assert failed(held)["drift"].found == pytest.approx(60)
    assert judge_take(played(even(n)), STEADY, drift_ms_per_min=27.0).held is True


def test_what_is_left_of_a_take_decides_whether_it_is_judged():
    """15 slots are too few and 16 are not; those in a stop count too; 19.9 s are too short (the standard's numbers)."""
    short = judge_take(played(even(15), bpm=45), STEADY)
    assert (short.held, short.margin, short.tempo_margin) == (None, None, None)
    assert {c.code: (c.found, c.asked) for c in short.failed} == {"slots": (15, 16)}
    assert str(short) == "not judged by “steady” (slots)"
    assert judge_take(played(even(16), bpm=45), STEADY).held is True
    stop = (Stretch(start_s=30, end_s=32, slots=1),)
    stopped = judge_take(played(even(15), bpm=45, stopped=stop), STEADY)
    assert (stopped.held, set(failed(stopped))) == (False, {"stopped"})
    fast = judge_take(played(even(29)), STEADY)
    assert {c.code: (c.found, c.asked) for c in fast.failed} == {"duration": (pytest.approx(29 / 1.5), 20)}
    unsure = judge_take(played(even(40), u_ms=60.0), STEADY)
    assert {c.code: (c.found, c.asked) for c in unsure.failed} == {"unsure": (60, pytest.approx(TOLERANCE_MS))}
    assert judge_take(played(even(40), u_ms=55.0), STEADY).held is True
    nowhere = judge_take(played([]), STEADY)
    assert [(c.code, c.found, c.asked) for c in nowhere.failed] == [("nowhere", 0, 16)]
    assert nowhere.even_share is None


def test_a_stop_is_above_one_by_the_share_of_slots_it_took():
    """4 of 44 places lost, a tenth may be: the margin is 1 + (4/44)/0.1 (arithmetic here)."""
    stop = (Stretch(start_s=30, end_s=33, slots=3), Stretch(start_s=35, end_s=36, slots=1))
    held = judge_take(played(even(40), stopped=stop), STEADY)
    stopped = failed(held)["stopped"]
    assert (stopped.found, stopped.asked) == (2, 0)
    assert stopped.margin == pytest.approx(1 + 4 / 44 / 0.1)
    own = (Stretch(start_s=30, end_s=33, slots=3, bpm=100.0),)
    assert failed(judge_take(played(even(40), own_tempo=own), STEADY))["own-tempo"].margin == pytest.approx(1 + 3 / 4.3)


def test_where_nothing_may_be_added_any_is_too_many():
    """A standard that lets no strum be left out: with none the margin is 0, with one no number says by how much."""
    strict = Standard(played_share=1.0, mean_offset_max_s=None, drift=False)
    assert judge_take(played(even(40)), strict).held is True
    held = judge_take(played(even(40), missing=[3]), strict)
    assert (held.held, held.margin) == (False, None)
    assert failed(held)["omitted"].margin is None


@pytest.mark.parametrize(("share", "reach"), [(0.8, 4.0), (0.81, 5.0), (1.0, 5.0), (0.05, 1.0)])
def test_the_deviation_within_which_a_share_lies(share, reach):
    """Of five strums 80 % are four; a little more are five; the least is one (counted here)."""
    assert evenness_ms(np.array([-3.0, 1.0, 5.0, -2.0, 4.0]), share) == reach


# --- what stands in the way -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("k", "n"), [(4, 40), (9, 33), (40, 40)])
def test_a_missing_share_against_scipys_wilson_interval(k, n):
    """scipy.stats.binomtest(…).proportion_ci(method="wilson")."""
    missing = [*range(k - 1), n - 1] if k < n else None
    take = played(even(n), missing=missing) if missing else played(even(n), added=((1, 1, 1),) * k)
    _, obstacles = find_obstacles(take, STEADY, [], None)
    (found,) = [o for o in obstacles if o.kind in ("omitted", "added")]
    wilson = stats.binomtest(k, n).proportion_ci(0.95, method="wilson")
    assert list(found.size.as_dict().values()) == pytest.approx([k / n, wilson.low, wilson.high, 0], abs=2e-5)
    assert (found.n, found.unit, found.ratio) == (k, "share", pytest.approx(k / n / 0.1))


def test_more_strums_added_than_there_are_slots_have_no_interval():
    """60 added to 40 slots are one and a half times as many: no share of them."""
    _, (found,) = find_obstacles(played(even(40), added=((2, 1, 1),) * 60), STEADY, [], None)
    assert list(found.size.as_dict().values()) == [1.5, 1.5, 1.5, 0]


def test_missing_strums_lie_where_half_of_them_lie():
    """The beat and part of half or more, and the three bars with the most, the first of equals (counted here)."""
    places = ((5, 2, 1), (5, 2, 2), (1, 2, 1), (3, 2, 1), (2, 3, 1), (7, 1, 1), (7, 4, 1), (9, 2, 1))
    _, (found,) = find_obstacles(played(even(40), added=places), STEADY, [], None)
    assert (found.where.bars, found.where.beat, found.where.part) == ((1, 5, 7), 2, 1)
    spread = (*places, (9, 3, 1))
    _, (found,) = find_obstacles(played(even(40), added=spread), STEADY, [], None)
    assert (found.where.beat, found.where.part) == (None, None)


def test_missing_strums_are_no_obstacle_below_half_of_what_is_let_pass():
    """A tenth of 40 is 4: two are half of it and pass, three do not; one is none of anyone's business (counted)."""
    for k, told in ((2, False), (3, True)):
        _, obstacles = find_obstacles(played(even(40), added=((1, 1, 1),) * k), STEADY, [], None)
        assert bool(obstacles) is told
    _, obstacles = find_obstacles(played(even(16), added=((1, 1, 1),)), STEADY, [], None)
    assert obstacles == ()


def test_a_take_out_of_which_the_missing_are_taken_is_judged_again():
    """With its added strums forgiven an even take holds, a scattered one does not; a short one is not judged."""
    many = ((1, 1, 1),) * 9
    for sd, without in ((10, True), (60, False)):
        _, obstacles = find_obstacles(played(even(40, sd), added=many), STEADY, [], None)
        assert next(o for o in obstacles if o.kind == "added").held_without is without
    _, (found,) = find_obstacles(played(even(12), added=many), STEADY, [], None)
    assert found.held_without is None


def test_stretches_come_first_with_the_longest_ones_size():
    """A stop has its seconds, an own tempo its bpm, of the longest; slots of all are counted (arithmetic here)."""
    stopped = (Stretch(start_s=4, end_s=6, slots=3), Stretch(start_s=20, end_s=25.5, slots=8))
    own = (Stretch(start_s=40, end_s=49, slots=12, bpm=101.0), Stretch(start_s=60, end_s=62, slots=3, bpm=95.0))
    _, found = find_obstacles(played(even(40), stopped=stopped, own_tempo=own), STEADY, [], None)
    rows = [(o.kind, o.size.value, o.unit, o.where.times_s, o.ratio, o.share, o.held_without, o.n) for o in found]
    assert rows == [
        ("stopped", 5.5, "s", (4, 20), None, None, None, 11),
        ("own-tempo", 101.0, "bpm", (40, 60), None, None, None, 15),
    ]
    assert (found[0].size.low, found[0].size.high, found[0].size.u) == (5.5, 5.5, 0)


def test_a_lean_keeps_its_interval_about_what_is_left_of_it():
    """The mean of 75 ms is 60 on the other strums and 60 more on every fourth (numpy's lstsq, here)."""
    on_one = np.arange(64) % 4 == 0
    take = played(even(64) + 60 + 60 * on_one)
    shown = [effect("placement", 75.0, np.ones(64), half=4), effect("place", 60.0, on_one, beat=1)]
    _, obstacles = find_obstacles(take, STEADY, shown, None)
    lean = next(o for o in obstacles if o.kind == "placement")
    weights = np.linalg.lstsq(np.column_stack([np.ones(64), on_one]), take.offset_ms, rcond=None)[0]
    value = float(weights[0])
    assert list(lean.size.as_dict().values()) == pytest.approx([value, value - 4, value + 4, 0.2])
    assert (lean.ratio, lean.n, lean.unit) == (pytest.approx(value / 50), 64, "ms")
    around = float(np.mean(take.offset_ms**2))
    assert lean.share == pytest.approx(1 - float(np.mean((take.offset_ms - value) ** 2)) / around)


def test_a_steps_place_is_where_its_fit_jumps_and_a_drifts_is_the_end():
    """A step from slot 30 on lies in its bar at its grid line; a drift is worst at the last strum (arithmetic here)."""
    after = (np.arange(64) >= 30).astype(float)
    take = played(even(64) + 90 * after)
    _, obstacles = find_obstacles(take, STEADY, [effect("step", 90.0, after - after.mean())], None)
    step = next(o for o in obstacles if o.kind == "step")
    assert (step.where.bars, step.where.times_s) == ((8,), (pytest.approx(2 + 30 / 1.5),))
    line = take.minutes
    _, obstacles = find_obstacles(played(even(64) + 200 * line), STEADY, [effect("drift", 200.0, line)], None)
    drift = next(o for o in obstacles if o.kind == "drift")
    assert (drift.where.bars, drift.where.times_s) == ((16,), (pytest.approx(2 + 63 / 1.5),))
    assert (drift.unit, drift.ratio) == ("ms/min", pytest.approx(200 / TOLERANCE_MS))


def test_the_worst_bars_of_early_strums_are_the_earliest():
    """A place that comes early is worst where strums lie furthest to the early side (sorted here)."""
    on_one = np.arange(64) % 4 == 0
    take = played(even(64) - 100 * on_one)
    _, obstacles = find_obstacles(take, STEADY, [effect("place", -100.0, on_one, beat=1)], None)
    place = next(o for o in obstacles if o.kind == "place")
    earliest = sorted(sorted(np.flatnonzero(on_one), key=lambda i: take.offset_ms[i])[:3])
    assert place.where.times_s == pytest.approx([2 + i / 1.5 for i in earliest])
    assert place.where.bars == tuple(sorted({i // 4 + 1 for i in earliest}))
    assert place.n == 16


def test_scatter_alone_is_named_with_its_worst_bars():
    """What is left about the mean, within which nine tenths lie, over the tolerance; the worst bars."""
    rest = even(64, 12)
    rest[[20, 21, 22, 23]] = [150, -150, 150, -150]
    rest[[40, 41, 52]] = [120, -120, 110]
    take = played(rest)
    held, (found,) = find_obstacles(take, STEADY, [], estimate(44, 6))
    assert held.held is False
    about = np.sort(np.abs(rest - rest.mean()))
    assert found.ratio == pytest.approx(about[math.ceil(0.9 * 64) - 1] / TOLERANCE_MS)
    assert (found.kind, found.size, found.unit, found.n) == ("scatter", estimate(44, 6), "ms", 64)
    assert found.where.bars == (6, 11, 14)
    assert found.where.times_s == pytest.approx([2 + 4 * (bar - 1) / 1.5 for bar in (6, 11, 14)])
    assert found.held_without is True
    assert found.share == pytest.approx(1 - rest.mean() ** 2 / float(np.mean(rest**2)))
    assert find_obstacles(take, STEADY, [], None)[1] == ()


# --- what is shown, and what to do ------------------------------------------------------------------------------------


def test_each_finding_moves_the_strums_as_it_says():
    """One column each: all, minutes, from a slot on, a beat, a part (arithmetic here)."""
    take = played(even(32), per_beat=2, bpm=60)
    found = shown_effects(
        take,
        timing_of(
            finding("drift", None, 9.0), finding("step", 20, 8.0), finding("beat", 3, 7.0), finding("part", 2, 6)
        ),
    )
    drift, step, beat, part = found
    np.testing.assert_allclose(drift.columns[:, 0], take.minutes)
    after = np.arange(32) >= 20
    np.testing.assert_allclose(step.columns[:, 0], after - 12 / 32)
    assert beat.columns[:, 0].tolist() == [float(i // 2 % 4 == 2) for i in range(32)]
    assert part.columns[:, 0].tolist() == [float(i % 2) for i in range(32)]
    assert [e.kind for e in found] == ["drift", "step", "place", "place"]
    assert [e.compared_with for e in found] == ["", "strums before", "other strums", "other strums"]
    assert (beat.where, part.where) == (Where(beat=3), Where(part=2))
    assert [e.size.value for e in found] == [9, 8, 7, 6]


def test_in_a_take_that_leans_a_drift_is_what_came_after_the_beginning():
    """With a placement shown too, the line starts at the first strum and the step at 0 (arithmetic here)."""
    take = played(even(32))
    found = shown_effects(
        take, timing_of(finding("placement", None, 9.0), finding("drift", None, 9.0), finding("step", 20, 8.0))
    )
    lean, drift, step = found
    assert lean.columns[:, 0].tolist() == [1.0] * 32
    assert lean.compared_with == "click"
    np.testing.assert_allclose(drift.columns[:, 0], np.arange(32) / 90, atol=1e-12)
    assert step.columns[:, 0].tolist() == [0.0] * 20 + [1.0] * 12


def chords_take() -> Any:
    """A change at every second strum: A→D, D→A, A→D, A→E … as told."""
    pairs = (None, ("A", "D"), None, ("E", "D"), None, ("A", "E"), None, ("A", "D")) * 4
    return played(even(32), pairs=pairs, at_change=np.array([p is not None for p in pairs]))


def test_late_changes_and_the_pair_that_is_later_still_are_one_effect():
    """A column for all changes, one for each pair; of the pairs the furthest to the same side is named (counted)."""
    take = chords_take()
    found = shown_effects(
        take,
        timing_of(
            finding("changes", None, 30.0),
            finding("pair", ("A", "E"), 12.0),
            finding("pair", ("", "D"), 25.0),
            finding("pair", ("E", "D"), -40.0),
        ),
    )
    (late,) = found
    assert (late.kind, late.size.value, late.compared_with) == ("changes", 30.0, "neighbours")
    assert late.where == Where(from_chord=None, to_chord="D")
    expected = [
        [float(p is not None) for p in take.pairs],
        [float(p == ("A", "E")) for p in take.pairs],
        [float(p is not None and p[1] == "D") for p in take.pairs],
        [float(p == ("E", "D")) for p in take.pairs],
    ]
    assert late.columns.T.tolist() == expected


def test_a_pair_alone_is_measured_against_the_other_changes():
    """Without late changes the pair's own size stands; a pair to the other side is not named with late changes."""
    take = chords_take()
    (late,) = shown_effects(take, timing_of(finding("pair", ("A", "E"), 12.0)))
    assert (late.size.value, late.compared_with, late.where) == (
        12,
        "other changes",
        Where(from_chord="A", to_chord="E"),
    )
    assert late.columns.T.tolist() == [[float(p == ("A", "E")) for p in take.pairs]]
    (late,) = shown_effects(take, timing_of(finding("changes", None, 30.0), finding("pair", ("A", "E"), -12.0)))
    assert late.where == Where()
    (early,) = shown_effects(
        take,
        timing_of(
            finding("changes", None, -30.0), finding("pair", ("A", "E"), -12.0), finding("pair", ("E", "D"), -20.0)
        ),
    )
    assert early.where == Where(from_chord="E", to_chord="D")


@pytest.mark.parametrize(
    ("take", "findings", "task", "bpm"),
    [
        (played([]), (), "check-exercise", None),
        (played(even(40), u_ms=60.0), (), "record-again", None),
        (played(even(40) + 80, n_heard=50, n_sure=30), (finding("placement", None, 80.0),), "record-again", None),
        (played(even(12)), (), "longer-take", None),
        (played(even(40)), (), "go-on", None),
        (played(even(12), added=((1, 1, 1),) * 5), (), "pattern-as-written", None),
        (played(even(64) + 100 * (np.arange(64) % 4 == 1)), (finding("beat", 2, 100.0),), "count-place", 67.0),
        (played(even(64) + 100 * (np.arange(64) % 4 == 1), bpm=50), (finding("beat", 2, 130.0),), "count-place", 40.0),
        (played(even(64) + 100 * (np.arange(64) % 4 == 1), bpm=36), (finding("beat", 2, 140.0),), "count-place", 36.0),
        (played(even(64) + 80), (finding("placement", None, 80.0),), "muted-onto-click", None),
    ],
)
def test_one_thing_to_do(take, findings, task, bpm):
    """From the first obstacle, else from why the take is not judged; a place alone at three quarters of the tempo."""
    found = conclude(take, timing_of(*findings))
    assert (found.verdict.task.code, found.verdict.task.bpm) == (task, bpm)


def test_what_is_hardly_strums_has_no_obstacles():
    """A voice that is 80 ms late is no player who is."""
    talk = conclude(played(even(40) + 80, n_heard=50, n_sure=30), timing_of(finding("placement", None, 80.0)))
    assert (talk.verdict.state, talk.verdict.obstacles) == ("cannot-tell", ())


def test_the_next_tempo_of_a_take_that_only_leans_or_is_not_judged_is_its_own():
    """A lean does not go away at another tempo; what was not judged says nothing; without a tempo there is none."""
    leaning = conclude(played(even(64) + 80, bpm=91.4), timing_of(finding("placement", None, 80.0)))
    assert (leaning.held.next_bpm, leaning.held.subdivide) == (91, False)
    short = conclude(played(even(12), bpm=91.4), timing_of())
    assert (short.held.next_bpm, short.held.reach_bpm, short.verdict.state) == (91, None, "cannot-tell")
    known = conclude(played(even(64)), timing_of())
    reach = take_reach(90, known.held.tempo_margin or 0)
    assert known.held.reach_bpm == reach
    assert (known.held.next_bpm, known.held.subdivide) == next_tempo(reach, 90, held=True)
    unknown = conclude(replace(played(even(64)), bpm=None), timing_of())
    assert (unknown.held.next_bpm, unknown.held.reach_bpm) == (None, None)


# --- the tempo in reach -----------------------------------------------------------------------------------------------


def test_a_takes_reach_by_its_formula():
    """log reach = log bpm − (log margin + .674 · .2)/3; spread √(.2² + (.45 · beyond)² + u²)/3 (arithmetic here)."""
    for margin, u in ((1.0, 0.0), (2.0, 0.1), (0.5, 0.3)):
        found = take_reach(80, margin, margin_u=u)
        missed = math.log(margin) + 0.674490 * 0.2
        value = 80 * math.exp(-missed / 3)
        spread = math.sqrt(0.04 + 0.45**2 * max(missed**2 - 0.04, 0) + u * u) / 3
        ends = [value / math.exp(1.96 * spread), value * math.exp(1.96 * spread)]
        assert list(found.as_dict().values()) == pytest.approx([value, *ends, value * u / 3])
    assert log_margin(0) == log_margin(0.1) == math.log(1 / 8)
    assert log_margin(9) == math.log(8)
    with pytest.raises(UsageError, match="above 0 bpm; got 0"):
        take_reach(0, 1)


@pytest.mark.parametrize(
    ("reach", "last", "held", "told"),
    [
        (Estimate(value=100, low=90, high=110, u=0), 80, True, (84, False)),
        (Estimate(value=100, low=90, high=110, u=0), 80, False, (80, False)),
        (Estimate(value=50, low=45, high=55, u=0), 80, True, (80, False)),
        (Estimate(value=50, low=45, high=55, u=0), 80, None, (72, False)),
        (Estimate(value=30, low=28, high=33, u=0), 42, False, (40, True)),
        (Estimate(value=30, low=28, high=33, u=0), 38, False, (38, True)),
        (Estimate(value=60, low=55, high=65, u=0), 38, True, (42, False)),
    ],
)
def test_the_next_tempo_by_its_rule(reach, last, held, told):
    """4 up at most, a tenth down at most, never down when held nor up when not, 40 the floor (the rule's limits)."""
    assert next_tempo(reach, last, held=held) == told


def test_within_its_limits_the_next_tempo_is_what_four_takes_of_five_hold():
    """The reach, .674 of a take's luck up and .842 of luck and doubt together down (normal quantiles of ¾ and ⅘)."""
    reach = Estimate(value=90, low=90 / 1.1, high=99, u=0)
    luck, doubt = 0.2 / 3, math.log(1.1) / 1.96
    aim = 90 * math.exp(stats.norm.ppf(0.75) * luck - stats.norm.ppf(0.8) * math.hypot(luck, doubt))
    assert next_tempo(reach, 90) == (round(aim), False)
    assert next_tempo(reach, 120, slope=1.0)[0] == 108


def test_a_metronomes_tempo_is_a_whole_number_between_its_ends():
    """Of two as near the slower; within the ends where a whole number lies between them."""
    assert [settable_bpm(x) for x in (80.5, 80.51, 79.5000000001, 81.0)] == [80, 81, 79, 81]
    assert settable_bpm(80.2, least=80.1) == 81
    assert settable_bpm(80.8, most=80.9) == 80
    assert settable_bpm(80.0, least=80.0000001, most=80.0) == 80


def test_a_judgement_reads_as_it_is():
    """Held, not held, not judged, each with the standard's name."""
    said = [
        str(judge_take(played(take, bpm=60, duration_s=30.0), STEADY)) for take in (even(30), even(30, sd=200), even(5))
    ]
    assert [text.partition(" by ")[0] for text in said] == ["held", "not held", "not judged"]
    assert all("“steady”" in text for text in said)


def test_added_strums_of_a_take_without_places_are_no_share_of_anything():
    """No slot at all: three strums more are not 100 % too many, and nothing is divided by none."""
    _, found = find_obstacles(played([], added=((1, 1, 1),) * 3), STEADY, [], None)
    assert [obstacle.kind for obstacle in found] == []


def test_of_no_distance_nothing_can_go():
    """A take that lies on the grid to the digit: the share that goes is 0, not a number divided by 0."""
    assert _share_gone(np.zeros(8), np.zeros(8), 0.0) == 0.0
    assert _share_gone(np.full(8, 2.0), np.full(8, 1.0), 4.0) == pytest.approx(0.75)
