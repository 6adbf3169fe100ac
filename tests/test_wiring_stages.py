"""Each stage of the pipeline alone, its neighbours replaced by values that are made here."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import wired as w
from wired import wired

import strumclock.tuning
from strumclock.audio import Recording, from_array
from strumclock.click import Clicks
from strumclock.correction import Correction
from strumclock.errors import Absent
from strumclock.grid import Exercise, build_grid
from strumclock.onsets import Strums
from strumclock.pipeline import (
    Measurement,
    analysing,
    assembling,
    compare,
    components,
    listening,
    measuring,
    parts as pipeline_parts,
    sources,
)
from strumclock.pipeline.click_notices import click_notices, swelling_notices
from strumclock.pipeline.judging import take_played
from strumclock.pipeline.options import MeasureOptions
from strumclock.timing import Estimate

RATE_HZ = 11025
NOTHING = Absent(code="test", reason="not looked at")


def _noise(seconds: float, channels: int = 1, seed: int = 3) -> Recording:
    shape = (round(seconds * RATE_HZ), channels)
    return from_array(np.random.default_rng(seed).normal(0.0, 0.1, shape), RATE_HZ)


# where the click is ---------------------------------------------------------------------------------------------------


def test_no_click_is_searched_where_none_was_promised(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the samples that were given, and nothing else."""
    monkeypatch.setattr(sources, "find_clicks", lambda *_args, **_told: pytest.fail("it was searched"))
    recording = _noise(3.0)
    sound = sources.tell_apart(recording, Exercise(), "none", None)
    assert (sound.clicks, sound.removal, sound.start_s, sound.rate_hz) == (None, None, 0.0, RATE_HZ)
    assert sound.guitar == pytest.approx(recording.mono(), abs=2e-3)


