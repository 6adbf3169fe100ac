"""Every figure of the JSON against arithmetic done here, from a take whose strums lie where arithmetic put them.

Distances, latency, clock skew, drift, swing, late chord changes, a late part of the beat, omitted and added strums are
all there and none is zero, so that a wire led to the wrong stage, or with the wrong sign, moves a figure. See `wired`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import wired as w
from scipy.optimize import brentq
from scipy.stats import t as student
from wired import Wired, wired

from strumclock.alignment import ADDED, OUTSIDE
from strumclock.audio import from_array
from strumclock.audio.channel import Channel
from strumclock.click import Clicks
from strumclock.errors import ClickError
from strumclock.grid import Exercise, build_grid
from strumclock.onsets import Strums
from strumclock.pipeline import analysing, compare, listening, parts, sources
from strumclock.pipeline.measurement import TakeInfo
from strumclock.pipeline.options import MeasureOptions
from strumclock.timing.error_model import ErrorModel, fit_error_model
from strumclock.verdict import Standard

ANCHORS = ("recorded-click", "click-channel", "given", "fitted")
PLACED = ("recorded-click", "click-channel", "given")  # whose grid has its place from elsewhere than the strums
NEIGHBOURS = 2  # steady strums on either side that a change is held against
SOUND_M_PER_S = 343.0  # of the design
PATH_MS = 1e3 * ((w.GUITAR_TO_MIC_M - w.CLICK_TO_MIC_M) - (0.6 - w.CLICK_TO_EAR_M)) / SOUND_M_PER_S
PATH_U_MS = 1e3 * 0.17 / SOUND_M_PER_S  # of the guitar's way to the ear, 0.3 to 0.9 m: 0.6 / √12
MS = 2e-3  # the JSON's rounding, and a microsecond of the clicks' line
CLOCKS_MS_PER_MIN = 6.0  # 100 ppm


def _offsets(take: Wired) -> np.ndarray:
    """The offsets as the player heard them: what the recording has, less the sound's way through the air."""
    return take.offset_ms - PATH_MS


def _residual(values: np.ndarray, *columns: np.ndarray) -> np.ndarray:
    design = np.column_stack([np.ones(len(values)), *columns])
    return values - design @ np.linalg.lstsq(design, values, rcond=None)[0]


def _coefficient(values: np.ndarray, wanted: np.ndarray, *others: np.ndarray) -> float:
    """Least squares: what one unit of `wanted` adds, the others and a constant held fixed."""
    design = np.column_stack([wanted, np.ones(len(values)), *others])
    return float(np.linalg.lstsq(design, values, rcond=None)[0][0])


def _on(take: Wired, name: str) -> np.ndarray:
    return np.asarray(getattr(take, name))[take.on]


def _half(model: ErrorModel, weights: np.ndarray, level: float) -> float:
    """Half of an interval: where the mixture of Student's t leaves (1 - level) / 2 on each side (by scipy.stats)."""
    scale = np.sqrt(model.variance_of(weights))
    return float(
        brentq(lambda x: model.weight @ student.sf(x / scale, model.dof) - (1 - level) / 2, 0.0, 100 * scale.max())
    )


@pytest.mark.parametrize("anchor", ANCHORS)
def test_every_strum_has_its_slot_its_place_and_its_offset(anchor: str) -> None:
    """Truth: where the strums were put; without a click the offsets are unknown and the deviations are not."""
    take = wired(anchor)
    rows = take.json["strums"]
    assert len(rows) == len(take.on) + 1
    placed = [row for row in rows if row["slot"] is not None]
    (added,) = [row for row in rows if row["slot"] is None]
    assert added["time_s"] == pytest.approx(take.added_s, abs=1e-6)
    assert (added["left_click"], added["offset_ms"], added["grid_s"], added["at_change"]) == (False, None, None, False)
    assert [row["slot"] for row in placed] == take.on.tolist()
    deviation = take.offset_ms - take.offset_ms.mean()
    for i, row in enumerate(placed):
        slot = take.on[i]
        assert row["time_s"] == pytest.approx(take.strum_s[i], abs=1e-6)
        assert row["u_ms"] == pytest.approx(1e3 * take.u_s[i], abs=1e-3)
        assert (row["bar"], row["beat"], row["part"]) == (take.bar[slot], take.beat[slot], take.part[slot])
        assert row["stroke"] == take.letter[slot]
        assert row["at_change"] == take.at_change[slot]
        assert row["deviation_ms"] == pytest.approx(deviation[i], abs=0.3 if anchor == "fitted" else MS)
        if anchor == "fitted":
            assert row["offset_ms"] is None
        else:
            assert row["grid_s"] == pytest.approx(take.slot_s[slot], abs=3e-6)
            assert row["offset_ms"] == pytest.approx(_offsets(take)[i], abs=5e-3)
            assert row["time_s"] - row["grid_s"] == pytest.approx((row["offset_ms"] + PATH_MS) / 1e3, abs=5e-6)


