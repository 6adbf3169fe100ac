"""Fit the numbers that belong to a set of weights, on takes with guitars, rooms and speakers kept out of learning.

Thresholds are what finds most and adds least; how strums are placed and compared is what errs least; the doubt is
sharpened no further than lets 2 u hold nine strums of ten in nearly every take.
"""

from __future__ import annotations

import concurrent.futures
import functools
import multiprocessing
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType, SimpleNamespace
from typing import Any, cast

import numpy as np

from strumclock.arrays import Floats
from strumclock.audio.decimation import decimated
from strumclock.learning.scenes import simulate
from strumclock.learning.sounds import RATE_HZ, Sounds
from strumclock.onsets import Calibration, Detector, find_strums
from strumclock.onsets.network import Weights

FIRST = Calibration(
    least_rise_db=0.5, least_worth=0.02, least_probability=0.5, least_if_sharp=0.5, sharp_s=0.001,
    earlier=0.5, sharpen=1.0, temper=0.02, floor=0.3, bias_share=0.45, least_bias_u_s=0.0003,
)  # fmt: skip
LOWEST = 0.05  # probability from which strums are listed while the threshold is sought
NEAR_S = 0.05  # a strum found so near a true one is that one: mir_eval's window
FAR_S = 0.004  # an error counts as no more than this, where ways of placing are compared
GRIDS: dict[str, tuple[float, ...]] = {
    "temper": (0.0, 0.005, 0.01, 0.02, 0.04, 0.06),
    "floor": (0.3, 0.6),
    "earlier": (0.5, 0.7, 0.8, 0.9, 1.0),
}
GATES = (0.02, 0.05, 0.1, 0.15)  # tried, of `least_worth`
SPARED = 0.002  # of F on these hard takes, that looking at fewer candidates may cost
THRESHOLDS = tuple(k / 20 for k in range(6, 19))  # tried, of probability
SHARP_S = (0.001, 0.003, 0.006, 0.010, 0.015)  # tried, of `sharp_s`
FLAT = 0.001  # of F: of thresholds that find as well as that, the strictest; what they leave out is judged by its place
SHARPENS = (1.5, 1.3, 1.15, 1.0, 0.9, 0.8, 0.7, 0.6, 0.5)  # tried, of `sharpen`
HELD, OF_TAKES = 0.9, 0.95  # so many strums within 2 u, in so many takes
LEAST_STRUMS = 8  # of a take, for its share to mean something


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """One take's strums, found and true.

    Attributes
    ----------
    n_true : int
    p, u_s : ndarray, shape (found,)
    error_s : ndarray, shape (found,)
        Found minus true; NaN for those that are none.
    bias_u_s : float
    """

    n_true: int
    p: Floats
    u_s: Floats
    error_s: Floats
    bias_u_s: float


def kept_takes(seeds: range, sounds: Sounds, folder: Path, workers: int) -> list[Path]:
    """Simulate takes and leave them in a folder, decimated."""
    folder.mkdir(parents=True, exist_ok=True)
    there = [folder / f"{seed}.npz" for seed in seeds]
    if all(path.exists() for path in there):
        return there
    with _pool(workers) as pool:
        return list(pool.map(functools.partial(_keep, sounds=sounds, folder=folder), seeds, chunksize=4))


def tallies(takes: list[Path], detector: Detector, pool: concurrent.futures.Executor) -> list[Tally]:
    """What a detector finds in each take."""
    return list(pool.map(functools.partial(_tally, detector=detector), takes, chunksize=4))


def calibrated(
    weights: Weights,
    takes: list[Path],
    workers: int,
    second: Weights | None = None,
    by_hand: Mapping[str, float] = MappingProxyType({}),
) -> Calibration:
    """The calibration of these weights, with a second network where one is given; numbers set by hand stay as set."""

    def found(c: Calibration) -> list[Tally]:
        return tallies(takes, Detector(weights=weights, calibration=c, provenance={}, second=second), pool)

    with _pool(workers) as pool:
        best = replace(FIRST, **by_hand)
        best = replace(thresholds(found(_from(best, LOWEST)), best), **by_hand)
        if "least_worth" not in by_hand:
            gates = {v: f_measure(found(replace(best, least_worth=v))) for v in GATES}
            best = replace(best, least_worth=max(v for v in GATES if gates[v] >= max(gates.values()) - SPARED))
        for name, values in GRIDS.items():
            if name not in by_hand:
                costs = {v: _cost(found(replace(best, **{name: v}))) for v in values}
                best = replace(best, **{name: min(costs, key=costs.__getitem__)})
        for sharpen in (best.sharpen,) if "sharpen" in by_hand else SHARPENS:
            best = replace(best, sharpen=sharpen)
            rows = found(best)
            if np.quantile(_held(rows), 1 - OF_TAKES) >= HELD:
                break
        shared = [abs(_bias(t)) / rms for t in rows if _matched(t) >= LEAST_STRUMS and (rms := _rms(t.u_s)) > 0]
        return replace(best, bias_share=round(float(np.quantile(shared, 0.95)) / 2, 3))


def reached_by(detector: Detector, takes: list[Path], workers: int) -> dict[str, float]:
    """What a detector reaches on takes that it was not calibrated on."""
    with _pool(workers) as pool:
        return figures(tallies(takes, detector, pool))


