"""A regular train of clicks: proposed from pairs of pulses, followed through the recording, weighed against chance."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.fft

from strumclock.click.front import Float32, Float64, Front
from strumclock.click.pulses import SPAN_S, Pairs

INTERVALS_S = (0.12, 4.2)
"""Shortest and longest time between clicks: from sixteenths at 125 bpm to one click a bar at 57."""

LAG_TOLERANCE_S = 0.00012
"""How well the distance of two like clicks is known from one pair."""

CHAIN_TOLERANCE_S = 0.00025
"""How far a pulse may lie from the line through its chain: strums scatter by 3 ms and more."""

LONGEST_SHARE = 0.85
"""The longest interval whose multiples collect this share of the best one's agreement is taken: half the interval collects all of it too."""

PROPOSALS = 10
"""Trains that are followed and weighed."""

BODY_S = (0.002, 0.012)
"""Before and after a click's place: what is compared with the learned sound."""

SEARCH_S = 0.0004
"""How far a click may lie from where the clicks so far put it."""

CONTROL_PHASES = (0.07, 0.13, 0.19, 0.29, 0.38, 0.43, 0.57, 0.62, 0.71, 0.81, 0.87, 0.93)
"""Parts of the interval where no click is expected: what the learned sound finds there is chance."""

MASKED = 0.3
"""Share of clicks that a strum or noise may hide."""

MOST_EVIDENCE = 8.0
"""No single click counts more than this (nats): chance has longer tails than the normal law."""


@dataclass(frozen=True, slots=True, eq=False)
class Train:
    """Clicks at start + step * nominal, where nominal is 0, 1, 2, … or the told times.

    Attributes
    ----------
    position : float array, shape (n,), samples
        Place of each click in the front's samples, first heard to last heard.
    number : int array, shape (n,)
        Which of the nominal places each is.
    start, step : float
        position = start + step * nominal[number].
    agreement : float array, shape (n,)
        Correlation of each with the sound learned from the others, -1 to 1.
    evidence : float array, shape (n,)
        Log likelihood ratio of heard against not, nats.
    kind : int array, shape (n,)
        Which learned sound it resembles most.
    score : float
        Sum of the evidence.
    """

    position: Float64
    number: np.ndarray
    start: float
    step: float
    agreement: Float64
    evidence: Float64
    kind: np.ndarray
    score: float
    sounds: list[Float32] = field(default_factory=list)


def propose_intervals(pairs: Pairs, hints_s: tuple[float, ...] = ()) -> list[float]:
    """Likely times between clicks (s), best first, from the distances of like pulses."""
    order = np.argsort(pairs.lag_s)
    lag, weight = pairs.lag_s[order], pairs.weight[order]
    if len(lag) == 0:
        return list(hints_s)
    total = np.concatenate([[0.0], np.cumsum(weight)])

    def collected(at: Float64, width: Float64 | float) -> Float64:
        found: Float64 = total[np.searchsorted(lag, at + width)] - total[np.searchsorted(lag, at - width)]
        return found

    near = np.where(lag >= INTERVALS_S[0], collected(lag, LAG_TOLERANCE_S), 0.0)
    peaks: list[float] = []
    left = near.copy()
    for _ in range(24):
        i = int(np.argmax(left))
        if left[i] <= 0:
            break
        inside = np.abs(lag - lag[i]) < LAG_TOLERANCE_S
        peaks.append(float(np.average(lag[inside], weights=weight[inside])))
        left[np.abs(lag - lag[i]) < 3 * LAG_TOLERANCE_S] = 0
    candidates = np.array([p / m for p in peaks for m in range(1, 9)] + list(hints_s))
    error = np.array([LAG_TOLERANCE_S / m for _ in peaks for m in range(1, 9)] + [h * 1e-4 for h in hints_s])
    usable = (candidates >= INTERVALS_S[0]) & (candidates <= INTERVALS_S[1])
    candidates, error = candidates[usable], error[usable]
    score = np.zeros(len(candidates))
    density = total[-1] / SPAN_S
    for tooth in range(1, int(SPAN_S / INTERVALS_S[0]) + 1):
        inside = candidates * tooth <= SPAN_S
        width = np.minimum(LAG_TOLERANCE_S / 2 + error * tooth, 4 * LAG_TOLERANCE_S)
        gain = collected(candidates * tooth, width) - 2 * width * density
        score += np.where(inside, gain, 0.0)
    chosen: list[float] = []
    while len(chosen) < PROPOSALS and len(score) and score.max() > 0:
        enough = score >= LONGEST_SHARE * score.max()
        i = int(np.argmax(np.where(enough, candidates, 0.0)))
        chosen.append(float(candidates[i]))
        ratio = candidates / candidates[i]
        same = np.abs(ratio - 1) < 4e-4
        score = np.where(same, 0.0, score)
        whole = np.abs(ratio * np.round(1 / ratio) - 1) < 4e-4
        score = np.where(whole & (ratio < 1), 0.5 * score, score)
    return chosen


