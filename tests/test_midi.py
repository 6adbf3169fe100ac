"""Tempo maps: against the standard's bytes, mido's own arithmetic, and the grid that was written."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from strumclock.errors import AudioFileError, OutputError, StrumclockError, UsageError
from strumclock.grid import BeatGrid, Exercise, build_grid, lay_out, parse_meter
from strumclock.midi import grid_from_midi, read_tempo_map, write_midi

ROUND_TRIP_S = 1e-6
TICK_S = 60 / 20 * 2 / 9600  # a tick at the slowest tempo in half notes: how exactly notes lie


def _vlq(value: int) -> bytes:
    """A variable-length quantity (SMF 1.0): seven bits a byte, the high bit set on all but the last."""
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(0x80 | value & 0x7F)
    return bytes(reversed(out))


def _smf(path: Path, events: list[tuple[int, bytes]], division: int = 480, kind: int = 0) -> Path:
    """A Standard MIDI File from (delta ticks, message bytes), byte by byte as the standard has it."""
    track = b"".join(_vlq(delta) + message for delta, message in events) + b"\x00\xff\x2f\x00"
    header = b"MThd" + struct.pack(">IHHH", 6, kind, 1, division & 0xFFFF)
    path.write_bytes(header + b"MTrk" + struct.pack(">I", len(track)) + track)
    return path


def _tempo(hexadecimal: str) -> bytes:
    return b"\xff\x51\x03" + bytes.fromhex(hexadecimal)


def _meter(upper: int, power: int) -> bytes:
    return b"\xff\x58\x04" + bytes([upper, power, 24, 8])


MARK = b"\xff\x06\x01x"  # a marker, so that the file has an end

# FACTS D: µs per quarter as three bytes, and the tempo they mean (SMF 1.1 text and example dumps)
BYTES = [("07A120", 120.0), ("0A2C2B", 89.99996), ("047CE5", 204.00045), ("06BB57", 136.00045)]


@pytest.mark.parametrize(("hexadecimal", "bpm"), BYTES)
def test_tempo_bytes_mean_what_the_standard_says(tmp_path: Path, hexadecimal: str, bpm: float) -> None:
    """Bytes and tempi of the standard's text and example dumps; the file is built byte by byte."""
    file = _smf(tmp_path / "a.mid", [(0, _tempo(hexadecimal)), (480 * 4 * 25, MARK)])
    grid = grid_from_midi(file, Exercise())
    assert len(grid.line_s) == 100
    assert 60 * 99 / grid.line_s[-1] == pytest.approx(bpm, abs=6e-6)
    np.testing.assert_allclose(grid.line_s, np.arange(100) * int(hexadecimal, 16) / 1e6, rtol=0, atol=1e-10)


def test_without_a_tempo_it_is_120(tmp_path: Path) -> None:
    """SMF 1.0: no tempo event means 500 000 µs a quarter, no meter 4/4."""
    grid = grid_from_midi(_smf(tmp_path / "a.mid", [(480 * 8, MARK)]), Exercise())
    assert grid.line_s.tolist() == [0.5 * i for i in range(8)]
    assert grid.line_bar.tolist() == [1] * 4 + [2] * 4


def test_meter_bytes_mean_what_the_standard_says(tmp_path: Path) -> None:
    """FF 58 04 nn dd cc bb: dd is a power of two, so 06 03 is 6/8, whose beat is the dotted quarter; 03 02 is 3/4."""
    events = [(0, _meter(6, 3)), (480 * 6, _meter(3, 2)), (480 * 6, MARK)]
    grid = grid_from_midi(_smf(tmp_path / "a.mid", events), Exercise(per_beat=1))
    assert grid.line_s.tolist() == [0, 0.75, 1.5, 2.25, 3, 3.5, 4, 4.5, 5, 5.5]
    assert grid.line_bar.tolist() == [1, 1, 2, 2, 3, 3, 3, 4, 4, 4]
    assert grid.line_beat.tolist() == [1, 2, 1, 2, 1, 2, 3, 1, 2, 3]
    assert grid.beats_per_bar == 2
    assert grid.end_s == 6.0


