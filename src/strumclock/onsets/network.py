"""Reads the evidence: how likely a strum began in each third of a millisecond, or not at all.

A small convolutional network with weights that `tests/benchmarks/learn_onsets.py` learned from simulated strums
whose times are known. It sees the evidence in fine steps, four steps at a time with a view of 20 ms to either
side, and the picture of the levels around. What it states is a probability for each step and for "none"; trained
on the logarithm of that probability, it states as much doubt as its mistakes on unseen takes deserve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

Tensor = npt.NDArray[np.float32]

LEAK = np.float32(0.1)  # slope of the rectifier below zero
COARSE = 4  # steps that the wide view takes at a time
DILATION = 3  # of the wide view's second layer
BATCH = 8  # candidates at once: what fits a processor's cache


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """The learned numbers; kernels have shape (taps * channels in, channels out)."""

    fine: tuple[Tensor, Tensor]
    wide: tuple[Tensor, Tensor]
    wider: tuple[Tensor, Tensor]
    joined: tuple[Tensor, Tensor]
    out: tuple[Tensor, Tensor]
    picture: tuple[Tensor, Tensor]
    none: tuple[Tensor, Tensor]


@lru_cache(maxsize=1)
def learned_weights() -> Weights:
    """The weights that come with the package."""
    with (files("strumclock.onsets") / "weights.npz").open("rb") as f, np.load(f) as z:
        named = {
            name: (z[f"{name}_kernel"].astype(np.float32), z[f"{name}_bias"].astype(np.float32))
            for name in Weights.__slots__
        }
    return Weights(**named)


def probabilities(evidence: Tensor, picture: Tensor, weights: Weights | None = None) -> npt.NDArray[np.float64]:
    """Probability that a strum began in each step, and last that none did, shape (n, steps + 1)."""
    w = weights or learned_weights()
    out = np.empty((len(evidence), evidence.shape[1] + 1))
    for a in range(0, len(evidence), BATCH):
        z = _logits(evidence[a : a + BATCH], picture[a : a + BATCH], w).astype(np.float64)
        z = np.exp(z - z.max(axis=1, keepdims=True))
        out[a : a + BATCH] = z / z.sum(axis=1, keepdims=True)
    return out


def _logits(evidence: Tensor, picture: Tensor, w: Weights) -> Tensor:
    n, steps, _ = evidence.shape
    fine = _rectified(_convolved(evidence, *w.fine))
    wide = _rectified(_convolved(fine.reshape(n, steps // COARSE, -1), *w.wide))
    wider = wide + _rectified(_convolved(wide, *w.wider, dilation=DILATION))
    joined = _rectified(_convolved(np.concatenate([fine, np.repeat(wider, COARSE, axis=1)], axis=2), *w.joined))
    steps_logit = (joined @ w.out[0] + w.out[1])[:, :, 0]
    seen = _rectified(picture @ w.picture[0] + w.picture[1])
    none = np.concatenate([wider.max(axis=1), wider.mean(axis=1), seen], axis=1) @ w.none[0] + w.none[1]
    return np.concatenate([steps_logit, none], axis=1)


def _rectified(z: Tensor) -> Tensor:
    y: Tensor = np.maximum(z, LEAK * z)
    return y


def _convolved(x: Tensor, kernel: Tensor, bias: Tensor, *, dilation: int = 1) -> Tensor:
    """Convolve along axis 1, same length."""
    n, steps, channels = x.shape
    taps = len(kernel) // channels
    half = dilation * (taps // 2)
    padded = np.zeros((n, steps + 2 * half, channels), np.float32)
    padded[:, half : half + steps] = x
    s = padded.strides
    columns = np.lib.stride_tricks.as_strided(
        padded, (n, steps, taps, channels), (s[0], s[1], s[1] * dilation, s[2])
    ).reshape(n * steps, taps * channels)
    y: Tensor = columns @ kernel + bias
    return y.reshape(n, steps, -1)
