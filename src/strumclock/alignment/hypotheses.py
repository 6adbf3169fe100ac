"""What could have been meant?  Every hypothesis that comes into question, each with its score.

A hypothesis says where the beats are (a `Pulse`), how what was given of the exercise was meant (a `Meaning`), at which
beat the first played bar begins, and which strums left the click for a tempo of their own. All are generated here, each
is scored by the one function `strumclock.alignment.score.score`, and the best is kept with its rivals.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.completing import Completed, Frame, complete, frame_of
from strumclock.alignment.departures import Stretch, find_left
from strumclock.alignment.inference import Accents, PartsFit
from strumclock.alignment.meanings import Meaning, OwnPlaces, meanings_of, meant, own_places_of
from strumclock.alignment.pulse import Pulse, other_tempo
from strumclock.alignment.result import Rival
from strumclock.alignment.score import Explanation, asked, score
from strumclock.alignment.tempo import OwnTempo, own_tempi
from strumclock.arrays import Floats, Ints
from strumclock.errors import Notice
from strumclock.grid import PER_BEAT_RANGE, Exercise

if TYPE_CHECKING:
    from strumclock.click import Clicks

OFF_BAR_COST = 0.8
"""Cost, in strums explained, of a downbeat that lies off the bars counted from the first click: a count-in is no
whole number of bars less often than a player misses a strum."""
ACCENT_COST, LATE_ACCENT_COST = 4.0, 2.0
"""Cost of a downbeat that is no accented beat: whoever set up the click set its accents too. Less where the first click
heard is not accented, as metronomes begin with one: then a rest of the pattern, in which the click sounds alone, may
pass for one."""
GIVEN_COUNT_COST = 2.5
PATTERN_COST, PATTERN_SHARE = 4.0, 0.25
"""Costs of a downbeat other than after the count-in told: where the accents speak for it, and where the pattern alone
does, which must explain a quarter more of the strums, and at least four."""
LATE_CLICK_COST, LATE_CLICK_STRUMS = 4.0, 4
"""Cost of a first bar before the first click heard, whatever count-in was told, and the strums on beats before that
click without which it is not thought of: fewer may be noise, a row of them says that the click was heard late."""


OWN_TEMPO_SHARE = 0.15
"""Cost, as a share of the strums, of another tempo than the one given where no click decides: half of what strums cost
that keep a tempo of their own, so that it takes most of them."""
FEW_EXPLAINED = 0.75
"""Share of the strums on parts of the beat below which parts that were not given are doubted."""
RIVALS = 8
"""So many of the other hypotheses are kept with the result."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hypothesis:
    """One answer to what was meant.

    Attributes
    ----------
    pulse : Pulse
    meaning : Meaning
        How what was given was meant.
    frame : Frame
        Meter, accents and the parts of the beat under that meaning.
    start : float
        Beat of the frame at which the first played bar begins.
    departures : tuple of Stretch
        Strums that left the click for a tempo of their own; the frame holds the others.
    said : Explanation
        What it says of the strums, which is scored.
    notices : tuple of Notice
        What is to be said of it.
    """

    pulse: Pulse
    meaning: Meaning
    frame: Frame
    start: float
    departures: tuple[Stretch, ...]
    said: Explanation
    notices: tuple[Notice, ...] = ()

    @property
    def start_beat(self) -> float:
        """Beat of the pulse at which the first played bar begins."""
        return self.start - self.frame.ahead

    def own_tempi(self, strum_s: Floats, given: Exercise, done: Completed) -> list[OwnTempo]:
        """The tempo of each departure."""
        beat, per_beat = self.pulse.beats(strum_s), self.pulse.clicks_per_beat
        return own_tempi(beat, self.departures, exercise=done.exercise, given=given, clicks_per_beat=per_beat)

    def rival(self) -> Rival:
        """A line on it for who asks why another one was kept."""
        return Rival(
            meaning=self.meaning.name, bpm=self.pulse.bpm, per_beat=self.frame.fit.per_beat,
            pattern=self.meaning.given.pattern, start_s=self.pulse.time(self.start_beat),
            departures=len(self.departures), score=score(self.said),
        )  # fmt: skip


def completed(hypothesis: Hypothesis, given: Exercise, *, clicked: bool) -> Completed:
    """The exercise as a hypothesis has it, with all that was not told."""
    h = hypothesis
    done = complete(h.frame, h.pulse, h.meaning.given, h.start, clicked=clicked)
    done = replace(done, notices=(*h.frame.notices, *h.notices, *done.notices))
    return meant(h.meaning, given, done)


