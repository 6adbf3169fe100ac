"""Parts of a recording. Truth: simulated players whose takes, stops, steps and gaps are put together here by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from alignment_players import Player, Take, clicks_of, play

from strumclock.alignment import OTHER_PART, Alignment, align
from strumclock.click import Clicks
from strumclock.errors import UsageError
from strumclock.grid import Exercise

QUARTERS = Exercise(bpm=90, meter="4/4", per_beat=1, count_in=1)
EIGHTHS = Exercise(bpm=90, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1)
STEADY = Player(offset_s=-0.01, jitter_s=0.008)


def later(take: Take, by_s: float) -> Take:
    return replace(take, grid=take.grid.placed(by_s), strum_s=take.strum_s + by_s)


def together(*takes: Take, begins: tuple[str, ...] = ()) -> tuple[np.ndarray, Clicks, np.ndarray]:
    """The strums of takes that follow each other, their clicks in segments, and each strum's true offset [s]."""
    begins = begins or ("first", *("restart",) * (len(takes) - 1))
    rows = tuple(replace(clicks_of(t.grid), begins=how) for t, how in zip(takes, begins, strict=True))
    longest = max(rows, key=lambda row: len(row.time_s))
    clicks = replace(longest, segments=rows) if len(rows) > 1 else longest
    offsets = [np.where(t.slot >= 0, t.strum_s - t.grid.slot_s[t.slot], np.nan) for t in takes]
    return np.concatenate([t.strum_s for t in takes]), clicks, np.concatenate(offsets)


def _row_like(row: Clicks, time_s: np.ndarray) -> Clicks:
    n = len(time_s)
    return replace(
        row, time_s=time_s, u_s=np.full(n, 1e-4), heard=np.ones(n, bool), accented=np.zeros(n, bool),
        sound=np.zeros(n, int), number=np.arange(n), bend_s=np.zeros(n), segments=(),
    )  # fmt: skip


def offsets_of(found: Alignment, strum_s: np.ndarray) -> np.ndarray:
    """Each strum's offset from the grid of its own part [s]."""
    offsets = np.full(len(strum_s), np.nan)
    for part in (found, *found.others):
        on = part.slot >= 0
        assert np.isnan(offsets[on]).all()  # no strum has two slots
        offsets[on] = strum_s[on] - part.grid.slot_s[part.slot[on]]
    return offsets


def kinds(found: Alignment) -> list[tuple[str, bool]]:
    return [(part.kind, part.measured) for part in found.parts]


@pytest.mark.parametrize("told", [True, False])
def test_two_takes_have_a_grid_each_and_the_longer_one_is_measured(told: bool) -> None:
    """Eight bars, a pause that is no whole number of beats, twelve bars: offsets are those that the players had."""
    first = play(EIGHTHS, STEADY, 1, bars=8)
    second = later(play(EIGHTHS, STEADY, 2, bars=12), float(first.grid.end_s) + 5.37)
    strum_s, clicks, true = together(first, second)
    found = align(strum_s, EIGHTHS if told else Exercise(), clicks=clicks)
    assert kinds(found) == [("other-take", False), ("played", True)]
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4
    assert (found.slot == OTHER_PART).sum() == len(first.strum_s)
    assert [part.n for part in found.parts] == [len(first.strum_s), len(second.strum_s)]
    assert len(found.omitted) == 0
    assert found.first_downbeat_s == pytest.approx(second.grid.line_s[0], abs=5e-4)
    assert "parts" in [n.code for n in found.notices]


def test_the_take_at_the_tempo_told_is_measured_before_a_longer_one() -> None:
    """Told 72: eight bars at 72, then twelve at 80."""
    slow, fast = replace(QUARTERS, bpm=72), replace(QUARTERS, bpm=80)
    first = play(slow, STEADY, 1, bars=8)
    second = later(play(fast, STEADY, 2, bars=12), float(first.grid.end_s) + 4.9)
    strum_s, clicks, true = together(first, second)
    found = align(strum_s, slow, clicks=clicks)
    assert kinds(found) == [("played", True), ("other-take", False)]
    assert [part.bpm for part in found.parts] == pytest.approx([72, 80], abs=0.02)
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4
    assert found.others[0].exercise.bpm == 80


def test_a_part_is_asked_for_by_its_number() -> None:
    """The shorter take of two by its number; a number that is not there, and a stop, are refused."""
    first = play(EIGHTHS, STEADY, 1, bars=8)
    second = later(play(EIGHTHS, STEADY, 2, bars=12), float(first.grid.end_s) + 5.37)
    strum_s, clicks, true = together(first, second)
    found = align(strum_s, EIGHTHS, clicks=clicks, part=1)
    assert kinds(found) == [("played", True), ("other-take", False)]
    assert (found.slot >= 0).sum() == len(first.strum_s)
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4
    with pytest.raises(UsageError, match="has 2 parts, but 3 came"):
        align(strum_s, EIGHTHS, clicks=clicks, part=3)