def test_a_tempo_change_within_a_beat_moves_the_parts_in_it(tmp_path: Path) -> None:
    """By hand: half a beat at 120, half at 60 quarters a minute."""
    events = [(0, _tempo("07A120")), (240, _tempo("0F4240")), (240 + 480 * 3, MARK)]
    grid = grid_from_midi(_smf(tmp_path / "a.mid", events), Exercise(per_beat=4))
    np.testing.assert_allclose(grid.slot_s[:6], [0, 0.125, 0.25, 0.5, 0.75, 1.0], rtol=0, atol=1e-12)
    assert grid.beat_s[:5].tolist() == [0.75] * 4 + [1.0]


def test_pattern_and_chords_begin_anew_with_a_new_meter(tmp_path: Path) -> None:
    """By construction: a two-beat pattern in a bar of 3/4, then 4/4."""
    events = [(0, _meter(3, 2)), (480 * 3, _meter(4, 2)), (480 * 4, MARK)]
    grid = grid_from_midi(_smf(tmp_path / "a.mid", events), Exercise(per_beat=1, pattern="DU"))
    assert "".join(grid.stroke) == "DUD" + "DUDU"


def test_the_count_in_comes_before_zero(tmp_path: Path) -> None:
    """By construction: two bars counted in at 120, then 60 bpm."""
    events = [(0, _tempo("07A120")), (480 * 8, _tempo("0F4240")), (480 * 4, MARK)]
    grid = grid_from_midi(_smf(tmp_path / "a.mid", events), Exercise(count_in=2))
    assert grid.count_in_s.tolist() == [-4 + 0.5 * i for i in range(8)]
    assert grid.slot_s.tolist() == [0, 1, 2, 3]
    longer = grid_from_midi(tmp_path / "a.mid", Exercise(count_in=2, bars=3))
    assert longer.slot_s.tolist() == list(range(12))


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    tempi=st.lists(st.tuples(st.integers(1, 4000), st.integers(150_000, 3_000_000)), min_size=1, max_size=12),
    division=st.sampled_from([24, 96, 480, 960, 15360]),
)
def test_times_agree_with_mido_and_with_exact_fractions(
    tmp_path: Path, tempi: list[tuple[int, int]], division: int
) -> None:
    """Against mido.tick2second summed event by event (its own arithmetic), and exact fractions."""
    file = mido.MidiFile(ticks_per_beat=division)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempi[0][1], time=0)])
    ticks, by_mido, exact = [0], [0.0], [Fraction(0)]
    for (delta, us), (_, following) in zip(tempi, [*tempi[1:], tempi[0]], strict=True):
        track.append(mido.MetaMessage("set_tempo", tempo=following, time=delta))
        ticks.append(ticks[-1] + delta)
        by_mido.append(by_mido[-1] + mido.tick2second(delta, division, us))
        exact.append(exact[-1] + Fraction(delta * us, division * 1_000_000))
    file.tracks.append(track)
    file.save(tmp_path / "a.mid")
    seconds = read_tempo_map(tmp_path / "a.mid").seconds(ticks)
    np.testing.assert_allclose(seconds, by_mido, rtol=0, atol=1e-9)
    np.testing.assert_allclose(seconds, [float(e) for e in exact], rtol=2e-15, atol=0)


