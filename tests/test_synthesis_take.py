"""A synthetic take: exact times, the same from every run, the truth consistent with itself and with the sound."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, lfilter
from synthesis_truth import check_truth

from strumclock.errors import UsageError
from strumclock.grid import Exercise
from strumclock.synthesis import CLICK_SOUNDS, NYLON, Player, Scene, synthesise, write_take
from strumclock.synthesis.scene import clicks
from strumclock.synthesis.strings import RATE_HZ

SHORT = Exercise(bpm=96, bars=2, meter="4/4", per_beat=2, pattern="D.DU.UDx", count_in=1, chords=("G", "C"))
DRY = Scene(noise_db=None)


def test_the_same_seed_gives_the_same_take_and_another_one_does_not() -> None:
    """Samples and truth are a function of the arguments."""
    scene = Scene(reverberation_s=0.2, phone=True)
    a, b, c = (synthesise(SHORT, Player(), scene, seed) for seed in (4, 4, 5))
    assert np.array_equal(a.samples, b.samples)
    assert a.truth.to_dict() == b.truth.to_dict()
    assert not np.array_equal(a.truth.strum_s, c.truth.strum_s)


def test_before_the_first_strum_there_is_only_the_pick_s_touch() -> None:
    """Without click and noise nothing sounds before the first note's lead, and until the release only what is faint."""
    take = synthesise(SHORT, Player(), Scene(click_db=None, noise_db=None), 1)
    first = round(take.truth.strum_s[0] * RATE_HZ)
    peak = np.abs(take.samples).max()
    b, a = butter(2, 1500, "high", fs=RATE_HZ)
    treble = np.abs(lfilter(b, a, take.samples.astype(float)))
    assert np.abs(take.samples[: first - 2300]).max() < 1e-6
    assert treble[: first - 5].max() < 0.2 * treble[first : first + 1323].max()
    assert peak == pytest.approx(0.7, abs=1e-3)