def chains(place: np.ndarray, pairs: Pairs, interval: float, rate_hz: float) -> list[tuple[float, float, np.ndarray]]:
    """Start, interval (samples) and member pulses of the chains with this interval, the strongest first (at most 3)."""
    multiple = np.round(pairs.lag_s / interval)
    on = (multiple >= 1) & (np.abs(pairs.lag_s - multiple * interval) < LAG_TOLERANCE_S * (1 + 0.5 * multiple))
    i, j, w = pairs.first[on], pairs.second[on], pairs.weight[on]
    if len(i) == 0:
        return []
    label = np.arange(len(place))
    for _ in range(64):
        low = np.minimum(label[i], label[j])
        before = label.copy()
        np.minimum.at(label, i, low)
        np.minimum.at(label, j, low)
        label = label[label]
        if np.array_equal(before, label):
            break
    mass = np.bincount(label[i], weights=w, minlength=len(place))
    found = []
    for root in np.argsort(-mass)[:3]:
        if mass[root] <= 0:
            break
        member = np.flatnonzero(label == root)
        strength = np.bincount(np.r_[i, j], weights=np.r_[w, w], minlength=len(place))[member]
        at = place[member].astype(np.float64)
        anchor = at[np.argmax(strength)]
        step = interval * rate_hz
        number = np.round((at - anchor) / step)
        start = anchor
        for _ in range(4):
            off = np.abs(at - start - step * number)
            # pulses' peaks differ from their waveform's place by up to SHIFT_S; the pairs have been corrected for it, the pulses not
            good = off < max(float(np.median(off)) * 2, CHAIN_TOLERANCE_S * rate_hz)
            if good.sum() >= 3 and np.ptp(number[good]) > 0:
                fit = np.polyfit(number[good], at[good], 1, w=strength[good])
                if abs(fit[0] / (interval * rate_hz) - 1) < 0.002:
                    step, start = float(fit[0]), float(fit[1])
            else:
                break
        found.append((float(start), float(step), member))
    return found


def _windows(x: Float32, centre: Float64, before: int, after: int) -> Float32:
    """Rows x[round(c) - before : round(c) + after], zero beyond the ends."""
    i = np.round(centre).astype(np.int64)
    inside = (i >= 0) & (i < len(x))
    padded = np.pad(x, (before, after))
    rows = np.lib.stride_tricks.sliding_window_view(padded, before + after)[np.where(inside, i, 0)].copy()
    rows[~inside] = 0
    return rows


def shift_rows(rows: Float32, shift: Float64) -> Float32:
    """Each row moved later by shift samples (a fraction), by phase."""
    size = scipy.fft.next_fast_len(rows.shape[1] + 32, real=True)
    spectrum = scipy.fft.rfft(rows, size)
    turn = np.exp(-2j * np.pi * np.outer(shift, np.arange(spectrum.shape[1]) / size)).astype(np.complex64)
    moved: Float32 = scipy.fft.irfft(spectrum * turn, size)[:, : rows.shape[1]]
    return moved


def _unit(rows: Float32) -> Float32:
    return rows / np.maximum(np.sqrt(np.einsum("ij,ij->i", rows, rows)), np.float32(1e-9))[:, None]


