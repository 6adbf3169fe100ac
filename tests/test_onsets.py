"""Strum times: against synthetic strums known by construction, against theory, against plain twins."""

from __future__ import annotations

import functools
import json
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import scipy.linalg
import scipy.signal
import scipy.stats

from strumclock.audio.decimation import decimated
from strumclock.errors import UsageError
from strumclock.onsets import Detector, Strums, find_strums, residual, shipped_detector
from strumclock.onsets.bands import BRIGHT_HZ, HIGHEST_HZ, QUIET_S, SPLITS_HZ, STEP_S, STEPS, bands_at
from strumclock.onsets.comparison import AFTER, BEFORE, HOP, LEAST, _log_likelihood, compared
from strumclock.onsets.detector import FEATURES, FORMAT
from strumclock.onsets.finding import LEAD_S, TAIL_S, WORTH_NAMING_DB, _Look, _opinion, _unclaimed, _with_second
from strumclock.onsets.levels import HOP_S, QUIETEST, _bands, _power, _touched, measure_levels, with_halves
from strumclock.onsets.network import _seen
from strumclock.onsets.places import NEARBY, _reach, doubt_of, place_of, smearing
from strumclock.onsets.residual import BEFORE_S, LEARN_S, LEARN_UNTIL_S, ORDER, evidence, on_samples, predictors

RATE_HZ = 44100
CHORDS_HZ = (
    (110.0, 164.8, 220.0, 277.2, 329.6),
    (146.8, 220.0, 293.7, 370.0),
    (82.4, 123.5, 164.8, 207.7, 246.9, 329.6),
)

CALIBRATION = shipped_detector().calibration

FloatArray = npt.NDArray[np.float64]


@functools.cache
def string(hz: float) -> FloatArray:
    """A string plucked at a seventh of its length: two seconds of decaying, slightly stiff partials."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    y = np.zeros(len(t))
    for k in range(1, min(40, int(9000 / hz))):
        f, decay_s = k * hz * np.sqrt(1 + 4e-5 * k**2), 1.2 / (1 + 0.4 * (k * hz / 1000))
        y += np.sin(np.pi * k / 7) / k * np.sin(2 * np.pi * f * t + 0.4 * k) * np.exp(-t / decay_s)
    return y


def strummed(
    times_s: FloatArray, *, spread_s: float = 0.015, seed: int = 1, end_s: float | None = None, ring_s: float = 9.0
) -> npt.NDArray[np.float32]:
    """Strums at the times; each stops what rang before within 8 ms; a trace of noise."""
    rng = np.random.default_rng(seed)
    n = int((times_s[-1] + 2.0 if end_s is None else end_s) * RATE_HZ)
    y = np.zeros(n)
    for i, t in enumerate(times_s):
        following = times_s[i + 1] if i + 1 < len(times_s) else n / RATE_HZ - 0.1
        chord = CHORDS_HZ[i % len(CHORDS_HZ)]
        for j, hz in enumerate(chord):
            at = round((t + spread_s * j / (len(chord) - 1)) * RATE_HZ)
            until = round(min(following, t + ring_s) * RATE_HZ)
            note = string(hz)[: max(until - at, 0) + 350].copy()
            note[:441] += (
                0.3 * rng.standard_normal(441)[: len(note)] * np.exp(-np.arange(441) / 88)[: len(note)]
            )  # pick
            note *= rng.uniform(0.6, 1.0)
            if len(note) > 350:
                note[-350:] *= np.linspace(1, 0, 350)
            y[at : at + len(note)] += note[: n - at]
    y += 1e-4 * np.abs(y).max() * rng.standard_normal(n)
    return (0.5 * y / np.abs(y).max()).astype(np.float32)


def played(n: int, *, interval_s: float = 0.5, seed: int = 0) -> FloatArray:
    """A player's strum times: an interval and 15 ms of jitter."""
    return 0.6 + interval_s * np.arange(n) + np.random.default_rng(seed).normal(0, 0.015, n)


