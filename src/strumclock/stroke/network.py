"""Two small learned functions of a strum's picture: how wide its spread, and how much it looks like an up-stroke.

Each is one hidden layer of rectified sums, with weights that `tests/benchmarks/learn_strokes.py` learned from simulated
strums whose strings' times are known: an up-stroke starts with the treble strings and often leaves the bass out.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np

from strumclock.arrays import Floats, Samples


@lru_cache(maxsize=1)
def learned_weights() -> dict[str, Samples]:
    """The weights that come with the package."""
    with (files("strumclock.stroke") / "weights.npz").open("rb") as f, np.load(f) as z:
        return {name: z[name].astype(np.float32) for name in z.files}


def log_spread(picture: Samples) -> Floats:
    """Natural logarithm of (spread in ms + 3) from pictures (k, STEPS, BANDS)."""
    return _through("spread", shape_of(picture))


def up_logit(picture: Samples) -> Floats:
    """Log odds of an up-stroke, but for a constant, from the pictures of one take (k, STEPS, BANDS)."""
    return _through("up", own_picture(picture))


def shape_of(picture: Samples) -> Samples:
    """Pictures without their loudness."""
    return np.asarray(picture - picture.mean(axis=(1, 2), keepdims=True), dtype=np.float32)


def own_picture(picture: Samples) -> Samples:
    """Pictures without what the take's strums have in common: guitar, room and microphone serve both directions."""
    return shape_of(picture - np.median(picture, axis=0).astype(np.float32))


def _through(name: str, picture: Samples) -> Floats:
    w = learned_weights()
    flat = picture.reshape(len(picture), -1)
    hidden = np.maximum(flat @ w[f"{name}_w1"] + w[f"{name}_b1"], 0)
    return np.asarray(hidden @ w[f"{name}_w2"] + w[f"{name}_b2"], dtype=np.float64)
