"""Learn the weights of `strumclock.onsets.network` from simulated takes (`strum_scenes.py`).

usage: python tests/benchmarks/learn_onsets.py --sound-font FILE.sf2 [--sound-font …] --folder WORK [--takes 400]
       [--voices FOLDER] [--epochs 5] [--start-from weights.npz] [--out weights.npz]

Needs the fluidsynth and ffmpeg programs. Takes and evidence are kept in WORK, so that a second run only learns.
Loss: minus the logarithm of the probability given to where the strum began, or to "none": a network that is surer
than its mistakes deserve pays for it, so its doubt is calibrated on what it is shown. Plain numpy, one core.

The shipped weights: guitars 24 to 28 of TimGM6mb.sf2 and 24, 26, 27, 28 of FluidR3_GM.sf2 with synthetic strings;
percussion of both for clicks; espeak-ng for voices; some 1,000 takes. FluidR3's steel guitar was kept out, since the
bench's steel guitar is made from it, and so was the bench's electric. They were not learned in one go as this script
does, but in six rounds, each from the last one's weights, while the takes grew: at first without clicks and without
the pick's touch on ringing strings, from an earlier text of the generator (the same draws in another order), later
with takes of AAC, of voices, of slow strums and of nothing played; the predictor then ended 25 ms before a candidate
(residual.LEARN_UNTIL_S). One round of this script is how to do it again.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
from strum_scenes import RATE_HZ, Sounds, make_bank, simulate

from strumclock.audio.decimation import decimated
from strumclock.onsets.bands import STEP_S, STEPS
from strumclock.onsets.levels import LAG_S, measure_levels, pictures, rises
from strumclock.onsets.network import COARSE, DILATION, LEAK, Weights
from strumclock.onsets.residual import BEFORE_S, CHANNELS, evidence, on_samples

FINE, WIDE, JOINED, SEEN = 12, 24, 16, 24  # channels of the layers
PICTURE = 390
SMEAR = 0.6  # steps by which the target is spread: no time is truer than a quarter of a millisecond
BATCH, RATE, DECAY = 32, 3e-3, 1e-4
NEGATIVE_WEIGHT = 0.8
PROGRAMS = (24, 25, 26, 27, 28)
SILENT_EVERY = 13  # in one take in so many nothing is played
AAC_EVERY = 6  # one take in so many is AAC for certain, beside those that are by chance

Tensor = npt.NDArray[np.float32]


def examples(seed: int, sounds: Sounds) -> dict[str, npt.NDArray[np.float64]]:
    """Evidence, pictures and where the strum began (NaN: none) of every candidate of one take."""
    scene = simulate(seed, sounds, always_aac=seed % AAC_EVERY == 0, played=seed % SILENT_EVERY != 0)
    x, rate = decimated(scene.samples, RATE_HZ)
    removed = decimated(scene.removed, RATE_HZ, centred=False)[0]
    rng = np.random.default_rng(seed)
    levels = measure_levels(x, rate, removed)
    frame = rises(levels, 1.2)
    centre = frame * levels.hop_s - LAG_S / 2 + rng.uniform(-0.006, 0.006, len(frame))
    again = scene.strums_s[rng.random(len(scene.strums_s)) < 0.5]  # as the second look sees them
    centre = np.concatenate([centre, again + 0.015 + rng.normal(0, 0.004, len(again))])
    centre = on_samples(centre, rate)
    after = np.round((centre[len(frame) :] + LAG_S / 2) / levels.hop_s).astype(int)
    frame = np.clip(np.concatenate([frame, after]), 0, len(levels.level) - 1)
    at = np.full(len(centre), np.inf)
    if len(scene.strums_s):
        away = scene.strums_s - centre[:, None]
        at = away[np.arange(len(centre)), np.abs(away + 0.01).argmin(axis=1)]
    inside, doubtful = (at > -0.060) & (at < 0.022), (at > -0.066) & (at < 0.028)
    keep = inside | ~doubtful
    return {
        "evidence": evidence(x, rate, centre[keep], removed).astype(np.float16),
        "picture": pictures(levels, frame[keep]).astype(np.float16),
        "at": np.where(inside, at, np.nan)[keep],
    }


class Convolution:
    def __init__(self, channels: int, out: int, taps: int, dilation: int, rng: np.random.Generator) -> None:
        self.kernel = (rng.standard_normal((taps * channels, out)) * np.sqrt(2 / (taps * channels))).astype(np.float32)
        self.bias, self.taps, self.dilation = np.zeros(out, np.float32), taps, dilation

    def forward(self, x: Tensor) -> Tensor:
        n, steps, channels = self.shape = x.shape
        half = self.dilation * (self.taps // 2)
        p = np.zeros((n, steps + 2 * half, channels), np.float32)
        p[:, half : half + steps] = x
        s = p.strides
        view = np.lib.stride_tricks.as_strided(
            p, (n, steps, self.taps, channels), (s[0], s[1], s[1] * self.dilation, s[2])
        )
        self.columns = view.reshape(n * steps, self.taps * channels)
        return (self.columns @ self.kernel + self.bias).reshape(n, steps, -1)

    def backward(self, gradient: Tensor) -> Tensor:
        n, steps, channels = self.shape
        g = gradient.reshape(n * steps, -1)
        self.by_kernel, self.by_bias = self.columns.T @ g, g.sum(axis=0)
        back = (g @ self.kernel.T).reshape(n, steps, self.taps, channels)
        half = self.dilation * (self.taps // 2)
        p = np.zeros((n, steps + 2 * half, channels), np.float32)
        for i in range(self.taps):
            p[:, i * self.dilation : i * self.dilation + steps] += back[:, :, i]
        return p[:, half : half + steps]


class Affine:
    def __init__(self, channels: int, out: int, rng: np.random.Generator, scale: float = 1.0) -> None:
        self.kernel = (rng.standard_normal((channels, out)) * scale / np.sqrt(channels)).astype(np.float32)
        self.bias = np.zeros(out, np.float32)

    def forward(self, x: Tensor) -> Tensor:
        self.x = x
        return x @ self.kernel + self.bias

    def backward(self, gradient: Tensor) -> Tensor:
        g = gradient.reshape(-1, gradient.shape[-1])
        self.by_kernel, self.by_bias = self.x.reshape(-1, self.x.shape[-1]).T @ g, g.sum(axis=0)
        return gradient @ self.kernel.T


def rectified(z: Tensor) -> tuple[Tensor, Tensor]:
    slope = np.where(z > 0, np.float32(1), LEAK)
    return z * slope, slope


class Learner:
    """`strumclock.onsets.network` with its gradients; a test holds the two forward passes together."""

    def __init__(self, seed: int = 0) -> None:
        rng = np.random.default_rng(seed)
        self.fine = Convolution(CHANNELS, FINE, 7, 1, rng)
        self.wide = Convolution(COARSE * FINE, WIDE, 5, 1, rng)
        self.wider = Convolution(WIDE, WIDE, 5, DILATION, rng)
        self.joined = Convolution(FINE + WIDE, JOINED, 5, 1, rng)
        self.out = Affine(JOINED, 1, rng, 0.1)
        self.picture = Affine(PICTURE, SEEN, rng)
        self.none = Affine(2 * WIDE + SEEN, 1, rng, 0.1)

    def layers(self) -> dict[str, Convolution | Affine]:
        return {name: getattr(self, name) for name in Weights.__slots__}

    def weights(self) -> Weights:
        return Weights(**{name: (layer.kernel, layer.bias) for name, layer in self.layers().items()})

    def forward(self, x: Tensor, picture: Tensor) -> Tensor:
        n, steps, _ = x.shape
        fine, s0 = rectified(self.fine.forward(x))
        wide, s1 = rectified(self.wide.forward(fine.reshape(n, steps // COARSE, -1)))
        more, s2 = rectified(self.wider.forward(wide))
        wider = wide + more
        joined, s3 = rectified(self.joined.forward(np.concatenate([fine, np.repeat(wider, COARSE, axis=1)], axis=2)))
        seen, s4 = rectified(self.picture.forward(picture))
        none = self.none.forward(np.concatenate([wider.max(axis=1), wider.mean(axis=1), seen], axis=1))
        self.slopes, self.top = (s0, s1, s2, s3, s4), wider.argmax(axis=1)
        return np.concatenate([self.out.forward(joined)[:, :, 0], none], axis=1)

    def learn(self, x: Tensor, picture: Tensor, target: Tensor, weight: Tensor) -> float:
        """One pass forward and back; the loss."""
        z = self.forward(x, picture)
        p = np.exp(z - z.max(axis=1, keepdims=True))
        p /= p.sum(axis=1, keepdims=True)
        n, steps, _ = x.shape
        g = ((p - target) * weight[:, None] / weight.sum()).astype(np.float32)
        s0, s1, s2, s3, s4 = self.slopes
        joined = self.joined.backward(self.out.backward(g[:, :-1, None]) * s3)
        none = self.none.backward(g[:, -1:])
        wider = joined[:, :, FINE:].reshape(n, steps // COARSE, COARSE, WIDE).sum(axis=2)
        wider = wider + none[:, None, WIDE : 2 * WIDE] / (steps // COARSE)
        np.add.at(wider, (np.arange(n)[:, None], self.top, np.arange(WIDE)[None]), none[:, :WIDE])
        self.picture.backward(none[:, 2 * WIDE :] * s4)
        wide = wider + self.wider.backward(wider * s2)
        fine = joined[:, :, :FINE] + self.wide.backward(wide * s1).reshape(n, steps, FINE)
        self.fine.backward(fine * s0)
        return float(-(weight[:, None] * target * np.log(p + 1e-12)).sum() / weight.sum())


class Adam:
    def __init__(self, layers: dict[str, Convolution | Affine]) -> None:
        self.layers, self.t = layers.values(), 0
        self.m = [[np.zeros_like(a) for a in (x.kernel, x.bias)] for x in self.layers]
        self.v = [[np.zeros_like(a) for a in (x.kernel, x.bias)] for x in self.layers]

    def step(self, rate: float) -> None:
        self.t += 1
        for layer, m, v in zip(self.layers, self.m, self.v, strict=True):
            for i, (a, g) in enumerate(((layer.kernel, layer.by_kernel), (layer.bias, layer.by_bias))):
                m[i] = 0.9 * m[i] + 0.1 * g
                v[i] = 0.999 * v[i] + 0.001 * g * g
                a -= rate * (m[i] / (1 - 0.9**self.t)) / (np.sqrt(v[i] / (1 - 0.999**self.t)) + 1e-8)
                if i == 0:
                    a -= rate * DECAY * a


def targets(at_s: npt.NDArray[np.float64]) -> Tensor:
    """The probabilities that would be right: a narrow hill at the strum's step, or "none"."""
    none = np.isnan(at_s)
    place = np.where(none, 0, (at_s + BEFORE_S) / STEP_S - 0.5)
    hill = np.exp(-0.5 * ((np.arange(STEPS) - place[:, None]) / SMEAR) ** 2)
    hill /= hill.sum(axis=1, keepdims=True)
    return np.concatenate([np.where(none[:, None], 0, hill), none[:, None]], axis=1).astype(np.float32)


