"""Teach the network: the probability that it gives to the truth is to be as large as can be.

Loss: minus the logarithm of the probability of where the strum began, or of "none": a network that is surer than its
mistakes deserve pays for it, so its doubt is calibrated on what it is shown. The gate, which sees the picture alone,
pays for what it lets pass or not. The weights that are kept are a running mean of those of the last steps.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F

from strumclock.learning.examples import UNIT, ZERO, Examples
from strumclock.learning.model import Channels, Parameters, forward, new_parameters
from strumclock.onsets.bands import STEP_S, STEPS
from strumclock.onsets.residual import BEFORE_S

BATCH, RATE = 512, 2.5e-3  # of a small run; a GPU is busy with 3072 and learns with 5e-3
DECAY = 1e-4  # of the weights; by hand, no sweep moves it
WARM = 300  # steps in which the rate grows to its full size
KEEPS = 0.996  # of the running mean, a step
GATE_SHARE = 0.3  # of its loss
SMEAR = 0.6  # steps by which the target is spread: no time is truer than a quarter of a millisecond
GRAIN, LOUDNESS = 0.05, 0.15  # noise on the picture [20 dB]: on each pixel, and on all alike: loudness must not decide


def learn(
    data: Examples,
    *,
    seed: int,
    epochs: float,
    most_s: float = np.inf,
    device: str = "cpu",
    batch: int = BATCH,
    rate: float = RATE,
    channels: Channels = Channels(),  # noqa: B008, frozen
) -> Parameters:
    """Learn from the examples, so many times each, or until the time is over, the rate falling to nothing by then."""
    torch.manual_seed(seed)
    if device != "cpu":
        torch.set_float32_matmul_precision("high")  # products of 10 bits, sums of 23
    p = new_parameters(seed, device, channels)
    mean = {name: t.detach().clone() for name, t in p.items()}
    optimiser = torch.optim.AdamW(p.values(), lr=rate, weight_decay=DECAY, betas=(0.9, 0.99))
    x, picture = torch.from_numpy(data.evidence).to(device), torch.from_numpy(data.picture).to(device)
    at = torch.from_numpy(data.at_s).to(device)
    steps, started, step = int(epochs * len(data) / batch), time.monotonic(), 0
    while step < steps:
        done = max(step / steps, (time.monotonic() - started) / most_s)
        if done >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1, (step + 1) / WARM) * (0.5 + 0.5 * np.cos(np.pi * done))
        i = torch.randint(0, len(at), (batch,), device=device)
        loss = _loss(p, x[i], picture[i], at[i], noisy=True)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        with torch.no_grad():
            keeps = min(KEEPS, (1 + step) / (10 + step))
            torch._foreach_lerp_(list(mean.values()), [t.detach() for t in p.values()], 1 - keeps)
        step += 1
        if step % 1000 == 0:
            took_s = time.monotonic() - started
            print(
                f"step {step} of {steps}: loss {float(loss.detach()):.3f}, {took_s:.0f} s", file=sys.stderr, flush=True
            )
    return mean


def _loss(p: Parameters, x: Any, picture: Any, at: Any, *, noisy: bool) -> Any:
    """Mean loss of some examples, as they are packed."""
    x = (x.float() - ZERO) * UNIT
    picture = (picture.float() - ZERO) * UNIT
    if noisy:
        picture = picture + GRAIN * torch.randn_like(picture) + LOUDNESS * torch.randn_like(picture[:, :1])
    z, gate = forward(p, x.transpose(1, 2).contiguous(), picture)
    none = torch.isnan(at)
    place = torch.where(none, 0.0, (at + BEFORE_S) / STEP_S - 0.5)
    hill = torch.exp(-0.5 * ((torch.arange(STEPS, device=at.device) - place[:, None]) / SMEAR) ** 2)
    hill = hill / hill.sum(dim=1, keepdim=True).clamp(min=1e-12) * (~none)[:, None]
    target = torch.cat([hill, none[:, None].float()], dim=1)
    said = -(target * F.log_softmax(z, dim=1)).sum(dim=1).mean()
    return said + GATE_SHARE * F.binary_cross_entropy_with_logits(gate, (~none).float())


def judged(p: Parameters, data: Examples, device: str = "cpu") -> dict[str, float]:
    """Figures on examples that nothing was learned from.

    Returns
    -------
    dict of str to float
        ``loss``; of the strums, ``missed``: share with a probability below a half, and ``within_1ms``: share whose
        likeliest step is within a millisecond; of the others, ``taken``: share with more than a half.
    """
    loss, n, told, near, none_told, nones = 0.0, len(data), 0, 0, 0, 0
    with torch.no_grad():
        for a in range(0, n, 4 * BATCH):
            part = slice(a, a + 4 * BATCH)
            x, picture, at = (torch.from_numpy(v[part]).to(device) for v in (data.evidence, data.picture, data.at_s))
            loss += float(_loss(p, x, picture, at, noisy=False)) * len(at)
            z, _ = forward(p, ((x.float() - ZERO) * UNIT).transpose(1, 2).contiguous(), (picture.float() - ZERO) * UNIT)
            share = torch.softmax(z, dim=1)
            none, likely = torch.isnan(at), share[:, -1] < 0.5
            place = (at + BEFORE_S) / STEP_S - 0.5
            close = (share[:, :-1].argmax(dim=1) - place).abs() * STEP_S < 0.001
            told += int((likely & ~none).sum())
            near += int((close & ~none).sum())
            none_told += int((likely & none).sum())
            nones += int(none.sum())
    strums = max(n - nones, 1)
    return {
        "loss": round(loss / n, 4),
        "missed": round(1 - told / strums, 4),
        "within_1ms": round(near / strums, 4),
        "taken": round(none_told / max(nones, 1), 4),
    }
