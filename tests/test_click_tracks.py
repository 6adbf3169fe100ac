"""Click tracks: each click is heard where it is said to be, by the rule used everywhere, and no louder than meant."""

from __future__ import annotations

from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile
from scipy.signal import butter, lfilter

from strumclock.audio import load
from strumclock.clicktrack import TIMBRES, ClickTrack, click_track, parse_steps, write_click_track
from strumclock.clicktrack.making import PEAK
from strumclock.errors import OutputError, UsageError
from strumclock.grid import Exercise
from strumclock.midi import grid_from_midi

RULE_HZ, RULE_SHARE, RULE_S = 1500.0, 0.2, 0.030  # DESIGN: above 1.5 kHz, a fifth of the peak within 30 ms
HEARD_MS = 0.035  # a sample at 32 kHz: the rule applied without interpolation answers with the next sample


def _heard_s(track: ClickTrack, rate: int) -> np.ndarray:
    """Each click's time by the rule, with a filter of another kind (Butterworth, causal) than the package's own."""
    b, a = butter(2, RULE_HZ, "high", fs=rate)
    high = np.abs(lfilter(b, a, track.samples.astype(float)))
    found = []
    for time_s in track.click_s:
        first = round((time_s - 0.01) * rate)
        here = high[first : first + round((0.01 + RULE_S) * rate)]
        found.append((first + int(np.argmax(here > RULE_SHARE * here.max()))) / rate)
    return np.array(found)


@pytest.mark.parametrize("timbre", TIMBRES)
@pytest.mark.parametrize("rate", [32_000, 44_100, 48_000, 96_000])
def test_every_click_is_heard_at_its_time(timbre: str, rate: int) -> None:
    """DESIGN's rule for a click's time, at tempi that fall between samples, accents and soft parts included."""
    exercise = Exercise(bpm=97.3, meter="4/4", bars=3, count_in=1, swing=0.63)
    track = click_track(exercise, clicks_per_beat=2, timbre=timbre, sample_rate_hz=rate)
    error_ms = (_heard_s(track, rate) - track.click_s) * 1000
    assert len(error_ms) == 4 + 3 * 8
    assert error_ms.min() > -0.005
    assert error_ms.max() < HEARD_MS


@pytest.mark.parametrize("timbre", TIMBRES)
def test_nothing_is_louder_than_meant(timbre: str) -> None:
    """−12 dB re full scale at the accents, less elsewhere; silence before the first click and between them."""
    track = click_track(Exercise(bpm=60, meter="3/4", bars=3), clicks_per_beat=2, timbre=timbre)
    assert 0.9 * PEAK < np.abs(track.samples).max() <= PEAK * 1.0001  # a peak may lie between two samples

    def peak(time_s: float) -> float:
        i = round(time_s * track.sample_rate_hz)
        return float(np.abs(track.samples[i : i + 3000]).max())

    accent, part, beat = (peak(t) for t in track.click_s[:3])
    assert 20 * np.log10(beat / accent) == pytest.approx(-4, abs=0.7)
    assert 20 * np.log10(part / accent) == pytest.approx(-12, abs=0.7)
    silent = np.ones(len(track.samples), bool)
    for time_s in track.click_s:
        i = round(time_s * track.sample_rate_hz)
        silent[i - 100 : i + 3000] = False
    assert not track.samples[silent].any()


def test_times_follow_tempo_meter_parts_and_count_in() -> None:
    """By hand: 6/8 at 60 has two beats a bar, a second each, with three clicks; the bar counted in has beats alone."""
    track = click_track(Exercise(bpm=60, meter="6/8", bars=1, count_in=1), clicks_per_beat=3, lead_s=0.25)
    np.testing.assert_allclose(track.click_s, 0.25 + np.r_[0, 1, 2 + np.arange(6) / 3], rtol=0, atol=1e-12)
    assert track.accented.tolist() == [True, False, True, False, False, False, False, False]
    assert track.on_beat.tolist() == [True, True, True, False, False, True, False, False]
    assert track.first_downbeat_s == 2.25
    assert not click_track(Exercise(bpm=60, bars=1), accent=False).accented.any()


