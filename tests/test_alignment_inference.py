"""What was not told.  Truth: the patterns, swings and tempi that the simulated strums were laid out with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from alignment_players import Player, clicks_of, play
from scipy import stats

from strumclock.alignment import align
from strumclock.alignment.inference import (
    _rarely,
    coarsest,
    find_accents,
    find_parts,
    find_pattern,
    letters,
    shortest,
    silent_places,
)
from strumclock.alignment.score import Explanation, score
from strumclock.alignment.tempo import coherence, played_tempo
from strumclock.grid import Exercise, build_grid, part_places


def laid_out(
    pattern: str, per_beat: int, *, swing: float | None = None, repeats: int = 12, sd: float = 0.02
) -> np.ndarray:
    """Strums of a repeating pattern, in beats, with a normal spread."""
    cell = np.flatnonzero(np.array(list(pattern * repeats)) != ".")
    beat = cell // per_beat + part_places(per_beat, swing)[cell % per_beat]
    return np.sort(beat + np.random.default_rng(len(pattern)).normal(0.0, sd, len(beat)))


@pytest.mark.parametrize(
    ("pattern", "per_beat", "swing"),
    [
        ("D", 1, None), ("DDD.", 1, None), ("DU", 2, None), ("D.DU.UDU", 2, None), ("D..D..D.", 2, None),
        (".U", 2, None), ("DDD", 3, None), ("D..D.DD..DDD", 3, None), ("D..UD.DUD..U.UDU", 4, None), ("DUDU", 4, None),
        ("DU", 2, 0.6), ("D.DU", 2, 0.67), ("DU", 2, 0.72),
    ],
)  # fmt: skip
def test_parts_and_pattern_are_found(pattern: str, per_beat: int, swing: float | None) -> None:
    """Parts of the beat, swing and the repeating places come out as laid out."""
    beat = laid_out(pattern, per_beat, swing=swing, repeats=48 // len(pattern) * 2)
    lattice, _ = find_parts(beat, [1, 2, 3, 4], None)
    assert lattice.per_beat == per_beat
    assert (lattice.swing is None) == (swing is None)
    if swing is not None:
        assert lattice.swing == pytest.approx(swing, abs=0.02)
    found = find_pattern(lattice.cell, per_beat=per_beat, beats_per_bar=4)
    assert found is not None
    period = np.array([c != "." for c in pattern])
    length = len(found.played) * len(period)
    assert (np.resize(found.played, length) == np.resize(period, length)).all()
    assert found.confidence > 0.85


@pytest.mark.parametrize("sd", [0.005, 0.02])
@pytest.mark.parametrize("swing", [0.57, 0.58, 0.62, 0.66, 0.72])
def test_a_swing_is_found_where_it_was_played(swing: float, sd: float) -> None:
    """Even players too: a median over both parts hopped between them, and .58 was found as .66."""
    beat = laid_out("DU", 2, swing=swing, repeats=48, sd=sd)
    lattice, _ = find_parts(beat, [1, 2, 3, 4], None)
    assert lattice.per_beat == 2
    assert lattice.swing == pytest.approx(swing, abs=0.01)


@pytest.mark.parametrize("swing", [0.58, 0.62, 0.66])
def test_two_parts_told_straight_and_played_swung_are_two_parts_still(swing: float) -> None:
    """Told is only where to look: every second strum was called added."""
    beat = laid_out("DU", 2, swing=swing, repeats=48, sd=0.015)
    lattice, _ = find_parts(beat, [1, 2, 3, 4], 0.5)
    assert (lattice.per_beat, lattice.swing) == (2, 0.5)
    assert (np.diff(lattice.cell) == 1).all()


def test_a_sloppy_player_is_not_turned_into_a_swinging_one() -> None:
    """Straight eighths at 92 bpm with a spread of 50 ms, 8 bars: at most 1 of 40 is read as swung."""
    straight = Exercise(bpm=92, meter="4/4", per_beat=2, count_in=1)
    swung = 0
    for seed in range(40):
        take = play(straight, Player(jitter_s=0.05), seed=seed, bars=8)
        swung += align(take.strum_s, Exercise(), clicks=clicks_of(take.grid)).exercise.swing is not None
    assert swung <= 1


def test_changes_that_come_late_by_a_fifth_of_a_beat_call_for_no_sixteenths() -> None:
    """Quarters whose every fourth is 0.2 beats late are quarters."""
    beat = np.arange(64) + np.random.default_rng(0).normal(0, 0.015, 64) + 0.2 * (np.arange(64) % 4 == 0)
    assert find_parts(beat, [1, 2, 3, 4], None)[0].per_beat == 1


def test_a_pattern_seen_twice_is_none() -> None:
    """Fewer than three repeats of even one beat: nothing is inferred."""
    assert find_pattern(np.array([0, 1]), per_beat=1, beats_per_bar=4) is None
    assert find_pattern(np.array([], dtype=int), per_beat=1, beats_per_bar=4) is None


def test_a_pattern_is_told_without_its_own_repeats() -> None:
    """Quarters of which every other one is left out at times are D, repeated as often as there are beats."""
    cell = np.setdiff1d(np.arange(32), [3, 5, 11, 15, 17, 23])
    seen = find_pattern(cell, per_beat=1, beats_per_bar=4)
    assert seen is not None
    assert letters(shortest(seen, 1).played, 1) == "D"
    assert shortest(seen, 1).repeats == 32
    eighths = replace(seen, played=np.array([True, False, True, True] * 2), silent=np.zeros(8), repeats=8)
    assert letters(shortest(eighths, 2).played, 2) == "D.DU"


def test_too_little_shows_no_pattern() -> None:
    """Two bars of D.DU.UDU, without a clear repeat, and two strums: every part is a place, and it is said why."""
    exercise = Exercise(bpm=84, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1)
    take = play(exercise, Player(), seed=5, bars=2)
    found = align(take.strum_s, Exercise(), clicks=clicks_of(take.grid))
    assert found.exercise.pattern is None
    assert (found.slot >= 0).all()
    assert any("does not show clearly" in n.message or "fewer than 3" in n.message for n in found.notices)
    two = play(Exercise(bpm=60, meter="2/4", per_beat=1, pattern="D.", count_in=2), Player(), seed=1, bars=2)
    assert align(two.strum_s, Exercise(), clicks=clicks_of(two.grid)).exercise.pattern is None


def test_confidence_grows_with_repeats() -> None:
    """The same pattern seen 4 and 12 times."""
    short, long = (
        find_pattern(np.flatnonzero(np.tile([1, 0, 1, 1, 0, 1, 1, 1], n)), per_beat=2, beats_per_bar=4) for n in (4, 12)
    )
    assert short is not None
    assert long is not None
    assert 0.5 < short.confidence < long.confidence < 1.0


@pytest.mark.parametrize(("hits", "seen"), [(0, 5), (1, 8), (3, 9), (12, 12), (40, 90)])
def test_how_sure_a_place_is_against_the_beta_distribution(hits: int, seen: int) -> None:
    """Truth: scipy's beta distribution, flat prior."""
    assert _rarely(hits, seen) == pytest.approx(stats.beta.cdf(0.5, hits + 1, seen - hits + 1), abs=1e-12)