@pytest.mark.parametrize("anchor", PLACED)
def test_every_omitted_slot_is_listed_with_its_place(anchor: str) -> None:
    """Truth: the slots that were left out."""
    take = wired(anchor)
    assert [row["slot"] for row in take.json["omitted"]] == list(w.OMITTED)
    for row in take.json["omitted"]:
        slot = row["slot"]
        assert (row["bar"], row["beat"], row["part"]) == (take.bar[slot], take.beat[slot], take.part[slot])
        assert row["time_s"] == pytest.approx(take.slot_s[slot], abs=3e-6)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_the_recording_and_the_exercise_are_those_that_were_told(anchor: str) -> None:
    """Truth: what was put in."""
    document = wired(anchor).json
    assert document["take"]["path"] == "wired.wav"
    assert document["take"]["sha256"] == "ab" * 32
    assert (document["take"]["sample_rate_hz"], document["take"]["channels"]) == (48000, 2)
    assert document["take"]["duration_s"] == pytest.approx(wired(anchor).slot_s[-1] + 3 - w.START_S, abs=1e-6)
    exercise = {key: value for key, value in document["exercise"].items() if value is not None}
    assert exercise == {
        "name": "wired",
        "bpm": 90.0,
        "meter": "4/4",
        "per_beat": 2,
        "pattern": w.PATTERN,
        "swing": 0.6,
        "count_in": 1,
        "bars": w.BARS,
        "chords": list(w.CHORDS),
        "inferred": [],
        "from": {},
    }
    assert document["ignored"] == [{"time_s": 3.0, "reason": "a tap", "p": 0.125}]
    assert document["left_click"] == []
    assert document["grid"]["anchor"] == anchor


@pytest.mark.parametrize("anchor", ["recorded-click", "click-channel"])
def test_the_clicks_tell_tempo_skew_and_place(anchor: str) -> None:
    """Truth: a click 80 ppm faster than told by the recorder's clock; its line's u by least squares over 52 clicks."""
    grid = wired(anchor).json["grid"]
    n = 52
    slope_u = w.CLICK_U_S / math.sqrt(n * (n * n - 1) / 12) / (60 / w.BPM)  # relative
    assert grid["bpm_heard"]["value"] == pytest.approx(90.0072, abs=1e-4)
    assert grid["clock_skew_ppm"]["value"] == pytest.approx(80.0, abs=0.1)
    assert grid["clock_skew_ppm"]["u"] == pytest.approx(1e6 * slope_u, rel=0.2)
    assert grid["first_downbeat_s"] == pytest.approx(w.DOWNBEAT_S, abs=3e-6)
    assert grid["clicks_heard"] == n
    for figure in (grid["bpm_heard"], grid["clock_skew_ppm"]):
        assert figure["high"] - figure["value"] == pytest.approx(
            1.96 * figure["u"], rel=0.6 if figure["u"] < 1 else 0.02
        )


@pytest.mark.parametrize("anchor", ["given", "fitted"])
def test_without_a_click_nothing_is_said_of_the_clocks(anchor: str) -> None:
    """Truth: no click was put in."""
    document = wired(anchor).json
    for name in ("bpm_heard", "clock_skew_ppm"):
        assert document["grid"][name] is None
        assert document["absent"][f"grid.{name}"]["code"] == "no-click"
    assert document["grid"]["clicks_heard"] == 0


def test_a_latency_is_added_to_the_stated_downbeat() -> None:
    """Truth: beat 1 was stated 30 ms early, in the file that was played to, and the recording lags by 30 ms.

    Kills: the latency with the wrong sign (every offset moves by 60 ms).
    """
    take = wired("given")
    assert take.json["grid"]["first_downbeat_s"] == pytest.approx(w.DOWNBEAT_S, abs=1e-6)
    assert take.json["timing"]["mean_offset_ms"]["value"] == pytest.approx(_offsets(take).mean(), abs=MS)


@pytest.mark.parametrize("anchor", PLACED)
def test_the_sound_path_is_taken_off(anchor: str) -> None:
    """Truth: the guitar's sound takes 4.66 ms longer to the microphone than the click's, beyond what the player hears.

    Kills: the path added instead of subtracted; one of the four ways with the wrong sign.
    """
    assert pytest.approx(4.6647, abs=1e-4) == PATH_MS
    near, far = wired(anchor), wired(anchor, path=False)
    moved = far.json["timing"]["mean_offset_ms"]["value"] - near.json["timing"]["mean_offset_ms"]["value"]
    assert moved == pytest.approx(PATH_MS, abs=MS)


