"""Which strums went down and which up, and how sure that is.

Two things tell. How the sound builds up: a down-stroke meets the low strings first (`network.up_logit`, which learned
it from simulated strums and knows which way is up). And the balance of treble and bass, which differs between the two
strokes of a player, usually because up-strokes leave the low strings out; how much is learned from the take itself.
The balance depends on the chord as well, so what strums of like harmony share is taken out first.

The hand swings like a pendulum: after one swing's time it comes the other way, after two the same way again. All is
held together in a two-state hidden Markov model (Rabiner 1989, from memory): the evidence of each strum is normal about
its direction's mean, and the odds that the direction alternates follow the number of swings between strums. The swing's
time is the one that makes the take most likely, or is known from the grid; then strums at the same place of the bar,
which a pattern repeats, speak for each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats, Ints
from strumclock.errors import Absent
from strumclock.stroke.harmony import without_harmony
from strumclock.stroke.network import up_logit
from strumclock.stroke.picture import EDGES_HZ, FROM_S, HOP_S

LOW_BANDS = slice(0, 2)  # 80 to 320 Hz, where the wound strings' fundamentals lie
HIGH_BANDS = slice(3, len(EDGES_HZ) - 1)  # 640 Hz to 5 kHz: every string sounds here, the low ones less
BALANCE_S = (0.024, 0.084)  # after the last string of a quick stroke, before the next strum of a fast pattern
LOUDEST_STEPS, LAST_STEPS = slice(3, 12), slice(17, 20)  # of a picture: 0 to 54 and 84 to 102 ms after the strum
# A muted stroke falls so much more within a tenth of a second than the take's ringing ones, at least a quarter of all:
# on recorded strumming these differ by 2 to 3 dB from each other, and muted ones by 5 to 25 from them.
MUTED_DB, RINGING_SHARE = 6.0, 0.25
LEAST_STRUMS = 12  # two groups of six: fewer do not show two means apart
LEAST_SEPARATION = 1.0  # log odds between the two directions' means below which the model is guessing
# Log-likelihood over one direction only. Of 60 simulated takes whose strokes all went down (with accents, soft and hard
# and muted ones) 95 in 100 stay below 3 on a grid and below 6 without one, where the model chooses the swing as well.
LEAST_GAIN_GRID, LEAST_GAIN_FREE = 4.0, 7.0
LEAST_EACH = 3  # strums of each direction that are known with nine chances in ten
_SWINGS_S = np.exp(
    np.arange(math.log(0.11), math.log(0.75), 0.015)
)  # one swing of the hand: 9 a second down to 80 a minute
_TRUST_GRID = 0.95  # that a hand keeps its pendulum from slot to slot
_TRUST_PLACE = 0.9  # that strums at one place of the bar go the same way: patterns change, hands err
_TRUST_FREE = 0.95  # the same where strums lie on the swing's own places; 0.5 (no say) where they lie between
_PLACE_SD = 0.12  # scatter of strums about the swing's places, in swings
_FAR_SWINGS = 6  # beyond so many swings a pause has broken the pendulum
_ROUNDS = 8
# Of the model's log odds, so much is stated: its evidence is less independent than it supposes. On hand-labelled real
# strumming, strums that it claims with 0.94, 0.99 and 0.999 are right in 0.83, 0.88 and 0.99 of the cases.
_BELIEVED = 0.6
_CLIP_SD = 4.0  # one odd strum must not outvote its neighbours
_FLOOR_LOGIT, _FLOOR_DB = 0.5, 0.7  # least scatter of the evidence: chords and touch alone make as much
_PRIOR_STRUMS = 4.0  # what the belief that both directions are equally bright is worth


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Directions:
    """Direction of each strum.

    Attributes
    ----------
    p_up : (n,) array
        Posterior probability of an up-stroke; NaN for strums that were left out.
    separation : float
        Log odds between the means of up- and down-strokes.
    gain : float
        Log-likelihood over the best model with one direction.
    """

    p_up: Floats
    separation: float
    gain: float

    def placed(self, told: NDArray[np.bool_]) -> Directions:
        """The same for more strums, of which those marked were told apart; the others' probability is NaN."""
        p_up = np.full(len(told), np.nan)
        p_up[told] = self.p_up
        return replace(self, p_up=p_up)


def balance_db(picture: NDArray[np.float32]) -> Floats:
    """Treble over bass shortly after each strum, dB, from pictures (k, STEPS, BANDS)."""
    a, b = (round((s - FROM_S) / (2 * HOP_S)) for s in BALANCE_S)
    seen = picture[:, a:b].astype(np.float64).mean(axis=1)
    return np.asarray(seen[:, HIGH_BANDS].mean(axis=1) - seen[:, LOW_BANDS].mean(axis=1))


