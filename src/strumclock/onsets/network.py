"""Reads the evidence: how likely a strum began in each third of a millisecond, or not at all.

A small convolutional network whose weights were learned from simulated strums with known times (`strumclock.learning`).
The picture of the levels around a candidate first tells whether a look is worth while at all. Where it is, the network
sees the evidence in fine steps, four steps at a time over the whole look, and the picture again. What it states is a
probability for each step and for "none"; trained on the logarithm of that probability, it states as much doubt as its
mistakes on unseen takes deserve.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Tensor = npt.NDArray[np.float32]
Layer = tuple[Tensor, Tensor]

LEAK = np.float32(0.1)  # slope of the rectifier below zero
COARSE = 4  # steps that the wide view takes at a time
DILATIONS = (1, 3, 9)  # of the wide view's further layers: together they see 10 ms, 30 ms and all of the look
BATCH = 16  # candidates at once: what fits a processor's cache


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weights:
    """The learned numbers: kernel, of shape (taps * channels in, channels out), and bias of each layer.

    Attributes
    ----------
    picture, gate : pair of arrays
        What the picture shows, and whether a look is worth while.
    fine, wide, near, far, farther : pair of arrays
        Of the evidence: in steps, in groups of `COARSE` steps, and these with the `DILATIONS`.
    mixed : pair of arrays
        What the picture adds to each group.
    joined, out : pair of arrays
        From steps and groups to each step's logit.
    doubt, none : pair of arrays
        From the groups' largest, their mean and the picture to the logit of "none".
    """

    picture: Layer
    gate: Layer
    fine: Layer
    wide: Layer
    mixed: Layer
    near: Layer
    far: Layer
    farther: Layer
    joined: Layer
    out: Layer
    doubt: Layer
    none: Layer

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


def worth_a_look(picture: Tensor, w: Weights) -> Tensor:
    """Probability that a strum began near each candidate, from the picture (n, pixels) alone: shape (n,)."""
    logit = _rectified(picture @ w.picture[0] + w.picture[1]) @ w.gate[0] + w.gate[1]
    likely: Tensor = 1 / (1 + np.exp(-logit[:, 0]))
    return likely


def probabilities(evidence: Tensor, picture: Tensor, w: Weights) -> npt.NDArray[np.float64]:
    """Probability that a strum began in each step, and last that none did, shape (n, steps + 1)."""
    out = np.empty((len(evidence), evidence.shape[1] + 1))
    for a in range(0, len(evidence), BATCH):
        z = logits(evidence[a : a + BATCH], picture[a : a + BATCH], w)
        z = np.exp(z - z.max(axis=1, keepdims=True))
        out[a : a + BATCH] = z / z.sum(axis=1, keepdims=True, dtype=np.float64)
    return out


def logits(evidence: Tensor, picture: Tensor, w: Weights) -> Tensor:
    """Logits of the same."""
    n, steps, channels = evidence.shape
    groups = steps // COARSE
    layers = _grouped(w, channels, groups)
    seen = _rectified(picture @ w.picture[0] + w.picture[1])
    fine = _layer(_seen(evidence, len(layers.fine[0]) // channels, group=COARSE), *layers.fine)
    mixed = np.repeat(seen @ w.mixed[0] + w.mixed[1], groups, axis=0)
    wide = _layer(_seen(fine, len(w.wide[0]) // fine.shape[2]), w.wide[0], layers.wide_bias, mixed)
    for kernel, bias, dilation in layers.more:
        wide += _layer(_seen(wide, len(kernel) // wide.shape[2], dilation=dilation), kernel, bias)
    beside = _seen(wide, 3)
    in_fine = (len(layers.joined[0]) - beside.shape[2]) // w.fine[0].shape[1]
    here = _seen(fine.reshape(n, steps, -1), in_fine, group=COARSE)
    joined = _layer(np.concatenate([here, beside], axis=2), *layers.joined)
    steps_logit = (joined.reshape(n * steps, -1) @ w.out[0] + w.out[1]).reshape(n, steps)
    mean = np.full(groups, 1 / groups, np.float32) @ wide
    doubt = _rectified(np.concatenate([wide.max(axis=1), mean, seen], axis=1) @ w.doubt[0] + w.doubt[1])
    return np.concatenate([steps_logit, doubt @ w.none[0] + w.none[1]], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grouped:
    """The layers that see steps, arranged to compute `COARSE` neighbouring steps at once: kernel, and biases of all
    groups of a candidate."""

    fine: Layer
    joined: Layer
    wide_bias: Tensor
    more: tuple[tuple[Tensor, Tensor, int], ...]  # kernel, bias, dilation; without those that are empty


@lru_cache(maxsize=4)
def _grouped(w: Weights, channels_in: int, groups: int) -> _Grouped:
    """The weights' kernels for groups of steps: fewer and larger products of matrices."""
    fine, joined = w.fine[0], w.joined[0]
    channels = fine.shape[1]
    by_tap = joined.reshape(-1, channels + w.wide[0].shape[1], joined.shape[1])
    joined_both = np.concatenate([_for_groups(by_tap[:, :channels]), _for_repeated(by_tap[:, channels:])])
    return _Grouped(
        fine=(_for_groups(fine.reshape(-1, channels_in, channels)), np.tile(w.fine[1], COARSE * groups)),
        joined=(joined_both, np.tile(w.joined[1], COARSE * groups)),
        wide_bias=np.tile(w.wide[1], groups),
        more=tuple(
            (kernel, np.tile(bias, groups), dilation)
            for (kernel, bias), dilation in zip((w.near, w.far, w.farther), DILATIONS, strict=True)
            if kernel.any() or bias.any()
        ),
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


def _rectified(z: Tensor) -> Tensor:
    y: Tensor = np.maximum(z, LEAK * z, out=z)
    return y


def _layer(seen: Tensor, kernel: Tensor, bias: Tensor, mixed: Tensor | None = None) -> Tensor:
    """Rectified sums of what each group of steps sees (n, groups, taps * channels); the bias is that of all groups."""
    n, groups, width = seen.shape
    y = seen.reshape(n * groups, width) @ kernel
    if mixed is not None:
        y += mixed
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