@pytest.mark.parametrize("anchor", PLACED)
def test_an_untold_path_widens_the_mean_and_nothing_else(anchor: str) -> None:
    """Truth: four ways, each anywhere from 0 to 2 m: u = √4 · 2 m / √12 / 343 m/s = 3.37 ms (GUM 4.3.7)."""
    near, far = wired(anchor).json["timing"], wired(anchor, path=False).json["timing"]
    own2 = near["mean_offset_ms"]["u"] ** 2 - PATH_U_MS**2
    unknown_ms = 1e3 * 2 * (2 / math.sqrt(12)) / SOUND_M_PER_S
    assert far["mean_offset_ms"]["u"] == pytest.approx(math.hypot(math.sqrt(own2), unknown_ms), abs=MS)
    for name in ("jitter_ms", "drift_ms_per_min", "lag1", "swing"):
        assert near[name] == far[name]


@pytest.mark.parametrize("anchor", ANCHORS)
def test_mean_median_and_middle(anchor: str) -> None:
    """Truth: mean and median of the offsets; the middle of a strum lies half its spread after its first string."""
    take, timing = wired(anchor), wired(anchor).json["timing"]
    assert timing["n"] == len(take.on)
    if anchor == "fitted":
        for name in ("mean_offset_ms", "median_offset_ms", "body_offset_ms"):
            assert timing[name] is None
            assert take.json["absent"][f"timing.{name}"]["code"] == "no-click"
        return
    offset = _offsets(take)
    assert timing["mean_offset_ms"]["value"] == pytest.approx(offset.mean(), abs=MS)
    assert timing["median_offset_ms"]["value"] == pytest.approx(np.median(offset), abs=5e-3)
    body = offset.mean() + 1e3 * take.spread_s.mean() / 2
    assert timing["body_offset_ms"]["value"] == pytest.approx(body, abs=MS)


def _anchor_u_ms(take: Wired, anchor: str) -> float:
    """The u of the grid's place over the take: that of the clicks; a stated downbeat's, with ±100 ppm from there on."""
    if anchor != "given":
        return 1e3 * w.CLICK_U_S
    away_s = take.slot_s[take.on] - w.DOWNBEAT_S
    return float(np.mean(np.hypot(1.5, 0.1 / math.sqrt(3) * away_s)))


@pytest.mark.parametrize("anchor", PLACED)
def test_the_mean_states_what_all_strums_share(anchor: str) -> None:
    """Truth: GUM 5.1.2: the strums' own u, averaged; those of path, anchor and detector do not average out."""
    take, timing = wired(anchor), wired(anchor).json["timing"]
    own = 1e3 * math.sqrt(float(take.u_s @ take.u_s)) / len(take.u_s)
    anchored = _anchor_u_ms(take, anchor)
    detector = 1e3 * w.BIAS_U_S
    shared = math.sqrt(PATH_U_MS**2 + anchored**2 + detector**2)
    assert timing["mean_offset_ms"]["u"] == pytest.approx(math.hypot(own, shared), abs=MS)
    median = math.hypot(math.sqrt(math.pi / 2) * own, shared)
    assert timing["median_offset_ms"]["u"] == pytest.approx(median, abs=MS)
    body = math.hypot(math.hypot(own, shared), 1e3 * w.SPREAD_SHARED_U_S / 2)
    assert timing["body_offset_ms"]["u"] == pytest.approx(body, abs=MS)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_jitter_drift_and_tempo(anchor: str) -> None:
    """Truth: the drift by least squares; the scatter about it, n - 2 degrees of freedom, less half of the stated u²,
    strums with a large u counting less (the formula of `scatter`); the tempo that the drift amounts to.
    """
    take, timing = wired(anchor), wired(anchor).json["timing"]
    u_ms = 1e3 * take.u_s
    drift = _coefficient(take.offset_ms, take.minutes)
    about = _residual(take.offset_ms, take.minutes)
    trust = (1 + 0.5 * (u_ms / (1.4826 * np.median(np.abs(about)))) ** 2) ** -2
    trust /= trust.sum()
    n = len(about)
    square = float(trust @ about**2) * n / (n - 2) - 0.5 * float(trust @ u_ms**2)
    assert timing["drift_ms_per_min"]["value"] == pytest.approx(drift, abs=5e-3)
    assert timing["jitter_ms"]["value"] == pytest.approx(math.sqrt(square), abs=MS)
    clicked = 60 / take.beat_s
    assert timing["played_bpm"]["value"] == pytest.approx(clicked / (1 + drift / 60_000), abs=2e-4)
    pairs = np.diff(take.on) == 1
    lag1 = float(np.sum((about[1:] * about[:-1])[pairs]) / pairs.sum() / (about @ about) * (n - 1))
    assert timing["lag1"]["value"] == pytest.approx(lag1, abs=1e-3)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_the_drift_knows_what_the_clocks_may_do(anchor: str) -> None:
    """Truth: the design: clicks heard compare the clocks; else ±100 ppm = ±6 ms a minute, rectangular (u = 6 / √3)."""
    take, timing = wired(anchor), wired(anchor).json["timing"]
    slope = take.minutes / float(take.minutes @ take.minutes)
    own_u = math.sqrt(float((slope * 1e3 * take.u_s) @ (slope * 1e3 * take.u_s)))
    line = np.column_stack([np.ones(len(take.on)), take.minutes])
    half = _half(fit_error_model(take.offset_ms, take.on, line), slope, 0.95)
    figure = timing["drift_ms_per_min"]
    if anchor in ("given", "fitted"):
        assert figure["u"] == pytest.approx(math.hypot(own_u, CLOCKS_MS_PER_MIN / math.sqrt(3)), abs=0.01)
        assert figure["high"] - figure["value"] == pytest.approx(math.hypot(half, CLOCKS_MS_PER_MIN), rel=1e-3)
        same = wired(anchor, same_clock=True).json["timing"]["drift_ms_per_min"]
        assert same["u"] == pytest.approx(own_u, abs=0.01)
        assert same["high"] - same["value"] == pytest.approx(half, rel=1e-3)
    else:
        assert figure["u"] == pytest.approx(own_u, abs=0.01)
        assert figure["high"] - figure["value"] == pytest.approx(half, rel=1e-3)
    assert figure["value"] - figure["low"] == pytest.approx(figure["high"] - figure["value"], abs=3e-3)


