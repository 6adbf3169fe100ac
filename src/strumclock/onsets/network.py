"""Reads the evidence: how likely a strum began in each third of a millisecond, or not at all.

A small convolutional network whose weights were learned from simulated strums with known times. It sees the evidence
in fine steps, four steps at a time with a view of 20 ms to either side, and the picture of the levels around. What it
states is a probability for each step and for "none"; trained on the logarithm of that probability, it states as much
doubt as its mistakes on unseen takes deserve.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Tensor = npt.NDArray[np.float32]

LEAK = np.float32(0.1)  # slope of the rectifier below zero
COARSE = 4  # steps that the wide view takes at a time
DILATION = 3  # of the wide view's second layer
BATCH = 16  # candidates at once: what fits a processor's cache


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

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, npt.NDArray[np.floating]]) -> Weights:
        """From arrays named LAYER_kernel and LAYER_bias."""
        return cls(
            **{
                layer: (arrays[f"{layer}_kernel"].astype(np.float32), arrays[f"{layer}_bias"].astype(np.float32))
                for layer in cls.__slots__
            }
        )

    def arrays(self) -> dict[str, Tensor]:
        """The same arrays again."""
        pairs = ((layer, getattr(self, layer)) for layer in self.__slots__)
        return {f"{layer}_{part}": a for layer, pair in pairs for part, a in zip(("kernel", "bias"), pair, strict=True)}


def probabilities(evidence: Tensor, picture: Tensor, w: Weights) -> npt.NDArray[np.float64]:
    """Probability that a strum began in each step, and last that none did, shape (n, steps + 1)."""
    out = np.empty((len(evidence), evidence.shape[1] + 1))
    for a in range(0, len(evidence), BATCH):
        z = _logits(evidence[a : a + BATCH], picture[a : a + BATCH], w)
        z = np.exp(z - z.max(axis=1, keepdims=True))
        out[a : a + BATCH] = z / z.sum(axis=1, keepdims=True, dtype=np.float64)
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grouped:
    """The layers that see steps, arranged to compute `COARSE` neighbouring steps at once: kernel, and biases of all
    groups of a candidate."""

    fine: tuple[Tensor, Tensor]
    wide: tuple[Tensor, Tensor]
    wider: tuple[Tensor, Tensor]
    joined: tuple[Tensor, Tensor]


@lru_cache(maxsize=4)
def _grouped(w: Weights, channels_in: int, groups: int) -> _Grouped:
    """The weights' kernels for groups of steps: fewer and larger products of matrices."""
    fine, joined = w.fine[0], w.joined[0]
    channels = fine.shape[1]
    by_tap = joined.reshape(-1, channels + w.wider[0].shape[1], joined.shape[1])
    joined_both = np.concatenate([_for_groups(by_tap[:, :channels]), _for_repeated(by_tap[:, channels:])])
    return _Grouped(
        fine=(_for_groups(fine.reshape(-1, channels_in, channels)), np.tile(w.fine[1], COARSE * groups)),
        wide=(w.wide[0], np.tile(w.wide[1], groups)),
        wider=(w.wider[0], np.tile(w.wider[1], groups)),
        joined=(joined_both, np.tile(w.joined[1], COARSE * groups)),
    )


def _for_groups(kernel: Tensor) -> Tensor:
    """From a kernel of shape (taps, in, out) to one from the steps that a group sees to the group's steps."""
    taps, channels, out = kernel.shape
    spread = np.zeros((taps + COARSE - 1, channels, COARSE, out), np.float32)
    for step in range(COARSE):
        spread[step : step + taps, :, step] = kernel
    return spread.reshape(-1, COARSE * out)


def _for_repeated(kernel: Tensor) -> Tensor:
    """The same, if what the kernel sees is the same in all steps of a group: from three groups to one's steps."""
    taps, channels, out = kernel.shape
    summed = np.zeros((3, channels, COARSE, out), np.float32)
    for step in range(COARSE):
        for tap in range(taps):
            summed[1 + (step + tap - taps // 2) // COARSE, :, step] += kernel[tap]
    return summed.reshape(-1, COARSE * out)


def _logits(evidence: Tensor, picture: Tensor, w: Weights) -> Tensor:
    n, steps, channels = evidence.shape
    groups = steps // COARSE
    layers = _grouped(w, channels, groups)
    fine = _layer(_seen(evidence, len(layers.fine[0]) // channels, group=COARSE), *layers.fine)
    wide = _layer(_seen(fine, len(w.wide[0]) // fine.shape[2]), *layers.wide)
    wider = _layer(_seen(wide, len(w.wider[0]) // wide.shape[2], dilation=DILATION), *layers.wider)
    wider += wide
    near = _seen(wider, 3)
    in_fine = (len(layers.joined[0]) - near.shape[2]) // w.fine[0].shape[1]
    here = _seen(fine.reshape(n, steps, -1), in_fine, group=COARSE)
    joined = _layer(np.concatenate([here, near], axis=2), *layers.joined)
    steps_logit = (joined.reshape(n * steps, -1) @ w.out[0] + w.out[1]).reshape(n, steps)
    seen = _rectified(picture @ w.picture[0] + w.picture[1])
    mean = np.full(groups, 1 / groups, np.float32) @ wider
    none = np.concatenate([wider.max(axis=1), mean, seen], axis=1) @ w.none[0] + w.none[1]
    return np.concatenate([steps_logit, none], axis=1)


def _rectified(z: Tensor) -> Tensor:
    y: Tensor = np.maximum(z, LEAK * z, out=z)
    return y


def _layer(seen: Tensor, kernel: Tensor, bias: Tensor) -> Tensor:
    """Rectified sums of what each group of steps sees (n, groups, taps * channels); the bias is that of all groups."""
    n, groups, width = seen.shape
    y = seen.reshape(n * groups, width) @ kernel
    z = y.reshape(n, -1)
    z += bias
    return _rectified(z).reshape(n, groups, -1)


def _seen(x: Tensor, taps: int, *, dilation: int = 1, group: int = 1) -> Tensor:
    """What each group of steps sees along axis 1, as many taps around it side by side: shape (n, groups, taps *
    channels); beyond the ends is nothing."""
    n, steps, channels = x.shape
    half = dilation * ((taps - group + 1) // 2)
    padded = np.zeros((n, steps + 2 * half, channels), np.float32)
    padded[:, half : half + steps] = x
    s = padded.strides
    view: Tensor = np.ndarray(
        (n, steps // group, taps, channels), np.float32, padded, strides=(s[0], s[1] * group, s[1] * dilation, s[2])
    )
    return view.reshape(n, steps // group, taps * channels)
