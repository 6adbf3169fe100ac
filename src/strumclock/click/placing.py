"""Where exactly the clicks lie, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.audio.channel import Channel
from strumclock.click.accents import fold
from strumclock.click.attack import ATTACK_SHARE, attack_indices
from strumclock.click.countin import RISE_DB, rise_db
from strumclock.click.matching import Matcher
from strumclock.click.preprocessing import Bools, Float32, Float64, Front
from strumclock.click.templates import MARGIN, learn

GAP_S = 0.06
"""A click may be inaudible for so long between its beginning and its end."""

SOUNDING_TIMES, SOUNDING_SHARE, STRONG_SHARE = 1.8, 0.15, 0.5
"""What comes back is sound where its power exceeds by the first factor what four fifths of the interval do not
exceed, and the second share of the click's; it is as strong as the click above the third."""

LONGEST_S, LONGEST_SHARE = 0.4, 0.6
"""No click is longer than this, nor than this share of the interval."""

TAIL_GAP_S, STILL_QUANTILE = 0.02, 0.2
"""A ringing click's tail, which comes back too, dips for no longer than this; at least this share of the interval lies
between the tail and the next click."""

BACK_S, AHEAD_S = 0.020, 0.045
"""Before and after a click's beginning: what is learned to read its attack."""

MOST_LEARNED = 48
"""So many of the clearest clicks are learned from."""

LEAST_U_S = 0.00003
"""Standard uncertainty that always remains: the filter of the definition delays sharp sounds by as much."""

QUIET_CLICKS = 8
"""So many clicks in the quiet are looked at."""

EMPTY = 3e-4
"""Where the plain signal has less power than this share of its highest, nothing sounds."""

STILL_S, NOT_BEFORE_S = 0.005, 0.0025
"""So much at the beginning of what is learned holds no click; and an attack earlier than this before the place where
the click was seen to begin must stand out more."""


USUAL_S, USUAL_COUNT = 0.00002, 3
"""Where few clicks are heard, the scatter of their places is judged as if so many more had scattered by this."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A straight line through the places of the clicks, front samples: start + step * nominal.

    Attributes
    ----------
    start, step, step_u : float
        And the standard uncertainty of the step.
    middle, middle_u : float
        Nominal place where the line is known best, and its standard uncertainty there.
    """

    start: float
    step: float
    step_u: float
    middle: float
    middle_u: float

    def u(self, nominal: Float64) -> Float64:
        """Standard uncertainty of the line's places."""
        return np.hypot(self.middle_u, self.step_u * (nominal - self.middle))


def fit_line(
    match: Matcher, position: Float64, nominal: Float64, sound: Float32, weight: Float64, bend: Float64
) -> Line:
    """Weighted straight line through the exact places of the heard clicks, less what their beat bends away from it;
    what lies far from it does not count."""
    use = weight > 0
    x, w = nominal[use], weight[use]
    at = position[use] + match.compare(position[use], sound, 1)[1]  # further away lies the next wave of a tone
    at -= bend[use]
    keep = w
    for _ in range(4):
        mean, centre = float(np.average(x, weights=keep)), float(np.average(at, weights=keep))
        spread = float(np.sum(keep * (x - mean) ** 2))
        step = float(np.sum(keep * (x - mean) * (at - centre))) / spread
        off = at - centre - step * (x - mean)
        scale = 1.4826 * float(np.median(np.abs(off[keep > 0])))
        near = w * (np.abs(off) <= max(3.5 * scale, 0.02))
        if np.count_nonzero(near) < 3:
            break
        keep = near
    n = int(np.count_nonzero(keep))
    usual = USUAL_S * match.front.rate_hz
    variance = float(np.sum(keep * off**2) / keep.sum()) * n
    free = max(n - 2, 0)
    variance = (variance + USUAL_COUNT * usual**2) / (free + USUAL_COUNT)
    return Line(
        start=centre - step * mean,
        step=step,
        step_u=float(np.sqrt(variance * np.sum((keep * (x - mean)) ** 2))) / spread,
        middle=mean,
        middle_u=float(np.sqrt(variance * np.sum((keep / keep.sum()) ** 2))),
    )