def test_a_false_start_is_in_no_figure() -> None:
    """Three strums and a pause before ten bars."""
    start = play(QUARTERS, STEADY, 1, bars=2)
    start = replace(start, strum_s=start.strum_s[:3], slot=start.slot[:3])
    take = later(play(QUARTERS, STEADY, 2, bars=10), float(start.grid.end_s) + 3.1)
    strum_s, clicks, true = together(start, take)
    found = align(strum_s, QUARTERS, clicks=clicks)
    assert kinds(found) == [("false-start", False), ("played", True)]
    assert (found.slot >= 0).sum() == 40
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4


def test_a_stop_divides_a_take_and_its_slots_are_not_omitted() -> None:
    """The click goes on; nothing is played in bars 8 to 10 of 14: 7 bars, a stop of 12 quarters, 4 bars."""
    take = play(QUARTERS, STEADY, 3, bars=14)
    bar = take.grid.bar[take.slot]
    kept = (bar < 8) | (bar > 10)
    strum_s, clicks, true = take.strum_s[kept], clicks_of(take.grid), (take.strum_s - take.grid.slot_s[take.slot])[kept]
    found = align(strum_s, QUARTERS, clicks=clicks)
    assert kinds(found) == [("played", True), ("stopped", False), ("played", False)]
    assert [part.n for part in found.parts] == [28, 0, 16]
    assert found.parts[1].slots == 12
    assert len(found.omitted) == 0
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4
    assert set(found.others[0].grid.bar.tolist()) == {11, 12, 13, 14}
    with pytest.raises(UsageError, match="nothing was played in it"):
        align(strum_s, QUARTERS, clicks=clicks, part=2)


@pytest.mark.parametrize("late_beats", [0, 1, 2, 3])
def test_a_stretch_after_a_stop_may_begin_on_another_beat(late_beats: int) -> None:
    """Five bars, a stop of some two and a half, eight bars that begin on another beat: all is on its slot."""
    whole = play(EIGHTHS, STEADY, 4, bars=5)
    beat_s = 60.0 / 90
    begin_s = float(whole.grid.end_s) + (8 + late_beats) * beat_s
    again = later(play(replace(EIGHTHS, count_in=0), STEADY, 5, bars=8, lead_s=0.0), begin_s)
    line_s = np.arange(4 + 20 + 8 + late_beats + 32) * beat_s + float(whole.grid.click_s[0])
    row = clicks_of(whole.grid)
    n = len(line_s)
    clicks = replace(
        row, time_s=line_s, u_s=np.full(n, 1e-4), heard=np.ones(n, bool), accented=np.zeros(n, bool),
        sound=np.zeros(n, int), number=np.arange(n), bend_s=np.zeros(n),
    )  # fmt: skip
    strum_s = np.concatenate([whole.strum_s, again.strum_s])
    true = np.concatenate([whole.strum_s - whole.grid.slot_s, again.strum_s - again.grid.slot_s])
    found = align(strum_s, EIGHTHS, clicks=clicks)
    assert kinds(found) == [("played", False), ("stopped", False), ("played", True)]
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4
    assert len(found.omitted) == 0
    assert len(found.grid) == len(again.grid)


def test_clicks_to_which_nothing_was_played_are_mentioned() -> None:
    """A take, then a click that is started once more for nobody."""
    take = play(QUARTERS, STEADY, 1, bars=8)
    more = later(play(QUARTERS, STEADY, 2, bars=4), float(take.grid.end_s) + 5.1)
    strum_s, clicks, _ = together(take, more)
    found = align(strum_s[: len(take.strum_s)], QUARTERS, clicks=clicks)
    assert "clicks-unused" in [n.code for n in found.notices]
    assert kinds(found) == [("played", True)]


def test_what_was_weighed_is_kept_with_its_scores() -> None:
    """Half the tempo is told with the pattern of the click's beat: the other meanings and starts are there to read."""
    take = play(EIGHTHS, STEADY, 3, bars=12)
    found = align(take.strum_s, replace(EIGHTHS, bpm=45), clicks=clicks_of(take.grid))
    assert {rival.meaning for rival in found.rivals} >= {"as-told", "by-click"}
    scores = [rival.score for rival in found.rivals]
    assert scores == sorted(scores, reverse=True)
    assert found.score >= scores[0]


def test_a_bar_and_a_half_left_out_is_no_stop() -> None:
    """Six quarters in a row are missing: omitted, as before."""
    take = play(QUARTERS, STEADY, 3, bars=14)
    kept = ~np.isin(take.slot, np.arange(20, 26))
    found = align(take.strum_s[kept], QUARTERS, clicks=clicks_of(take.grid))
    assert kinds(found) == [("played", True)]
    assert found.omitted.tolist() == list(range(20, 26))