def search(
    strum_s: Floats, pulse: Pulse, given: Exercise, *, clicks: Clicks | None, downbeat_s: float | None
) -> tuple[Hypothesis, tuple[Rival, ...]]:
    """The hypothesis that explains the strums best, and its best rivals.

    Parameters
    ----------
    strum_s : (n,) float
    pulse : Pulse
    given : Exercise
        What was told of the exercise.
    clicks : Clicks, optional
        For their accents.
    downbeat_s : float, optional
        The first played downbeat, where the user stated it.
    """
    every = _on_pulse(strum_s, pulse, given, clicks, downbeat_s)
    best = _best(every)
    if pulse.anchor == "fitted" and not (pulse.mapped or pulse.tempo_found) and best.departures:
        lengths = [stretch.last - stretch.first for stretch in best.departures]
        own = best.own_tempi(strum_s, given, completed(best, given, clicked=False))[int(np.argmax(lengths))]
        other = other_tempo(strum_s, pulse, pulse.bpm * own.ratio)
        every += _on_pulse(strum_s, other, given, clicks, downbeat_s, cost=OWN_TEMPO_SHARE * len(strum_s))
        best = _best(every)
    rivals = sorted((h.rival() for h in every if h is not best), key=lambda rival: -rival.score)
    return best, tuple(rivals[:RIVALS])


def _best(every: Sequence[Hypothesis]) -> Hypothesis:
    return max(every, key=lambda hypothesis: score(hypothesis.said))


def _on_pulse(
    strum_s: Floats, pulse: Pulse, given: Exercise, clicks: Clicks | None, downbeat_s: float | None,
    cost: float = 0.0,
) -> list[Hypothesis]:  # fmt: skip
    """Every hypothesis on one pulse: all strums with the click, and those that left it set apart."""
    beat = pulse.beats(strum_s)
    downbeat = None if downbeat_s is None else float(pulse.beats(np.array([downbeat_s]))[0])
    every = list(_generate(beat, pulse, given, clicks, downbeat, (), cost))
    stretches = _departures(beat, pulse, given, _best(every))
    if not stretches:
        return every
    gone = sum(stretch.last - stretch.first + 1 for stretch in stretches)
    apart = list(_generate(beat, pulse, given, clicks, downbeat, stretches, cost))
    return [replace(h, said=replace(h.said, astray_by_tempo=gone)) for h in every] + apart


def _departures(beat: Floats, pulse: Pulse, given: Exercise, best: Hypothesis) -> tuple[Stretch, ...]:
    """The strums that keep a tempo of their own, if all others are as in the best hypothesis so far."""
    own = own_places_of(beat, pulse, given)
    fit = best.frame.fit
    if own is not None:
        found = find_left((beat - best.start_beat) * own.per_unit, own.per_beat, own.swing)
        return tuple(replace(s, places_per_beat=s.places_per_beat * own.per_unit) for s in found)
    found = find_left(beat - best.start_beat, fit.per_beat, fit.swing)
    if not found and given.per_beat is None and fit.explained < FEW_EXPLAINED * len(beat):
        tried = (find_left(beat, parts) for parts in range(PER_BEAT_RANGE[0], PER_BEAT_RANGE[1] + 1))
        found = next((stretches for stretches in tried if stretches), [])
    return tuple(found)


def _generate(
    beat: Floats, pulse: Pulse, given: Exercise, clicks: Clicks | None, downbeat: float | None,
    departures: tuple[Stretch, ...], cost: float,
) -> Iterator[Hypothesis]:  # fmt: skip
    """Each meaning of what was given, from each beat at which the first bar may begin."""
    kept = np.ones(len(beat), np.bool_)
    for stretch in departures:
        kept[stretch.first : stretch.last + 1] = False
    apart = int((~kept).sum())
    if not kept.any():  # nothing is left to tell the exercise by but the strums that left the click
        kept[:] = True
    spans = [(float(beat[stretch.first]), float(beat[stretch.last])) for stretch in departures]
    beat = beat[kept]
    own = own_places_of(beat, pulse, given)
    as_told = frame_of(beat, pulse, given, clicks)
    for meaning in meanings_of(given, own, pulse, as_told.per_bar):
        frame = as_told
        if meaning.given is not given:
            frame = frame_of(beat if meaning.kept is None else beat[meaning.kept], pulse, meaning.given, clicks)
        cell, astray = _cells(frame.fit, own, len(beat))
        pattern = meaning.given.pattern
        played = None if pattern is None else np.array([c != "." for c in pattern], dtype=np.float64)
        parts = frame.fit.per_beat
        unasked = tuple(((a + frame.ahead) * parts, (b + frame.ahead) * parts) for a, b in spans)
        usual = _usual(cell, frame.per_bar * parts, unasked) if played is None else played
        for start, against, notices in _starts(cell, frame, pulse, meaning.given, downbeat):
            start_cell = round(start * parts)
            said = Explanation(
                cell=cell, expected=usual, start=start_cell, phase=0 if played is None else start_cell,
                cost=against + meaning.cost + cost, astray=astray, apart=apart, unasked=unasked,
            )  # fmt: skip
            yield Hypothesis(
                pulse=pulse, meaning=meaning, frame=frame, start=start, departures=departures, said=said,
                notices=notices,
            )  # fmt: skip


def _cells(fit: PartsFit, own: OwnPlaces | None, n: int) -> tuple[Ints, int]:
    """The cells that hold a strum, and how many strums lie on none: by the fit, or where they lie by themselves."""
    if own is None or not own.clear:
        return np.unique(fit.cell[fit.on] if fit.on.any() else fit.cell), 0
    cell, on = own.cells(fit.per_beat, fit.swing)
    if not on.any():
        return np.unique(fit.cell), n
    return np.unique(cell[on]), int((~on).sum())


