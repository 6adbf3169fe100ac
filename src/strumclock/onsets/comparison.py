"""What the strums of one take have in common: where one of them is unsure, the others show where such a strum begins.

A pick, a guitar, a room and a codec mark all strums of a take alike: a touch of the strings so long before their
release, a second string that rings louder than the first, the smear of a block of a codec. Each strum alone leaves
open which of several events was the release; laid over the others of its take, it fits in one place better than in
the rest. Only the sound is compared, never the time in the bar: a player's own unevenness stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Floats
from strumclock.onsets.bands import STEP_S
from strumclock.onsets.detector import Calibration
from strumclock.onsets.places import AT_ONCE, doubt_of, place_of

Values = npt.NDArray[np.float32]

BEFORE, AFTER = 30, 70  # steps around a strum's time that are compared: touches before it, the other strings after it
HOP = 2  # of the steps around, every second is compared: all of them say no more
TURNS = 2  # what the first turn places anew shows the others better
LEAST = 5  # strums of a take: fewer show nothing in common
SURE_S = 0.001  # u of a strum that is left where it is


def compared(
    steps: Floats, evidence: npt.NDArray[np.floating], calibration: Calibration, smeared: float = 0.0
) -> Floats:
    """The probability of each step in each strum, after a look at the other strums of the take.

    The others, laid one over another at their places, give a mean and a variance of the evidence at each step around a
    strum's time. How well a strum's own evidence fits them, for each place that it may have, multiplies its
    probability: the likelihood of independent normal deviates, tempered since they are not independent.

    Parameters
    ----------
    steps : ndarray, shape (n, k)
        Probability of each step, a strum a row.
    evidence : ndarray, shape (n, k, channels)
        What was seen at these steps (`onsets.residual.evidence`).
    calibration : Calibration
    smeared : float
        See `places.smearing`.

    Returns
    -------
    ndarray, shape (n, k)
        Rows of strums that are sure already, and all rows of a take of fewer than `LEAST`, as they were.

    Examples
    --------
    Six strums: a touch ten steps before the release. In the last, the touch was thought the likelier place.

    >>> from strumclock.onsets.detector import shipped_detector
    >>> evidence = np.zeros((6, 256, 1))
    >>> evidence[:, 100:], evidence[:, 90:93] = 5.0, 2.0
    >>> steps = np.full((6, 256), 1e-6)
    >>> steps[:, 100], steps[5, 90] = 0.4, 0.6
    >>> int(compared(steps, evidence, shipped_detector().calibration)[5].argmax())
    100
    """
    n, k, _ = evidence.shape
    place = place_of(steps, calibration, smeared)
    u = doubt_of(steps, place, calibration)
    unsure = np.flatnonzero(u * STEP_S > SURE_S)
    if n < LEAST or not len(unsure):
        return steps
    evidence = np.asarray(evidence, np.float32)
    around = np.arange(-BEFORE, AFTER + 1, HOP)
    found = steps.copy()
    for _ in range(TURNS):
        begin = np.clip(np.floor(place), 0, k - 1).astype(np.intp)
        at = np.clip(begin[:, None] + around, 0, k - 1)
        weight = _near(found, begin)
        seen = evidence[np.arange(n)[:, None], at]
        total, first = weight.sum(), _summed(weight, seen)
        second = _summed(weight, np.square(seen, out=seen))
        del seen
        for a in range(0, len(unsure), AT_ONCE):
            some = unsure[a : a + AT_ONCE]
            own, seen_there = weight[some, None, None], evidence[some[:, None], at[some]]
            mean = (first - own * seen_there) / (total - own)
            variance = np.maximum((second - own * seen_there**2) / (total - own) - mean**2, 0) + calibration.floor**2
            fit = calibration.temper * _log_likelihood((evidence[i] for i in some), mean, variance, k)
            again = steps[some] * np.exp(fit - fit.max(axis=1, keepdims=True))
            found[some] = again / again.sum(axis=1, keepdims=True)
            place[some] = place_of(found[some], calibration, smeared)
    return found


def _summed(weight: Values, seen: Values) -> Values:
    """Weighted sum over the strums."""
    both: Values = (weight @ seen.reshape(len(seen), -1)).reshape(seen.shape[1:])
    return both


def _log_likelihood(seen: Iterable[Values], mean: Values, variance: Values, places: int) -> Values:
    """Of what was seen of each strum, (places, channels), at each of its places, but for a constant: shape (n, places).

    The sums over steps and channels of (seen - mean)² / variance, multiplied out: one product of matrices for each
    strum holds the terms of all places, those of a place lie on a diagonal. Beyond the ends what was seen stays as it
    is there.
    """
    n, length, channels = mean.shape
    factors = np.concatenate([mean / variance, -0.5 / variance], axis=2)
    both = np.empty((2 * channels, BEFORE + places + AFTER), np.float32)  # what was seen, and its squares
    own, squares = both[:channels], both[channels:]
    terms = np.empty((length, both.shape[1]), np.float32)
    step, across = terms.strides
    diagonals = np.ndarray((length, places), np.float32, terms, strides=(step + HOP * across, across))
    fit = np.empty((n, places), np.float32)
    for factor, here, row in zip(factors, seen, fit, strict=True):
        own[:, BEFORE : BEFORE + places] = here.T
        own[:, :BEFORE], own[:, BEFORE + places :] = here[:1].T, here[-1:].T
        np.multiply(own, own, out=squares)
        np.matmul(factor, both, out=terms)
        diagonals.sum(axis=0, out=row)
    return fit


def _near(steps: Floats, place: npt.NDArray[np.intp]) -> Values:
    """How surely each strum is where it was placed: its probability within a millisecond."""
    reach = round(SURE_S / STEP_S)
    at = place[:, None] + np.arange(-reach, reach + 1)
    there = np.take_along_axis(steps, np.clip(at, 0, steps.shape[1] - 1), axis=1)
    there[(at < 0) | (at >= steps.shape[1])] = 0
    near: Values = there.sum(axis=1).astype(np.float32)
    return near
