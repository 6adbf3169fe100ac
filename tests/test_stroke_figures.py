"""Evenness, accents, hardness, and up- against down-strokes."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from strumclock.audio.decimation import decimated
from strumclock.errors import Absent
from strumclock.grid import Exercise
from strumclock.pipeline import measure
from strumclock.stroke import Directions, Levels, Spreads, Timed, measure_levels, measure_stroke
from strumclock.synthesis import Player, Scene, synthesise

N = 96


UNTOLD = Absent(code="alike", reason="they sound alike")


def made_up(
    *,
    up_later_ms: float = 0.0,
    up_louder_db: float = 0.0,
    up_jitter_ms: float = 8.0,
    accent_db: float = 0.0,
    scatter_db: float = 1.0,
    letters: str = "DU",
    seed: int = 1,
) -> tuple[np.ndarray, Levels, Timed]:
    """Twelve bars of eighths with known errors and levels."""
    rng = np.random.default_rng(seed)
    slot = np.arange(N)
    line_s = 0.3 * slot
    letter = np.array(list(letters))[slot % len(letters)]
    up = letter == "U"
    deviation_ms = np.where(up, up_jitter_ms, 8.0) * rng.standard_normal(N) + up_later_ms * up + 3.0 * line_s / 30
    level_db = scatter_db * rng.standard_normal(N) + up_louder_db * up + accent_db * (slot % 8 == 0)
    timed = Timed(
        slot=slot,
        beat=(slot // 2) % 4 + 1,
        part=slot % 2 + 1,
        letter=letter,
        line_s=line_s,
        deviation_ms=deviation_ms,
        u_ms=np.full(N, 0.7),
    )
    levels = Levels(
        level_db=level_db,
        u_db=np.full(N, 0.05),
        treble_db=-10 + 0.5 * rng.standard_normal(N),
        treble_u_db=np.full(N, 0.1),
    )
    return line_s + deviation_ms / 1000, levels, timed


def known(n: int, spread_ms: float = 20.0) -> Spreads:
    return Spreads(spread_s=np.full(n, spread_ms / 1000), u_s=np.full(n, 0.004), shared_u_s=0.005)


def test_up_strokes_that_are_late_and_soft_are_told_so_against_construction() -> None:
    """Truth: up-strokes 15 ms later and 3 dB softer by construction, drift beside it."""
    time_s, levels, timed = made_up(up_later_ms=15.0, up_louder_db=-3.0)
    found = measure_stroke(time_s, levels, known(N), UNTOLD, timed=timed).up_against_down
    assert found is not None
    assert found.offset_ms is not None
    assert found.level_db is not None
    assert found.source == "told"
    assert found.offset_ms.low < 15 < found.offset_ms.high
    assert found.offset_ms.excludes(0)
    assert abs(found.offset_ms.value - 15) < 5
    assert abs(found.level_db.value + 3) < 0.6
    assert (found.up.n, found.down.n) == (48, 48)


def test_jitter_of_each_direction_against_construction() -> None:
    """Truth: scatter 8 ms down and 24 ms up."""
    time_s, levels, timed = made_up(up_jitter_ms=24.0)
    found = measure_stroke(time_s, levels, known(N), UNTOLD, timed=timed).up_against_down
    assert found is not None
    assert found.up.jitter_ms is not None
    assert found.down.jitter_ms is not None
    assert found.up.jitter_ms.low < 24 < found.up.jitter_ms.high
    assert found.down.jitter_ms.low < 8 < found.down.jitter_ms.high
    assert found.up.jitter_ms.low > found.down.jitter_ms.high


def test_intervals_of_equal_strokes_hold_zero_as_often_as_stated() -> None:
    """Truth: no difference by construction; 95 % intervals hold zero in 40 takes of 40 within chance (at least 33)."""
    held = {"offset_ms": 0, "level_db": 0}
    for seed in range(40):
        time_s, levels, timed = made_up(seed=seed)
        found = measure_stroke(time_s, levels, known(N), UNTOLD, timed=timed).up_against_down
        assert found is not None
        for name in held:
            held[name] += not getattr(found, name).excludes(0)
    assert all(count >= 33 for count in held.values())


def test_heard_directions_take_the_place_of_a_pattern_that_was_not_told() -> None:
    """Truth: letters unknown, every second strum heard as up; unsure ones are left out."""
    time_s, levels, timed = made_up(up_later_ms=15.0)
    p_up = np.where(np.arange(N) % 2 == 1, 0.99, 0.01)
    p_up[:10] = 0.5
    timed.letter = np.full(N, "?")
    heard = Directions(p_up=p_up, separation=2.0, gain=30.0)
    stroke = measure_stroke(time_s, levels, known(N), heard, timed=timed)
    assert stroke.heard is not None
    assert (stroke.heard.n_down, stroke.heard.n_up, stroke.heard.n_unsure) == (43, 43, 10)
    assert stroke.heard.agrees is None
    assert stroke.up_against_down is not None
    assert stroke.up_against_down.source == "heard"
    assert stroke.up_against_down.up.n == 43


def test_agreement_with_the_told_pattern_counts_known_directions_only() -> None:
    """Truth: four of the known strums go against their letters."""
    time_s, levels, timed = made_up()
    p_up = np.where(np.arange(N) % 2 == 1, 0.99, 0.01)
    p_up[:4] = 1 - p_up[:4]
    p_up[4:8] = 0.6
    stroke = measure_stroke(time_s, levels, known(N), Directions(p_up=p_up, separation=2.0, gain=9.0), timed=timed)
    assert stroke.heard is not None
    assert stroke.heard.agrees == pytest.approx(88 / 92)


def test_evenness_is_told_about_the_patterns_accents() -> None:
    """Truth: 1 dB of scatter under an accent of 9 dB on each downbeat."""
    time_s, levels, timed = made_up(accent_db=9.0)
    stroke = measure_stroke(time_s, levels, known(N), UNTOLD, timed=timed)
    assert stroke.evenness_db is not None
    assert stroke.evenness_db.low < 1 < stroke.evenness_db.high < 1.5
    loudest = max(stroke.accents, key=lambda a: a.level_db.value)
    assert (loudest.beat, loudest.part, loudest.n) == (1, 1, 12)
    assert loudest.level_db.low < 9 * 7 / 8 < loudest.level_db.high
    assert sum(a.level_db.value for a in stroke.accents) == pytest.approx(0, abs=1e-9)


def test_without_a_grid_there_are_no_accents_and_no_offsets() -> None:
    """Truth: nothing to be late against, no places."""
    time_s, levels, _ = made_up()
    p_up = np.where(np.arange(N) % 2 == 1, 0.99, 0.01)
    stroke = measure_stroke(time_s, levels, known(N), Directions(p_up=p_up, separation=2.0, gain=30.0))
    assert stroke.accents == ()
    assert stroke.up_against_down is not None
    assert stroke.up_against_down.offset_ms is None
    assert stroke.up_against_down.up.jitter_ms is None
    assert stroke.evenness_db is not None


def test_each_absence_has_its_reason() -> None:
    """Truth: three strums, unknown spreads, no directions."""
    levels = Levels(level_db=np.zeros(3), u_db=np.zeros(3), treble_db=np.zeros(3), treble_u_db=np.zeros(3))
    unknown = Spreads(spread_s=np.full(3, np.nan), u_s=np.full(3, np.nan), shared_u_s=0.0)
    stroke = measure_stroke(np.arange(3.0), levels, unknown, UNTOLD)
    for name in ("spread_ms", "heard", "up_against_down", "evenness_db", "attack_sd_db"):
        assert getattr(stroke, name) is None
        assert stroke.absent[f"stroke.{name}"].reason
    assert [one.spread_ms for one in stroke.by_strum] == [None] * 3


def test_shared_uncertainty_of_the_spread_does_not_average_out() -> None:
    """Truth: 5 ms that all strums share."""
    time_s, levels, timed = made_up()
    stroke = measure_stroke(time_s, levels, known(N), UNTOLD, timed=timed)
    assert stroke.spread_ms is not None
    assert stroke.spread_ms.value == pytest.approx(20)
    assert 5 <= stroke.spread_ms.u < 5.1


def test_levels_follow_the_sound_against_theory() -> None:
    """Truth: bursts of one sound, each 6.02 dB above the one before, 20 log10(2)."""
    rate_hz, rng = 11025.0, np.random.default_rng(3)
    burst = rng.standard_normal(2000) * np.exp(-np.arange(2000) / 800)
    x = np.zeros(40000, np.float32)
    time_s = np.array([0.5, 1.3, 2.1])
    for gain, t in zip((0.1, 0.2, 0.4), time_s, strict=True):
        x[int(t * rate_hz) : int(t * rate_hz) + 2000] += (gain * burst).astype(np.float32)
    found = measure_levels(x, rate_hz, time_s)
    np.testing.assert_allclose(np.diff(found.level_db), 20 * np.log10(2), rtol=0, atol=0.05)
    np.testing.assert_allclose(found.treble_db, found.treble_db[0], rtol=0, atol=0.1)
    louder = measure_levels(4 * x, rate_hz, time_s)
    np.testing.assert_allclose(louder.level_db, found.level_db, rtol=0, atol=1e-4)


def test_a_harder_stroke_has_the_harder_attack_against_construction() -> None:
    """Truth: the synthesiser's hardness, which rounds the corner that the pick leaves."""
    attack = []
    for hardness in (0.2, 0.9):
        exercise = Exercise(bpm=90, bars=4, chords=("A", "D"), beats_per_change=4)
        take = synthesise(exercise, Player(hardness=hardness), Scene(click_db=None), 6)
        x, rate_hz = decimated(take.samples, take.sample_rate_hz)
        attack.append(float(np.mean(measure_levels(x, rate_hz, take.truth.strum_s).treble_db)))
    assert attack[1] > attack[0] + 2


def test_the_pipeline_gives_strokes_and_the_bodys_offset() -> None:
    """Truth: construction; the body's offset is the mean offset plus half the mean spread of the strums on the grid."""
    from strumclock.audio import from_array

    exercise = Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1, bars=8, chords=("A", "D"))
    take = synthesise(dataclasses.replace(exercise, beats_per_change=4), Player(offset_ms=10), Scene(click_db=-6), 2)
    found = measure(from_array(take.samples, take.sample_rate_hz), exercise)
    assert found.stroke is not None
    assert found.stroke.heard is not None
    assert found.stroke.heard.agrees is not None
    assert found.stroke.heard.agrees > 0.95
    assert found.timing is not None
    mean, body = found.timing.mean_offset_ms, found.timing.body_offset_ms
    assert mean is not None
    assert body is not None
    assert found.stroke.spread_ms is not None
    assert body.value - mean.value == pytest.approx(found.stroke.spread_ms.value / 2, abs=1.0)
    assert body.u > mean.u
