"""Learn the weights of `strumclock.stroke.network` from simulated takes, and tell how well they do on other guitars.

    python tests/benchmarks/learn_strokes.py --guitars FOLDER/TimGM6mb-* --out weights.npz --takes 400

The guitars are banks of single notes (folders as `strumclock.learning` takes them), beside strings synthesised anew for
each take; `--test` names banks that are only tested on. Strums are found by the program, so that the networks see its
mistakes. Two functions of one hidden layer are learned from each strum's picture: the log
odds of an up-stroke (the take's median picture taken out), and the logarithm of the spread. Plain numpy, one core.

The shipped weights: 400 takes, programs 24 to 28 of TimGM6mb.sf2 (Debian package timgm6mb-soundfont) and synthetic
strings. On 40 takes of two guitars never shown (single notes of FluidR3's steel guitar and of a recorded electric one):
area under the curve of directions 0.874; logarithm of the spread: bias +0.23, shared within a take 0.32, own 0.32.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
from stroke_scenes import simulate

from strumclock.audio.decimation import decimated
from strumclock.learning.sounds import RATE_HZ
from strumclock.onsets import find_strums
from strumclock.stroke.network import own_picture, shape_of
from strumclock.stroke.picture import BANDS, STEPS, pictures

Tensor = npt.NDArray[np.float32]

HIDDEN = {"up": 24, "spread": 32}
DECAY = {"up": 1e-3, "spread": 5e-4}
RATE, BATCH, EPOCHS = 2e-3, 64, 40
TONE_DB = 3.0  # each picture is also shown with its bands shifted so much by chance: another guitar
OFFSET_MS = 3.0
NEAR_S = 0.03


def examples(seed: int, guitars: list[str]) -> dict[str, npt.NDArray[np.float64]]:
    """Pictures of the strums that the program finds in one take, with what is true of them."""
    take = simulate(seed, guitars)
    x, rate_hz = decimated(take.samples, RATE_HZ)
    found_s = find_strums(take.samples, RATE_HZ).time_s
    if len(found_s) < 8:
        return {
            "own": np.empty((0, STEPS * BANDS)),
            "shape": np.empty((0, STEPS * BANDS)),
            "up": np.empty(0),
            "log": np.empty(0),
        }
    near = np.abs(found_s[:, None] - take.strum_s).argmin(axis=1)
    right = np.abs(found_s - take.strum_s[near]) < NEAR_S
    picture = pictures(x, rate_hz, found_s[right])  # the muted strokes have no direction
    return {
        "own": own_picture(picture).reshape(len(picture), -1),
        "shape": shape_of(picture).reshape(len(picture), -1),
        "up": take.up[near][right].astype(float),
        "log": np.log(1000 * take.spread_s[near][right] + OFFSET_MS),
    }


class Net:
    """One hidden layer of rectified sums, its input scaled; Adam."""

    def __init__(self, x: Tensor, hidden: int, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.middle, self.scale = x.mean(axis=0), x.std(axis=0) + 1e-3
        n = x.shape[1]
        self.w = [
            (rng.standard_normal((n, hidden)) * np.sqrt(2 / n)).astype(np.float32),
            np.zeros(hidden, np.float32),
            (rng.standard_normal(hidden) * np.sqrt(1 / hidden)).astype(np.float32),
            np.zeros(1, np.float32),
        ]
        self.m, self.v, self.t = [0 * w for w in self.w], [0 * w for w in self.w], 0

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        hidden = np.maximum(x @ self.w[0] + self.w[1], 0)
        return hidden, hidden @ self.w[2] + self.w[3][0]

    def step(self, x: Tensor, error: Tensor, hidden: Tensor, rate: float, decay: float) -> None:
        back = error[:, None] * self.w[2] * (hidden > 0)
        gradients = [
            x.T @ back + decay * self.w[0],
            back.sum(axis=0),
            hidden.T @ error + decay * self.w[2],
            error.sum(keepdims=True),
        ]
        self.t += 1
        for w, g, m, v in zip(self.w, gradients, self.m, self.v, strict=True):
            m += 0.1 * (g - m)
            v += 0.001 * (g * g - v)
            w -= rate * (m / (1 - 0.9**self.t)) / (np.sqrt(v / (1 - 0.999**self.t)) + 1e-8)

    def folded(self) -> list[Tensor]:
        """The weights for input that is not scaled."""
        w = self.w[0] / self.scale[:, None]
        return [w, self.w[1] - self.middle @ w, self.w[2], self.w[3]]


def learn(kind: str, x: Tensor, y: Tensor, seed: int = 0) -> Net:
    """Logistic loss for directions, squared for the logarithm of the spread."""
    net, rng = Net(x, HIDDEN[kind], seed), np.random.default_rng(seed)
    steps = EPOCHS * (len(x) // BATCH)
    for step in range(steps):
        i = rng.integers(0, len(x), BATCH)
        seen = x[i].reshape(BATCH, STEPS, BANDS) + rng.normal(0, TONE_DB, (BATCH, 1, BANDS)) * (
            rng.random((BATCH, 1, 1)) < 0.6
        )
        seen -= seen.mean(axis=(1, 2), keepdims=True)
        scaled = ((seen.reshape(BATCH, -1) - net.middle) / net.scale).astype(np.float32)
        hidden, out = net.forward(scaled)
        error = 1 / (1 + np.exp(-out)) - y[i] if kind == "up" else 2 * (out - y[i])
        net.step(
            scaled,
            (error / BATCH).astype(np.float32),
            hidden,
            RATE * (0.5 + 0.5 * np.cos(np.pi * step / steps)),
            DECAY[kind],
        )
    return net


def area(score: Tensor, up: npt.NDArray[np.bool_]) -> float:
    """Probability that an up-stroke scores above a down-stroke."""
    if up.all() or not up.any():
        return float("nan")
    rank = np.argsort(np.argsort(score)) + 1.0
    return float((rank[up].sum() - up.sum() * (up.sum() + 1) / 2) / (up.sum() * (~up).sum()))


def report(nets: dict[str, Net], takes: list[dict[str, npt.NDArray[np.float64]]]) -> None:
    areas, mistakes, shared = [], [], []
    for take in takes:
        if len(take["up"]) < 8:
            continue
        scaled = {
            k: ((take[part] - nets[k].middle) / nets[k].scale).astype(np.float32)
            for k, part in (("up", "own"), ("spread", "shape"))
        }
        areas.append(area(nets["up"].forward(scaled["up"])[1], take["up"] > 0.5))
        mistake = nets["spread"].forward(scaled["spread"])[1] - take["log"]
        mistakes.append(mistake - mistake.mean())
        shared.append(float(mistake.mean()))
    own = float(np.sqrt(np.mean(np.concatenate(mistakes) ** 2)))
    print(f"{len(areas)} takes: area under the curve of directions {np.nanmean(areas):.3f}")
    print(f"  logarithm of the spread: bias {np.mean(shared):+.3f}, shared {np.std(shared):.3f}, own {own:.3f}")


def main() -> None:
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--guitars", nargs="+", required=True)
    a.add_argument("--test", nargs="*", default=[])
    a.add_argument("--keep", type=Path, required=True, help="where examples are kept")
    a.add_argument("--takes", type=int, default=400)
    a.add_argument("--tests", type=int, default=40)
    a.add_argument("--out", type=Path, default=Path("weights.npz"))
    a = a.parse_args()
    a.keep.mkdir(parents=True, exist_ok=True)
    started = time.time()

    def kept(seed: int, guitars: list[str]) -> dict[str, npt.NDArray[np.float64]]:
        path = a.keep / f"{seed}.npz"
        if not path.exists():
            np.savez(path, **{k: v.astype(np.float32) for k, v in examples(seed, guitars).items()})
        with np.load(path) as z:
            return dict(z)

    banks = [*a.guitars, *["synthetic"] * (len(a.guitars) // 2 + 1)]
    takes = [kept(seed, banks) for seed in range(a.takes)]
    print(f"{a.takes} takes after {time.time() - started:.0f} s", flush=True)
    whole = {k: np.concatenate([take[k] for take in takes]).astype(np.float32) for k in takes[0]}
    nets = {"up": learn("up", whole["own"], whole["up"]), "spread": learn("spread", whole["shape"], whole["log"])}
    print("shown: ", end="")
    report(nets, takes)
    if a.test:
        print("never shown: ", end="")
        report(nets, [kept(1_000_000 + seed, a.test) for seed in range(a.tests)])
    arrays = {
        f"{kind}_{name}": w.astype(np.float32)
        for kind, net in nets.items()
        for name, w in zip(("w1", "b1", "w2", "b2"), net.folded(), strict=True)
    }
    np.savez_compressed(a.out, **arrays)


if __name__ == "__main__":
    main()