def test_silent_places_need_evidence_and_a_pattern_that_is_kept() -> None:
    """Silent in 12 of 12 bars is silent; a pattern kept half the time is none."""
    kept = find_pattern(np.flatnonzero(np.tile([1, 0, 1, 1], 12)), per_beat=1, beats_per_bar=4)
    assert kept is not None
    assert silent_places(kept)
    stopped = find_pattern(np.concatenate([np.arange(14), [44]]), per_beat=1, beats_per_bar=4)
    assert stopped is None or not silent_places(stopped)


def test_coarsest_drops_parts_that_nobody_plays() -> None:
    """Quarters written in sixteenths are quarters."""
    found = find_pattern(np.flatnonzero(np.tile([1, 0, 0, 0], 20)), per_beat=4, beats_per_bar=4)
    assert found is not None
    per_beat, pattern = coarsest(found, 4)
    assert per_beat == 1
    assert letters(pattern.played, per_beat) == "D"


def test_accents_give_the_bar() -> None:
    """Every third click from the second on is accented."""
    beat = np.arange(24.0)
    found = find_accents(beat, beat % 3 == 1)
    assert found is not None
    assert (found.period, found.phase) == (3, 1)
    assert find_accents(beat, np.zeros(24, bool)) is None
    assert find_accents(beat, np.ones(24, bool)) is None
    assert find_accents(beat, np.random.default_rng(0).random(24) < 0.3) is None


def test_the_start_that_explains_the_pattern_wins() -> None:
    """D.DU from cell 6 on, its first strum missing."""
    played = np.array([1.0, 0.0, 1.0, 1.0])
    cell = 6 + np.flatnonzero(np.tile(played, 8))
    scores = [score(Explanation(cell=cell[1:], expected=played, start=at, phase=at)) for at in range(16)]
    assert int(np.argmax(scores)) == 6
    assert scores[6] == pytest.approx(-0.6, abs=1e-6)  # the one that is missing


@pytest.mark.parametrize(
    ("bpm", "per_beat", "pattern"), [(90, 1, "D"), (100, 2, "D.DU.UDU"), (66, 3, "D.DD.D"), (70, 4, "D..UD.DUD..U.UDU")]
)
def test_the_tempo_is_found_in_the_strums_alone(bpm: int, per_beat: int, pattern: str) -> None:
    """Truth: the tempo the take was laid out with; the estimate's error is far below what any ear tells."""
    take = play(Exercise(bpm=bpm, meter="4/4", per_beat=per_beat, pattern=pattern), Player(jitter_s=0.012), seed=1)
    found = played_tempo(take.strum_s)
    assert found is not None
    assert found.bpm == pytest.approx(bpm, rel=2e-3)
    assert found.per_beat == per_beat