def figures(rows: list[Tally]) -> dict[str, float]:
    """What DESIGN.md asks for, over takes."""
    played = [t for t in rows if _matched(t) >= LEAST_STRUMS]
    f = [f_measure([t]) for t in rows if t.n_true]
    sd = [1000 * float(np.nanstd(t.error_s)) for t in played]
    bias = [1000 * abs(_bias(t)) for t in played]
    errors = np.concatenate([t.error_s[np.isfinite(t.error_s)] for t in rows])
    u = np.concatenate([t.u_s[np.isfinite(t.error_s)] for t in rows])
    held = _held(rows)
    told = {
        "takes": len(rows), "F": np.mean(f), "F_5_percent": np.quantile(f, 0.05),
        "F_of_all": f_measure(rows),
        "added_where_nothing_was_played": sum(len(t.p) for t in rows if not t.n_true),
        "abs_bias_ms_median": np.median(bias), "abs_bias_ms_95_percent": np.quantile(bias, 0.95),
        "sd_ms_median": np.median(sd), "sd_ms_95_percent": np.quantile(sd, 0.95),
        "mad_ms": 1482.6 * np.median(np.abs(errors)), "rms_error_ms": 1000 * _rms(errors), "rms_u_ms": 1000 * _rms(u),
        "within_2u": np.mean(np.abs(errors) <= 2 * u), "within_2u_5_percent": np.quantile(held, 0.05),
        "bias_within_2u": np.mean([abs(_bias(t)) <= 2 * t.bias_u_s for t in played]),
    }  # fmt: skip
    return {name: round(float(value), 4) for name, value in told.items()}


def f_measure(rows: list[Tally]) -> float:
    """F of all strums together."""
    hits = sum(_matched(t) for t in rows)
    both = sum(len(t.p) + t.n_true for t in rows)
    return 2 * hits / max(both, 1)


def thresholds(rows: list[Tally], c: Calibration) -> Calibration:
    """The thresholds with which these strums, listed at any probability, give the best F, or nearly, and add least."""
    p, u_s, is_strum = (np.concatenate([getattr(t, name) for t in rows]) for name in ("p", "u_s", "error_s"))
    is_strum, n_true = np.isfinite(is_strum), sum(t.n_true for t in rows)
    reached: dict[tuple[float, float, float], tuple[float, int]] = {}
    for sharp_s in SHARP_S:
        for if_sharp in THRESHOLDS:
            for least in (t for t in THRESHOLDS if t >= if_sharp):
                told = p >= np.where(u_s < sharp_s, if_sharp, least)
                hits = int(np.sum(told & is_strum))
                added = int(np.sum(told)) - hits
                reached[least, if_sharp, sharp_s] = 2 * hits / (hits + added + n_true), added
    best = max(f for f, _ in reached.values())
    least, if_sharp, sharp_s = min((k for k in reached if reached[k][0] >= best - FLAT), key=lambda k: reached[k][1])
    return replace(c, least_probability=least, least_if_sharp=if_sharp, sharp_s=sharp_s)


def _from(c: Calibration, threshold: float) -> Calibration:
    """With one threshold for sharp and other strums."""
    return replace(c, least_probability=threshold, least_if_sharp=threshold)


def _cost(rows: list[Tally]) -> float:
    """Mean absolute error [s] with far ones cut short, each take counting alike, and its bias once more."""
    return float(
        np.mean(
            [
                np.minimum(np.abs(t.error_s[np.isfinite(t.error_s)]), FAR_S).mean() + 0.5 * abs(_bias(t))
                for t in rows
                if _matched(t) >= LEAST_STRUMS
            ]
        )
    )


def _held(rows: list[Tally]) -> Floats:
    """Share of each take's strums within 2 u."""
    shares = []
    for t in rows:
        told = np.isfinite(t.error_s)
        if told.sum() >= LEAST_STRUMS:
            shares.append(float(np.mean(np.abs(t.error_s[told]) <= 2 * t.u_s[told])))
    return np.array(shares)


def _matched(t: Tally) -> int:
    return int(np.isfinite(t.error_s).sum())


def _bias(t: Tally) -> float:
    return float(np.nanmean(t.error_s))


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2))) if len(values) else 0.0


def _pool(workers: int) -> concurrent.futures.ProcessPoolExecutor:
    return concurrent.futures.ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))


def _keep(seed: int, *, sounds: Sounds, folder: Path) -> Path:
    scene = simulate(seed, sounds)
    x, rate = decimated(scene.samples, RATE_HZ)
    removed = decimated(scene.removed, RATE_HZ, centred=False)[0]
    path = folder / f"{seed}.npz"
    np.savez(path, x=x, rate=rate, removed=removed, strums_s=scene.strums_s)
    return path


def _tally(path: Path, *, detector: Detector) -> Tally:
    with np.load(path) as z:
        x, rate, removed, true_s = z["x"], float(z["rate"]), z["removed"], z["strums_s"]
    removal: Any = SimpleNamespace(samples=x, removed=removed) if removed.any() else None
    found = find_strums(x, rate, removal=cast(Any, removal), detector=detector)
    error_s = np.full(len(found), np.nan)
    free = np.ones(len(true_s), bool)
    for i in np.argsort(-found.p):  # each true strum once, the likeliest first
        away = np.where(free, np.abs(found.time_s[i] - true_s), np.inf)
        if len(away) and away.min() <= NEAR_S:
            error_s[i] = found.time_s[i] - true_s[away.argmin()]
            free[away.argmin()] = False
    return Tally(n_true=len(true_s), p=found.p, u_s=found.u_s, error_s=error_s, bias_u_s=found.bias_u_s)