def errors_ms(found: Strums, true_s: FloatArray, *, wrong: int = 0) -> FloatArray:
    """Found minus true, when at most so many strums are missed or added."""
    away = np.abs(found.time_s[:, None] - true_s)
    missed, added = int(np.sum(away.min(axis=0) > 0.05)), int(np.sum(away.min(axis=1) > 0.05))
    assert missed + added <= wrong, f"of {len(true_s)} strums {missed} missed, {added} added"
    near = away.min(axis=1) <= 0.05
    return (found.time_s[near] - true_s[away.argmin(axis=1)[near]]) * 1000


@pytest.fixture(scope="module")
def take() -> tuple[npt.NDArray[np.float32], FloatArray]:
    times_s = played(24)
    return strummed(times_s), times_s


def test_synthetic_strums_are_timed_within_a_millisecond_against_construction(
    take: tuple[npt.NDArray[np.float32], FloatArray],
) -> None:
    """Strings, chords and pick of this file, which nothing was tuned on."""
    samples, times_s = take
    found = find_strums(samples, RATE_HZ)
    e = errors_ms(found, times_s)
    assert abs(np.median(e)) <= 0.5
    assert np.sort(np.abs(e))[int(0.9 * len(e))] <= 1.5
    assert np.mean(np.abs(e) <= 2000 * found.u_s) >= 0.9


def test_silence_before_shifts_the_times_against_itself(take: tuple[npt.NDArray[np.float32], FloatArray]) -> None:
    """A recording that starts 0.3217 s earlier has the same strums that much later.

    The candidates fall on other frames, so a doubtful strum's time may move, but by no more than its doubt.
    """
    samples, _ = take
    before = 14187
    shifted = find_strums(np.concatenate([np.zeros(before, np.float32), samples]), RATE_HZ)
    unshifted = find_strums(samples, RATE_HZ)
    moved = np.abs(shifted.time_s - before / RATE_HZ - unshifted.time_s)
    assert np.quantile(moved, 0.9) <= 3e-4
    assert np.all(moved <= 2 * unshifted.u_s)


def test_file_time_is_added_against_itself(take: tuple[npt.NDArray[np.float32], FloatArray]) -> None:
    """With start_s the times are file times."""
    samples, _ = take
    at_zero, later = find_strums(samples, RATE_HZ), find_strums(samples, RATE_HZ, start_s=100.0)
    np.testing.assert_allclose(later.time_s, at_zero.time_s + 100.0, rtol=0, atol=1e-9)


@pytest.mark.parametrize("gain", [0.003, 0.25, 1.9])
def test_gain_changes_nothing_against_itself(gain: float, take: tuple[npt.NDArray[np.float32], FloatArray]) -> None:
    """How loud the recording is says nothing about when a strum began."""
    samples, _ = take
    loud, soft = find_strums(samples, RATE_HZ), find_strums(samples * np.float32(gain), RATE_HZ)
    np.testing.assert_allclose(soft.time_s, loud.time_s, rtol=0, atol=1e-5)
    np.testing.assert_allclose(soft.u_s, loud.u_s, rtol=0, atol=1e-5)