def test_coherence_against_theory() -> None:
    """Truth: E|mean exp(iφ)|² = exp(-(2πfσ)²) for a normal spread σ; 0 for random times, chance being taken out."""
    rng = np.random.default_rng(0)
    rate, sd = np.array([2.0]), 0.03
    kept = np.mean([coherence(np.arange(200) * 0.5 + rng.normal(0, sd, 200), rate)[0] for _ in range(40)])
    assert kept == pytest.approx(np.exp(-((2 * np.pi * rate[0] * sd) ** 2)), abs=0.01)
    random = np.mean([coherence(np.sort(rng.uniform(0, 100, 200)), rate)[0] for _ in range(200)])
    assert random == pytest.approx(0.0, abs=0.01)


def test_few_or_random_strums_have_no_tempo() -> None:
    """15 strums are too few; of 50 random takes of 32 strums at most one seems to keep a tempo."""
    assert played_tempo(np.arange(15) * 0.5) is None
    rng = np.random.default_rng(1)
    assert sum(played_tempo(np.sort(rng.uniform(0, 20, 32))) is not None for _ in range(50)) <= 1


@pytest.mark.parametrize("anchor", ["clicks", "given", "fitted"])
def test_a_tempo_map_is_followed(anchor: str) -> None:
    """Sixteen bars at 80, 96 and 110 in turn: every strum on its slot, whatever places the map."""
    nominal = _changing_grid()
    rng = np.random.default_rng(2)
    rate, start_s = 1.0 - 40e-6, 4.2
    grid = nominal.placed(start_s, rate)
    strum_s = grid.slot_s - 0.01 + rng.normal(0, 0.01, len(grid))
    exercise = Exercise(per_beat=1)
    if anchor == "clicks":
        found = align(strum_s, exercise, grid=nominal, clicks=_clicks_at(grid.click_s))
        assert found.anchor == "recorded-click"
        assert found.clock_skew_ppm == pytest.approx(40.0, abs=10.0)
        assert np.abs(found.grid.slot_s - grid.slot_s).max() < 1e-3
    elif anchor == "given":
        found = align(strum_s, exercise, grid=nominal, first_downbeat_s=start_s, first_downbeat_u_s=0.002)
        assert found.anchor == "given"
    else:
        found = align(strum_s, exercise, grid=nominal)
        assert found.anchor == "fitted"
        assert np.abs(found.grid.slot_s - grid.slot_s).max() < 0.03
    assert found.slot.tolist() == list(range(len(grid)))
    assert len(found.omitted) == 0
    assert (found.exercise.meter, found.exercise.bpm) == ("4/4", 80.0)  # the map's, nothing inferred or assumed
    assert not {"bpm", "meter"} & set(found.inferred)
    assert "meter-assumed" not in [n.code for n in found.notices]


def test_clicks_that_do_not_follow_the_map_are_believed() -> None:
    """The click keeps 100 bpm where the map changes: the click wins, with a warning."""
    take = play(Exercise(bpm=100, meter="4/4", per_beat=1, count_in=1), Player(), seed=3)
    told = Exercise(meter="4/4", per_beat=1, count_in=1)
    found = align(take.strum_s, told, grid=_changing_grid(), clicks=clicks_of(take.grid))
    assert "tempo-differs" in [n.code for n in found.notices]
    assert found.exercise.bpm == 100
    assert (found.slot == np.arange(len(take.grid))).all()


def _changing_grid():  # type: ignore[no-untyped-def]
    """A tempo map of 16 bars, count-in of one bar included, as a MIDI file would give it."""
    from strumclock.grid import lay_out, parse_meter

    beat_s = 60.0 / np.concatenate([np.full(16, 80.0), np.full(24, 96.0), np.full(24, 110.0)])
    edges = np.concatenate([[0.0], np.cumsum(beat_s)])
    line = np.arange(64)
    return lay_out(
        Exercise(meter="4/4", per_beat=1), meter=parse_meter("4/4"), line_bar=line // 4 + 1, line_beat=line % 4 + 1,
        place=lambda at: np.interp(at, np.arange(65), edges) + np.minimum(at, 0) * beat_s[0], count_in=4,
    )  # fmt: skip


def _clicks_at(time_s: np.ndarray):  # type: ignore[no-untyped-def]
    from strumclock.click import Clicks

    n = len(time_s)
    return Clicks(
        time_s=time_s + np.random.default_rng(0).normal(0, 1e-4, n), u_s=np.full(n, 1e-4), heard=np.ones(n, bool),
        accented=np.zeros(n, bool), interval_s=float(np.diff(time_s).mean()), interval_u_s=1e-5, extent="throughout",
        source="recording", score=50.0, sound=np.zeros(n, int), number=np.arange(n),
    )  # fmt: skip


def test_build_grid_repeats_an_inferred_pattern() -> None:
    """The letters of an inferred pattern lay out the places that were played."""
    pattern = letters(np.array([1, 0, 1, 1], bool), 2)
    grid = build_grid(Exercise(bpm=60, meter="4/4", per_beat=2, pattern=pattern), bars=1)
    assert grid.slot_s.tolist() == [0.0, 1.0, 1.5, 2.0, 3.0, 3.5]