grids = st.tuples(
    st.floats(20, 400),
    st.sampled_from(["4/4", "3/4", "6/8", "12/8", "2/2", "7/8", "5/4", "4/16"]),
    st.sampled_from([1, 2, 3, 4]),
    st.integers(0, 3),
    st.integers(1, 60),
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(what=grids, swing=st.floats(0.5, 0.8))
def test_a_grid_survives_the_way_to_midi_and_back(
    tmp_path: Path, what: tuple[float, str, int, int, int], swing: float
) -> None:
    """Against the grid that was written: every slot and line within 1 µs, though MIDI's tempi are whole µs."""
    bpm, meter, per_beat, count_in, bars = what
    exercise = Exercise(
        bpm=bpm, meter=meter, per_beat=per_beat, count_in=count_in, swing=swing if per_beat in (2, 4) else None
    )
    grid = build_grid(exercise, bars=bars)
    write_midi(tmp_path / "a.mid", grid, meter=meter)
    back = grid_from_midi(tmp_path / "a.mid", exercise)
    for name in ("slot_s", "line_s", "count_in_s"):
        np.testing.assert_allclose(getattr(back, name), getattr(grid, name), rtol=0, atol=ROUND_TRIP_S)
    assert back.end_s == pytest.approx(grid.end_s, abs=ROUND_TRIP_S)
    for name in ("bar", "beat", "part", "stroke", "line_bar", "line_beat"):
        assert np.array_equal(getattr(back, name), getattr(grid, name))


def test_ten_minutes_at_97_do_not_drift(tmp_path: Path) -> None:
    """Whole microseconds drift 0.29 ms in ten minutes at 97 bpm; the written map must not, by mido's own clock."""
    grid = build_grid(Exercise(bpm=97, meter="4/4"), bars=250)
    whole_us = mido.bpm2tempo(97) * np.arange(1000) / 1e6
    assert abs(whole_us - grid.line_s).max() > 0.28e-3  # what the correction is there for
    write_midi(tmp_path / "a.mid", grid)
    assert abs(_notes(tmp_path / "a.mid", channel=9) - grid.line_s).max() < ROUND_TRIP_S


def test_irregular_beats_survive_too(tmp_path: Path) -> None:
    """By construction: a grid whose every beat has another length, as tapped by a person."""
    rng = np.random.default_rng(7)
    edges = np.cumsum(np.r_[0.0, rng.uniform(0.4, 0.9, 40)])
    grid = lay_out(
        Exercise(per_beat=2), meter=parse_meter("4/4"),
        line_bar=np.arange(40) // 4 + 1, line_beat=np.arange(40) % 4 + 1,
        place=lambda x: np.interp(x, np.arange(41), edges),
    )  # fmt: skip
    write_midi(tmp_path / "a.mid", grid)
    back = grid_from_midi(tmp_path / "a.mid", Exercise(per_beat=2))
    np.testing.assert_allclose(back.slot_s, grid.slot_s, rtol=0, atol=ROUND_TRIP_S)


def _notes(path: Path, *, channel: int) -> np.ndarray:
    """Note-on times by mido's own clock."""
    now, found = 0.0, []
    for message in mido.MidiFile(path):
        now += message.time
        if message.type == "note_on" and message.channel == channel:
            found.append(now)
    return np.array(found)


def test_clicks_slots_and_strums_lie_where_they_were(tmp_path: Path) -> None:
    """Against the placed grid, by mido's own clock: a file from the recording's start lines up with the recording."""
    exercise = Exercise(bpm=101.3, meter="6/8", per_beat=3, pattern="D.DD.U", count_in=1)
    grid = build_grid(exercise, bars=8).placed(4.321, 1.0002)
    strums = grid.slot_s + np.random.default_rng(1).normal(0, 0.02, len(grid))
    write_midi(tmp_path / "a.mid", grid, strums, meter="6/8", from_file_start=True)
    np.testing.assert_allclose(_notes(tmp_path / "a.mid", channel=9), grid.click_s, rtol=0, atol=ROUND_TRIP_S)
    np.testing.assert_allclose(_notes(tmp_path / "a.mid", channel=0), grid.slot_s, rtol=0, atol=TICK_S)
    np.testing.assert_allclose(_notes(tmp_path / "a.mid", channel=1), np.sort(strums), rtol=0, atol=TICK_S)
    names = [track.name for track in mido.MidiFile(tmp_path / "a.mid").tracks]
    assert names == ["Tempo map", "Click", "Grid", "Strums"]


def test_downbeats_have_the_high_click(tmp_path: Path) -> None:
    """General MIDI: key 76 is the high woodblock, 77 the low one; beat 1 has the high one, counted in or played."""
    write_midi(tmp_path / "a.mid", build_grid(Exercise(bpm=90, meter="3/4", count_in=1), bars=2), meter="3/4")
    keys = [m.note for m in mido.MidiFile(tmp_path / "a.mid") if m.type == "note_on" and m.channel == 9]
    assert keys == [76, 77, 77] * 3


def test_what_midi_cannot_say_is_wrong_usage(tmp_path: Path) -> None:
    """A beat of 20 s (three bytes hold 16.8 s), another meter, strums that are no numbers, a grid before the start."""
    grid = build_grid(Exercise(bpm=60, meter="4/4"), bars=1)
    with pytest.raises(UsageError, match="MIDI cannot say"):
        write_midi(tmp_path / "a.mid", grid.placed(0.0, 20.0))
    with pytest.raises(UsageError, match="4 beats a bar"):
        write_midi(tmp_path / "a.mid", grid, meter="3/4")
    with pytest.raises(UsageError, match="finite"):
        write_midi(tmp_path / "a.mid", grid, [1.0, np.nan])
    with pytest.raises(UsageError, match="begins within the recording"):
        write_midi(tmp_path / "a.mid", grid.placed(-1.0), from_file_start=True)
    assert list(tmp_path.iterdir()) == []  # nothing half-written
    with pytest.raises(OutputError, match="cannot write"):
        write_midi(tmp_path / "no" / "a.mid", grid)


def test_bad_files_are_named_in_one_line(tmp_path: Path) -> None:
    """By construction: missing, a folder, empty, not MIDI, cut short, independent tracks, video frames."""
    good = _smf(tmp_path / "good.mid", [(0, _tempo("07A120")), (480 * 8, MARK)]).read_bytes()
    bad = {
        "empty.mid": b"",
        "text.mid": b"not MIDI at all, but a text",
        "cut.mid": good[:30],
        "long-track.mid": good[:18] + b"\x00\x00\xff\xff" + good[22:],
    }
    for name, data in bad.items():
        (tmp_path / name).write_bytes(data)
    _smf(tmp_path / "type2.mid", [(480, MARK)], kind=2)
    _smf(tmp_path / "frames.mid", [(480, MARK)], division=-(25 << 8) | 40)
    names = [*bad, "type2.mid", "frames.mid", "missing.mid", ""]
    for name in names:
        with pytest.raises(AudioFileError, match="Standard MIDI File was required") as e:
            grid_from_midi(tmp_path / name, Exercise())
        assert "\n" not in str(e.value)


def test_every_error_of_reading_midi_is_ours(tmp_path: Path) -> None:
    """A hundred files with random damage: a map or an error of the tree, never another exception."""
    write_midi(tmp_path / "a.mid", build_grid(Exercise(bpm=97, meter="6/8"), bars=4), meter="6/8")
    good = (tmp_path / "a.mid").read_bytes()
    rng = np.random.default_rng(2)
    outcomes = set()
    for _ in range(100):
        data = bytearray(good)
        for at in rng.integers(0, len(data), 3):
            data[at] = rng.integers(0, 256)
        (tmp_path / "b.mid").write_bytes(data[: rng.integers(10, len(data) + 1)])
        try:
            outcomes.add(type(read_tempo_map(tmp_path / "b.mid")).__name__)
        except StrumclockError as e:
            outcomes.add(type(e).__name__)
    assert "AudioFileError" in outcomes
    assert outcomes <= {"TempoMap", "AudioFileError", "UsageError"}


def test_a_map_without_a_played_bar_is_wrong_usage(tmp_path: Path) -> None:
    """By construction: one bar, and one is counted in."""
    file = _smf(tmp_path / "a.mid", [(480 * 4, MARK)])
    with pytest.raises(UsageError, match="has 1 and 1 are counted in"):
        grid_from_midi(file, Exercise(count_in=1))


def test_a_grid_from_a_map_is_a_grid_like_any_other(tmp_path: Path) -> None:
    """The same exercise by tempo and by map: equal fields."""
    exercise = Exercise(bpm=90, meter="4/4", per_beat=2, pattern="D.DU.UDU", chords=("A", "D"), count_in=1)
    grid = build_grid(exercise, bars=4)
    write_midi(tmp_path / "a.mid", grid, meter="4/4")
    back = grid_from_midi(tmp_path / "a.mid", exercise)
    for name in BeatGrid.__slots__:
        a, b = getattr(grid, name), getattr(back, name)
        if isinstance(a, np.ndarray) and a.dtype.kind == "f":
            np.testing.assert_allclose(b, a, rtol=0, atol=ROUND_TRIP_S)
        elif isinstance(a, float):
            assert b == pytest.approx(a, abs=ROUND_TRIP_S)
        else:
            assert np.array_equal(a, b), name
