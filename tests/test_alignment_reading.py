"""What was told at half or double the click's tempo.  Truth: simulated players, each strum's own place known."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from alignment_players import Player, Take, clicks_of, play

from strumclock.alignment import ADDED, Alignment, align
from strumclock.alignment.meanings import _written
from strumclock.errors import RecordingError
from strumclock.grid import Exercise

PLAYED = {
    "quarters": Exercise(bpm=90, meter="4/4", per_beat=1, pattern="D", count_in=2),
    "a rest": Exercise(bpm=100, meter="4/4", per_beat=1, pattern="DDD.", count_in=2),
    "folk": Exercise(bpm=92, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=2),
    "off-beats": Exercise(bpm=84, meter="4/4", per_beat=2, pattern=".U", count_in=2),
    "shuffle": Exercise(bpm=110, meter="4/4", per_beat=2, pattern="DU", swing=0.667, count_in=2),
    "light shuffle": Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU", swing=0.62, count_in=2),
}
PLAYERS = {
    "steady": Player(jitter_s=0.01),
    "loose": Player(jitter_s=0.025, offset_s=-0.03),
    "behind": Player(offset_s=0.04),
    "slips": Player(miss=0.06, extra=0.05),
}
FOLDED_S = 0.02  # a strum's slot lies further than this from the place it was played for: a tenth of the nearest parts


def codes(found: Alignment) -> set[str]:
    return {notice.code for notice in found.notices}


def folded(found: Alignment, take: Take) -> int:
    """Strums on a slot that is not where they were meant, unplanned ones aside."""
    on = (found.slot >= 0) & (take.slot >= 0)
    apart = found.grid.slot_s[found.slot[on]] - take.grid.slot_s[take.slot[on]]
    return int((np.abs(apart) > FOLDED_S).sum())


def mean_error_ms(found: Alignment, take: Take) -> float:
    """Mean offset as aligned less the true one."""
    on, meant = found.slot >= 0, take.slot >= 0
    told = (take.strum_s[on] - found.grid.slot_s[found.slot[on]]).mean()
    return 1e3 * float(told - (take.strum_s[meant] - take.grid.slot_s[take.slot[meant]]).mean())


@pytest.mark.parametrize("ratio", [0.5, 2.0])
@pytest.mark.parametrize("played", PLAYED.values(), ids=PLAYED)
@pytest.mark.parametrize("player", PLAYERS.values(), ids=PLAYERS)
def test_half_or_double_told_with_a_pattern_folds_no_strum(played: Exercise, player: Player, ratio: float) -> None:
    """The told beat stays, the pattern is read by the click, and omitted, added and offset are the player's."""
    take = play(played, player, seed=1, bars=16)
    found = align(take.strum_s, replace(played, bpm=played.bpm * ratio), clicks=clicks_of(take.grid))
    assert found.exercise.bpm == played.bpm * ratio
    assert {"tempo-ratio"} < codes(found)
    assert folded(found, take) <= 0.02 * len(take.strum_s)
    assert abs(mean_error_ms(found, take)) < 5.0
    if "pattern-read" in codes(found):
        assert len(found.omitted) == pytest.approx(take.n_omitted, abs=1)
        assert int((found.slot == ADDED).sum()) == pytest.approx(take.n_added, abs=1)


@pytest.mark.parametrize("name", ["triplets", "sixteenths"])
def test_parts_too_fine_for_the_told_beat_are_added_not_folded(name: str) -> None:
    """Six and eight strums to the told beat: those on its parts are measured, the others added, and both is said."""
    played = {
        "triplets": Exercise(bpm=66, meter="4/4", per_beat=3, pattern="DDD", count_in=2),
        "sixteenths": Exercise(bpm=70, meter="4/4", per_beat=4, pattern="D..UD.DU", count_in=2),
    }[name]
    take = play(played, Player(), seed=3, bars=16)
    found = align(take.strum_s, replace(played, bpm=played.bpm / 2), clicks=clicks_of(take.grid))
    assert folded(found, take) == 0
    assert abs(mean_error_ms(found, take)) < 3.0
    assert int((found.slot == ADDED).sum()) > 0.3 * len(take.strum_s)
    assert {"strums-between", "poor-fit"} & codes(found)
    assert len(found.omitted) == 0