def tell_directions(
    picture: NDArray[np.float32],
    chroma: Floats,
    time_s: Floats,
    *,
    place: Floats | None = None,
    bar_place: Ints | None = None,
) -> Directions | Absent:
    """Tell up- from down-strokes.

    Parameters
    ----------
    picture : (n, STEPS, BANDS) array
        From `picture.pictures`.
    chroma : (n, 12) array
        From `harmony.chromas`: strums of like harmony.
    time_s : (n,) array
        Strum times [s].
    place : (n,) or (m, n) array, optional
        Where the hand is in its swings at each strum, counted in single swings: the grid's count of parts, say. NaN for
        strums without a slot. Each row is tried, and the likeliest taken.
    bar_place : (n,) array of int, optional
        Place in the bar, the same number in each bar; -1 for strums without a slot.

    Returns
    -------
    Directions or Absent
        The reason where the two cannot be told apart.
    """
    rings = ring_on(picture)
    n = int(rings.sum())
    if n < LEAST_STRUMS:
        reason = f"{LEAST_STRUMS} strums that ring are needed to tell up- from down-strokes; {n} were found"
        return Absent(code="too-few", reason=reason)
    picture, time_s = picture[rings], time_s[rings]
    evidence = np.column_stack([up_logit(picture), balance_db(picture)])
    evidence = without_harmony(evidence, chroma[rings])
    swings, trust, fit = _swings(time_s, None if place is None else np.atleast_2d(place)[:, rings])
    model = _fit(evidence, swings, trust, None if bar_place is None else bar_place[rings])
    score = np.where(model.separation > 0, model.log_likelihood + fit, -np.inf)
    best = int(np.argmax(score))
    separation, gain = float(model.separation[best]), float(model.log_likelihood[best]) - _alone(evidence)
    least = LEAST_GAIN_FREE if len(swings) == len(_SWINGS_S) else LEAST_GAIN_GRID
    odds = model.p_up[best] / np.maximum(1 - model.p_up[best], 1e-12)
    p_up = 1 / (1 + np.maximum(odds, 1e-12) ** -_BELIEVED)
    each = min(int((p_up > 0.9).sum()), int((p_up < 0.1).sum()))
    if not math.isfinite(score[best]) or separation < LEAST_SEPARATION or gain < least or each < LEAST_EACH:
        reason = "up- and down-strokes do not sound different enough in this take, or all strokes went one way"
        return Absent(code="alike", reason=reason)
    return Directions(p_up=p_up, separation=separation, gain=gain).placed(rings)


