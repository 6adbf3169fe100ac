"""Which strum was meant for which slot?

Pairs are monotone and one to one: no strum serves two slots, and of two strums the earlier never serves the later slot.
A pair is judged by how far the strum is from its slot *after the player's own slow offset is taken out*, so somebody
who lies 60 ms behind, or slides behind by 100 ms a minute, is followed rather than cut into omitted and added strums.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from strumclock.arrays import Floats, Ints
from strumclock.robust import robust_sd

NO_SLOT = -1  # no index of a slot

WINDOW_PARTS = 0.4
"""A strum further than this share of a part from its slot belongs to no slot: half is the border to the neighbouring
place, and the rest keeps an unplanned strum half-way between two slots from filling a gap beside it."""
WINDOW_SPREADS = 5.0
"""... unless the neighbouring places are silent in the pattern and the player's own spread is wide: then this many
robust standard deviations, which a normal player exceeds once in a million strums."""
GAP_SPREADS = 4.0
"""Between slots so near that the player's own spread reaches half-way (a swung second part), that half is the
border."""
FOLLOW_GAIN = 0.12
"""Share of each deviation by which the tracked offset moves. A drift of 120 ms/min is 2 ms a beat at 60 bpm: the
tracker lags it by 2 / 0.12 = 17 ms, forwards and backwards in opposite directions, and passes on a third of the
jitter."""
FOLLOW_START = 16
"""Strums from which the tracker's first offset is taken: four bars of quarters, enough for a median."""
FINER, CLEAR_PHASE = 4, 0.6
"""Strums may fall on up to so many finer parts; a phase is clear where its resultant (circular statistics' R, 1 = all
alike) is at least this: normal deviations of a sixth of the circle have 0.58."""
SMOOTH_STRUMS = 17
"""Pairs under the running median that follows the offset between the passes: long beside a late chord change (one
strum), short beside the minutes over which people drift."""
PASSES = 2
"""Pairings, each about the offset found by the one before. A third changes nothing on simulated takes
(tests/benchmarks/sweep_alignment.py)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairing:
    """Strums paired with slots.

    Attributes
    ----------
    slot : (n_strums,) int
        Index of the slot that each strum was meant for, `NO_SLOT` = none.
    follow_s : (n_strums,) float
        The player's slow offset at each strum [s], positive = late.
    spread_s : float
        Robust standard deviation of the paired strums about that slow offset [s].
    gain : float
        What the pairing explains: 1 for each strum exactly where the slow offset puts it, falling to 0 at the window's
        edge. Pairings of the same strums with different grids can be compared by it.
    """

    slot: Ints
    follow_s: Floats
    spread_s: float
    gain: float

    @property
    def paired(self) -> NDArray[np.bool_]:
        """(n_strums,) Whether each strum has a slot."""
        paired: NDArray[np.bool_] = self.slot != NO_SLOT
        return paired


def pair(strum_s: Floats, slot_s: Floats, part_s: Floats, *, start_s: float | None = None) -> Pairing:
    """Pair strums with slots by dynamic programming.

    Maximises the sum over pairs of ``1 - (deviation / window)²``, which is the same as minimising squared deviations
    with a cost of one half for each omitted and each added strum.

    Parameters
    ----------
    strum_s : (n,) float
        Times of the strums [s], increasing.
    slot_s : (m,) float
        Times of the slots [s], strictly increasing.
    part_s : (m,) float
        Length of the finest part of the beat at each slot [s].
    start_s : float, optional
        The player's offset at the beginning [s]; found where not given.

    Returns
    -------
    Pairing

    Examples
    --------
    >>> import numpy as np
    >>> found = pair(np.array([0.01, 0.52, 0.74, 1.49]), np.arange(4) * 0.5, np.full(4, 0.5))
    >>> found.slot.tolist()  # the third strum is added, slot 2 omitted
    [0, 1, -1, 3]
    """
    n, m = len(strum_s), len(slot_s)
    if n == 0 or m == 0:
        return Pairing(slot=np.full(n, NO_SLOT), follow_s=np.zeros(n), spread_s=0.0, gain=0.0)
    follow_s = follow(strum_s, slot_s, part_s, start_s)
    _, deviation = nearest(strum_s - follow_s, slot_s)
    spread_s = robust_sd(deviation)
    slot, gain = np.full(n, NO_SLOT), 0.0
    for _ in range(PASSES):
        slot, gain = _best_chain(strum_s - follow_s, slot_s, part_s, spread_s)
        kept = slot != NO_SLOT
        if not kept.any():
            break
        offset = strum_s[kept] - slot_s[slot[kept]]
        smooth = running_median(offset, SMOOTH_STRUMS)
        spread_s = robust_sd(offset - smooth)
        follow_s = np.interp(strum_s, strum_s[kept], smooth)
    return Pairing(slot=slot, follow_s=follow_s, spread_s=spread_s, gain=gain)


def nearest(time_s: Floats, place_s: Floats) -> tuple[Ints, Floats]:
    """Index of the place nearest to each time, and the time's deviation from it [s]."""
    right = np.clip(np.searchsorted(place_s, time_s), 1, max(len(place_s) - 1, 1))
    right = np.minimum(right, len(place_s) - 1)
    left = np.maximum(right - 1, 0)
    index = np.where(time_s - place_s[left] <= place_s[right] - time_s, left, right)
    return index, time_s - place_s[index]