def learn(data: dict[str, npt.NDArray[np.float64]], learner: Learner, epochs: int, out: Path) -> None:
    rng, adam, n = np.random.default_rng(0), Adam(learner.layers()), len(data["at"])
    weight, started, step = np.where(np.isnan(data["at"]), NEGATIVE_WEIGHT, 1.0).astype(np.float32), time.time(), 0
    steps = epochs * (n // BATCH)
    for epoch in range(epochs):
        order, loss = rng.permutation(n), 0.0
        for a in range(0, n - BATCH + 1, BATCH):
            i = np.sort(order[a : a + BATCH])
            picture = data["picture"][i].astype(np.float32) + rng.normal(0, 0.05, (BATCH, PICTURE)).astype(np.float32)
            picture += rng.normal(0, 0.15, (BATCH, 1)).astype(np.float32)  # loudness must not decide
            loss += learner.learn(data["evidence"][i].astype(np.float32), picture, targets(data["at"][i]), weight[i])
            adam.step(RATE * min(1, step / 200) * (0.5 + 0.5 * np.cos(np.pi * step / steps)) + 1e-5)
            step += 1
        print(f"epoch {epoch + 1}: loss {loss / (n // BATCH):.3f}, {time.time() - started:.0f} s", flush=True)
        save(learner, out)


def save(learner: Learner, out: Path) -> None:
    arrays = {}
    for name, layer in learner.layers().items():
        arrays[f"{name}_kernel"], arrays[f"{name}_bias"] = (
            layer.kernel.astype(np.float16),
            layer.bias.astype(np.float16),
        )
    np.savez_compressed(out, **arrays)


def main() -> None:
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--sound-font", action="append", type=Path, required=True)
    a.add_argument("--folder", type=Path, required=True)
    a.add_argument("--voices", type=Path)
    a.add_argument("--takes", type=int, default=400)
    a.add_argument("--epochs", type=int, default=5)
    a.add_argument("--start-from", type=Path)
    a.add_argument("--out", type=Path, default=Path("weights.npz"))
    a = a.parse_args()
    sounds = Sounds(guitars=["synthetic"] * 4, voices=sorted(a.voices.glob("*.wav")) if a.voices else [])
    for font in a.sound_font:
        for program in PROGRAMS:
            folder = a.folder / f"{font.stem}-{program}"
            if not folder.exists():
                make_bank(font, program, folder, range(40, 84, 3))
            sounds.guitars.append(str(folder))
        drums, frets = a.folder / f"{font.stem}-drums", a.folder / f"{font.stem}-frets"
        if not drums.exists():
            make_bank(font, 0, drums, range(35, 82), (110,), seconds=1.5, drums=True)
        if not frets.exists():
            make_bank(font, 120, frets, range(40, 80, 4), (100,))
        sounds.percussion.append(str(drums))
        sounds.fret_noise.append(str(frets))
    parts = []
    for seed in range(a.takes):
        kept = a.folder / f"take-{seed}.npz"
        if not kept.exists():
            np.savez(kept, **examples(seed, sounds))
        parts.append(dict(np.load(kept)))
    learner = Learner()
    if a.start_from:
        with np.load(a.start_from) as z:
            for name, layer in learner.layers().items():
                layer.kernel, layer.bias = (z[f"{name}_{w}"].astype(np.float32) for w in ("kernel", "bias"))
    learn({k: np.concatenate([p[k] for p in parts]) for k in parts[0]}, learner, a.epochs, a.out)


if __name__ == "__main__":
    main()