def ring_on(picture: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Strums that are no muted strokes: their sound does not fall much sooner than that of most others in the take."""
    if not len(picture):
        return np.zeros(0, bool)
    loudest, last = picture[:, LOUDEST_STEPS].max(axis=1), picture[:, LAST_STEPS].mean(axis=1)
    fall_db = (loudest - last).mean(axis=1)
    return np.asarray(fall_db <= np.quantile(fall_db, RINGING_SHARE) + MUTED_DB)


def _swings(time_s: Floats, place: Floats | None) -> tuple[Ints, Floats, Floats]:
    """For each swing tried: swings between neighbouring strums, trust in the pendulum, and how well it fits."""
    if place is not None and np.isfinite(place).mean() > 0.5:
        step = np.diff(np.atleast_2d(place), axis=1)
        known = np.isfinite(step)
        count = np.where(known, np.nan_to_num(step), 0).astype(np.int64)
        return count, np.where(known, _TRUST_GRID, 0.5), np.zeros(len(count))
    ratio = np.diff(time_s)[None, :] / _SWINGS_S[:, None]
    count = np.maximum(np.rint(ratio), 1)
    nearness = np.exp(-0.5 * ((ratio - count) / _PLACE_SD) ** 2)
    trust = 0.5 + (_TRUST_FREE - 0.5) * nearness * np.where(count <= _FAR_SWINGS, 1.0, 0.3)
    density = nearness / (_PLACE_SD * math.sqrt(2 * math.pi))
    return count.astype(np.int64), trust, 0.5 * np.log(np.maximum(density, 0.3)).sum(axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Model:
    """Every swing's model: posterior of "up" [models, n], log-likelihood and separation [models]."""

    p_up: Floats
    log_likelihood: Floats
    separation: Floats


def _fit(evidence: Floats, swings: Ints, trust: Floats, bar_place: Ints | None) -> _Model:
    """Expectation maximisation of all swings' models at once, from what the learned evidence says alone."""
    models, n = len(swings), len(evidence)
    floor = np.array([_FLOOR_LOGIT, _FLOOR_DB])
    p_up = np.tile(1 / (1 + np.exp(-(evidence[:, 0] - np.median(evidence[:, 0])))), (models, 1))
    log_likelihood = np.full(models, -np.inf)
    means = np.zeros((2, models, 2))
    for _ in range(_ROUNDS):
        sd = np.zeros((models, 2))
        middle = evidence.mean(axis=0)
        for state, p in enumerate((1 - p_up, p_up)):
            means[state] = (p @ evidence + _PRIOR_STRUMS * middle * [0, 1]) / (
                p.sum(axis=1, keepdims=True) + _PRIOR_STRUMS * np.array([0, 1]) + 1e-9
            )
            sd += np.einsum("mn,mnk->mk", p, (evidence[None] - means[state][:, None]) ** 2)
        sd = np.maximum(np.sqrt(sd / n), floor)
        emission = np.stack([_density(evidence[None] - mean[:, None], sd[:, None]) for mean in means], axis=2)
        p_up, log_likelihood = _forward_backward(emission, swings, trust)
    if bar_place is not None:
        p_up, _ = _forward_backward(emission * _by_place(emission, bar_place), swings, trust)
    return _Model(p_up=p_up, log_likelihood=log_likelihood, separation=means[1, :, 0] - means[0, :, 0])


def _alone(evidence: Floats) -> float:
    """Log-likelihood of the evidence if all strums went one way."""
    sd = np.maximum(evidence.std(axis=0), [_FLOOR_LOGIT, _FLOOR_DB])
    return float(np.log(_density(evidence - evidence.mean(axis=0), sd)).sum())


def _density(away: Floats, sd: Floats) -> Floats:
    z = np.clip(away / sd, -_CLIP_SD, _CLIP_SD)
    return np.asarray(np.exp(-0.5 * (z**2).sum(axis=-1)) / sd.prod(axis=-1) + 1e-6)


def _by_place(emission: Floats, bar_place: Ints) -> Floats:
    """What the other strums at the same place of the bar say about each strum: odds [models, n, 2]."""
    ratio = emission[:, :, 1] / emission[:, :, 0]
    keeps = _TRUST_PLACE
    for_it = np.log((keeps * ratio + 1 - keeps) / (keeps + (1 - keeps) * ratio))
    out = np.full(emission.shape, 0.5)
    for place in np.unique(bar_place[bar_place >= 0]):
        at = np.flatnonzero(bar_place == place)
        others = for_it[:, at].sum(axis=1, keepdims=True) - for_it[:, at]
        up = 0.5 * (1 + np.tanh(others / 2))  # the logistic function, which in exponentials overflows on long takes
        out[:, at, 1] = keeps * up + (1 - keeps) * (1 - up)
        out[:, at, 0] = 1 - out[:, at, 1]
    return out


def _forward_backward(emission: Floats, swings: Ints, trust: Floats) -> tuple[Floats, Floats]:
    """Posterior of "up" [models, n] and log-likelihood [models] of every model at once."""
    same = np.where(swings % 2 == 1, 1 - trust, trust)
    same = np.concatenate([np.full((len(same), 1), 0.5), same], axis=1)  # before the first strum nothing is known
    most = emission.max(axis=2)
    seen = np.moveaxis(emission / most[:, :, None], 2, 0)
    move = np.stack([np.stack([same, 1 - same]), np.stack([1 - same, same])])  # from, to
    models = len(same)
    onward = move * seen
    back = np.zeros_like(onward)
    back[0, 0, :, -1] = back[1, 1, :, -1] = 1.0
    back[..., :-1] = onward.transpose(1, 0, 2, 3)[..., :0:-1]
    chained, log_scale = _chained(np.concatenate([onward, back], axis=2))  # both ways at once
    forward, after = chained[:, :models], np.ones((2, models, onward.shape[3]))
    after[..., :-1] = chained[:, models:, -2::-1]
    posterior = forward * after
    return posterior[1] / posterior.sum(axis=0), log_scale[:models] + np.log(most).sum(axis=1)


def _chained(matrix: Floats) -> tuple[Floats, Floats]:
    """Row vector (1/2, 1/2) times the first 1, 2 … n matrices [2, 2, models, n], and the logarithm of the last's sum.

    The vectors [2, models, n] come in scales of their own, so that none vanishes.
    Within about the square root of n blocks, all of them at once; then from block to block.
    """
    models, n = matrix.shape[2:]
    blocks = max(math.isqrt(n), 1)
    length = -(-n // blocks)
    padded = np.zeros((2, 2, models, blocks * length))
    padded[0, 0], padded[1, 1] = 1.0, 1.0
    padded[:, :, :, :n] = matrix
    product = np.ascontiguousarray(np.moveaxis(padded.reshape(2, 2, models, blocks, length), 4, 0))
    for k in range(1, length):
        before, step = product[k - 1], product[k].copy()
        product[k] = before[:, :1] * step[:1] + before[:, 1:] * step[1:]
    start = np.empty((2, models, blocks))
    scale = np.empty((models, blocks))
    ends = np.ascontiguousarray(np.moveaxis(product[-1], 3, 0))
    down, up = np.full((2, models), 0.5)
    for b in range(blocks):
        start[0, :, b], start[1, :, b] = down, up
        down, up = down * ends[b, 0] + up * ends[b, 1]
        scale[:, b] = down + up
        down, up = down / scale[:, b], up / scale[:, b]
    chained = (start[:, None] * product).sum(axis=1)
    return np.moveaxis(chained, 0, 3).reshape(2, models, -1)[:, :, :n], np.log(scale).sum(axis=1)