def test_an_interval_called_95_per_cent_is_one() -> None:
    """Truth: Student's t by scipy.stats, mixed as the take weighs the ways in which errors hang together.

    Kills: a 90 % interval called 95 %.
    """
    take = wired("recorded-click")
    line = np.column_stack([np.ones(len(take.on)), take.minutes])
    model = fit_error_model(take.offset_ms, take.on, line)
    weights = np.full(len(take.on), 1 / len(take.on))
    half = _half(model, weights, 0.95)
    mean = take.json["timing"]["mean_offset_ms"]
    shared = 1.96 * math.sqrt(PATH_U_MS**2 + _anchor_u_ms(take, "recorded-click") ** 2 + (1e3 * w.BIAS_U_S) ** 2)
    assert mean["high"] - mean["value"] == pytest.approx(math.hypot(half, shared), rel=5e-4)
    assert mean["value"] - mean["low"] == pytest.approx(math.hypot(half, shared), rel=5e-4)
    assert _half(model, weights, 0.90) < 0.9 * half


def test_the_share_within_the_tolerance() -> None:
    """Truth: strums within the tolerance about the take's own mean, counted; the tolerance by the standard's shares of
    a half beat as it sounds: 60 / 90.0072 / 2 s.
    """
    narrow = Standard(tolerance_share=1 / 32, tolerance_min_s=0.010)
    take = wired("recorded-click", standard=narrow)
    within = take.json["timing"]["within_tolerance"]
    standard = take.measurement.held.standard
    part_s = take.beat_s / 2
    tolerance_ms = 1e3 * min(
        max(standard.tolerance_share * part_s, standard.tolerance_min_s), standard.tolerance_max_share * part_s
    )
    even = np.abs(take.offset_ms - take.offset_ms.mean()) <= tolerance_ms
    assert within["tolerance_ms"] == pytest.approx(tolerance_ms, abs=2e-3)
    assert within["share"]["value"] == pytest.approx(even.mean(), abs=1e-4)
    assert 0.5 < even.mean() < 1.0


@pytest.mark.parametrize("anchor", ANCHORS)
def test_the_places_of_the_bar(anchor: str) -> None:
    """Truth: the mean offset of the strums at each beat, part, bar; on a fitted grid less the mean of these means."""
    take, timing = wired(anchor), wired(anchor).json["timing"]
    offset = take.offset_ms if anchor == "fitted" else _offsets(take)
    for kind in ("beat", "part", "bar"):
        at = _on(take, kind)
        means = {level: offset[at == level].mean() for level in np.unique(at)}
        less = np.mean(list(means.values())) if anchor == "fitted" else 0.0
        rows = timing[f"by_{kind}"]
        assert [row[kind] for row in rows] == list(means)
        for row in rows:
            assert row["n"] == int((at == row[kind]).sum())
            assert row["offset_ms"]["value"] == pytest.approx(means[row[kind]] - less, abs=5e-3)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_swing_is_where_the_second_part_was_played(anchor: str) -> None:
    """Truth: the grid has it at 0.6 of the beat; it came later than the first by the least-squares difference beside
    the drift.
    """
    take = wired(anchor)
    later_ms = _coefficient(take.offset_ms, (_on(take, "part") == 2).astype(float), take.minutes)
    swing = take.json["timing"]["swing"]
    assert swing["value"] == pytest.approx(w.SWING + later_ms / (1e3 * take.beat_s), abs=2e-4)
    assert take.json["timing"]["by_part"][1]["jitter_ms"]["value"] < take.json["timing"]["jitter_ms"]["value"]


