"""Clicks where exactly they lie: from candidates in the preprocessed signal to times in the file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from strumclock.arrays import Floats
from strumclock.audio.channel import Channel
from strumclock.click.beat import LEAST_JUMP_S
from strumclock.click.candidate import Candidate
from strumclock.click.countin import quiet_until, with_count_in
from strumclock.click.cycle import Cycle
from strumclock.click.matching import Matcher
from strumclock.click.placing import attack_of, fit_line
from strumclock.click.values import ALIKE_SHARE, Clicks, extent_of

PAUSE = 2.0
"""So many intervals without a click are a pause: what follows is a restart."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Take:
    """The recording that clicks are looked for in, and what was given of them.

    Attributes
    ----------
    samples : Channel, at sample_rate_hz; the first at start_s in the file
    source : str
    nominal_s : float array or None
        Given times of the clicks.
    """

    samples: Channel
    sample_rate_hz: float
    start_s: float
    source: str
    nominal_s: Floats | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """How much later than its place in the signal a click's time lies, the standard uncertainty of that, and how long
    the click sounds; samples of the
    preprocessed signal."""

    later: float
    u: float
    last_hit: float


def refine(take: Take, match: Matcher, segments: Sequence[Candidate]) -> Clicks:
    """All stretches of clicks where exactly they lie, the longest first of all.

    Parameters
    ----------
    segments : sequence of Candidate
        In time order; those of one sound share its array, and the place of a click's time in it.
    """
    begins = [*(float(found.position[0]) for found in segments[1:]), np.inf]
    most = max(range(len(segments)), key=lambda i: float(segments[i].weight.sum()))
    lead: Lead | None = None
    sounds, made = 0, dict[int, Clicks]()
    for i in (most, *(i for i in range(len(segments)) if i != most)):  # the clearest first: it tells the others
        known = segments[i].sound is segments[most].sound
        clicks, own = _placed(take, match, segments[i], lead=lead if known else None, first=i == 0, until=begins[i])
        lead = lead or own
        if not known:
            clicks = replace(clicks, sound=clicks.sound + sounds)
        sounds = max(sounds, int(clicks.sound.max()) + 1)
        made[i] = clicks
    if len(segments) == 1:
        return made[0]
    trains = [made[i] for i in range(len(segments))]
    trains[1:] = [replace(after, begins=_begins(before, after)) for before, after in pairwise(trains)]
    breaks_s = tuple(s for t in trains for s in ((t.start_s,) if t.begins == "gap" else ()) + t.breaks_s)
    longest = max(trains, key=lambda t: int(np.count_nonzero(t.heard)))
    return replace(longest, segments=tuple(trains), breaks_s=breaks_s)


def _placed(
    take: Take, match: Matcher, found: Candidate, *, lead: Lead | None, first: bool, until: float
) -> tuple[Clicks, Lead]:
    """Clicks where exactly they lie, and where in the learned sound that is.

    Parameters
    ----------
    lead : Lead or None
        That, where it is known of another segment of the same sound.
    first : bool
        Whether these are the recording's first clicks: some more may stand in the quiet before.
    until : float
        Where other clicks begin, samples of the preprocessed signal.
    """
    signal, given = match.signal, take.nominal_s
    line = fit_line(match, found.position, found.nominal, found.sound, found.weight, found.bend)
    away = found.away if found.even else found.position - line.start - line.step * found.nominal
    lead = lead or _lead(take, match, found, line.start + line.step * found.nominal + away, line.step)
    begin = lead.later + line.start
    bend = found.bend
    if given is None and found.even and first:
        found = with_count_in(signal, found, begin, line.step, quiet_until(signal))
        bend = away = np.zeros(len(found.nominal))
    alternates_s, wanders_s = (v / signal.rate_hz for v in found.off_beat)
    time_s = take.start_s + (begin + found.nominal * line.step + away) / signal.rate_hz
    interval = float(np.mean(np.diff(found.nominal))) / signal.rate_hz
    clicks = Clicks(
        time_s=time_s,
        u_s=np.sqrt(
            (line.u(found.nominal) / signal.rate_hz) ** 2
            + (lead.u / signal.rate_hz) ** 2
            + alternates_s**2 / 3  # the player may follow ticks, tocks or anything between: rectangular (GUM 4.3.7)
            + wanders_s**2
        ),
        heard=found.heard,
        accented=found.accented,
        interval_s=interval * line.step,
        interval_u_s=interval * line.step_u,
        extent=extent_of(time_s - take.start_s, min(until, len(signal.samples)) / signal.rate_hz),
        source=take.source,
        score=found.score,
        sound=found.kind,
        number=np.arange(len(time_s)) if given is None else np.searchsorted(given, found.nominal),
        alternates_s=alternates_s,
        wanders_s=wanders_s,
        bend_s=bend / signal.rate_hz,
        last_hit_s=lead.last_hit / signal.rate_hz,
        breaks_s=_jumps_s(time_s, bend / signal.rate_hz),
    )
    return clicks, lead


def _lead(take: Take, match: Matcher, found: Candidate, position: Floats, step: float) -> Lead:
    """Where in the learned sound a click's time lies."""
    apart = float(np.median(np.diff(found.nominal))) * step
    begin, last_hit = Cycle.of(match, position, found.weight, apart).sounding()
    ratio = take.sample_rate_hz / match.signal.rate_hz
    attack, attack_u = attack_of(take.samples, (position + begin) * ratio, found.weight)
    return Lead(later=begin + attack / ratio, u=attack_u / ratio, last_hit=last_hit)


def _begins(before: Clicks, after: Clicks) -> str:
    """How clicks begin after others (`Clicks.begins`)."""
    apart_s = [float(np.median(np.diff(c.time_s))) for c in (before, after)]
    if after.start_s - before.end_s >= PAUSE * max(apart_s):
        return "restart"
    return "gap" if abs(apart_s[1] / apart_s[0] - 1) < ALIKE_SHARE / 2 else "tempo"


def _jumps_s(time_s: Floats, bend_s: Floats) -> tuple[float, ...]:
    """The clicks at which a beat that bends has jumped."""
    leap_s = np.diff(bend_s)
    leap_s = np.abs(leap_s - np.median(leap_s))
    return tuple(float(t) for t in time_s[1:][leap_s > max(LEAST_JUMP_S, 0.5 * float(np.ptp(bend_s)))])