def test_stepped_tempi_follow_each_other_without_a_seam() -> None:
    """By hand: two bars of 3/4 at 90, one at 120; the new tempo begins a whole old beat after the last one."""
    track = click_track(Exercise(meter="3/4", count_in=1), steps=parse_steps("2x90 1x120"), lead_s=0.0)
    beats = [2 / 3] * 9 + [0.5] * 2
    np.testing.assert_allclose(np.diff(track.click_s), beats, rtol=0, atol=1e-12)
    assert track.grid.end_s == pytest.approx(9 * 2 / 3 + 3 * 0.5)
    assert str(track).startswith("3/4, 2 bars at 90 bpm, then 1 bar at 120 bpm, after 1 bar counted in")


def test_a_wav_holds_the_samples(tmp_path: Path) -> None:
    """Read back: within a step of 16 bits."""
    track = click_track(Exercise(bpm=120, bars=2))
    write_click_track(track, tmp_path / "click.wav")
    back, rate = soundfile.read(tmp_path / "click.wav")
    assert rate == 44_100
    np.testing.assert_allclose(back, track.samples, rtol=0, atol=2**-15)
    assert load(tmp_path / "click.wav").notices == ()


def test_a_midi_file_has_the_clicks_and_the_tempi(tmp_path: Path) -> None:
    """By mido's own clock, and by the grid that its tempo map gives."""
    exercise = Exercise(meter="4/4", count_in=1)
    track = click_track(exercise, steps=[(4, 97.0), (4, 103.0)], clicks_per_beat=2)
    write_click_track(track, tmp_path / "click.mid")
    now, notes, keys = 0.0, [], []
    for message in mido.MidiFile(tmp_path / "click.mid"):
        now += message.time
        if message.type == "note_on":
            notes.append(now)
            keys.append(message.note)
    np.testing.assert_allclose(notes, track.click_s - track.click_s[0], rtol=0, atol=5e-5)
    assert [k == 76 for k in keys] == track.accented.tolist()
    grid = grid_from_midi(tmp_path / "click.mid", exercise)
    np.testing.assert_allclose(grid.line_s, track.grid.line_s - track.first_downbeat_s, rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: click_track(Exercise(bars=4)), "needs a tempo"),
        (lambda: click_track(Exercise(bpm=90), timbre="gong"), "wood, stick, tick, beep"),
        (lambda: click_track(Exercise(bpm=90), sample_rate_hz=8_000), "32000 to 192000"),
        (lambda: click_track(Exercise(bpm=90), lead_s=-1), "0 to 60 s"),
        (lambda: click_track(Exercise(bpm=90), lead_s=np.nan), "0 to 60 s"),
        (lambda: click_track(Exercise(bpm=90), clicks_per_beat=5), "per_beat"),
        (lambda: click_track(Exercise(bpm=20, bars=500)), "30 minutes"),
        (lambda: click_track(Exercise(), steps=[]), "at least one"),
        (lambda: click_track(Exercise(), steps=[(4, 500.0)]), "bpm"),
        (lambda: click_track(Exercise(), steps=[(0, 90.0)]), "bars"),
        (lambda: click_track(Exercise(bars=9), steps=[(8, 90.0)]), "8 bars"),
        (lambda: click_track(Exercise(bpm=80), steps=[(8, 90.0)]), "begin at 90"),
        (lambda: parse_steps("8x"), "8x80"),
        (lambda: parse_steps(""), "8x80"),
        (lambda: parse_steps("8x80 then 8x84"), "'then'"),
    ],
)
def test_nonsense_is_wrong_usage(make: object, match: str) -> None:
    """By construction; one line each."""
    with pytest.raises(UsageError, match=match) as e:
        make()  # type: ignore[operator]
    assert "\n" not in str(e.value)


def test_files_that_cannot_be_written_leave_nothing_behind(tmp_path: Path) -> None:
    """By construction: another ending, no folder, a folder of that name."""
    track = click_track(Exercise(bpm=120, bars=1))
    with pytest.raises(UsageError, match=r"\.wav or \.mid"):
        write_click_track(track, tmp_path / "click.ogg")
    for target in (tmp_path / "none" / "click.wav", tmp_path / "none" / "click.mid"):
        with pytest.raises(OutputError, match="cannot write"):
            write_click_track(track, target)
    (tmp_path / "click.wav").mkdir()
    with pytest.raises(OutputError, match="cannot write"):
        write_click_track(track, tmp_path / "click.wav")
    assert [p.name for p in tmp_path.iterdir()] == ["click.wav"]
