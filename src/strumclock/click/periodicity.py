"""Which time comes back between sounds of the same waveform: the click's period, before anything else is known.

Short sounds ("pulses") are picked wherever the levelled signal stands out for 2 ms. Every pulse is compared, as a
waveform, with the pulses of the next seconds. Two copies of a click agree in shape, and their distance is a multiple
of the period to within a fraction of a sample; strums agree less, and their distances scatter by many milliseconds.
So a handful of clicks outvotes any number of strums, whichever are louder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.audio.cutting import cut
from strumclock.click.preprocessing import Float32, Float64, Front, Ints, moving_mean

PULSE_S = 0.002
"""A pulse is where the energy over this time stands out."""

PULSES_PER_S = 10
"""At most so many pulses in any one second: clicks on sixteenths at 120 bpm and as many strums still fit."""

PULSE_GAP_S = 0.006
"""Two pulses are no closer than this."""

SNIPPET_S = (0.002, 0.010)
"""Before and after a pulse's peak: what is compared."""

SHIFT_S = 0.0015
"""How far two pulses' peaks may lie from the same place of their waveform."""

SPAN_S = 4.6
"""Pulses further apart than this are not compared: two bars at 105 bpm, a bar at 52."""

ALIKE = 0.25
"""Agreement (normalised correlation) above which a pair counts. Unrelated pulses reach 0.2 by chance and 0.3 rarely."""


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Pairs of pulses of like waveform: pulse numbers, distance in time (s) and agreement above ALIKE."""

    first: Ints
    second: Ints
    lag_s: Float64
    weight: Float64


def pick_pulses(front: Front, begin: int = 0, end: int | None = None) -> Ints:
    """Sample numbers of the pulses in front.samples[begin:end], increasing."""
    rate = front.rate_hz
    x = front.samples[begin:end]
    fine = max(round(PULSE_S * rate / 8), 1)
    x = x[: len(x) // fine * fine].reshape(-1, fine)
    energy = moving_mean(np.einsum("ij,ij->i", x, x), 8)
    rate = rate / fine
    gap = max(round(PULSE_GAP_S * rate), 1)
    cells = len(energy) // gap
    if cells < 3:
        return np.zeros(0, dtype=np.int64)
    grid = energy[: cells * gap].reshape(cells, gap)
    peak = grid.max(axis=1)
    place = grid.argmax(axis=1) + gap * np.arange(cells)
    highest = np.r_[False, (peak[1:-1] >= peak[:-2]) & (peak[1:-1] > peak[2:]), False]
    peak, place = peak[highest], place[highest]
    second = (place / rate).astype(np.int64)
    kept = []
    for s in np.unique(second):
        mine = np.flatnonzero(second == s)
        kept.append(mine[np.argsort(-peak[mine])[:PULSES_PER_S]])
    return np.sort(place[np.concatenate(kept)]) * fine + fine // 2 + begin if kept else np.zeros(0, dtype=np.int64)


def snippets(x: Float32, place: Ints, before: int, after: int) -> Float32:
    """Rows x[p - before : p + after], zero beyond the ends, each of unit energy."""
    rows = cut(x, place.astype(np.intp) - before, before + after)
    norm = np.sqrt(np.einsum("ij,ij->i", rows, rows))
    scaled: Float32 = rows / np.maximum(norm, np.float32(1e-12))[:, None]
    return scaled


def alike_pairs(front: Front, place: Ints) -> Pairs:
    """Compare every pulse with those of the next SPAN_S seconds."""
    rate = front.rate_hz
    before, after = round(SNIPPET_S[0] * rate), round(SNIPPET_S[1] * rate)
    shift = max(round(SHIFT_S * rate), 2)
    rows = snippets(front.samples, place, before, after)
    until = np.searchsorted(place, place + SPAN_S * rate)
    counts = np.maximum(until - np.arange(len(place)) - 1, 0)
    first = np.repeat(np.arange(len(place)), counts)
    second = np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts) + first + 1
    near = np.empty((len(first), 2 * shift + 1), np.float32)  # agreement with the second one moved by -shift to shift
    ends = np.cumsum(counts)
    moved = np.lib.stride_tricks.sliding_window_view(np.pad(rows, ((0, 0), (shift, shift))), before + after, axis=1)
    for i, (count, end) in enumerate(zip(counts.tolist(), ends.tolist(), strict=True)):
        np.matmul(rows[i + 1 : i + 1 + count], moved[i, ::-1].copy().T, out=near[end - count : end])
    top = near[:, 1:-1].argmax(axis=1) + 1
    r = np.arange(len(top))
    y0, best, y2 = (near[r, top + k].astype(np.float64) for k in (-1, 0, 1))
    bend = y0 - 2 * best + y2
    step = np.where(bend < 0, 0.5 * (y0 - y2) / np.minimum(bend, -1e-12), 0.0)
    delta = top - shift + np.clip(step, -0.5, 0.5)
    good = best > ALIKE
    lag = (place[second] - place[first] + delta)[good] / rate
    return Pairs(first=first[good], second=second[good], lag_s=lag, weight=best[good] - ALIKE)
