"""Where a strum began and how well that is known, from the probability of each step."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Floats
from strumclock.onsets.detector import Calibration

Shares = npt.NDArray[np.float32]

AT_ONCE = 256  # strums gone through together: bounds the memory
HELD = 0.95  # share of the probability that lies within twice u …
NEARBY = 32  # … and of most strums within so many steps, where it is looked for first
NEAR_MODE = 3  # steps to either side of the likeliest over which the time is averaged: below 1.1 ms it is one event


def place_of(p: Floats, calibration: Calibration) -> Floats:
    """Place, in steps, from the probability of each step given a strum.

    The mean about the earliest step that is nearly as likely as the likeliest: a strum begins with its first string,
    and a later one is often the surer event.
    """
    rows = range(0, len(p), AT_ONCE)
    return np.concatenate([np.empty(0), *(_placed(p[a : a + AT_ONCE], calibration) for a in rows)])


def _placed(p: Floats, calibration: Calibration) -> Floats:
    p = p / np.maximum(p.sum(axis=1, keepdims=True), 1e-12)
    k = np.arange(p.shape[1])
    wide = np.pad(p, ((0, 0), (1, 1)))
    hill = np.pad(wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:], ((0, 0), (1, 1)))
    top = (hill[:, 1:-1] >= hill[:, :-2]) & (hill[:, 1:-1] >= hill[:, 2:])
    mode = (top & (hill[:, 1:-1] >= calibration.earlier * hill.max(axis=1, keepdims=True))).argmax(axis=1)[:, None]
    near = np.where(np.abs(k - mode) <= NEAR_MODE, p, 0.0)
    place: Floats = (near * (k + 0.5)).sum(axis=1) / near.sum(axis=1)
    return place


def doubt_of(p: Floats, place: Floats, sharpen: float = 1.0) -> Floats:
    """Standard uncertainty, in steps, of a place given the probability of each step.

    Twice the uncertainty holds `HELD` of the probability, raised to `sharpen`, around the place; a standard deviation
    would speak of the rare far mistakes more than of the usual error.
    """
    rows = range(0, len(p), AT_ONCE)
    return np.concatenate([np.empty(0), *(_doubted(p[a : a + AT_ONCE], place[a : a + AT_ONCE], sharpen) for a in rows)])


def _doubted(p: Floats, place: Floats, sharpen: float) -> Floats:
    sharp = np.exp(np.float32(sharpen) * np.log((p + 1e-30).astype(np.float32)))  # several at a time
    sharp /= sharp.sum(axis=1, keepdims=True)
    reach, held = _reach(sharp, place, NEARBY)
    wide = np.flatnonzero(~held)
    if len(wide):
        reach[wide], _ = _reach(sharp[wide], place[wide], p.shape[1])
    return reach / 2 + 0.5


def _reach(share: Shares, place: Floats, nearby: int) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """How far from each place the steps lie that hold `HELD` of it, and whether so many steps to either side do."""
    steps = share.shape[1]
    width = min(2 * nearby + 1, steps)
    begin = np.clip(np.floor(place).astype(np.intp) - nearby, 0, steps - width)
    at = begin[:, None] + np.arange(width)
    distance = np.abs(at + 0.5 - place[:, None])
    order = np.argsort(distance, axis=1)
    row = np.arange(len(place))[:, None]
    sums = np.cumsum(share[row, begin[:, None] + order], axis=1)
    last = np.minimum((sums < HELD).sum(axis=1), width - 1)
    reach: Floats = distance[row[:, 0], order[row[:, 0], last]]
    return reach, sums[:, -1] >= HELD
