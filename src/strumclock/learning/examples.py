"""From scenes to what the network is shown: every candidate's evidence and picture, and where its strum began."""

from __future__ import annotations

import concurrent.futures
import multiprocessing
import sys
import time
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import numpy.typing as npt

from strumclock.audio.decimation import decimated
from strumclock.learning.scenes import simulate
from strumclock.learning.sounds import RATE_HZ, Sounds
from strumclock.onsets.levels import LAG_S, measure_levels, pictures, rises
from strumclock.onsets.residual import evidence, on_samples

LEAST_RISE_DB = 0.5  # of a candidate: lower than any calibration will ask for
NOT_CENTRED_S = 0.006  # candidates are shown so far to either side, so that their place says nothing
AGAIN, AGAIN_S, AGAIN_SD_S = 0.4, 0.015, 0.004  # as second looks see them
INSIDE_S, DOUBTFUL_S = (-0.060, 0.022), (-0.066, 0.028)  # a strum so far from a candidate is its own; it may be
AHEAD = 3  # takes that wait for each process: enough that none is idle, few enough to be done soon when time is over
UNIT, ZERO = 0.025, 128.0  # evidence and pictures are kept in eight bits: value / UNIT + ZERO

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Examples:
    """n candidates.

    Attributes
    ----------
    evidence : uint8 ndarray, shape (n, STEPS, CHANNELS)
    picture : uint8 ndarray, shape (n, pixels)
    at_s : float32 ndarray, shape (n,)
        Where the candidate's strum began, from the candidate's centre; NaN: it is none.
    loud_db : float32 ndarray, shape (n,)
        Level of that strum against a plain one.
    take : int32 ndarray, shape (n,)
        Seed of the take.
    """

    evidence: Bytes
    picture: Bytes
    at_s: npt.NDArray[np.float32]
    loud_db: npt.NDArray[np.float32]
    take: npt.NDArray[np.int32]

    def __len__(self) -> int:
        """Count the candidates."""
        return len(self.at_s)


def joined(parts: list[Examples]) -> Examples:
    """All of them in one."""
    return Examples(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Examples)})


def some(data: Examples, n: int) -> Examples:
    """At most so many of them, evenly from all."""
    every = max(len(data) // n, 1)
    return Examples(**{f.name: getattr(data, f.name)[::every] for f in fields(Examples)})


def kept(path: Path, seeds: range, sounds: Sounds, workers: int, most_s: float = np.inf) -> Examples:
    """The examples of many takes, from the file that an earlier call left, or rendered and left there."""
    if path.exists():
        with np.load(path) as z:
            return Examples(**{name: z[name] for name in z.files})
    data = many(seeds, sounds, workers, most_s)
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez(path, **{f.name: getattr(data, f.name) for f in fields(Examples)})
    return data


def packed(values: npt.NDArray[np.floating]) -> Bytes:
    """Eight bits a value; a step is a quarter of a decibel of power."""
    return np.clip(np.round(values / UNIT + ZERO), 0, 255).astype(np.uint8)


def examples_of(seed: int, sounds: Sounds) -> Examples:
    """Every candidate of one take."""
    scene = simulate(seed, sounds)
    x, rate = decimated(scene.samples, RATE_HZ)
    removed = decimated(scene.removed, RATE_HZ, centred=False)[0]
    x = x / (np.abs(x).max() + 1e-12)
    rng = np.random.default_rng([seed, 1])
    levels = measure_levels(x, rate, removed)
    frame = rises(levels, LEAST_RISE_DB)
    centre = frame * levels.hop_s - LAG_S / 2 + rng.uniform(-NOT_CENTRED_S, NOT_CENTRED_S, len(frame))
    again = scene.strums_s[rng.random(len(scene.strums_s)) < AGAIN]
    centre = on_samples(np.concatenate([centre, again + AGAIN_S + rng.normal(0, AGAIN_SD_S, len(again))]), rate)
    after = np.round((centre[len(frame) :] + LAG_S / 2) / levels.hop_s).astype(int)
    frame = np.clip(np.concatenate([frame, after]), 0, len(levels.total_db) - 1)
    at, loud = np.full(len(centre), np.inf), np.zeros(len(centre))
    if len(scene.strums_s):
        away = scene.strums_s - centre[:, None]
        nearest = np.abs(away + 0.01).argmin(axis=1)
        at, loud = away[np.arange(len(centre)), nearest], scene.strums_db[nearest]
    inside = (at > INSIDE_S[0]) & (at < INSIDE_S[1])
    doubtful = (at > DOUBTFUL_S[0]) & (at < DOUBTFUL_S[1])
    keep = inside | ~doubtful
    return Examples(
        evidence=packed(evidence(x, rate, centre[keep], removed)),
        picture=packed(pictures(levels, frame[keep])),
        at_s=np.where(inside, at, np.nan)[keep].astype(np.float32),
        loud_db=np.where(inside, loud, 0.0)[keep].astype(np.float32),
        take=np.full(int(keep.sum()), seed, np.int32),
    )


def many(seeds: range, sounds: Sounds, workers: int, most_s: float = np.inf) -> Examples:
    """The examples of many takes, rendered by so many processes; those that are not done in time are left out."""
    started, parts, waiting = time.monotonic(), [], set[concurrent.futures.Future[Examples]]()
    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(workers, mp_context=context) as pool:
        for seed in seeds:
            if time.monotonic() - started > most_s:
                break
            waiting.add(pool.submit(examples_of, seed, sounds))
            if len(waiting) < AHEAD * workers:
                continue
            done, waiting = concurrent.futures.wait(waiting, return_when=concurrent.futures.FIRST_COMPLETED)
            for one in done:
                parts.append(one.result())
                if len(parts) % max(len(seeds) // 20, 1) == 0:
                    print(f"{len(parts)} takes, {time.monotonic() - started:.0f} s", file=sys.stderr, flush=True)
        parts.extend(one.result() for one in waiting)
    return joined(sorted((p for p in parts if len(p)), key=lambda p: int(p.take[0])))
