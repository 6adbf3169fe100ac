"""Simulated players and clicks for the alignment tests: each strum's slot is known, the simulation put it there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.click import Clicks
from strumclock.grid import BeatGrid, Exercise, build_grid

CLICK_NOISE_S = 1e-4


@dataclass(frozen=True, kw_only=True)
class Player:
    """How somebody plays: as in the bench's player model (linear phase correction, motor noise, slips)."""

    offset_s: float = -0.01
    jitter_s: float = 0.012
    drift_s_per_min: float = 0.0
    miss: float = 0.0
    extra: float = 0.0
    change_late_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Take:
    """A simulated take: exercise, true grid, and the strums with the slot that each was meant for (-1: unplanned)."""

    exercise: Exercise
    grid: BeatGrid
    strum_s: np.ndarray
    slot: np.ndarray

    @property
    def n_omitted(self) -> int:
        return len(self.grid) - len(set(self.slot[self.slot >= 0].tolist()))

    @property
    def n_added(self) -> int:
        """Unplanned strums between the first and the last slot: what lies outside is ignored, not added."""
        inside = (self.strum_s > self.grid.slot_s[0]) & (self.strum_s < self.grid.slot_s[-1])
        return int(((self.slot < 0) & inside).sum())


def deviations(n: int, jitter_s: float, rng: np.random.Generator) -> np.ndarray:
    """Deviations of n strums: a timekeeper whose errors the player corrects by 0.3 each strum, and motor noise."""
    motor = 0.35 * jitter_s
    keeper = np.sqrt(max(jitter_s**2 - motor**2, 0.0) * (1 - 0.7**2))
    state, out = 0.0, np.empty(n)
    for i in range(n):
        state = 0.7 * state + keeper * rng.standard_normal()
        out[i] = state + motor * rng.standard_normal()
    return out


def play(
    exercise: Exercise, player: Player, seed: int, *, bars: int = 12, lead_s: float = 0.6, skew_ppm: float = 0.0
) -> Take:
    """Play an exercise (which needs bpm, meter, per_beat and count_in)."""
    rng = np.random.default_rng(seed)
    nominal = build_grid(exercise, bars=bars)
    rate = 1.0 / (1.0 + skew_ppm * 1e-6)
    counted_s = (exercise.count_in or 0) * nominal.beats_per_bar * 60.0 / float(exercise.bpm or 90.0)
    grid = nominal.placed((lead_s + counted_s) * rate, rate)
    strum_s = grid.slot_s + player.offset_s + deviations(len(grid), player.jitter_s, rng)
    strum_s = strum_s + player.drift_s_per_min * (grid.slot_s - grid.slot_s[0]) / 60.0
    strum_s = strum_s + player.change_late_s * (np.diff(grid.bar, prepend=grid.bar[0]) > 0)
    kept = rng.random(len(grid)) >= player.miss
    extra = rng.random(len(grid)) < player.extra
    events = [(float(t), j) for j, t in enumerate(strum_s) if kept[j]]
    events += [(float(t + grid.part_s[j] / 2), -1) for j, t in enumerate(strum_s) if extra[j]]
    events.sort()
    return Take(
        exercise=exercise, grid=grid, strum_s=np.array([t for t, _ in events]), slot=np.array([j for _, j in events])
    )


def clicks_of(
    grid: BeatGrid,
    *,
    seed: int = 0,
    every: int = 1,
    heard: int | None = None,
    skipped: int = 0,
    accents: bool = False,
    source: str = "recording",
) -> Clicks:
    """The click of a grid as a click finder would report it, each place wrong by `CLICK_NOISE_S` before its own fit.

    `every`-th beat line from `skipped` on, the first `heard` of them audible; accented on beat 1 where `accents`.
    """
    lines = np.arange(len(grid.click_s))
    number = lines - len(grid.count_in_s)
    chosen = lines[skipped::every][:heard]
    time_s = grid.click_s[chosen] + np.random.default_rng(seed).normal(0.0, CLICK_NOISE_S, len(chosen))
    n = len(chosen)
    slope, start = np.polyfit(np.arange(n), time_s, 1)
    accented = (number[chosen] % grid.beats_per_bar == 0) if accents else np.zeros(n, bool)
    return Clicks(
        time_s=start + slope * np.arange(n), u_s=np.full(n, CLICK_NOISE_S), heard=np.ones(n, bool), accented=accented,
        interval_s=float(slope), interval_u_s=CLICK_NOISE_S / np.sqrt(n * (n * n - 1) / 12),
        extent="throughout" if heard is None else "count-in", source=source, score=100.0, sound=np.zeros(n, int),
        number=np.arange(n),
    )  # fmt: skip
