"""The timing of one take as values: its figures, the means of its places, and the answers to what was asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from strumclock.arrays import Floats
from strumclock.errors import Absent
from strumclock.showing import Shown
from strumclock.timing.estimate import Estimate

KINDS = ("placement", "drift", "step", "changes", "pair", "beat", "part")
"""What is asked of a take."""

AUDIBLE_FLOOR_S, AUDIBLE_SHARE = 0.006, 0.025
"""Smallest shift of one tone that is heard: 6 ms; above 240 ms 2.5 % of the interval (Friberg & Sundberg 1995)."""


def audible_s(interval_s: float) -> float:
    """Smallest displacement that is heard in a run of tones `interval_s` apart, s (Friberg & Sundberg 1995).

    Examples
    --------
    >>> audible_s(0.2), audible_s(0.6)
    (0.006, 0.015)
    """
    return max(AUDIBLE_FLOOR_S, AUDIBLE_SHARE * interval_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class WithinTolerance:
    """Share of the strums within the tolerance about the take's own mean."""

    tolerance_ms: float
    share: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Mean offset of the strums at one place.

    Attributes
    ----------
    place : int
        Number of the beat, part or bar, from 1.
    n : int
        Strums.
    offset_ms : Estimate or None
        Their mean offset; with a fitted anchor the difference from the mean of all places.
    """

    place: int
    n: int
    offset_ms: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartGroup(Group):
    """The strums of one part of the beat.

    Attributes
    ----------
    place : int
        Number of the part, from 1.
    n : int
        Strums.
    offset_ms : Estimate or None
        As for every `Group`.
    jitter_ms : Estimate or None
        Their standard deviation about the drift line and their own mean.
    """

    jitter_ms: Estimate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One question asked of the take, and its answer.

    Attributes
    ----------
    kind : {'placement', 'drift', 'step', 'changes', 'pair', 'beat', 'part'}
        Is the take late or early on average? Does it fall behind? Was there a one-off shift? Do the strums at chord
        changes, at one pair of chords, on one beat, on one part of the beat come later than others?
    where : int, tuple of str, or None
        Number of the beat or part, from 1; slot of the first strum after a step; the pair of chords
        ``(from, to)``, ``("", to)`` for all changes into one chord.
        Of two beats or parts that differ, the one further from the click.
    size : Estimate
        Positive = late. Placement: the mean offset of the strums of which nothing else is shown, ms. Drift: its slope,
        ms a minute. Step: later strums less earlier ones, ms. Changes: a change's strum less its neighbours, ms. Pair:
        its changes less the other changes, ms. Beat, part: its strums less the others, ms. What was shown before is
        held fixed: one late beat does not make the other three early.
    p : float
        Probability of a size at least as far from 0 by chance, of this question alone; for a step, allowing for all
        the places searched.
    shown : bool
        Beyond chance, when all questions of the take are asked at once (Holm 1979).
    audible : bool
        Beyond what can be heard: 6 ms, or 2.5 % of the strum interval above 240 ms (Friberg & Sundberg 1995); a drift,
        over the whole take.
    """

    kind: str
    where: int | tuple[str, str] | None
    size: Estimate
    p: float
    shown: bool
    audible: bool

    @property
    def named(self) -> bool:
        """Whether it may be named as something to work on: beyond chance, and to be heard."""
        return self.shown and self.audible


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A one-off shift inside the take, beyond chance.

    Attributes
    ----------
    slot, bar : int
        Slot and bar of the first strum after it.
    time_s : float
        That slot's grid line.
    size_ms : Estimate
        Strums after it less those before; positive = later from then on.
    """

    slot: int
    bar: int
    time_s: float
    size_ms: Estimate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Timing(Shown):
    """How a take was timed. Positive is late; ms; a figure that cannot be known is None, with its reason in `absent`.

    Attributes
    ----------
    n : int
        Strums that were meant for a slot.
    mean_offset_ms, median_offset_ms : Estimate or None
        Of strum time minus grid line.
    body_offset_ms : Estimate or None
        Mean offset of the middle of the strums' spread.
    jitter_ms : Estimate or None
        Standard deviation about the drift line (n − 2 degrees of freedom), less what measuring adds;
        strums whose times are badly known count less. Its interval is of what this player's takes of this length show
        about their lines, with far strays as they came in this one: how often they come in others, one take cannot
        say (no interval from a sample holds a variance whatever the tails: Bahadur & Savage 1956, from memory).
    jitter_within_ms : Estimate or None
        The same after the means of each part of the beat and of chord changes are taken out too.
    explained_share : Estimate or None
        Share of the variance about the drift line that these means explain, corrected for their number.
    drift_ms_per_min : Estimate or None
        Slope of the offsets over the grid's time; positive = falling behind.
    step : Step or None
        A one-off shift, where one is shown. A step is no drift: the line is fitted all the same, and `findings` say
        which of the two it is.
    played_bpm : Estimate or None
        Beats a minute that the drift line amounts to.
    within_tolerance : WithinTolerance or None
    lag1 : Estimate or None
        Autocorrelation of the errors about the drift line from one slot to the next (definition of `plain.lag1`).
    swing : Estimate or None
        Place in the beat at which the second of two parts was played; 0.5 is straight.
    by_beat, by_part, by_bar : tuple of Group (of PartGroup)
        Mean offset at each beat of the bar, part of the beat, and bar; with a fitted anchor contrasts that sum to zero.
    at_change : Estimate or None
        How much later the strums at chord changes are than the others.
    findings : tuple of Finding
        The answer to everything that was asked of the take, clearest first. One error rate for all: an even player
        has one of them shown in 5 % of takes.
    audible_ms : float
        The smallest displacement that can be heard at this take's strum interval.
    offset_ms : (n,) array or None
        Each strum's offset, None with a fitted anchor.
    deviation_ms : (n,) array
        Each strum's offset minus the take's mean.
    absent : mapping of str to Absent
        JSON path → why that figure is absent.
    """

    n: int
    mean_offset_ms: Estimate | None
    median_offset_ms: Estimate | None
    body_offset_ms: Estimate | None
    jitter_ms: Estimate | None
    jitter_within_ms: Estimate | None
    explained_share: Estimate | None
    drift_ms_per_min: Estimate | None
    step: Step | None
    played_bpm: Estimate | None
    within_tolerance: WithinTolerance | None
    lag1: Estimate | None
    swing: Estimate | None
    by_beat: tuple[Group, ...]
    by_part: tuple[PartGroup, ...]
    by_bar: tuple[Group, ...]
    at_change: Estimate | None
    findings: tuple[Finding, ...]
    audible_ms: float
    offset_ms: Floats | None
    deviation_ms: Floats
    absent: Mapping[str, Absent] = field(default_factory=dict)

    @property
    def named(self) -> tuple[Finding, ...]:
        """The findings that may be named as something to work on: beyond chance, and to be heard."""
        return tuple(finding for finding in self.findings if finding.named)

    def __repr__(self) -> str:
        return f"<Timing: {self}>"

    def __str__(self) -> str:
        said = [f"{self.n} strums in slots"]
        for name, unit, figure in (
            ("mean offset", "+.1f ms", self.mean_offset_ms),
            ("jitter", ".1f ms", self.jitter_ms),
            ("drift", "+.1f ms/min", self.drift_ms_per_min),
        ):
            said.append(f"{name} {'not known' if figure is None else format(figure, unit)}")
        return "; ".join(said)
