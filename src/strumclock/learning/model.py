"""The network of `onsets.network` as PyTorch computes it, so that its weights can be learned.

One forward pass each, held together by a test. Layers are plain tensors in a dict; kernels are of shape (channels out,
channels in, taps) here and (taps * channels in, channels out) there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F

from strumclock.onsets.bands import STEPS
from strumclock.onsets.network import COARSE, DILATIONS, LEAK, Weights
from strumclock.onsets.residual import CHANNELS

PIXELS = 390  # derived: PICTURE_FRAMES times PICTURE_BANDS and two more, in `onsets.levels`

Parameters = dict[str, Any]  # of tensors


@dataclass(frozen=True, slots=True, kw_only=True)
class Channels:
    """How wide the layers are. What other widths cost and gained is in DEVELOPERS.md, "Learning"."""

    fine: int = 20
    wide: int = 48
    joined: int = 16
    seen: int = 48
    doubt: int = 32


def new_parameters(seed: int, device: str, channels: Channels = Channels()) -> Parameters:
    """Random layers of the right scale."""
    c = channels
    shapes = {  # out, in, taps; 0: no convolution
        "picture": (c.seen, PIXELS, 0), "gate": (1, c.seen, 0), "fine": (c.fine, CHANNELS, 7),
        "wide": (c.wide, COARSE * c.fine, 5), "mixed": (c.wide, c.seen, 0), "near": (c.wide, c.wide, 3),
        "far": (c.wide, c.wide, 3), "farther": (c.wide, c.wide, 3), "joined": (c.joined, c.fine + c.wide, 5),
        "out": (1, c.joined, 0), "doubt": (c.doubt, 2 * c.wide + c.seen, 0), "none": (1, c.doubt, 0),
    }  # fmt: skip
    torch.manual_seed(seed)
    made: Parameters = {}
    for name, (out, into, taps) in shapes.items():
        shape = (out, into, taps) if taps else (out, into)
        gain = 0.1 if name in ("out", "none", "gate", "mixed") else np.sqrt(2.0)
        kernel = torch.randn(shape) * float(gain / np.sqrt(into * max(taps, 1)))
        made[f"{name}_kernel"] = kernel.to(device).requires_grad_()
        made[f"{name}_bias"] = torch.zeros(out, device=device, requires_grad=True)
    return made


def forward(p: Parameters, evidence: Any, picture: Any) -> tuple[Any, Any]:
    """Logits of each step and of "none" (n, steps + 1), and of a look being worth while (n,).

    Parameters
    ----------
    p : dict of tensors
    evidence : tensor, shape (n, CHANNELS, STEPS)
    picture : tensor, shape (n, PIXELS)
    """

    def convolved(name: str, x: Any, dilation: int = 1) -> Any:
        kernel = p[f"{name}_kernel"]
        half = dilation * (kernel.shape[2] // 2)
        return F.conv1d(x, kernel, p[f"{name}_bias"], padding=half, dilation=dilation)

    def affine(name: str, x: Any) -> Any:
        return F.linear(x, p[f"{name}_kernel"], p[f"{name}_bias"])

    def rectified(x: Any) -> Any:
        return F.leaky_relu(x, float(LEAK))

    n = len(evidence)
    seen = rectified(affine("picture", picture))
    fine = rectified(convolved("fine", evidence))
    grouped = fine.view(n, -1, STEPS // COARSE, COARSE).permute(0, 3, 1, 2).reshape(n, -1, STEPS // COARSE)
    wide = rectified(convolved("wide", grouped) + affine("mixed", seen)[:, :, None])
    for name, dilation in zip(("near", "far", "farther"), DILATIONS, strict=True):
        wide = wide + rectified(convolved(name, wide, dilation))
    joined = rectified(convolved("joined", torch.cat([fine, wide.repeat_interleave(COARSE, dim=2)], dim=1)))
    steps = affine("out", joined.transpose(1, 2))[:, :, 0]
    doubt = rectified(affine("doubt", torch.cat([wide.amax(dim=2), wide.mean(dim=2), seen], dim=1)))
    return torch.cat([steps, affine("none", doubt)], dim=1), affine("gate", seen)[:, 0]


def to_weights(p: Parameters) -> Weights:
    """For `onsets.network`."""
    arrays = {}
    for name, tensor in p.items():
        a = tensor.detach().cpu().numpy().astype(np.float32)
        if name.endswith("_kernel"):
            a = a.transpose(2, 1, 0).reshape(-1, a.shape[0]) if a.ndim == 3 else a.T
        arrays[name] = np.ascontiguousarray(a)
    return Weights.from_arrays(arrays)