@pytest.mark.parametrize("rate_hz", [22050, 48000, 96000])
def test_other_sample_rates_give_the_same_times_against_itself(
    rate_hz: int, take: tuple[npt.NDArray[np.float32], FloatArray]
) -> None:
    """Resampled by scipy, polyphase: the times move by no more than their doubt."""
    samples, _ = take
    common = np.gcd(rate_hz, RATE_HZ)
    other = scipy.signal.resample_poly(samples.astype(float), rate_hz // common, RATE_HZ // common).astype(np.float32)
    a, b = find_strums(samples, RATE_HZ), find_strums(other, rate_hz)
    moved = np.abs(b.time_s - a.time_s)
    assert np.quantile(moved, 0.9) <= 3e-4
    assert np.all(moved <= 2 * a.u_s)


@pytest.mark.parametrize("rate_hz", [8000, 16000, 11025])
def test_low_sample_rates_still_find_every_strum_against_construction(
    rate_hz: int, take: tuple[npt.NDArray[np.float32], FloatArray]
) -> None:
    """A voice recorder's rates: less is heard and the times may be off by more, but no strum is lost."""
    samples, times_s = take
    common = np.gcd(rate_hz, RATE_HZ)
    other = scipy.signal.resample_poly(samples.astype(float), rate_hz // common, RATE_HZ // common).astype(np.float32)
    assert np.median(np.abs(errors_ms(find_strums(other, rate_hz), times_s))) <= 1.5


def test_a_slow_strum_is_one_strum_against_construction() -> None:
    """Strings spread over 60 ms belong together: none counts twice; two of twelve may be lost."""
    times_s = played(12, interval_s=0.8, seed=3)
    errors_ms(find_strums(strummed(times_s, spread_s=0.060, seed=3), RATE_HZ), times_s, wrong=2)


def test_strums_a_tenth_of_a_second_apart_are_two_against_construction() -> None:
    """Sixteenths at 150 bpm; one in ten may be lost."""
    times_s = played(40, interval_s=0.1, seed=4)[:1] + 0.1 * np.arange(40)
    errors_ms(find_strums(strummed(times_s, spread_s=0.008, seed=4), RATE_HZ), times_s, wrong=4)


def test_stopping_the_strings_is_no_strum_against_construction() -> None:
    """Every chord is stopped after 300 ms; a stop makes no sound of its own here but ends everything within 8 ms."""
    times_s = played(12, interval_s=0.7, seed=5)
    errors_ms(find_strums(strummed(times_s, seed=5, ring_s=0.3), RATE_HZ), times_s, wrong=1)


def test_a_knock_is_no_strum_and_is_listed_with_a_reason_against_construction() -> None:
    """A thump at 80 Hz between two strums, twice as loud as they are soft."""
    times_s = played(10, interval_s=0.9, seed=6)
    samples = strummed(times_s, seed=6, ring_s=0.35)
    t = np.arange(6000) / RATE_HZ
    at = round((times_s[4] + 0.6) * RATE_HZ)
    samples[at : at + len(t)] += (0.2 * np.sin(2 * np.pi * 80 * t) * np.exp(-t / 0.025)).astype(np.float32)
    found = find_strums(samples, RATE_HZ)
    errors_ms(found, times_s)
    near = [i for i in found.ignored if abs(i.time_s - at / RATE_HZ) < 0.05]
    assert len(near) == 1
    assert near[0].reason


def test_rises_that_belong_to_no_strum_agree_with_a_plain_comparison_of_all_with_all() -> None:
    """Each rise beside the strum that began last, against every rise beside every strum."""
    rng = np.random.default_rng(7)
    rise_s, strum_s = np.sort(rng.uniform(0, 60, 400)), np.sort(rng.uniform(5, 55, 80))
    rise_db = rng.uniform(0, 10, 400).astype(np.float32)
    since = rise_s[:, None] - strum_s
    alone = (rise_db >= WORTH_NAMING_DB) & ~np.any((since > -LEAD_S) & (since < TAIL_S), axis=1)
    np.testing.assert_array_equal(_unclaimed(rise_s, rise_db, strum_s), rise_s[alone])
    assert len(_unclaimed(rise_s, rise_db, np.empty(0))) == np.sum(rise_db >= WORTH_NAMING_DB)


@pytest.mark.parametrize("seconds", [0.0, 0.01, 3.0])
def test_silence_holds_no_strum_against_construction(seconds: float) -> None:
    """Nothing at all, whatever its length."""
    assert len(find_strums(np.zeros(int(seconds * RATE_HZ), np.float32), RATE_HZ)) == 0


def test_noise_holds_no_strum_against_construction() -> None:
    """Ten seconds of steady noise."""
    noise = np.random.default_rng(0).standard_normal(10 * RATE_HZ).astype(np.float32)
    assert len(find_strums(0.1 * noise, RATE_HZ)) == 0


@pytest.mark.parametrize(
    ("samples", "rate_hz"),
    [(np.zeros((10, 2)), 44100), (np.full(1000, np.nan), 44100), (np.zeros(1000), 4000), (np.zeros(1000), 400000)],
)
def test_what_is_no_channel_of_samples_is_refused(samples: FloatArray, rate_hz: int) -> None:
    """Two channels, NaN and impossible rates are the caller's mistakes."""
    with pytest.raises(UsageError, match="find_strums needs"):
        find_strums(samples, rate_hz)


def test_predictors_agree_with_a_plain_toeplitz_solver() -> None:
    """Levinson's recursion on all rows at once, against scipy.linalg.solve_toeplitz on one at a time."""
    segments = np.random.default_rng(2).standard_normal((5, 300)).cumsum(axis=1)
    for a, x in zip(predictors(segments, 20), segments, strict=True):
        w = x * np.hanning(302)[1:-1]
        r = np.array([w[: 300 - k] @ w[k:] for k in range(21)])
        r[0] = r[0] * (1 + 1e-6) + 1e-12
        np.testing.assert_allclose(a[1:], scipy.linalg.solve_toeplitz(r[:20], -r[1:]), rtol=0, atol=1e-7)


def _plain_evidence(x: FloatArray, rate_hz: float, centre_s: float) -> FloatArray:
    """The first ten channels at 11 kHz, plainly: one candidate, filtered in time, summed sample by sample."""
    begin = round((centre_s - BEFORE_S) * rate_hz)
    learned = begin + round((BEFORE_S - LEARN_UNTIL_S) * rate_hz)
    a = predictors(x[None, learned - round(LEARN_S * rate_hz) : learned], ORDER)[0]
    heard = np.zeros(4096)
    first = begin - ORDER - round(QUIET_S[0] * rate_hz)
    taken = round(begin + STEPS * STEP_S * rate_hz) + 4 - first
    heard[:taken] = x[first : first + taken]
    residual = scipy.signal.lfilter(a, 1, heard)
    octave = np.log2(np.maximum(np.fft.rfftfreq(4096, 1 / rate_hz), 1.0))

    def slope(edge_hz: float, width: float) -> FloatArray:
        return np.sin(np.pi / 2 * np.clip((octave - np.log2(edge_hz)) / width + 0.5, 0, 1))

    def below(edge_hz: float, width: float = 0.5) -> FloatArray:
        return np.sin(np.pi / 2 * np.clip((np.log2(edge_hz) - octave) / width + 0.5, 0, 1))

    edges = [*SPLITS_HZ, HIGHEST_HZ]
    masks = [below(high, 0.1 if high == HIGHEST_HZ else 0.5) for high in edges]
    masks = [m * (slope(low, 0.5) if low else 1.0) for m, low in zip(masks, [0.0, *SPLITS_HZ], strict=True)]
    masks.append(slope(BRIGHT_HZ, 0.5) * below(HIGHEST_HZ, 0.1))
    out = np.empty((STEPS, 10))
    for j, mask in enumerate(masks):
        power = np.fft.irfft(np.fft.rfft(residual if j < 4 else heard) * mask) ** 2
        at = begin - first
        steps = power[at : at + 4 * STEPS].reshape(STEPS, 4).mean(axis=1)
        calm = power[at - round(QUIET_S[0] * rate_hz) : at - round(QUIET_S[1] * rate_hz)].mean()
        tiny = 1e-8 * steps.max() + 1e-16
        out[:, 2 * j] = np.clip(np.log10((steps + tiny) / (calm + tiny)), -2, 6) / 2
        out[:, 2 * j + 1] = np.clip(np.log10((steps + tiny) / (steps.max() + tiny)), -6, 0) / 2 + 1
    return out


def test_evidence_agrees_with_a_plain_way_to_it(take: tuple[npt.NDArray[np.float32], FloatArray]) -> None:
    """Many candidates by Fourier transforms in single precision, against one at a time in double precision."""
    samples, times_s = take
    x, rate_hz = decimated(samples, RATE_HZ)
    centre_s = on_samples(times_s[1:9] + 0.01, rate_hz)
    removed = np.zeros_like(x)
    found = evidence(x, rate_hz, centre_s, removed)
    for e, c in zip(found, centre_s, strict=True):
        away = np.abs(e[:, :10] - _plain_evidence(x.astype(float), rate_hz, c))
        assert np.quantile(away, 0.99) <= 0.01
        assert away.max() <= 0.5  # the ends of the transforms lie elsewhere
    assert np.all(found[:, :, 10:] == -1)


@pytest.mark.parametrize("rate_hz", [8000, 11025, 12000, 16000, 11014])
def test_steps_of_a_band_are_a_third_of_a_millisecond_at_every_rate_against_theory(rate_hz: int) -> None:
    """A burst of 700 Hz of 20 ms begins and ends in the steps in which it should, as loud as it should be."""
    bands = bands_at(float(rate_hz), 100)
    t = (np.arange(bands.width) - bands.lead) / rate_hz
    burst = np.where((t > 0.030) & (t < 0.050), np.sin(2 * np.pi * 700 * t), 0.0)
    steps, before = bands.powers(np.fft.rfft(burst, bands.size)[None].astype(np.complex64), bands.split[0])
    middle = (np.arange(STEPS) + 0.5) * STEP_S
    inside = (middle > 0.032) & (middle < 0.048)
    assert np.mean(steps[0, inside]) == pytest.approx(0.5, abs=0.02)
    assert steps[0, (middle < 0.027) | (middle > 0.053)].max() < 1e-3
    assert before[0, 0] < 1e-4
    centre = float(np.sum(middle * steps[0]) / np.sum(steps[0]))
    assert centre == pytest.approx(0.040, abs=1e-4)


def test_levels_between_frames_agree_with_frames_transformed_there(
    take: tuple[npt.NDArray[np.float32], FloatArray],
) -> None:
    """Every second frame is transformed; the same sound begun one hop later has its frames between them."""
    x, rate_hz = decimated(take[0], RATE_HZ)
    hop = round(HOP_S * rate_hz)
    between = measure_levels(x, rate_hz).total_db[1::2]
    there = measure_levels(x[hop:], rate_hz).total_db[0::2]
    away = np.abs(between[:-2] - there[: len(between) - 2])[5:]
    assert np.median(away) <= 0.05
    assert np.quantile(away, 0.95) <= 1.0


def test_powers_of_bands_agree_with_a_plain_transform() -> None:
    """In blocks and single precision, against numpy's transform of one frame at a time."""
    x = np.random.default_rng(4).standard_normal(40_000).astype(np.float32)
    bands = _bands(512, 11025.0)
    power = _power(x, 11025.0, bands, np.arange(364))
    window = np.hanning(513)[:512]
    padded = np.concatenate([np.zeros(256), x, np.zeros(1024)])
    for k in (0, 1, 127, 128, 129, len(power) - 1):
        plain = np.abs(np.fft.rfft(padded[110 * k : 110 * k + 512] * window)) ** 2 @ bands / np.sum(window**2)
        np.testing.assert_allclose(power[k], plain, rtol=1e-4, atol=0)
    assert len(with_halves(power)) == 2 * len(power)


def test_a_recording_cut_into_a_ringing_chord_does_not_begin_with_a_strum_against_construction(
    take: tuple[npt.NDArray[np.float32], FloatArray],
) -> None:
    """The recording begins 200 ms after the third strum."""
    samples, times_s = take
    begin_s = times_s[2] + 0.2
    found = find_strums(samples[round(begin_s * RATE_HZ) :], RATE_HZ)
    errors_ms(found, times_s[3:] - begin_s)


def test_convolution_agrees_with_numpy() -> None:
    """The network's convolution along time, against numpy.convolve channel by channel."""
    rng = np.random.default_rng(3)
    x, kernel = rng.standard_normal((2, 40, 3)).astype(np.float32), rng.standard_normal((15, 4)).astype(np.float32)
    y = _seen(x, 5, dilation=2) @ kernel
    taps = np.zeros((9, 3, 4))
    taps[::2] = kernel.reshape(5, 3, 4)
    for n in range(2):
        for o in range(4):
            plain = sum(np.convolve(x[n, :, c], taps[::-1, c, o], "same") for c in range(3))
            np.testing.assert_allclose(y[n, :, o], plain, rtol=0, atol=1e-4)


def test_frames_left_out_are_silent_against_themselves_computed() -> None:
    """Where the removed click's level is not computed it is the lowest that there is: all frames, computed."""
    rng = np.random.default_rng(5)
    removed = np.zeros(6 * 11025, np.float32)
    for place, loudness in zip(range(2000, 60000, 5000), 10.0 ** -np.arange(0, 6, 0.5), strict=True):
        removed[place : place + 400] = loudness * rng.standard_normal(400) * np.exp(-np.arange(400) / 60)
    n, weights = len(removed) // 110 + 1, rng.random((257, 1)).astype(np.float32)
    weights[[0, -1]] = 0
    chosen = _touched(removed, 11025, n, float(weights.max()))
    power = _power(removed, 11025, weights, np.arange(n))[:, 0]
    assert 0.1 < len(chosen) / n < 0.5
    assert np.delete(power, chosen).max() <= 10 ** (2 * QUIETEST)


def test_soft_removed_clicks_change_no_evidence_against_themselves_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Candidates at which the removed click is not looked at would have told the same: all of them, looked at."""
    rng = np.random.default_rng(6)
    x = 0.1 * rng.standard_normal(4 * 11025).astype(np.float32)
    loudness = np.repeat(10.0 ** -np.arange(0, 6, 0.75), len(x) // 8 + 1)[: len(x)]
    removed = (loudness * rng.standard_normal(len(x))).astype(np.float32)
    centre_s = np.arange(0.2, 3.8, 0.05)
    seen = residual.evidence(x, 11025, centre_s, removed)
    monkeypatch.setattr(residual, "LEAST_SHARE", 0.0)
    np.testing.assert_array_equal(seen, residual.evidence(x, 11025, centre_s, removed))
    assert 0.2 < np.mean((seen[:, :, 10:] == -1).all(axis=(1, 2))) < 0.8


def test_the_weights_fit_the_evidence() -> None:
    """The shipped weights are finite and small enough to read."""
    w = shipped_detector().weights
    arrays = [a for name in type(w).__slots__ for a in getattr(w, name)]
    assert all(np.isfinite(a).all() for a in arrays)
    assert sum(a.size for a in arrays) < 50_000


def test_a_detector_written_and_read_again_finds_the_same_strums(
    take: tuple[npt.NDArray[np.float32], FloatArray], tmp_path: Path
) -> None:
    """The shipped detector, through a file of its own: times, doubt and probabilities to the last bit."""
    shipped_detector().save(tmp_path / "again.npz")
    again = Detector.load(tmp_path / "again.npz")
    assert again.calibration == CALIBRATION
    assert dict(again.provenance) == dict(shipped_detector().provenance)
    one, other = find_strums(take[0], RATE_HZ), find_strums(take[0], RATE_HZ, detector=again)
    np.testing.assert_array_equal(one.time_s, other.time_s)
    np.testing.assert_array_equal(one.u_s, other.u_s)
    assert one.bias_u_s == other.bias_u_s
    assert again.second is not None
    assert again.second.calibration != CALIBRATION


def test_a_second_opinion_drops_what_it_does_not_hear_and_adds_what_it_is_sure_of_by_construction() -> None:
    """Four strums of one detector and five sounds of the other: which of them are told, and whose times."""
    first_s, first_p = np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.95, 0.75, 0.75, 0.95])
    heard_s, likely = np.array([2.004, 3.5, 4.05, 5.0, 6.0]), np.array([0.6, 0.95, 0.99, 0.8, 0.95])
    steps = np.full((5, STEPS), 1e-9)
    steps[:, STEPS // 2] = 1.0
    steps[4] = 1.0 / STEPS  # no telling when
    look = _Look(
        from_s=heard_s - (STEPS // 2 + 0.5) * STEP_S,
        steps=steps,
        likely=likely,
        evidence=np.zeros((5, STEPS, 1), np.float32),
    )
    time_s, u_s, p = _with_second(first_s, np.full(4, 0.001), first_p, _opinion(look, shipped_detector()))
    np.testing.assert_allclose(time_s, [1.0, 2.0, 4.0, 3.5], atol=1e-6)  # 3.0 heard by one alone and not sure
    np.testing.assert_array_equal(p, [0.95, 0.75, 0.95, 0.95])
    assert u_s.shape == (4,)


def test_another_detector_changes_what_is_found_by_construction(
    take: tuple[npt.NDArray[np.float32], FloatArray],
) -> None:
    """One that believes nothing finds nothing; one whose strums share all of their doubt says so."""
    deaf = replace(
        shipped_detector(), second=None, calibration=replace(CALIBRATION, least_probability=1.1, least_if_sharp=1.1)
    )
    assert len(find_strums(take[0], RATE_HZ, detector=deaf)) == 0
    alike = replace(shipped_detector(), calibration=replace(CALIBRATION, bias_share=1.0))
    found = find_strums(take[0], RATE_HZ, detector=alike)
    assert found.bias_u_s == pytest.approx(np.sqrt(np.mean(found.u_s**2)))


@pytest.mark.parametrize("damage", ["no file", "no detector", "other features", "a number missing"])
def test_a_file_that_is_no_detector_for_this_house_is_refused_by_construction(damage: str, tmp_path: Path) -> None:
    """A missing file, another npz, a file for other features, a calibration without one of its numbers."""
    path = tmp_path / "damaged.npz"
    about = {"format": FORMAT, "features": FEATURES, "calibration": asdict(CALIBRATION), "provenance": {}}
    if damage == "no detector":
        np.savez(path, a=np.zeros(3))
    elif damage != "no file":
        if damage == "other features":
            about["features"] = FEATURES + 1
        else:
            del about["calibration"]["floor"]
        np.savez(path, about=np.array(json.dumps(about)), **shipped_detector().weights.arrays())
    with pytest.raises(UsageError, match=r"damaged\.npz"):
        Detector.load(path)


def test_decimation_keeps_a_tone_in_phase_and_removes_what_would_fold_against_theory() -> None:
    """1 kHz passes unchanged in place; 8 kHz, which would fold to 3 kHz, is 60 dB down."""
    t = np.arange(RATE_HZ) / RATE_HZ
    low, rate = decimated(np.sin(2 * np.pi * 1000 * t), RATE_HZ)
    inside = slice(500, -500)
    expected = np.sin(2 * np.pi * 1000 * np.arange(len(low)) / rate)
    np.testing.assert_allclose(low[inside], expected[inside], rtol=0, atol=1e-3)
    high, _ = decimated(np.sin(2 * np.pi * 8000 * t), RATE_HZ)
    assert np.abs(high[inside]).max() < 1e-3


def test_place_and_uncertainty_of_a_normal_probability_against_theory() -> None:
    """A normal density with sd 1.2 steps: its mean; half of 1.96 sd, sharpened, and half a step."""
    k = np.arange(256) + 0.5
    p = np.exp(-0.5 * ((k - 100.3) / 1.2) ** 2)[None]
    place = place_of(p, CALIBRATION)
    u = doubt_of(p, place, CALIBRATION)
    assert place[0] == pytest.approx(100.3, abs=0.02)
    assert u[0] == pytest.approx(1.96 * 1.2 / np.sqrt(CALIBRATION.sharpen) / 2 + 0.5, abs=0.3)


def test_smeared_releases_are_placed_at_their_quantile_against_theory() -> None:
    """A normal density of 12 steps is wider than any clear release; one such strum among clear ones smears nothing."""
    k = np.arange(256) + 0.5
    wide, narrow = (np.exp(-0.5 * ((k - 100.3) / sd) ** 2)[None] for sd in (12.0, 1.2))
    wide, narrow = wide / wide.sum(), narrow / narrow.sum()
    assert smearing(wide, CALIBRATION) == 1.0
    assert smearing(np.concatenate([narrow, narrow, wide]), CALIBRATION) == 0.0
    place = place_of(wide, CALIBRATION, smeared=1.0)
    assert place[0] == pytest.approx(100.3 + scipy.stats.norm.ppf(CALIBRATION.smeared_quantile) * 12.0, abs=0.05)


def alike(seed: int, n: int = 8) -> tuple[FloatArray, FloatArray]:
    """Evidence and probabilities of strums alike, a touch ten steps before the release at step 60 + 12 i; in the last,
    the touch was thought a little likelier."""
    rng = np.random.default_rng(seed)
    evidence = rng.normal(0, 0.3, (n, STEPS, 3))
    steps = np.full((n, STEPS), 1e-6)
    for i, release in enumerate(60 + 12 * np.arange(n)):
        evidence[i, release:] += 2.0
        evidence[i, release - 10 : release - 7] += 1.0
        steps[i, release], steps[i, release - 10] = (0.4, 0.5) if i == n - 1 else (0.9, 0.1)
    return evidence, steps


def test_a_strum_that_could_have_begun_at_two_places_is_placed_as_the_others_of_its_take_by_construction() -> None:
    """The touch is taken for a touch once seven others have shown theirs; they stay where they were."""
    for seed in range(10):
        evidence, steps = alike(seed)
        before = place_of(steps, CALIBRATION)
        after = place_of(compared(steps, evidence, CALIBRATION), CALIBRATION)
        assert before[-1] == pytest.approx(60 + 12 * 7 - 10 + 0.5, abs=0.01)
        np.testing.assert_allclose(after, 60 + 12 * np.arange(8) + 0.5, rtol=0, atol=0.01)


def test_only_the_sound_is_compared_so_the_order_of_the_strums_does_not_matter_by_construction() -> None:
    """Strums in another order keep their probabilities; so do all strums of a take of too few."""
    evidence, steps = alike(1)
    other = np.random.default_rng(2).permutation(len(steps))
    all_of_them = compared(steps, evidence, CALIBRATION)
    np.testing.assert_allclose(compared(steps[other], evidence[other], CALIBRATION), all_of_them[other], atol=1e-4)
    few = slice(-(LEAST - 1), None)
    np.testing.assert_array_equal(compared(steps[few], evidence[few], CALIBRATION), steps[few])


def test_strums_that_are_sure_are_left_where_they_are_by_construction() -> None:
    """Seven of the eight are known to a step once their touch is less likely: their rows come back untouched."""
    evidence, steps = alike(3)
    steps[:-1] = np.where(steps[:-1] > 0.5, 1.0, 1e-6)
    np.testing.assert_array_equal(compared(steps, evidence, CALIBRATION)[:-1], steps[:-1])


def test_uncertainties_looked_for_nearby_are_those_of_all_steps_against_themselves() -> None:
    """Narrow and wide probabilities, also at the ends: the steps nearby, and all of them, give the same reach."""
    rng = np.random.default_rng(7)
    middle, spread = rng.uniform(0, 256, 300), 10 ** rng.uniform(-0.5, 2, 300)
    share = np.exp(-0.5 * ((np.arange(256) - middle[:, None]) / spread[:, None]) ** 2).astype(np.float32)
    share /= share.sum(axis=1, keepdims=True)
    nearby, held = _reach(share, middle, NEARBY)
    np.testing.assert_array_equal(nearby[held], _reach(share, middle, 256)[0][held])
    assert 0.3 < held.mean() < 0.9


def test_the_likelihood_of_all_places_at_once_is_that_of_each_against_its_plain_twin() -> None:
    """The sums of squares over steps and channels, place by place, but for one constant."""
    rng = np.random.default_rng(4)
    places, length = 40, (BEFORE + AFTER) // HOP + 1
    own = rng.normal(size=(places, 3)).astype(np.float32)
    seen = np.pad(own, ((BEFORE, AFTER), (0, 0)), mode="edge")
    mean = rng.normal(size=(length, 3)).astype(np.float32)
    variance = rng.uniform(0.1, 2, (length, 3)).astype(np.float32)
    twin = [-0.5 * ((seen[k : k + HOP * length : HOP][:length] - mean) ** 2 / variance).sum() for k in range(places)]
    at_once = _log_likelihood(own[None], mean[None], variance[None], places)[0]
    np.testing.assert_allclose(at_once - at_once[0], np.array(twin) - twin[0], rtol=0, atol=1e-2)