@pytest.mark.parametrize("anchor", ANCHORS)
def test_what_parts_and_changes_explain(anchor: str) -> None:
    """Truth: sums of squares about the drift line, with and without the means of part and change (adjusted R²)."""
    take, timing = wired(anchor), wired(anchor).json["timing"]
    part, change = (_on(take, "part") == 2).astype(float), _on(take, "at_change").astype(float)
    line = _residual(take.offset_ms, take.minutes)
    means = _residual(take.offset_ms, take.minutes, part, change)
    n = len(line)
    share = 1 - (means @ means) / (n - 4) / ((line @ line) / (n - 2))
    assert timing["explained_share"]["value"] == pytest.approx(share, abs=2e-4)
    u_ms = 1e3 * take.u_s
    trust = (1 + 0.5 * (u_ms / (1.4826 * np.median(np.abs(means)))) ** 2) ** -2
    trust /= trust.sum()
    within = math.sqrt(float(trust @ means**2) * n / (n - 4) - 0.5 * float(trust @ u_ms**2))
    assert timing["jitter_within_ms"]["value"] == pytest.approx(within, abs=MS)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_the_chord_changes(anchor: str) -> None:
    """Truth: the first strum of each bar but the first; chords in turn; gaps of the strum times; deviations about the
    drift line, less the mean of those that are not at a change; lateness against the steady strums on either side.
    """
    take, changes = wired(anchor), wired(anchor).json["changes"]
    change = _on(take, "at_change")
    about = _residual(take.offset_ms, take.minutes)
    about -= about[~change].mean()
    times = np.sort(np.append(take.strum_s, take.added_s))
    assert changes["source"] == "told"
    assert len(changes["changes"]) == w.BARS - 1
    lost_near = take.slot_s[list(w.OMITTED)]
    for number, (row, i) in enumerate(zip(changes["changes"], np.flatnonzero(change), strict=True), 1):
        assert row["time_s"] == pytest.approx(take.strum_s[i], abs=1e-6)
        assert (row["from_chord"], row["to_chord"]) == (w.CHORDS[(number - 1) % 3], w.CHORDS[number % 3])
        gap_s = take.strum_s[i] - times[np.searchsorted(times, take.strum_s[i] - 1e-9) - 1]
        assert row["gap_s"] == pytest.approx(gap_s, abs=2e-6)
        assert row["late_ms"] == pytest.approx(about[i], abs=5e-3)
        line_s = take.slot_s[take.on]
        assert row["pause_ms"] == pytest.approx(1e3 * (gap_s - (line_s[i] - line_s[i - 1])), abs=5e-3)
        assert row["lost"] == int(np.sum(np.abs(lost_near - line_s[i]) <= 1.01 * take.beat_s))
    lasted = np.diff(take.strum_s[change])
    assert changes["seconds_per_change"]["value"] == pytest.approx(lasted.mean(), abs=1e-4)
    assert changes["changes_per_minute"]["value"] == pytest.approx(60 / lasted.mean(), abs=1e-3)
    assert changes["click_bpm_one_bar"] == pytest.approx(4 * 60 / lasted.mean(), abs=2e-3)
    steady = np.flatnonzero(~change)
    nearest = [(steady[steady < i][-NEIGHBOURS:], steady[steady > i][:NEIGHBOURS]) for i in np.flatnonzero(change)]
    beside = [np.mean([take.offset_ms[side].mean() for side in sides]) for sides in nearest]
    later = float(np.mean(take.offset_ms[change] - beside))
    assert changes["lateness_ms"]["value"] == pytest.approx(later, abs=5e-3)
    assert take.json["timing"]["at_change"] == pytest.approx(changes["lateness_ms"], abs=1e-3)