def beginning(match: Matcher, position: Float64, weight: Float64, interval: float) -> float:
    """Where the sound that comes back begins, samples from the position (negative: earlier).

    A click may be longer than what was compared, and what was compared may be its end (a beep is whitened away except
    where it starts and stops). So what comes back is added up over the time before the position, and the beginning is
    looked for from there backwards: over silences up to GAP_S, and further to what is as strong as the click itself;
    never into the tail of the click before.
    """
    rate = match.front.rate_hz
    back = int(min(LONGEST_S * rate, LONGEST_SHARE * interval))
    size = max(round(0.002 * rate), 1)
    ahead = max(int(interval) - back, 4 * size)
    power = fold(match, position, weight, back, ahead)
    own = float(power[back - size : back + 3 * size].max())
    noise = min(SOUNDING_TIMES * float(np.quantile(power, 0.8)), STRONG_SHARE * own)
    there = _plain_power(match, position, weight, back, ahead, size) > EMPTY
    sounding = np.flatnonzero(there[:back] & (power[:back] > max(noise, SOUNDING_SHARE * own)))
    rings = power[:back] > max(SOUNDING_TIMES * float(np.quantile(power, STILL_QUANTILE)), SOUNDING_SHARE * own)
    sounding = sounding[sounding >= _tail(rings, TAIL_GAP_S * rate)]
    strong = sounding[power[sounding] > STRONG_SHARE * own]
    begin = back
    for _ in range(2):
        for place in sounding[sounding < begin][::-1]:
            if begin - place > GAP_S * rate:
                break
            begin = int(place)
        further = strong[strong < begin]
        if len(further) == 0:
            break
        begin = int(further[-1])
    return 0.0 if begin == back else float(begin - back) + size / 2


def _tail(sounding: Bools, gap: float) -> int:
    """Where what sounds from the first sample on, the click before that rings on, ends; 0 where it never does."""
    places = np.flatnonzero(sounding)
    breaks = np.flatnonzero(np.diff(places, prepend=0, append=len(sounding)) > gap)
    return int(places[breaks[0] - 1]) + 1 if len(breaks) and breaks[0] > 0 else 0


def beginning_in_quiet(front: Front, position: Float64, interval: float, quiet: float) -> float:
    """How much earlier (negative, samples) the clicks begin where they stand in the quiet before the playing; 0 where
    none do so.

    There the beginning of a click is seen as what it is, the sudden end of silence, which a soft beep shows nowhere
    else. The playing begins at `quiet`, samples.
    """
    first = float(position[0])
    alone = np.arange(first % interval, min(quiet, first + QUIET_CLICKS * interval), interval)[:QUIET_CLICKS]
    alone = alone[alone > 0.05 * front.rate_hz]
    if len(alone) < 2 or float(np.median(rise_db(front, np.round(alone).astype(np.int_)))) > RISE_DB:
        return 0.0
    step = round(0.001 * front.rate_hz)
    shift = np.arange(-min(LONGEST_S * front.rate_hz, LONGEST_SHARE * interval), 0, step)
    places = np.round(alone[:, None] + shift[None]).astype(np.int_)
    rise = np.median(rise_db(front, places.ravel()).reshape(places.shape), axis=0)
    best = int(np.argmax(rise))
    return float(shift[best]) if rise[best] > 2 * RISE_DB else 0.0


def _plain_power(match: Matcher, position: Float64, weight: Float64, before: int, after: int, size: int) -> Float64:
    """Power of the plain signal around the eight clearest clicks (their lower quartile), against its highest.

    Whitening spreads a sound into digital silence before it; the plain signal is empty there.
    """
    clear = np.argsort(-weight)[:8]
    i = np.round(position[clear[weight[clear] > 0]]).astype(np.int64)
    x = match.front.plain
    rows = np.stack([x[np.clip(np.arange(p - before, p + after), 0, len(x) - 1)] for p in i]).astype(np.float64)
    power = np.quantile(np.diff(rows, axis=1, prepend=rows[:, :1]) ** 2, 0.25, axis=0)
    power = np.convolve(power, np.full(size, 1 / size), mode="same")
    return power / max(float(power.max()), 1e-30)


def attack_of(channel: Channel, position: Float64, weight: Float64) -> tuple[float, float]:
    """How much later than the positions the click's time lies, and its standard uncertainty (samples).

    The uncertainty is read from half of the clicks against all, and from the definition's own play: how far apart the
    places lie where the sound exceeds a tenth and three tenths of its peak.
    """
    sample_rate_hz = channel.sample_rate_hz
    back, ahead = round(BACK_S * sample_rate_hz), round(AHEAD_S * sample_rate_hz)
    clear = np.argsort(-weight)[:MOST_LEARNED]
    clear = np.sort(clear[weight[clear] > 0])
    samples, place = channel.around(position[clear], max(back, ahead) + 2 * MARGIN)
    still, likely = round(STILL_S * sample_rate_hz), back - round(NOT_BEFORE_S * sample_rate_hz)

    def attacks(part: Float64, *shares: float) -> list[float]:
        sound = learn(samples, sample_rate_hz, part, back, ahead).sound
        return [i - back for i in attack_indices(sound, sample_rate_hz, shares, still=still, likely=likely)]

    whole, early, late = attacks(place, ATTACK_SHARE, 0.1, 0.3)
    play = (late - early) / 2
    spread = 0.3e-3 * sample_rate_hz
    if len(clear) >= 4:
        # half of what the two halves would differ by
        spread = abs(attacks(place[::2], ATTACK_SHARE)[0] - whole)
    return whole, float(np.sqrt(spread**2 + play**2 + (LEAST_U_S * sample_rate_hz) ** 2))