def follow(strum_s: Floats, place_s: Floats, part_s: Floats, start_s: float | None = None) -> Floats:
    """The player's slow offset at every strum [s], from a tracker run forwards and backwards over the places.

    Parameters
    ----------
    strum_s : (n,) float
        Times of the strums [s], increasing.
    place_s : (m,) float
        Where strums may belong [s], strictly increasing.
    part_s : (m,) float
        Length of the part at each place [s]: deviations beyond `WINDOW_PARTS` of it do not move the tracker.
    start_s : float, optional
        Offset to start from; found from the first strums where not given.

    Returns
    -------
    (n,) float
    """
    if start_s is None:
        start_s = _starting_offset(strum_s[:FOLLOW_START], place_s, part_s)
    window_s = WINDOW_PARTS * part_s
    forward = _track(strum_s.tolist(), place_s.tolist(), window_s.tolist(), start_s)
    reverse = (-strum_s[::-1]).tolist(), (-place_s[::-1]).tolist(), window_s[::-1].tolist()
    back = _track(*reverse, -forward[-1])
    path: Floats = 0.5 * (np.array(forward) - np.array(back)[::-1])
    return path


def _track(strums: list[float], places: list[float], windows: list[float], offset: float) -> list[float]:
    """Offset before each strum's own deviation is taken in, updated strum by strum."""
    last, path = len(places) - 1, []
    for t in strums:
        path.append(offset)
        at = t - offset
        j = min(bisect_left(places, at), last)
        if j and at - places[j - 1] < places[j] - at:
            j -= 1
        deviation = at - places[j]
        if abs(deviation) <= windows[j]:
            offset += FOLLOW_GAIN * deviation
    return path


def _starting_offset(strum_s: Floats, place_s: Floats, part_s: Floats) -> float:
    """Circular mean of the first strums' deviations from their nearest places, a part being the circle [s].

    Strums half-way between the places too (somebody told half the tempo) cancel out on that circle: then it is the
    half, third or quarter of a part, and of the offsets that fit, the one nearest to the places is taken.
    """
    inside = (strum_s > place_s[0] - part_s[0]) & (strum_s < place_s[-1] + part_s[-1])
    if not inside.any():
        return 0.0
    index, deviation = nearest(strum_s[inside], place_s)
    part = float(np.median(part_s[index]))
    means = [complex(np.exp(2j * np.pi * k * deviation / part).mean()) for k in range(1, FINER + 1)]
    k = next((k for k, mean in enumerate(means, 1) if abs(mean) >= CLEAR_PHASE), 1)
    return float(np.angle(means[k - 1])) / (2 * np.pi * k) * part


def _best_chain(time_s: Floats, slot_s: Floats, part_s: Floats, spread_s: float) -> tuple[Ints, float]:
    """The monotone one-to-one pairing with the largest summed gain.

    `ends` are the slots at which the best chains so far end, `worth` their summed gains; both increase, since a chain
    that ends later and is worth less can never be part of the best one.
    """
    reach = np.maximum(WINDOW_PARTS * part_s, WINDOW_SPREADS * spread_s)
    gaps = np.diff(slot_s)
    gaps = np.clip(GAP_SPREADS * spread_s, WINDOW_PARTS * gaps, 0.5 * gaps)
    early = np.minimum(reach, np.concatenate([[np.inf], gaps]))
    late = np.minimum(reach, np.concatenate([gaps, [np.inf]]))
    widest = float(max(early.max(), late.max()))
    first = np.searchsorted(slot_s, time_s - widest).tolist()
    stop = np.searchsorted(slot_s, time_s + widest, side="right").tolist()
    slots, earliest, latest = slot_s.tolist(), early.tolist(), late.tolist()
    ends: list[int] = []
    worth: list[float] = []
    links: list[int] = []  # for each entry of `ends`: index into `made`
    made: list[tuple[int, int, int]] = []  # (strum, slot, the pair before it)
    for i, t in enumerate(time_s.tolist()):
        found = []
        for j in range(first[i], stop[i]):
            deviation = t - slots[j]
            share = deviation / latest[j] if deviation >= 0 else deviation / earliest[j]
            gain = 1.0 - share * share
            if gain > 0.0:
                k = bisect_left(ends, j)
                found.append((j, gain + (worth[k - 1] if k else 0.0), links[k - 1] if k else -1))
        for j, total, link in found:
            k = bisect_left(ends, j)
            if k and worth[k - 1] >= total:
                continue
            drop = k
            while drop < len(ends) and worth[drop] <= total:
                drop += 1
            made.append((i, j, link))
            ends[k:drop], worth[k:drop], links[k:drop] = [j], [total], [len(made) - 1]
    slot = np.full(len(time_s), NO_SLOT)
    at = links[-1] if links else -1
    while at >= 0:
        i, j, at = made[at]
        slot[i] = j
    return slot, worth[-1] if worth else 0.0


def running_median(value: Floats, width: int) -> Floats:
    """Median of the `width` values around each one; near the ends that of the first or last `width`."""
    n = len(value)
    half = min(width // 2, (n - 1) // 2)
    if half < 1:
        return np.full(n, float(np.median(value))) if n else np.zeros(0)
    inner = np.median(sliding_window_view(value, 2 * half + 1), axis=1)
    return np.concatenate([np.full(half, inner[0]), inner, np.full(n - half - len(inner), inner[-1])])