@pytest.mark.parametrize("anchor", ANCHORS)
def test_up_strokes_against_down_strokes(anchor: str) -> None:
    """Truth: the pattern's letters; least squares beside the drift over the down- and up-strokes on slots; the means of
    the spreads that were put in.
    """
    take, stroke = wired(anchor), wired(anchor).json["stroke"]
    letter = np.array(take.letter)[take.on]
    sided = np.isin(letter, ("D", "U"))
    minutes = take.minutes[sided] - take.minutes[sided].mean()
    later = _coefficient(take.offset_ms[sided], (letter[sided] == "U").astype(float), minutes)
    sides = stroke["up_against_down"]
    assert sides["source"] == "told"
    assert (sides["up"]["n"], sides["down"]["n"]) == (int((letter == "U").sum()), int((letter == "D").sum()))
    assert sides["offset_ms"]["value"] == pytest.approx(later, abs=5e-3)
    for side, mark in (("up", "U"), ("down", "D")):
        spread_ms = 1e3 * take.spread_s[letter == mark].mean()
        assert sides[side]["spread_ms"]["value"] == pytest.approx(spread_ms, abs=MS)
    assert stroke["n"] == len(take.on) + 1
    mean_ms = 1e3 * (take.spread_s.sum() + 0.011) / stroke["n"]
    assert stroke["spread_ms"]["value"] == pytest.approx(mean_ms, abs=MS)
    assert [row["time_s"] for row in stroke["by_strum"]] == [row["time_s"] for row in take.json["strums"]]