@dataclass(frozen=True, slots=True, eq=False)
class _Matcher:
    """Compares places of the front with learned sounds."""

    front: Front
    before: int
    after: int
    reach: int

    @classmethod
    def of(cls, front: Front) -> _Matcher:
        rate = front.rate_hz
        return cls(
            front=front,
            before=round(BODY_S[0] * rate),
            after=round(BODY_S[1] * rate),
            reach=max(round(SEARCH_S * rate), 3),
        )

    def rows(self, position: Float64) -> Float32:
        """Aligned rows at fractional positions."""
        whole = np.round(position)
        pad = 8
        wide = _windows(self.front.samples, position, self.before + pad, self.after + pad)
        return shift_rows(wide, whole - position)[:, pad:-pad]

    def compare(self, position: Float64, sounds: list[Float32], reach: int) -> tuple[Float64, Float64, np.ndarray]:
        """Best agreement within reach samples of each position, where (samples from the position), and with which sound."""
        reach = reach + 1
        wide = _windows(self.front.samples, position, self.before + reach, self.after + reach)
        size = self.before + self.after
        shifts = 2 * reach + 1
        square = np.cumsum(np.pad(wide.astype(np.float64) ** 2, ((0, 0), (1, 0))), axis=1)
        norm = np.sqrt(np.maximum(square[:, size:] - square[:, :-size], 1e-12))[:, :shifts]
        view = np.lib.stride_tricks.sliding_window_view(wide, size, axis=1)[:, :shifts]
        table = np.stack([view @ s for s in sounds], axis=2) / norm[:, :, None]
        kind = table[:, 1:-1].max(axis=1).argmax(axis=1)
        curve = table[np.arange(len(table)), :, kind]
        top = curve[:, 1:-1].argmax(axis=1) + 1
        r = np.arange(len(top))
        y0, y1, y2 = curve[r, top - 1], curve[r, top], curve[r, top + 1]
        bend = y0 - 2 * y1 + y2
        step = np.where(bend < 0, 0.5 * (y0 - y2) / np.minimum(bend, -1e-9), 0.0)
        step = np.clip(step, -0.5, 0.5)
        best = y1 - 0.25 * (y0 - y2) * step
        return best.astype(np.float64), top - reach + step + np.round(position) - position, kind


def _learn(rows: Float32, weight: Float64) -> Float32:
    sound = (rows * weight[:, None].astype(np.float32)).sum(axis=0)
    unit: Float32 = sound / max(float(np.sqrt(sound @ sound)), 1e-9)
    return unit


def _leave_one_out(rows: Float32, kinds: list[np.ndarray], weight: Float64) -> tuple[Float64, np.ndarray]:
    """Agreement of each unit row with each kind's sound learned from the other rows; the best, and which."""
    gram = (rows @ rows.T).astype(np.float64)
    table = np.full((len(rows), len(kinds)), -1.0)
    for c, member in enumerate(kinds):
        w = np.where(member, weight, 0.0)
        if np.count_nonzero(w) < 2:
            continue
        along = gram @ w
        energy = float(w @ along)
        own = w * np.diag(gram)
        cross = along - own
        rest = np.maximum(energy - 2 * w * along + w**2 * np.diag(gram), 1e-9)
        table[:, c] = cross / np.sqrt(rest)
        table[(w > 0) & (np.count_nonzero(w) - (w > 0) < 1), c] = 0.0
    return table.max(axis=1), table.argmax(axis=1)


def _second_kind(rows: Float32, first: np.ndarray) -> np.ndarray | None:
    """Rows outside the first kind that agree with each other."""
    rest = np.flatnonzero(~first)
    if len(rest) < 2:
        return None
    gram = rows[rest] @ rows[rest].T
    np.fill_diagonal(gram, 0)
    mass = np.maximum(gram - 0.4, 0).sum(axis=1)
    best = int(np.argmax(mass))
    if mass[best] <= 0:
        return None
    member = np.zeros(len(rows), dtype=bool)
    member[rest[gram[best] > 0.4]] = True
    member[rest[best]] = True
    return member


def evidence_of(agreement: Float64, chance: float) -> Float64:
    """Log likelihood ratio (nats) of a click heard there against chance, with MASKED clicks allowed for."""
    null = np.exp(-0.5 * (agreement / chance) ** 2) / (chance * np.sqrt(2 * np.pi))
    heard = np.where(agreement > 0, 1.0, 0.05)
    ratio = MASKED + (1 - MASKED) * heard / np.maximum(null, 1e-12)
    return np.minimum(np.log(ratio), MOST_EVIDENCE)