def test_double_time_against_the_click_is_not_folded_onto_swung_slots() -> None:
    """Told and clicked 55 swung, played 110 swung: half-beats a third of a part from a swung slot are added."""
    played = PLAYED["shuffle"]
    take = play(played, Player(jitter_s=0.008), seed=2, bars=16)
    found = align(take.strum_s, replace(played, bpm=55), clicks=clicks_of(take.grid, every=2))
    assert folded(found, take) == 0
    assert "poor-fit" in codes(found) or "strums-between" in codes(found)


@pytest.mark.parametrize(
    ("told", "clicks_per_beat"),
    [
        (Exercise(bpm=60, meter="4/4", per_beat=2, pattern="D.DU", count_in=2), 2),
        (Exercise(bpm=60, meter="4/4", per_beat=1, pattern="D", count_in=2), 2),
        (Exercise(bpm=66, meter="4/4", per_beat=3, pattern="DDD", count_in=2), 3),
        (Exercise(bpm=80, meter="4/4", per_beat=2, pattern="DU", swing=0.66, count_in=2), 2),
    ],
)
def test_a_click_on_the_parts_of_the_told_beat_leaves_what_was_told(told: Exercise, clicks_per_beat: int) -> None:
    """Clicks on eighths or triplets, everything else told as it is played: nothing is read anew."""
    take = play(told, Player(miss=0.04), seed=5, bars=16)
    clicking = replace(told, bpm=told.bpm * clicks_per_beat, per_beat=1, pattern=None, swing=None)
    clicked = play(clicking, Player(), seed=5, bars=16 * clicks_per_beat)
    shift = float(take.grid.line_s[0] - clicked.grid.click_s[4 * 2 * clicks_per_beat])
    found = align(take.strum_s, told, clicks=clicks_of(clicked.grid.placed(shift)))
    assert not {"pattern-read", "pattern-differs"} & codes(found)
    assert found.exercise.pattern == told.pattern
    assert folded(found, take) == 0
    assert len(found.omitted) == take.n_omitted


@pytest.mark.parametrize(
    ("pattern", "per_click", "swing", "ratio", "written"),
    [
        ("D.DU", 2, None, Fraction(2), (4, "D.DU", None)),
        ("D", 1, None, Fraction(1, 2), (1, "D.", None)),
        (None, 1, None, Fraction(3), (3, None, None)),
        ("DU", 2, 0.6, Fraction(2), (4, "DUDU", 0.6)),
        ("DU", 2, 2 / 3, Fraction(1, 2), (3, "D...U.", None)),
        ("DDD", 3, None, Fraction(1, 2), (3, "D.D.D.", None)),
        ("DUDU", 4, None, Fraction(2), None),
    ],
)
def test_a_pattern_written_at_another_beat_keeps_its_places(
    pattern: str | None, per_click: int, swing: float | None, ratio: Fraction, written: tuple | None
) -> None:
    """Truth: written out by hand."""
    assert _written(pattern, per_click, swing, ratio) == written


def test_a_count_in_longer_than_the_clicks_heard_is_an_error_or_a_grid_never_a_crash() -> None:
    """Eight clicks counted in, told at a third of their tempo: the first told bar begins after them."""
    played = PLAYED["quarters"]
    take = play(played, Player(), seed=1, bars=16)
    for told_bpm in (30, 270):
        found = align(take.strum_s, replace(played, bpm=told_bpm), clicks=clicks_of(take.grid, heard=8))
        assert len(found.grid) > 0


def test_a_first_bar_after_the_end_of_the_recording_is_said() -> None:
    """The bars counted in by the exercise last longer than the recording."""
    played = PLAYED["quarters"]
    take = play(played, Player(), seed=1, bars=2)
    with pytest.raises(RecordingError, match="first played bar"):
        align(take.strum_s, replace(played, count_in=8), first_downbeat_s=60.0, end_s=20.0)
