"""Where exactly the clicks lie, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Samples
from strumclock.audio.channel import Channel
from strumclock.click.attack import ATTACK_SHARE, attack_indices
from strumclock.click.matching import Matcher
from strumclock.click.templates import MARGIN, learn
from strumclock.robust import sd_of_sizes

BACK_S, AHEAD_S = 0.020, 0.045
"""Before and after a click's beginning: what is learned to read its attack."""

MOST_LEARNED = 48
"""So many of the clearest clicks are learned from."""

LEAST_U_S = 0.00003
"""Standard uncertainty that always remains: the filter of the definition delays sharp sounds by as much."""

STILL_S, NOT_BEFORE_S = 0.005, 0.0025
"""So much at the beginning of what is learned holds no click; and an attack earlier than this before the place where
the click was seen to begin must stand out more."""


USUAL_S, USUAL_COUNT = 0.00002, 3
"""Where few clicks are heard, the scatter of their places is judged as if so many more had scattered by this."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A straight line through the places of the clicks, samples: start + step * nominal.

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

    def u(self, nominal: Floats) -> Floats:
        """Standard uncertainty of the line's places."""
        return np.hypot(self.middle_u, self.step_u * (nominal - self.middle))


def fit_line(match: Matcher, position: Floats, nominal: Floats, sound: Samples, weight: Floats, bend: Floats) -> Line:
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
        scale = sd_of_sizes(off[keep > 0])
        near = w * (np.abs(off) <= max(3.5 * scale, 0.02))
        if np.count_nonzero(near) < 3:
            break
        keep = near
    n = int(np.count_nonzero(keep))
    usual = USUAL_S * match.signal.rate_hz
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


def attack_of(channel: Channel, position: Floats, weight: Floats) -> tuple[float, float]:
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

    def attacks(part: Floats, *shares: float) -> list[float]:
        sound = learn(samples, sample_rate_hz, part, back, ahead).sound
        return [i - back for i in attack_indices(sound, sample_rate_hz, shares, still=still, likely=likely)]

    whole, early, late = attacks(place, ATTACK_SHARE, 0.1, 0.3)
    play = (late - early) / 2
    spread = 0.3e-3 * sample_rate_hz
    if len(clear) >= 4:
        # half of what the two halves would differ by
        spread = abs(attacks(place[::2], ATTACK_SHARE)[0] - whole)
    return whole, float(np.sqrt(spread**2 + play**2 + (LEAST_U_S * sample_rate_hz) ** 2))