def follow(front: Front, start: float, step: float, member: np.ndarray, nominal: Float64 | None = None) -> Train | None:
    """Follow a train from its first members to both ends of the recording.

    Parameters
    ----------
    start, step : float, samples
        A first guess, good to SEARCH_S where the members lie.
    member : int array, samples
        Places of pulses believed to be clicks.
    nominal : float array or None
        Told places in units of step; None for 0, 1, 2, …
    """
    match = _Matcher.of(front)
    n = len(front.samples)
    if nominal is None:
        low, high = int(np.ceil(-start / step)), int(np.floor((n - 1 - start) / step))
        number = np.arange(low, high + 1)
        nominal_at = number.astype(np.float64)
    else:
        number = np.arange(len(nominal))
        nominal_at = np.asarray(nominal, dtype=np.float64)
    if len(number) < 3:
        return None
    centre = np.array([number[int(np.argmin(np.abs(start + step * nominal_at - p)))] for p in member]) - number[0]
    core = np.zeros(len(number), dtype=bool)
    core[centre] = True
    position = start + step * nominal_at
    span_low, span_high = float(nominal_at[core].min()), float(nominal_at[core].max())
    sounds: list[Float32] = []
    first = True
    weight = core.astype(np.float64)
    while True:
        use = (nominal_at >= span_low) & (nominal_at <= span_high)
        for _ in range(3 if first else 2):
            if first and not sounds:
                rows = _unit(match.rows(position[core]))
                gram = rows @ rows.T
                lead = int(np.argmax(np.maximum(gram - 0.3, 0).sum(axis=1)))
                sounds = [rows[lead]]
            found, delay, kind = match.compare(position[use], sounds, match.reach)
            good = found > 0.4
            if good.sum() < 2:
                return None
            at = position[use] + delay
            w = np.maximum(found - 0.3, 0.0) * good
            x = nominal_at[use]
            mean = float(np.average(x, weights=w))
            spread = float(np.sum(w * (x - mean) ** 2))
            line_step, line_mean = step, float(np.average(at - step * (x - mean), weights=w))
            for _ in range(3):
                off = at - line_mean - line_step * (x - mean)
                keep = w * (np.abs(off) < max(CHAIN_TOLERANCE_S * front.rate_hz, 1.5))
                if np.count_nonzero(keep) < 2:
                    break
                mean = float(np.average(x, weights=keep))
                spread = float(np.sum(keep * (x - mean) ** 2))
                line_mean = float(np.average(at, weights=keep))
                if spread > 0 and np.count_nonzero(keep) >= 3:
                    line_step = float(np.sum(keep * (x - mean) * (at - line_mean)) / spread)
            step, start = line_step, line_mean - line_step * mean
            position = start + step * nominal_at
            weight = np.zeros(len(number))
            weight[use] = keep
            heard = weight > 0
            rows = _unit(match.rows(position[use]))
            sounds = [
                _learn(rows[(kind == c) & (keep > 0)], keep[(kind == c) & (keep > 0)])
                for c in range(len(sounds))
                if np.any((kind == c) & (keep > 0))
            ]
            if not sounds:
                return None
            if len(sounds) == 1 and (extra := _second_kind(rows, keep > 0)) is not None and extra.sum() >= 2:
                sounds.append(_learn(rows[extra], np.ones(int(extra.sum()))))
            del heard
        first = False
        if span_low <= nominal_at[0] and span_high >= nominal_at[-1]:
            break
        width = max(span_high - span_low, 2.0 * float(np.median(np.diff(nominal_at))))
        span_low, span_high = max(span_low - width, nominal_at[0]), min(span_high + width, nominal_at[-1])
    return weigh(match, number, nominal_at, start, step, sounds)


def weigh(
    match: _Matcher, number: np.ndarray, nominal_at: Float64, start: float, step: float, sounds: list[Float32]
) -> Train | None:
    """Evidence of every place of a train, and the stretch of them that is heard."""
    position = start + step * nominal_at
    reach = 1
    found, _, kind = match.compare(position, sounds, reach)
    control = np.concatenate(
        [
            match.compare(position + p * step * float(np.median(np.diff(nominal_at))), sounds, reach)[0]
            for p in CONTROL_PHASES
        ]
    )
    chance = max(float(np.sqrt(np.mean(control**2))), float(np.quantile(control, 0.99)) / 2.33, 0.05)
    evidence = evidence_of(found, chance)
    rows = _unit(match.rows(position))
    for _ in range(2):
        heard = evidence > 1.0
        if heard.sum() < 2:
            return None
        kinds = [(kind == c) & heard for c in range(len(sounds))]
        agreement, kind = _leave_one_out(rows, kinds, np.maximum(found, 0.0) * heard)
        found = agreement
        evidence = evidence_of(agreement, chance)
    total = np.concatenate([[0.0], np.cumsum(evidence)])
    lowest = np.minimum.accumulate(total)
    end = int(np.argmax(total - lowest))
    begin = int(np.argmin(total[: end + 1]))
    if end - begin < 2:
        return None
    part = slice(begin, end)
    return Train(
        position=position[part], number=number[part], start=start, step=step, agreement=agreement[part],
        evidence=evidence[part], kind=kind[part], score=float(total[end] - total[begin]), sounds=sounds,
    )  # fmt: skip