def _starts(
    cell: Ints, frame: Frame, pulse: Pulse, given: Exercise, downbeat: float | None
) -> Iterator[tuple[float, float, tuple[Notice, ...]]]:
    """Beats at which the first played bar may begin, what speaks against each, and what is to be said of it."""
    parts, per_bar = frame.fit.per_beat, frame.per_bar
    if pulse.mapped:
        yield pulse.map_start, 0.0, ()
        return
    if downbeat is not None:
        yield (round(downbeat) if pulse.anchor != "fitted" else downbeat), 0.0, ()
        return
    first = int(np.floor(cell.min() / parts))
    if pulse.last_click_beat is None:
        step = 1 if frame.fit.swing is None else parts  # without a click any part may be the beat, unless they swing
        for at in range((first - per_bar) * parts, (first + 2 * per_bar) * parts + 1, step):
            yield at / parts, 0.0, ()
        return
    marked = frame.accents if frame.accents is not None and frame.accents.period == per_bar else None
    if given.count_in is None:
        beats = np.arange(min(0, first - per_bar), max(first, 0) + 2 * per_bar + 1)
        cost = np.where(beats % per_bar == 0, 0.0, OFF_BAR_COST) + np.where(beats < 0, OFF_BAR_COST, 0.0)
        cost += _accent_cost(beats, marked)
        expected = beats.tolist()
    else:
        expected = [given.count_in * per_bar]
        if pulse.clicks_per_beat != 1.0:  # a bar may have been counted in clicks, rather than in the beats told
            expected.append(round(given.count_in * per_bar / pulse.clicks_per_beat))
        beats, cost = _around_given(cell, given.pattern is not None, parts, per_bar, expected, marked)
    for at, against in zip(beats.tolist(), cost.tolist(), strict=True):
        known = at in expected
        yield at, against, () if known else (_start_notice(at, given.count_in or 0, expected[0], marked),)


def _around_given(
    cell: Ints,
    with_pattern: bool,
    parts: int,
    per_bar: int,
    expected: Sequence[int],
    accents: Accents | None,
) -> tuple[Ints, NDArray[np.float64]]:
    """The beats that may be the first downbeat when a count-in is told, and what speaks against each.

    The told one, unless the accents or the pattern leave no doubt: the first clicks may not have been heard, or the
    click may have been running before the recording began, or have begun after the strums.
    """
    ranges = [np.arange(b - per_bar + 1, b + per_bar) for b in expected]
    late_click = len(np.unique(cell[cell < 0])) >= LATE_CLICK_STRUMS
    if late_click:
        ranges.append(np.arange(int(np.floor(cell.min() / parts)) - per_bar, 0))
    beats = np.unique(np.concatenate(ranges))
    as_given = np.isin(beats, expected)
    by_accent = np.zeros(len(beats), np.bool_) if accents is None else beats % per_bar == accents.phase
    by_pattern = np.inf if not with_pattern else max(PATTERN_COST, PATTERN_SHARE * len(cell))
    cost = np.where(as_given, 0.0, np.where(by_accent, GIVEN_COUNT_COST, by_pattern))
    if late_click:
        cost = np.where((beats < 0) & ~as_given, np.minimum(cost, LATE_CLICK_COST), cost)
    cost = cost + _accent_cost(beats, accents)
    possible = np.isfinite(cost)
    return beats[possible], cost[possible]


def _accent_cost(beats: Ints, accents: Accents | None) -> NDArray[np.float64]:
    """What the accents say against each beat as a downbeat."""
    if accents is None:
        return np.zeros(len(beats))
    cost = ACCENT_COST if accents.phase == 0 else LATE_ACCENT_COST
    return np.where(beats % accents.period == accents.phase, 0.0, cost)


def _start_notice(start: int, count_in: int, expected: int, accents: Accents | None) -> Notice:
    if start < 0:
        message = (
            f"the first played bar begins {-start} beats before the first click heard, by the strums; the told "
            f"count-in of {count_in} bars cannot be counted from that click"
        )
        return Notice(code="start-differs", message=message)
    by = "the strums' pattern" if accents is None or start % accents.period != accents.phase else "the click's accents"
    message = (
        f"by {by} the first played bar begins {start} beats after the first click heard, not {expected} as the told "
        f"count-in of {count_in} bars has it; clicks before the first one heard may be missing"
    )
    return Notice(code="start-differs", message=message)


def _usual(cell: Ints, period: int, unasked: tuple[tuple[float, float], ...]) -> Floats:
    """How full each cell of a bar is, bars counted from cell 0; with fewer than three bars, the mean of all cells."""
    every = asked(np.arange(int(cell[0]), int(cell[-1]) + 1), unasked)
    filled = np.isin(every, cell)
    if len(every) < 3 * period:
        return np.array([filled.mean() if len(filled) else 1.0])
    seen = np.bincount(every % period, minlength=period)
    hits = np.bincount(every % period, weights=filled, minlength=period)
    return np.where(hits > 0.5 * seen, 1.0, 0.0)