@pytest.mark.parametrize("counted", [0, 1])
@pytest.mark.parametrize("told", [True, False])
@pytest.mark.parametrize("shared", [False, True])
def test_steps_of_the_tempo_are_one_take_with_a_grid_for_each(counted: int, told: bool, shared: bool) -> None:
    """Six bars each at 70, 80 and 90, the click going on, with a bar counted in before each step or without."""
    takes, end_s = [], 0.0
    for i, bpm in enumerate((70, 80, 90)):
        exercise = replace(EIGHTHS, bpm=bpm, count_in=1 if not i else counted)
        take = play(exercise, STEADY, 5 + i, bars=6, lead_s=0.6 if not i else 0.0)
        takes.append(later(take, end_s))
        end_s = float(takes[-1].grid.end_s)
    strum_s, clicks, true = together(*takes, begins=("first", "tempo", "tempo"))
    if shared:  # the first click of a step lies on the line of the tempo before, too, and counts as one of that
        rows = list(clicks.segments)
        for k in (0, 1):
            times_s = [np.append(rows[k].time_s, rows[k + 1].time_s[0]), rows[k + 1].time_s[1:]]
            rows[k : k + 2] = [_row_like(row, t) for row, t in zip(rows[k : k + 2], times_s, strict=True)]
        clicks = replace(rows[0], segments=tuple(rows))
    found = align(strum_s, replace(EIGHTHS, bpm=70) if told else Exercise(), clicks=clicks)
    assert kinds(found) == [("played", True)] * 3
    assert [part.n for part in found.parts] == [36] * 3
    assert found.steps_bpm == (70, 80, 90)
    assert found.steps_s == pytest.approx([float(t.grid.line_s[0]) for t in takes], abs=1e-3)
    assert np.abs(offsets_of(found, strum_s) - true).max() < 5e-4
    assert sorted(set(found.grid.bar.tolist())) == list(range(1, 19))
    assert found.exercise.bars == 18
    assert found.bpm_heard is None
    assert len(found.omitted) == 0
    second = align(strum_s, replace(EIGHTHS, bpm=70) if told else Exercise(), clicks=clicks, part=2)
    assert [part.measured for part in second.parts] == [False, True, False]
    assert (second.steps_bpm, second.exercise.bpm) == ((80.0,), 80.0)
    assert set(second.grid.bar.tolist()) == set(range(7, 13))
    assert np.abs(offsets_of(second, strum_s) - true).max() < 5e-4


@pytest.mark.parametrize("lost_s", [0.2, 0.4, 0.55, 1.3, 3.1])
def test_a_gap_re_anchors_the_grid(lost_s: float) -> None:
    """So much is cut out of a file in mid-bar: offsets stay those that were played."""
    take = play(EIGHTHS, STEADY, 7, bars=16)
    cut_s = float(take.grid.line_s[22]) + 0.21
    click_s = take.grid.click_s
    pieces = []
    for after in (False, True):
        strums = take.strum_s > cut_s + lost_s if after else take.strum_s < cut_s
        back_s = lost_s if after else 0.0
        lines = click_s > cut_s + lost_s if after else click_s < cut_s
        time_s = click_s[lines] - back_s
        row = clicks_of(take.grid)
        n = len(time_s)
        even = replace(
            row, time_s=time_s, u_s=np.full(n, 1e-4), heard=np.ones(n, bool), accented=np.zeros(n, bool),
            sound=np.zeros(n, int), number=np.arange(n), bend_s=np.zeros(n), begins="gap" if after else "first",
        )  # fmt: skip
        pieces.append((take.strum_s[strums] - back_s, (take.strum_s - take.grid.slot_s[take.slot])[strums], even))
    strum_s = np.concatenate([p[0] for p in pieces])
    true = np.concatenate([p[1] for p in pieces])
    clicks = replace(pieces[1][2], segments=tuple(p[2] for p in pieces))
    found = align(strum_s, EIGHTHS, clicks=clicks)
    assert [part.measured for part in found.parts] == [True, True]
    offsets = offsets_of(found, strum_s)
    assert np.nanmax(np.abs(offsets - true)) < 5e-4
    assert np.isnan(offsets).sum() <= 1
    assert found.gaps_s == pytest.approx([pieces[1][2].start_s])
    assert "gap" in [n.code for n in found.notices]
    assert len(found.omitted) <= 2  # what the cut took, as far as beats are left of it
    assert (np.diff(found.slot[found.slot >= 0]) > 0).all()


def test_a_stop_without_a_click_divides_and_each_stretch_has_its_own_phase() -> None:
    """Tempo told, no click; the second stretch begins off the first one's beat: both keep their own deviations."""
    first, second = play(QUARTERS, STEADY, 1, bars=8), play(QUARTERS, STEADY, 2, bars=10)
    second = later(second, float(first.grid.end_s) + 4.29)
    strum_s, _, true = together(first, second)
    found = align(strum_s, QUARTERS)
    assert [part.n for part in found.parts] == [32, 40]
    assert found.anchor == "fitted"
    offsets = offsets_of(found, strum_s)
    for some in (slice(0, 32), slice(32, 72)):
        apart = (offsets - true)[some]
        assert np.abs(apart - np.median(apart)).max() < 1e-9