def test_the_finder_is_told_tempo_meter_place_and_tempo_map(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the exercise, the recording's beginning, the clicks of the grid that was given."""
    asked: dict[str, Any] = {}

    def find(_line: Any, rate_hz: float, **told: Any) -> None:
        asked.update(rate_hz=rate_hz, **told)

    monkeypatch.setattr(sources, "find_clicks", find)
    monkeypatch.setattr(sources, "find_click_channel", lambda *_args: None)
    nominal = build_grid(Exercise(bpm=90, meter="3/4", per_beat=1, pattern="D"), bars=2)
    recording = replace(_noise(3.0), start_s=12.0)
    sound = sources.tell_apart(recording, Exercise(bpm=90, meter="3/4"), "auto", nominal)
    assert (asked["rate_hz"], asked["start_s"], asked["bpm"], asked["beats_per_bar"]) == (RATE_HZ, 12.0, 90.0, 3)
    assert asked["nominal_s"].tolist() == nominal.click_s.tolist()
    assert asked["low"] == pytest.approx(sound.guitar, abs=1e-9)
    assert sound.clicks is None


def test_a_click_in_the_guitars_channel_is_taken_out_and_a_swelling_one_is_less_sure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Truth: a sound that swells for 30 ms: the beat is anywhere in it, u = 30 / √3 ms, beside the clicks' 0.1 ms."""
    clicks = w.clicks_heard(0.5, "recording")
    removal = SimpleNamespace(samples=np.ones(5, np.float32), removed=np.zeros(5, np.float32), swells_s=0.0)
    monkeypatch.setattr(sources, "find_clicks", lambda *_args, **_told: clicks)
    monkeypatch.setattr(sources, "find_click_channel", lambda *_args: None)
    monkeypatch.setattr(sources, "remove_clicks", lambda *_args, **_told: removal)
    sound = sources.tell_apart(_noise(3.0), Exercise(), "auto", None)
    assert (sound.clicks, sound.removal, sound.notices) == (clicks, removal, ())
    assert sound.guitar is removal.samples
    removal.swells_s = 0.030
    sound = sources.tell_apart(_noise(3.0), Exercise(), "auto", None)
    assert sound.clicks is not None
    assert sound.clicks.u_s == pytest.approx(math.hypot(0.030 / math.sqrt(3), 1e-4), abs=1e-7)
    assert [notice.code for notice in sound.notices] == ["click-swells"]
    assert "30 ms" in sound.notices[0].message


def test_a_channel_that_holds_clicks_is_found_unasked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the second channel is called the click's; where nothing is heard on it, both are one sound."""
    recording = _noise(3.0, channels=2)
    monkeypatch.setattr(sources, "find_click_channel", lambda store, _rate: 1 if store is recording.store else None)
    heard: list[str] = []

    def find(_line: Any, _rate: float, *, source: str = "recording", **_hints: Any) -> Clicks | None:
        heard.append(source)
        return w.clicks_heard(0.5, source) if answer else None

    monkeypatch.setattr(sources, "find_clicks", find)
    answer = True
    assert sources.tell_apart(recording, Exercise(), "auto", None).clicks is not None
    answer = False
    assert sources.tell_apart(recording, Exercise(), "auto", None).clicks is None
    assert heard == ["channel", "channel", "recording"]


def test_a_clicks_file_of_another_length_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: files of 3 and 6 s; a difference below a second is a finger's."""
    monkeypatch.setattr(sources, "find_clicks", lambda *_args, source="x", **_told: w.clicks_heard(0.5, source))
    removal = SimpleNamespace(samples=np.ones(5, np.float32), removed=np.zeros(5, np.float32), swells_s=0.0)
    monkeypatch.setattr(sources, "remove_clicks", lambda *_args, **_told: removal)
    for lasts_s, codes in ((6.0, ["click-file-length"]), (3.5, [])):
        monkeypatch.setattr(sources, "load", lambda _path, lasts_s=lasts_s: _noise(lasts_s))
        sound = sources.tell_apart(_noise(3.0), Exercise(), "click.wav", None)
        assert [notice.code for notice in sound.notices] == codes
        assert all("6.0 s and the take 3.0 s" in notice.message for notice in sound.notices)


def test_a_part_of_a_file_keeps_its_place_and_what_lies_around_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: a part from 10 to 14 s of a context that begins at 6 s: samples and times are those of the context."""
    context = replace(_noise(14.0), start_s=6.0)
    part = replace(_noise(4.0), start_s=10.0, context=context)
    clicks = w.clicks_heard(0.5, "recording")  # from 4.25 s on
    told: list[Recording] = []

    def apart(recording: Recording, *_more: Any) -> sources.Sound:
        told.append(recording)
        guitar = np.arange(14 * RATE_HZ, dtype=np.float32)
        return sources.Sound(guitar=guitar, rate_hz=RATE_HZ, start_s=6.0, clicks=found, removal=None)

    monkeypatch.setattr(sources, "_told_apart", apart)
    for found in (clicks, None):
        told.clear()
        sound = sources.tell_apart(part, Exercise(), "auto", None)
        assert told == [context]
        first = round((sound.start_s - 6.0) * RATE_HZ)
        assert sound.guitar[0] == first
        assert 0 < 10.0 - sound.start_s <= 2.0
        assert sound.start_s + len(sound.guitar) / RATE_HZ >= 14.0
        if found is not None:
            assert sound.clicks is not None
            assert sound.clicks.time_s.min() >= 10.0
            assert sound.clicks.time_s.max() < 14.0
        else:
            assert sound.clicks is None


@pytest.mark.parametrize(("left", "refused"), [(0.02, True), (-0.02, True), (0.04, False), (-0.04, False)])
def test_a_take_of_which_only_the_click_was_recorded_is_known(left: float, refused: bool) -> None:
    """Truth: after the removal less than 3 % of the click's peak is left, on either side of zero."""
    removal = SimpleNamespace(samples=np.array([0.0, left]), removed=np.array([-1.0, 0.2]))
    assert listening._only_click(SimpleNamespace(removal=removal)) == refused
    assert not listening._only_click(SimpleNamespace(removal=None))


# what the click was like ----------------------------------------------------------------------------------------------


def _bent(bend_ms: np.ndarray) -> Clicks:
    clicks = w.clicks_heard(0.5, "recording")
    return replace(clicks, bend_s=np.asarray(bend_ms) / 1000)


def test_a_click_that_runs_down_is_said_with_both_tempi() -> None:
    """Truth: intervals of 500 ms at the beginning of the bend and 504 at its end: 120 and 60000 / 504 = 119.0 bpm."""
    steps = np.concatenate([np.zeros(26), np.full(25, 4.0)])
    (notice,) = click_notices(_bent(np.concatenate([[0.0], np.cumsum(steps)])))
    assert notice.code == "click-bends"
    assert "120.0 bpm at the beginning and 119.0 at the end" in notice.message
    assert "jumps" not in notice.message


def test_a_click_that_jumps_is_said_with_its_place() -> None:
    """Truth: from the twenty-first click on all are 6 ms late."""
    bend_ms = np.where(np.arange(52) >= 20, 6.0, 0.0) - 3.0
    (notice,) = click_notices(_bent(bend_ms))
    at_s = w.clicks_heard(0.5, "recording").time_s[20]
    assert "it wanders by up to 3.0 ms from a steady beat" in notice.message
    assert f"at {at_s:.1f} s it jumps by +6.0 ms" in notice.message


def test_an_even_click_needs_no_words() -> None:
    """Truth: nothing bends, nothing swells; tick and tock 3.2 ms apart do need some."""
    clicks = w.clicks_heard(0.5, "recording")
    assert click_notices(clicks) == ()
    assert swelling_notices(0.0) == ()
    (notice,) = click_notices(replace(clicks, alternates_s=0.0032, wanders_s=0.0011))
    assert notice.code == "click-uneven"
    assert "3.2 ms" in notice.message
    assert "1.1 ms" in notice.message


# chords, pitch, the hand ----------------------------------------------------------------------------------------------


def test_the_pitch_is_heard_in_the_guitars_own_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the guitar without the click, from the beginning of the sound; told only where it was asked for."""
    asked: list[Any] = []
    cents = Estimate(value=12.0, low=8.0, high=16.0, u=2.0)
    pitch = strumclock.tuning.Tuning(cents=cents, a4_hz=440.0, n_strums=9)

    def take_pitch(samples: Any, rate_hz: float, time_s: Any) -> Any:
        asked.append((samples, rate_hz, time_s.tolist()))
        return found

    monkeypatch.setattr(strumclock.tuning, "take_pitch", take_pitch)
    low = components.Low(samples=np.zeros(9, np.float32), rate_hz=11025.0, start_s=2.0, picture=np.zeros((2, 3)))
    strums = Strums(time_s=np.array([2.5, 3.0]), u_s=np.ones(2), strength_db=np.zeros(2), p=np.ones(2), bias_u_s=0.0)
    found: Any = pitch
    heard = components.hear(low, strums, None, changes=False, tuning=True)
    assert (heard.tuning, heard.absent) == (pitch, {})
    assert asked == [(low.samples, 11025.0, [0.5, 1.0])]
    found = NOTHING
    heard = components.hear(low, strums, None, changes=False, tuning=True)
    assert (heard.tuning, heard.absent) == (None, {"tuning": NOTHING})
    unasked = components.hear(low, strums, None, changes=False, tuning=False)
    assert unasked.absent["tuning"].code == "not-asked"
    assert not unasked.at_change.any()


def test_the_hand_swings_with_the_parts_or_twice_as_fast_or_in_a_shuffle() -> None:
    """Truth: parts counted by hand: eighths of a bar without the third; triplets whose middle is left out."""
    grid = build_grid(Exercise(bpm=60, meter="4/4", per_beat=2, pattern="DU.UDUDU"), bars=1).placed(5.0)
    assert components.swings(grid).tolist() == [[0, 1, 3, 4, 5, 6, 7], [0, 2, 6, 8, 10, 12, 14]]
    shuffle = build_grid(Exercise(bpm=90, meter="2/4", per_beat=3, pattern="D.U"), bars=1).placed(5.0)
    assert components.swings(shuffle).tolist() == [[0, 2, 3, 5], [0, 4, 6, 10], [0, 1, 2, 3]]


# parts and steps ------------------------------------------------------------------------------------------------------


def test_what_was_heard_of_a_part_is_its_own_strums() -> None:
    """Truth: of five strums two are another part's; pictures, times and slots are cut alike."""
    strums = Strums(
        time_s=np.arange(5.0),
        u_s=np.arange(5.0) / 1e3,
        strength_db=np.arange(5.0),
        p=np.arange(5.0) / 5,
        bias_u_s=0.0004,
        notices=("n",),
    )
    low = components.Low(samples=np.zeros(9, np.float32), rate_hz=1.0, start_s=0.0, picture=np.arange(5.0)[:, None])
    heard = wired_listened(strums, low)
    alignment = replace(_aligned(), slot=np.array([0, pipeline_parts.OTHER_PART, 1, pipeline_parts.OTHER_PART, 2]))
    here, of_it = pipeline_parts.of_part(heard, alignment)
    assert here.strums.time_s.tolist() == [0.0, 2.0, 4.0]
    assert here.strums.u_s.tolist() == [0.0, 0.002, 0.004]
    assert (here.strums.bias_u_s, here.strums.notices) == (0.0004, ("n",))
    assert here.low.picture[:, 0].tolist() == [0.0, 2.0, 4.0]
    assert of_it.slot.tolist() == [0, 1, 2]
    whole = replace(alignment, slot=np.arange(5))
    assert pipeline_parts.of_part(heard, whole) == (heard, whole)


def wired_listened(strums: Strums, low: components.Low) -> listening.Listened:
    return listening.Listened(
        take=None, start_s=0.0, end_s=9.0, priming_known=True, clicks=None, strums=strums, low=low, notices=()
    )  # type: ignore[arg-type]


def _aligned() -> Any:
    """The alignment of the wired take, as the pipeline made it."""
    kept: list[Any] = []
    original = measuring.analyse

    def keep(heard: Any, alignment: Any, options: Any) -> Any:
        kept.append(alignment)
        return original(heard, alignment, options)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(measuring, "analyse", keep)
        w.made.cache_clear()
        wired("recorded-click")
    w.made.cache_clear()
    return kept[0]


def test_each_step_of_a_stepped_tempo_has_its_own_figures() -> None:
    """Truth: two steps, the second from bar 7 on: a strum half a part before it is its own; means of its strums."""
    alignment = _aligned()
    take = wired("recorded-click")
    second_s = float(take.slot_s[take.bar == 7][0])
    stepped = replace(alignment, steps_s=(float(take.slot_s[0]), second_s), steps_bpm=(90.0, 94.0))
    strums = Strums(
        time_s=np.sort(np.append(take.strum_s, take.added_s)), u_s=np.full(len(take.on) + 1, 0.001),
        strength_db=np.zeros(len(take.on) + 1), p=np.ones(len(take.on) + 1), bias_u_s=w.BIAS_U_S,
    )  # fmt: skip
    spreads = SimpleNamespace(spread_s=np.full(len(take.on) + 1, 0.01), shared_u_s=0.001)
    heard = SimpleNamespace(strums=strums)
    found = SimpleNamespace(spreads=spreads, heard=components.Heard(at_change=np.zeros(len(take.on) + 1, bool)))
    steps = pipeline_parts.take_steps(heard, stepped, found, MeasureOptions())
    first = take.bar[take.on] < 7
    assert [(step.step, step.bpm) for step in steps] == [(1, 90.0), (2, 94.0)]
    assert [step.start_s for step in steps] == [pytest.approx(float(take.slot_s[0])), pytest.approx(second_s)]
    assert [step.bars for step in steps] == [(1, 6), (7, 12)]
    assert [step.n for step in steps] == [int(first.sum()), int((~first).sum())]
    assert [step.n_omitted for step in steps] == [2, 1]
    for step, on in zip(steps, (first, ~first), strict=True):
        assert step.mean_offset_ms is not None
        assert step.mean_offset_ms.value == pytest.approx(take.offset_ms[on].mean(), abs=0.01)
        assert step.share is not None
        assert step.share.value == pytest.approx(1.0, abs=0.1)
    assert pipeline_parts.take_steps(heard, replace(stepped, steps_s=(), steps_bpm=()), found, MeasureOptions()) == ()


# putting it together --------------------------------------------------------------------------------------------------


def test_a_file_whose_priming_is_not_known_is_said_where_a_downbeat_was_stated(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Truth: a stated place is a place in the file, and the file may begin 5 to 50 ms late."""
    alignment = _aligned()
    monkeypatch.setattr(measuring, "align", lambda *_args, **_told: alignment)
    heard = SimpleNamespace(strums=None, clicks=None, end_s=40.0, priming_known=False)
    stated = measuring._align(heard, Exercise(), MeasureOptions(first_downbeat_s=1.0), None)
    assert [notice.code for notice in stated.notices] == ["priming-unknown"]
    assert measuring._align(heard, Exercise(), MeasureOptions(), None) is alignment
    heard.priming_known = True
    assert measuring._align(heard, Exercise(), MeasureOptions(first_downbeat_s=1.0), None) is alignment


def test_a_correction_that_is_known_is_in_the_result(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the value that the stage gave, and its reasons among the absences."""
    share = Estimate(value=0.4, low=0.2, high=0.6, u=0.01)
    given = Correction(
        n=40, runs=3, corrected_share=share, clock_ms=None, hand_ms=None, absent={"correction.clock_ms": NOTHING}
    )
    monkeypatch.setattr(analysing, "measure_correction", lambda *_args, **_told: given)
    w.made.cache_clear()
    measurement = wired("recorded-click").measurement
    w.made.cache_clear()
    assert measurement.correction is given
    assert measurement.absent["correction.clock_ms"] is NOTHING
    assert "correction" not in measurement.absent


def test_without_a_tempo_told_there_is_no_skew_but_a_reason() -> None:
    """Truth: clicks were heard, and nothing was told to hold them against."""
    alignment = replace(_aligned(), clock_skew_ppm=None)
    found = SimpleNamespace(
        timing=SimpleNamespace(absent={}), heard=SimpleNamespace(absent={}), changes=NOTHING, stroke=NOTHING,
        correction=NOTHING,
    )  # fmt: skip
    absent = assembling._absent(alignment, found)
    assert absent["grid.clock_skew_ppm"].code == "no-tempo-told"
    assert "grid.bpm_heard" not in absent
    unheard = assembling._absent(replace(alignment, bpm_heard=None), found)
    assert (unheard["grid.clock_skew_ppm"].code, unheard["grid.bpm_heard"].code) == ("no-click", "no-click")
    assert absent["stroke"] is NOTHING


@pytest.mark.parametrize(
    ("anchor", "n", "sd_ms", "codes"),
    [
        ("fitted", 40, 0.5, ["too-even"]),
        ("fitted", 40, 1.5, []),
        ("recorded-click", 40, 0.5, []),
        ("fitted", 15, 0.5, ["few-strums"]),
        ("recorded-click", 1, 0.0, ["few-strums"]),
        ("recorded-click", 0, 0.0, []),
    ],
)
def test_what_makes_the_figures_weak_is_said(anchor: str, n: int, sd_ms: float, codes: list[str]) -> None:
    """Truth: no hand scatters by less than a millisecond; below 16 strums figures are rough."""
    deviation = np.tile([sd_ms, -sd_ms], n)[:n]
    timing = SimpleNamespace(n=n, deviation_ms=deviation, jitter_ms=None if n < 8 else object())
    notices = assembling._weak(anchor, timing)
    assert [notice.code for notice in notices] == codes
    for notice in notices:
        if notice.code == "few-strums":
            assert f"only {n} strum{'' if n == 1 else 's'} met" in notice.message
            assert ("too few for figures" in notice.message) == (n < 8)
        else:
            assert "0.5 ms" in notice.message


def test_what_is_judged_is_what_was_played() -> None:
    """Truth: what was put in: offsets less the path, places, changes with their chords, omitted and added places."""
    take, alignment = wired("recorded-click"), _aligned()
    n = len(take.on) + 1
    times = np.append(take.strum_s, take.added_s)
    order = np.argsort(times)
    strums = Strums(
        time_s=times[order],
        u_s=np.append(take.u_s, 0.0009)[order],
        strength_db=np.zeros(n),
        p=np.where(np.arange(n) < 3, 0.89, 0.9),
        bias_u_s=w.BIAS_U_S,
    )
    change = np.append(take.at_change[take.on], False)[order]
    timing = take.measurement.timing
    assert timing is not None
    played = take_played(strums, alignment, timing, components.Heard(at_change=change))
    assert played.offset_ms == pytest.approx(np.asarray(timing.offset_ms), abs=1e-9)
    assert not played.fitted
    assert played.slot.tolist() == take.on.tolist()
    assert played.bar.tolist() == take.bar[take.on].tolist()
    assert played.beat.tolist() == take.beat[take.on].tolist()
    assert played.part.tolist() == take.part[take.on].tolist()
    assert played.at_change.tolist() == take.at_change[take.on].tolist()
    assert played.omitted == tuple((int(take.bar[s]), int(take.beat[s]), int(take.part[s])) for s in w.OMITTED)
    near = [(int(take.bar[s]), int(take.beat[s]), int(take.part[s])) for s in (w.ADDED_AT, w.ADDED_AT + 1)]
    assert played.added[0] in near
    assert played.u_ms == pytest.approx(1e3 * math.sqrt(float(np.mean(take.u_s**2))), abs=1e-9)
    assert played.duration_s == pytest.approx(take.slot_s[-1] - take.slot_s[0], abs=1e-5)
    assert (played.bpm, played.per_beat) == (90.0, 2)
    assert (played.n_heard, played.n_sure) == (n, n - 3)
    assert played.part_s == pytest.approx(take.beat_s / 2, abs=1e-3)
    pairs = [pair for pair in played.pairs if pair is not None]
    assert pairs == [(w.CHORDS[i % 3], w.CHORDS[(i + 1) % 3]) for i in range(w.BARS - 1)]


def test_evenness_at_two_tempi_is_compared_as_a_share_of_the_interval() -> None:
    """Truth: per cent of half a beat: jitter · bpm · 2 / 600."""
    a = wired("given").measurement
    b = replace(a, exercise=replace(a.exercise, bpm=96.0))
    found = compare(a, b)
    assert not found.same_tempo
    assert a.timing is not None
    assert a.timing.jitter_ms is not None
    (row,) = [row for row in found.differences if row.figure == "jitter_percent"]
    for estimate, bpm in ((row.a, 90.0), (row.b, 96.0)):
        for name in ("value", "low", "high", "u"):
            expected = getattr(a.timing.jitter_ms, name) * bpm * 2 / 600
            assert getattr(estimate, name) == pytest.approx(expected, abs=1e-9)


def test_a_take_without_a_tempo_is_held_against_none() -> None:
    """Truth: neither heard nor told."""
    a = wired("given").measurement
    untold: Measurement = replace(a, exercise=replace(a.exercise, bpm=None))
    found = compare(a, untold)
    assert {(why.code, why.reason) for why in found.absent.values()} == {
        ("no-tempo", "the tempo of at least one take is not known")
    }


def test_takes_that_share_fewer_than_two_places_are_not_held_against_each_other() -> None:
    """Truth: one strum in common."""
    a = wired("given").measurement
    few = replace(a, strums=tuple(strum for strum in a.strums if strum.slot == 3))
    found = compare(a, few)
    assert found.n_places == 1
    assert {why.code for why in found.absent.values()} == {"too-few"}
    eight = compare(a, replace(a, strums=tuple(s for s in a.strums if s.slot is not None and s.slot < 6)))
    assert eight.n_places == 5
    assert "scatter against each other" in eight.absent["spread_ms"].reason


def test_the_take_is_told_apart_by_what_was_told_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the exercise, the place of the click and the tempo map are handed on as they are."""
    asked: list[Any] = []

    def apart(*args: Any) -> Any:
        asked.extend(args)
        raise InterruptedError

    monkeypatch.setattr(listening, "tell_apart", apart)
    recording, exercise, nominal = _noise(2.0), Exercise(bpm=80), object()
    with pytest.raises(InterruptedError):
        listening.listen(recording, exercise, MeasureOptions(click="left"), nominal)  # type: ignore[arg-type]
    assert asked == [recording, exercise, "left", nominal]


def test_the_tempo_map_is_read_with_the_exercise(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the file that was named and the exercise that was told; nothing without a file."""
    import strumclock.midi

    asked: list[Any] = []
    monkeypatch.setattr(strumclock.midi, "grid_from_midi", lambda *args: asked.append(args) or "grid")
    exercise = Exercise(bars=4)
    assert measuring._tempo_map(MeasureOptions(midi="map.mid"), exercise) == "grid"  # type: ignore[comparison-overlap]
    assert asked == [("map.mid", exercise)]
    assert measuring._tempo_map(MeasureOptions(), exercise) is None


def test_a_part_whose_clicks_lie_elsewhere_is_told_apart_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: the context's clicks end before the part begins, so the part has its own, by the same tempo map."""
    context = replace(_noise(90.0), start_s=0.0)
    part = replace(_noise(4.0), start_s=60.0, context=context)
    asked: list[Any] = []

    def apart(*args: Any) -> sources.Sound:
        asked.append(args)
        guitar = np.zeros(4, np.float32)
        return sources.Sound(
            guitar=guitar, rate_hz=RATE_HZ, start_s=0.0, clicks=w.clicks_heard(0.5, "recording"), removal=None
        )

    monkeypatch.setattr(sources, "_told_apart", apart)
    nominal, exercise = object(), Exercise()
    sources.tell_apart(part, exercise, "auto", nominal)  # type: ignore[arg-type]
    assert asked == [(context, exercise, "auto", nominal), (part, exercise, "auto", nominal)]


def test_the_excerpt_of_a_part_holds_what_was_removed_too() -> None:
    """Truth: guitar, what is left and what was removed are cut at the same samples."""
    ramp = np.arange(14 * RATE_HZ, dtype=np.float32)
    removal = sources.Removal(
        samples=ramp + 1, removed=ramp + 2, sounds=(), lead_s=0.0, left_share=np.zeros(1), left_db=0.0, swells_s=0.0
    )
    whole = sources.Sound(guitar=ramp, rate_hz=RATE_HZ, start_s=6.0, clicks=None, removal=removal)
    part = sources._excerpt(whole, replace(_noise(2.0), start_s=11.0), None)
    assert part.removal is not None
    assert part.removal.samples.tolist() == (part.guitar + 1).tolist()
    assert part.removal.removed.tolist() == (part.guitar + 2).tolist()


def test_the_stroke_gets_the_strums_with_their_letters_and_places(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: what was put in; muted strokes have no direction, an added strum has no place."""
    import strumclock.stroke

    asked: dict[str, Any] = {}

    def tell(picture: Any, chroma: Any, time_s: Any, **told: Any) -> Any:
        asked.update(told, n=(len(picture), len(chroma)), time_s=time_s)
        return NOTHING

    def figures(time_s: Any, _levels: Any, spreads: Any, directions: Any, *, timed: Any) -> Any:
        asked.update(whole_s=time_s, spreads=spreads, directions=directions, timed=timed)
        return NOTHING

    monkeypatch.setattr(strumclock.stroke, "tell_directions", tell)
    monkeypatch.setattr(strumclock.stroke, "measure_stroke", figures)
    w.made.cache_clear()
    take = wired("recorded-click")
    w.made.cache_clear()
    times = np.append(take.strum_s, take.added_s)
    order = np.argsort(times)
    letter = np.append(np.array(take.letter)[take.on], "")[order]
    rings = letter != "x"
    assert asked["time_s"] == pytest.approx((times[order] - w.START_S)[rings], abs=1e-9)
    assert asked["n"] == (rings.sum(), rings.sum())
    assert asked["whole_s"] == pytest.approx(times[order], abs=1e-9)
    timed = asked["timed"]
    assert timed.letter.tolist() == letter.tolist()
    assert timed.slot.tolist() == np.append(take.on, -1)[order].tolist()
    assert timed.u_ms == pytest.approx(1e3 * np.append(take.u_s, 0.0009)[order], abs=1e-9)
    deviation = np.append(take.offset_ms - take.offset_ms.mean(), np.nan)[order]
    assert timed.deviation_ms == pytest.approx(deviation, abs=2e-3, nan_ok=True)
    place = np.append(2 * take.beat[take.on] + take.part[take.on], -1)[order]
    known = np.unique(asked["bar_place"])
    assert len(known) == len(np.unique(place[rings]))
    assert asked["place"].shape[1] == rings.sum()
    assert np.isnan(asked["place"][0]).sum() == 1
    assert asked["spreads"].shared_u_s == w.SPREAD_SHARED_U_S
    assert (asked["directions"], take.json["stroke"]) == (NOTHING, None)


def test_chords_that_were_heard_are_named_at_their_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: a listener that hears A for forty strums and then E; the first E is a change."""
    import strumclock.chords

    n = 82
    heard_at = np.arange(n) == 40
    harmony = SimpleNamespace(
        changes=heard_at, chord=tuple("A" if i < 40 else "E" for i in range(n)), confidence=np.full(n, 0.8)
    )
    asked: list[Any] = []

    def hear_chords(samples: Any, rate_hz: float, time_s: Any, *, tuning_cents: float) -> Any:
        asked.extend((len(samples) > n, rate_hz, time_s[0], tuning_cents))
        return harmony

    monkeypatch.setattr(strumclock.chords, "hear_chords", hear_chords)
    monkeypatch.setattr(strumclock.tuning, "take_pitch", lambda *_args: NOTHING)
    take = wired("recorded-click", chords=False, changes=True)
    changes = take.json["changes"]
    assert changes["source"] == "heard"
    assert [(row["from_chord"], row["to_chord"], row["confidence"]) for row in changes["changes"]] == [("A", "E", 0.8)]
    assert [row["at_change"] for row in take.json["strums"]] == heard_at.tolist()
    assert asked == [True, w.RATE_HZ, pytest.approx(take.strum_s[0] - w.START_S), 0.0]
    w.made.cache_clear()


def test_every_played_part_is_measured_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Truth: of five stretches two were played at the click, one is a false start; stops and own tempi are no takes."""
    kinds = ("false-start", "stopped", "played", "own-tempo", "other-take")
    asked: list[Any] = []

    def align(heard: Any, exercise: Any, options: Any, nominal: Any) -> Any:
        asked.append((heard, exercise, options.part, nominal))
        here = options.part or 3
        return SimpleNamespace(parts=[SimpleNamespace(kind=k, measured=i == here) for i, k in enumerate(kinds, 1)])

    monkeypatch.setattr(measuring, "_heard", lambda *_args: "heard")
    monkeypatch.setattr(measuring, "_recording", lambda *_args: SimpleNamespace(in_step=None))
    monkeypatch.setattr(measuring, "_align", align)
    monkeypatch.setattr(measuring, "_placed", lambda heard, *told: (heard, align(heard, *told)))

    @dataclass(frozen=True)
    class Part:
        heard: Any
        number: int
        sources: Any = None

    measured = lambda heard, aligned, _options: Part(heard, [p.measured for p in aligned.parts].index(True) + 1)  # noqa: E731
    monkeypatch.setattr(measuring, "_of_part", measured)
    exercise = Exercise(bpm=80)
    found: Any = measuring.measure_parts("a.wav", exercise)
    assert [(part.heard, part.number, part.sources) for part in found] == [("heard", k, {}) for k in (1, 3, 5)]
    assert [part for _, _, part, _ in asked] == [None, 1, None, 5]
    assert {(heard, told) for heard, told, _, _ in asked} == {("heard", exercise)}


def test_one_told_distance_moves_the_mean_by_what_it_is_beyond_the_middle() -> None:
    """Truth: untold ways lie anywhere from 0 to 2 m, 1 m on average: (1.5 - 1 - 1 + 1) / 343 s, and each sign alone."""
    from strumclock.timing import sound_path

    for name, sign in (("guitar_to_mic_m", 1), ("click_to_mic_m", -1), ("guitar_to_ear_m", -1), ("click_to_ear_m", 1)):
        assert sound_path(**{name: 1.5}).bias_s == pytest.approx(sign * 0.5 / 343, abs=1e-9)


def test_two_pairs_of_chords_are_compared_by_welchs_test() -> None:
    """Truth: scipy.stats.ttest_ind without equal variances (Welch 1947)."""
    from scipy.stats import ttest_ind

    from strumclock.timing.changes import contrast_difference

    rng = np.random.default_rng(4)
    some, others = rng.normal(12.0, 3.0, 7), rng.normal(4.0, 8.0, 15)
    found = contrast_difference(some, others, 0.4)
    assert found is not None
    truth = ttest_ind(some, others, equal_var=False)
    interval = truth.confidence_interval(0.95)
    assert found[0].value == pytest.approx(some.mean() - others.mean(), abs=1e-9)
    assert (found[0].low, found[0].high) == (pytest.approx(interval.low), pytest.approx(interval.high))
    assert found[1] == pytest.approx(truth.pvalue, rel=1e-6)
    assert (found[0].u, found[0].excludes(found[0].low)) == (0.4, False)
    assert contrast_difference(some[:2], others, 0.4) is None