def test_the_correction_gets_the_strums_on_slots_with_their_places(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: what was put in: deviations, slots, u, changes, and a number for each place of the bar."""
    seen: dict[str, Any] = {}

    def keep(offset_ms: np.ndarray, slot: np.ndarray, **told: np.ndarray) -> Any:
        seen.update(offset_ms=offset_ms, slot=slot, **told)
        return analysing.Absent(code="test", reason="only looked at")

    monkeypatch.setattr(analysing, "measure_correction", keep)
    w.made.cache_clear()
    take = wired("recorded-click")
    w.made.cache_clear()
    deviation = take.offset_ms - take.offset_ms.mean()
    assert seen["offset_ms"] == pytest.approx(deviation, abs=MS)
    assert seen["slot"].tolist() == take.on.tolist()
    assert seen["u_ms"] == pytest.approx(1e3 * take.u_s, abs=1e-9)
    assert seen["at_change"].tolist() == _on(take, "at_change").tolist()
    places = {(beat, part) for beat, part in zip(_on(take, "beat"), _on(take, "part"), strict=True)}
    assert len(np.unique(seen["place"])) == len(places)
    assert take.json["absent"]["correction"] == {"code": "test", "reason": "only looked at"}
    assert take.json["correction"] is None


def test_without_chords_told_nothing_is_at_a_change() -> None:
    """Truth: no chords were told, and nobody asked to find them."""
    document = wired("recorded-click", chords=False).json
    assert not any(row["at_change"] for row in document["strums"])
    assert document["changes"] is None
    assert document["absent"]["changes"]["code"] == "not-asked"
    assert document["timing"]["at_change"] is None


def test_what_was_heard_keeps_its_place_in_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: a part of a file that begins at 30 s, heard with half a second before: strums are counted from the sound's
    own beginning, and those outside the part are not its own.

    Kills: the part's or the sound's beginning left out.
    """
    asked: dict[str, Any] = {}
    sound = SimpleNamespace(
        guitar=np.zeros(5 * 11025, np.float32), rate_hz=11025.0, start_s=29.5, clicks="clicks", removal=None, notices=()
    )

    def find(_guitar: Any, rate_hz: float, **told: Any) -> Strums:
        asked.update(rate_hz=rate_hz, **told)
        times = np.array([29.7, 30.2, 33.0, 34.6])
        return Strums(time_s=times, u_s=np.full(4, 0.001), strength_db=np.zeros(4), p=np.ones(4), bias_u_s=0.0003)

    monkeypatch.setattr(listening, "tell_apart", lambda *_args: sound)
    monkeypatch.setattr(listening, "find_strums", find)
    recording = SimpleNamespace(
        path="a.wav",
        sha256=None,
        start_s=30.0,
        duration_s=4.0,
        sample_rate_hz=44100,
        channels=1,
        priming_known=False,
        notices=(),
    )
    heard = listening.listen(recording, Exercise(), MeasureOptions(), None)
    assert asked == {"rate_hz": 11025.0, "start_s": 29.5, "clicks": "clicks", "removal": None}
    assert heard.strums.time_s.tolist() == [30.2, 33.0]
    assert (heard.start_s, heard.end_s, heard.low.start_s, heard.priming_known) == (30.0, 34.0, 29.5, False)
    assert heard.take == TakeInfo(path="a.wav", sha256=None, duration_s=4.0, sample_rate_hz=44100, channels=1)


def test_the_guitar_is_what_the_clicks_channel_does_not_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: a click on the right channel: the guitar is the left one, and the other way round.

    Kills: click and guitar exchanged.
    """
    left = np.sin(2 * np.pi * 440 * np.arange(4 * 11025) / 11025)
    noise = np.random.default_rng(1).normal(0.0, 0.1, left.size)
    recording = from_array(np.column_stack([left, noise]), 11025)
    searched = []

    def find(samples: Channel, *_rate: float, source: str, **_hints: Any) -> Clicks:
        searched.append(samples.decimated(11025)[0])
        return w.clicks_heard(0.5, source)

    monkeypatch.setattr(sources, "find_clicks", find)
    for where, guitar, click in (("right", left, noise), ("left", noise, left)):
        sound = sources.tell_apart(recording, Exercise(), where, None)
        assert sound.guitar == pytest.approx(guitar, abs=2e-3)
        assert searched.pop() == pytest.approx(click, abs=2e-3)
        assert sound.clicks.source == "channel"


def test_only_strums_are_told_where_only_they_were_asked_for() -> None:
    """Truth: the strums that were put in, with nothing of a grid, and why."""
    take = wired("recorded-click", free=True)
    document = take.json
    times = np.sort(np.append(take.strum_s, take.added_s))
    assert [row["time_s"] for row in document["strums"]] == pytest.approx(times.tolist(), abs=1e-6)
    u_ms = dict(zip(take.strum_s.round(6), 1e3 * take.u_s, strict=True))
    for row in document["strums"]:
        assert row["u_ms"] == pytest.approx(u_ms.get(round(row["time_s"], 6), 0.9), abs=1e-3)
        assert (row["slot"], row["offset_ms"], row["at_change"], row["left_click"]) == (None, None, False, False)
    for name in ("grid", "timing", "held", "correction", "tuning", "changes"):
        assert document[name] is None
        assert document["absent"][name]["code"] == "not-asked"
    assert document["stroke"]["n"] == len(times)
    assert document["ignored"] == [{"time_s": 3.0, "reason": "a tap", "p": 0.125}]
    assert document["exercise"]["name"] == "wired"


def test_two_takes_are_held_against_each_other_place_by_place() -> None:
    """Truth: B minus A: the errors that were put in at the places that both played; u by GUM 5.1.2, what the
    strums of a take share counted once, as that of one room; the scatter about the drift line of the differences.
    """
    a, b = wired("recorded-click"), wired("recorded-click", seed=8)
    found = compare(a.measurement, b.measurement)
    apart = b.offset_ms - a.offset_ms
    assert (found.same_exercise, found.n_places) == (True, len(a.on))
    assert (found.path_a, found.bpm_a) == ("wired.wav", pytest.approx(90.0072, abs=1e-4))
    assert found.apart_ms is not None
    assert found.spread_ms is not None
    assert found.apart_ms.value == pytest.approx(apart.mean(), abs=MS)
    own = math.sqrt(float(np.sum((1e3 * a.u_s) ** 2 + (1e3 * b.u_s) ** 2))) / len(a.on)
    shared = math.sqrt(PATH_U_MS**2 + _anchor_u_ms(a, "recorded-click") ** 2 + (1e3 * w.BIAS_U_S) ** 2)
    assert found.apart_ms.u == pytest.approx(math.hypot(own, shared), abs=5e-3)
    about = _residual(apart, a.minutes)
    u_ms = 1e3 * np.hypot(a.u_s, b.u_s)
    trust = (1 + 0.5 * (u_ms / (1.4826 * np.median(np.abs(about)))) ** 2) ** -2
    trust /= trust.sum()
    n = len(about)
    square = float(trust @ about**2) * n / (n - 2) - 0.5 * float(trust @ u_ms**2)
    assert found.spread_ms.value == pytest.approx(math.sqrt(square), abs=5e-3)
    assert found.leads == (None if not found.apart_ms.excludes(0.0) else "B" if apart.mean() < 0 else "A")
    for row in found.differences:
        left, right = (getattr(take.measurement.timing, row.figure) for take in (a, b))
        assert row.b_minus_a.value == pytest.approx(right.value - left.value, abs=1e-9)
        once = shared if row.figure == "mean_offset_ms" else 0.0  # in both takes, and once in the difference
        assert row.b_minus_a.u == pytest.approx(math.sqrt(left.u**2 + right.u**2 - once**2), abs=5e-3)
        up = math.hypot(right.high - right.value, left.value - left.low)
        down = math.hypot(right.value - right.low, left.high - left.value)
        for reach, end in ((up, row.b_minus_a.high), (down, row.b_minus_a.low)):
            expected = math.sqrt(reach**2 - (1.96 * once) ** 2)
            assert abs(end - row.b_minus_a.value) == pytest.approx(expected, rel=2e-3)
        assert row.shown == (row.b_minus_a.low > 0 or row.b_minus_a.high < 0)
    document = found.to_dict()
    assert document["apart_ms"]["value"] == found.apart_ms.value
    assert document["absent"] == {}


def test_who_leads_cannot_be_known_where_one_take_has_no_click() -> None:
    """Truth: with headphones only deviations are known: no offset of one take from the other, but their scatter."""
    a, b = wired("fitted"), wired("recorded-click", seed=8)
    found = compare(a.measurement, b.measurement)
    assert (found.apart_ms, found.leads) == (None, None)
    assert found.absent["apart_ms"].code == "no-click"
    assert found.bpm_a == 90.0
    assert found.spread_ms is not None
    other = compare(wired("recorded-click").measurement, b.measurement).spread_ms
    assert other is not None
    assert found.spread_ms.value == pytest.approx(other.value, abs=0.05)
    assert found.to_dict()["apart_ms"] is None


def test_two_tempos_are_two_exercises() -> None:
    """Truth: of a take at 90 and one at 96 bpm only what does not depend on the tempo is compared."""
    a = wired("given").measurement
    faster = replace(a, exercise=replace(a.exercise, bpm=96.0))
    found = compare(a, faster)
    assert not found.same_exercise
    assert {why.code for why in found.absent.values()} == {"other-tempo"}
    assert {row.figure for row in found.differences} == {"jitter_percent", "mean_offset_ms", "at_change"}
    other = compare(a, replace(a, exercise=replace(a.exercise, meter="3/4")))
    assert {why.code for why in other.absent.values()} == {"two-exercises"}
    assert "the meter: 4/4 and 3/4" in other.absent["apart_ms"].reason
    unmeasured = compare(a, replace(a, timing=None))
    assert {why.code for why in unmeasured.absent.values()} == {"no-grid"}


def test_a_click_in_a_file_of_its_own_is_searched_there_and_may_be_audible_here(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Truth: the click is searched in its own file from that file's beginning, then in the take, from the take's."""
    rng = np.random.default_rng(2)
    take, other = (from_array(rng.normal(0.0, 0.1, 4 * 11025), 11025) for _ in range(2))
    asked: list[tuple[bool, str, float]] = []

    def find(samples: Channel, *_rate: float, source: str = "recording", start_s: float, **_hints: Any) -> Any:
        asked.append((np.allclose(samples.decimated(11025)[0], other.mono(), atol=0.01), source, start_s))
        return w.clicks_heard(0.5, source) if source == "file" else None

    monkeypatch.setattr(sources, "find_clicks", find)
    monkeypatch.setattr(sources, "load", lambda _path: replace(other, start_s=2.0))
    sound = sources.tell_apart(take, Exercise(), "click.wav", None)
    assert asked == [(True, "file", 2.0), (False, "recording", 0.0)]
    assert sound.clicks is not None
    assert (sound.clicks.source, sound.removal) == ("file", None)
    assert sound.guitar == pytest.approx(take.mono(), abs=2e-3)
    monkeypatch.setattr(sources, "find_clicks", lambda *_args, **_told: None)
    with pytest.raises(ClickError, match=r"promised in click\.wav"):
        sources.tell_apart(take, Exercise(), "click.wav", None)


def test_strums_of_another_part_are_held_against_its_own_grid_less_the_path() -> None:
    """Truth: 12 and 20 ms after the lines of that part, 5 ms of which are the air's; an added and an outside strum."""
    grid = build_grid(Exercise(bpm=60, meter="4/4", per_beat=1, pattern="D"), bars=1).placed(40.0)
    other = SimpleNamespace(anchor="given", slot=np.array([-4, 0, ADDED, 2, OUTSIDE]), grid=grid)
    strums = Strums(
        time_s=np.array([1.0, 40.012, 40.5, 42.020, 50.0]),
        u_s=np.full(5, 0.001),
        strength_db=np.zeros(5),
        p=np.ones(5),
        bias_u_s=0.0003,
    )
    rows = parts.strums_elsewhere(strums, SimpleNamespace(others=(other,), parts=()), 0.005)
    assert [(row.slot, row.beat, row.measured) for row in rows] == [(0, 1, False), (None, None, False), (2, 3, False)]
    assert [row.offset_ms for row in rows] == [pytest.approx(7.0, abs=1e-6), None, pytest.approx(15.0, abs=1e-6)]
    assert [row.grid_s for row in rows] == [40.0, None, 42.0]
    assert [row.u_ms for row in rows] == [1.0, 1.0, 1.0]
    other.anchor = "fitted"
    rows = parts.strums_elsewhere(strums, SimpleNamespace(others=(other,), parts=()), 0.005)
    assert [row.offset_ms for row in rows] == [None, None, None]