@pytest.mark.parametrize("sound", CLICK_SOUNDS)
def test_clicks_attack_at_their_times_against_the_definition(sound: str) -> None:
    """A lone click first exceeds a fifth of its peak above 1.5 kHz at its time within 0.03 ms, between samples too."""
    b, a = butter(2, 1500, "high", fs=RATE_HZ)
    for accent in (False, True):
        for t in (0.2, 0.2 + 0.31 / RATE_HZ, 0.2 + 0.77 / RATE_HZ):
            x = clicks(np.array([t]), np.array([accent]), sound, RATE_HZ // 2).astype(float)
            level = np.abs(lfilter(b, a, x))
            first = int(np.argmax(level > 0.2 * level.max()))
            assert abs(first / RATE_HZ - t) < 0.03e-3


def test_clicks_stand_on_the_metronome_against_arithmetic() -> None:
    """Click n comes n · 60/bpm after the first, on a recorder's clock that runs 80 ppm off: divided by 1.00008."""
    truth = synthesise(SHORT, Player(), Scene(skew_ppm=80, lead_s=0.5), 1).truth
    n = np.arange(12)
    np.testing.assert_allclose(truth.click_s, (0.5 + n * 60 / 96) / 1.00008, rtol=0, atol=1e-9)
    assert truth.first_downbeat_s == pytest.approx((0.5 + 4 * 60 / 96) / 1.00008, abs=1e-9)


def test_the_click_is_as_loud_as_told() -> None:
    """From −20 to +6 dB against the strums the clicks grow by 26 dB."""
    quiet, loud = (synthesise(SHORT, Player(), Scene(click_db=db, noise_db=None), 1) for db in (-20.0, 6.0))
    t = loud.truth
    before = slice(0, round(t.strum_s[0] * RATE_HZ) - 2300)
    strum = [round(s * RATE_HZ) for s in t.strum_s]
    ratio = np.abs(loud.samples[before]).max() / np.abs(quiet.samples[before]).max()
    between = slice(strum[0] + 4410, strum[0] + 8820)  # after the click: guitar alone, scaled with the peak
    scale = np.abs(quiet.samples[between]).max() / np.abs(loud.samples[between]).max()
    assert 20 * np.log10(ratio * scale) == pytest.approx(26, abs=0.1)


def test_headphones_leave_no_click_and_a_channel_holds_it_alone() -> None:
    """click_db None: no clicks in the truth; click_channel: guitar left, clicks right, none of it on the left."""
    assert len(synthesise(SHORT, Player(), Scene(click_db=None), 1).truth.click_s) == 0
    both = synthesise(SHORT, Player(), Scene(click_channel=True, noise_db=None), 1)
    first_click = round(both.truth.click_s[0] * RATE_HZ)
    assert both.samples.shape[1] == 2
    assert np.abs(both.samples[first_click : first_click + 900, 0]).max() < 1e-6
    assert np.abs(both.samples[first_click : first_click + 900, 1]).max() > 0.05


def test_a_click_in_the_count_in_only() -> None:
    """click_bars 1 of a 4/4 count-in: four clicks."""
    assert len(synthesise(SHORT, Player(), Scene(click_bars=1), 1).truth.click_s) == 4


def test_the_next_stroke_ends_the_last_chord() -> None:
    """After a change from E (a low E sounding) to D (four strings), nothing is left at 82.4 Hz."""
    exercise = Exercise(bpm=40, bars=2, meter="1/4", count_in=0, chords=("E", "D"))
    take = synthesise(exercise, Player(), Scene(click_db=None, noise_db=None), 2)
    change = round(take.truth.strum_s[1] * RATE_HZ)
    f = np.fft.rfftfreq(32768, 1 / RATE_HZ)

    def low_e(at: int) -> float:
        spectrum = np.abs(np.fft.rfft(take.samples[at : at + 32768] * np.hanning(32768)))
        return float(spectrum[np.abs(f - 82.41) < 4].max())

    assert 20 * np.log10(low_e(change + 4410) / low_e(change - 44100)) < -40


def test_spread_is_what_the_strings_did() -> None:
    """A full down-stroke spreads as asked, an up-stroke over four strings by three fifths of four fifths of it."""
    exercise = Exercise(bpm=60, bars=2, meter="4/4", per_beat=2, pattern="DU", count_in=0, chords=("E",))
    truth = synthesise(exercise, Player(spread_ms=30), DRY, 1).truth
    down, up = truth.stroke == "D", truth.stroke == "U"
    np.testing.assert_allclose(truth.spread_ms[down], 30, rtol=0, atol=0.03)
    np.testing.assert_allclose(truth.spread_ms[up], 30 * 3 / 5 * 0.8, rtol=0, atol=0.03)


def test_truth_is_plain_json_and_consistent_with_itself(tmp_path: Path) -> None:
    """offset = strum − slot, omitted and played slots make up the grid, times rise; no NaN in the file."""
    take = synthesise(SHORT, Player(miss=0.2, extra=0.2), Scene(), 3, guitar=NYLON)
    path = write_take(take, tmp_path / "t.flac", extra={"player": "Ada"})
    text = path.with_suffix(".json").read_text(encoding="utf-8")
    assert "NaN" not in text
    check_truth(json.loads(text), duration_s=take.duration_s)


@pytest.mark.parametrize("suffix", [".flac", ".wav", ".m4a", ".opus"])
def test_writing_shifts_nothing_against_cross_correlation(tmp_path: Path, suffix: str) -> None:
    """Each format gives back the same sound at the same place: the correlation peaks within 0.05 ms of no shift."""
    from strumclock.audio import load

    take = synthesise(SHORT, Player(), Scene(), 6)
    recording = load(write_take(take, tmp_path / f"a{suffix}"))
    got, want = recording.mono(), take.samples
    if recording.sample_rate_hz != RATE_HZ:
        import soxr

        got = soxr.resample(got, recording.sample_rate_hz, RATE_HZ)
    n = min(len(got), len(want))
    assert abs(len(got) - len(want)) < 2048
    size = 2 * n
    correlation = np.fft.irfft(np.fft.rfft(got[:n], size) * np.conj(np.fft.rfft(want[:n], size)), size)
    lag = (int(np.argmax(correlation)) + n) % size - n
    assert abs(lag) <= 2


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: synthesise(Exercise(bpm=90)), "bars"),
        (lambda: synthesise(Exercise(bars=4)), "tempo"),
        (lambda: synthesise(SHORT, detune_cents=(1.0, 2.0)), "six"),
        (lambda: synthesise(SHORT, capo=40), "capo"),
        (lambda: Scene(click_sound="gong"), "gong"),
        (lambda: Scene(skew_ppm=float("nan")), "skew_ppm"),
        (lambda: write_take(synthesise(SHORT), "a.txt"), "a.txt"),
    ],
)
def test_nonsense_is_one_clear_line(call, word: str) -> None:  # type: ignore[no-untyped-def]
    """Wrong use is a UsageError that says what came."""
    with pytest.raises(UsageError, match=word) as caught:
        call()
    assert "\n" not in str(caught.value)
