"""The figures of the strokes: spread, evenness, accents, hardness, and up- against down-strokes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Bools, Floats
from strumclock.errors import Absent
from strumclock.stroke.direction import Directions
from strumclock.stroke.loudness import Levels
from strumclock.stroke.spread import Spreads
from strumclock.stroke.values import Accent, Heard, Side, Stroke, StrumStroke, UpAgainstDown
from strumclock.timing import Estimate
from strumclock.timing.error_model import MIN_STRUMS, ErrorModel, fit_error_model
from strumclock.timing.intervals import combination, scatter

SURE = 0.9  # probability from which a strum's direction counts as known
LEAST_STRUMS = 8  # as for the timing: below it a scatter has no interval worth printing
LEAST_IN_PLACE = 3  # by hand: of fewer a mean tells nothing
SPREADS_KNOWN = 0.5  # share of the strums whose spread must be known for a mean


class Timed:
    """How the strums lie on the grid, one entry a strum; see `measure_stroke`."""

    __slots__ = ("beat", "deviation_ms", "letter", "line_s", "part", "slot", "u_ms")

    def __init__(
        self,
        *,
        slot: NDArray[np.int64],
        beat: NDArray[np.int64],
        part: NDArray[np.int64],
        letter: NDArray[np.str_],
        line_s: Floats,
        deviation_ms: Floats,
        u_ms: Floats,
    ) -> None:
        self.slot, self.beat, self.part, self.letter = slot, beat, part, letter
        self.line_s, self.deviation_ms, self.u_ms = line_s, deviation_ms, u_ms


def measure_stroke(
    time_s: Floats,
    levels: Levels,
    spreads: Spreads,
    directions: Directions | Absent,
    *,
    timed: Timed | None = None,
) -> Stroke:
    """Take the strokes of a take together.

    Parameters
    ----------
    time_s : (n,) array
        Strum times [s in the file], increasing.
    levels : Levels
    spreads : Spreads
    directions : Directions or Absent
        By the sound, or why it does not tell them.
    timed : Timed, optional
        Each strum's slot (-1 without one), beat, part, pattern letter, grid line, deviation and its uncertainty.

    Returns
    -------
    Stroke
    """
    n = len(time_s)
    absent: dict[str, Absent] = {}

    def given(name: str, found: Estimate | Absent) -> Estimate | None:
        if isinstance(found, Absent):
            absent[f"stroke.{name}"] = found
            return None
        return found

    heard = _heard(directions, timed) if isinstance(directions, Directions) else None
    if isinstance(directions, Absent):
        absent["stroke.heard"] = directions
    against = _up_against_down(levels, spreads, directions, timed)
    if isinstance(against, Absent):
        absent["stroke.up_against_down"] = against
    accents = _accents(levels, timed)
    return Stroke(
        n=n,
        spread_ms=given("spread_ms", _spread(spreads, np.ones(n, bool))),
        heard=heard,
        up_against_down=None if isinstance(against, Absent) else against,
        evenness_db=given("evenness_db", _evenness(levels, timed)),
        accents=accents,
        attack_db=given("attack_db", _mean(levels.treble_db, levels.treble_u_db)),
        attack_sd_db=given("attack_sd_db", _attack_scatter(levels)),
        by_strum=tuple(
            StrumStroke(
                time_s=float(time_s[i]),
                level_db=float(levels.level_db[i]),
                spread_ms=_or_none(1000 * spreads.spread_s[i]),
                spread_u_ms=_or_none(1000 * spreads.u_s[i]),
                p_up=_or_none(directions.p_up[i]) if isinstance(directions, Directions) else None,
            )
            for i in range(n)
        ),
        absent=absent,
    )


def _or_none(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _heard(directions: Directions, timed: Timed | None) -> Heard:
    p = directions.p_up
    up, down = p >= SURE, p <= 1 - SURE
    known = up | down
    agrees = None
    if timed is not None:
        told = known & ((timed.letter == "U") | (timed.letter == "D"))
        if told.any():
            agrees = float(np.mean(up[told] == (timed.letter[told] == "U")))
    return Heard(
        n_down=int(down.sum()),
        n_up=int(up.sum()),
        n_unsure=int(len(p) - known.sum()),
        right=float(np.mean(np.maximum(p, 1 - p)[known])) if known.any() else 0.5,
        agrees=agrees,
    )


def _up_against_down(
    levels: Levels, spreads: Spreads, directions: Directions | Absent, timed: Timed | None
) -> UpAgainstDown | Absent:
    """The two kinds of stroke held against each other, by the told letters, else by the sound."""
    told = timed is not None and bool(np.any(timed.letter == "U")) and bool(np.any(timed.letter == "D"))
    if told:
        assert timed is not None
        up, down, source = timed.letter == "U", timed.letter == "D", "told"
    elif isinstance(directions, Directions):
        up, down, source = directions.p_up >= SURE, directions.p_up <= 1 - SURE, "heard"
    else:
        reason = f"no pattern with both down- and up-strokes was told, and by the sound: {directions.reason}"
        return Absent(code="no-directions", reason=reason)
    least = min(int(up.sum()), int(down.sum()))
    if least < LEAST_IN_PLACE:
        reason = f"it needs {LEAST_IN_PLACE} strums of each direction; the rarer one has {least}"
        return Absent(code="too-few", reason=reason)
    return UpAgainstDown(
        source=source,
        down=_side(levels, spreads, down, timed),
        up=_side(levels, spreads, up, timed),
        offset_ms=_later(up, down, timed),
        level_db=_louder(levels, up, down),
    )


def _side(levels: Levels, spreads: Spreads, chosen: Bools, timed: Timed | None) -> Side:
    level, spread = _mean(levels.level_db[chosen], levels.u_db[chosen]), _spread(spreads, chosen)
    jitter: Estimate | Absent | None = None
    if timed is not None:
        on = chosen & (timed.slot >= 0)
        if on.sum() >= MIN_STRUMS + 2:
            design = _line(timed.line_s[on])
            value, slot, u = timed.deviation_ms[on], timed.slot[on], timed.u_ms[on]
            jitter = scatter(_residual(value, design), len(value) - 2, fit_error_model(value, slot, design), u)
    return Side(
        n=int(chosen.sum()),
        jitter_ms=_estimate(jitter),
        level_db=_estimate(level),
        spread_ms=_estimate(spread),
    )


def _estimate(found: Estimate | Absent | None) -> Estimate | None:
    return None if isinstance(found, Absent) else found


def _later(up: Bools, down: Bools, timed: Timed | None) -> Estimate | None:
    """How much later up-strokes are than down-strokes, beside the drift."""
    if timed is None:
        return None
    on = (up | down) & (timed.slot >= 0)
    if on.sum() < MIN_STRUMS + 3 or min((up & on).sum(), (down & on).sum()) < LEAST_IN_PLACE:
        return None
    design = np.column_stack([_line(timed.line_s[on]), up[on].astype(float)])
    weights = np.linalg.pinv(design)[2]
    value = timed.deviation_ms[on]
    model: ErrorModel = fit_error_model(value, timed.slot[on], design)
    return combination(float(weights @ value), weights, model, timed.u_ms[on])


def _louder(levels: Levels, up: Bools, down: Bools) -> Estimate | None:
    """Mean loudness of up- less that of down-strokes, with Welch's interval."""
    from scipy.special import stdtrit

    a, b = levels.level_db[up], levels.level_db[down]
    va, vb = float(np.var(a, ddof=1)) / len(a), float(np.var(b, ddof=1)) / len(b)
    freedom = (va + vb) ** 2 / max(va**2 / (len(a) - 1) + vb**2 / (len(b) - 1), 1e-12)
    u = math.hypot(*(float(np.sqrt(np.sum(levels.u_db[m] ** 2))) / m.sum() for m in (up, down)))
    half = float(stdtrit(max(freedom, 1.0), 0.975)) * math.sqrt(va + vb)
    value = float(a.mean() - b.mean())
    return Estimate(value=value, low=value - half, high=value + half, u=u)


def _line(line_s: Floats) -> Floats:
    return np.column_stack([np.ones(len(line_s)), line_s - line_s.mean()])


def _residual(value: Floats, design: Floats) -> Floats:
    basis, _ = np.linalg.qr(design)
    return np.asarray(value - basis @ (basis.T @ value))


def _places(timed: Timed) -> NDArray[np.int64]:
    """A number for each place of the bar; -1 without a slot."""
    return np.where(timed.slot >= 0, 16 * timed.beat + timed.part, -1)


def _evenness(levels: Levels, timed: Timed | None) -> Estimate | Absent:
    """Scatter of the loudness about the pattern's own accents."""
    chosen = np.ones(len(levels.level_db), bool) if timed is None else timed.slot >= 0
    place = np.zeros(int(chosen.sum()), int) if timed is None else _places(timed)[chosen]
    if len(place) - len(np.unique(place)) < LEAST_STRUMS:
        place = np.zeros(len(place), int)
    u = levels.u_db[chosen]
    return _deviation(_about(levels.level_db[chosen], place), len(np.unique(place)), u)


def _attack_scatter(levels: Levels) -> Estimate | Absent:
    """Scatter of the attack's hardness."""
    return _deviation(levels.treble_db, 1, levels.treble_u_db)


def _about(value: Floats, place: NDArray[np.int64]) -> Floats:
    """Values less the mean of their place."""
    out = np.array(value)
    for p in np.unique(place):
        out[place == p] -= value[place == p].mean()
    return out


def _accents(levels: Levels, timed: Timed | None) -> tuple[Accent, ...]:
    """Each place of the bar against the mean of all places, where each has strums enough."""
    from scipy.special import stdtrit

    if timed is None:
        return ()
    place = _places(timed)
    kinds = [int(p) for p in np.unique(place) if p >= 0]
    rows = [np.flatnonzero(place == p) for p in kinds]
    if len(kinds) < 2 or min(len(r) for r in rows) < LEAST_IN_PLACE:
        return ()
    means = np.array([levels.level_db[r].mean() for r in rows])
    within = sum(float(np.sum((levels.level_db[r] - m) ** 2)) for r, m in zip(rows, means, strict=True))
    freedom = sum(len(r) for r in rows) - len(rows)
    inverse = np.array([1 / len(r) for r in rows])
    k = len(rows)
    # Variance of a place's mean less the mean of all places' means, with one scatter for all.
    share = inverse * (1 - 2 / k) + inverse.sum() / k**2
    half = float(stdtrit(freedom, 0.975)) * np.sqrt(within / freedom * share)
    out = []
    for p, r, mean, h in zip(kinds, rows, means, half, strict=True):
        value = float(mean - means.mean())
        u = float(np.sqrt(np.sum(levels.u_db[r] ** 2))) / len(r)
        estimate = Estimate(value=value, low=value - float(h), high=value + float(h), u=u)
        out.append(Accent(beat=p // 16, part=p % 16, n=len(r), level_db=estimate))
    return tuple(out)


def _spread(spreads: Spreads, chosen: Bools) -> Estimate | Absent:
    """Mean spread; what all strums of a take share of the uncertainty does not average out."""
    known = chosen & np.isfinite(spreads.spread_s)
    if known.sum() < max(LEAST_IN_PLACE, SPREADS_KNOWN * chosen.sum()):
        return Absent(
            code="few-spreads",
            reason=f"it needs the spread of {SPREADS_KNOWN:.0%} of the strums; {int(known.sum())} of "
            f"{int(chosen.sum())} can be told",
        )
    mean = _mean(1000 * spreads.spread_s[known], 1000 * spreads.u_s[known])
    if isinstance(mean, Absent):
        return mean
    wide = mean.widened(1000 * spreads.shared_u_s)
    return Estimate(value=wide.value, low=max(wide.low, 0.0), high=wide.high, u=wide.u)


def _mean(value: Floats, u: Floats) -> Estimate | Absent:
    """Mean of independent values with its t interval."""
    from scipy.special import stdtrit

    n = len(value)
    if n < LEAST_IN_PLACE:
        return Absent(code="too-few", reason=f"it needs {LEAST_IN_PLACE} strums; there are {n}")
    mean, half = float(value.mean()), float(stdtrit(n - 1, 0.975) * value.std(ddof=1) / math.sqrt(n))
    return Estimate(value=mean, low=mean - half, high=mean + half, u=math.sqrt(float(u @ u)) / n)


def _deviation(value: Floats, means: int, u: Floats) -> Estimate | Absent:
    """Standard deviation of independent values about `means` means, each measured to its own u."""
    from scipy.special import chdtri

    n = len(value)
    freedom = n - means
    if freedom < LEAST_STRUMS - 1:
        return Absent(code="too-few", reason=f"it needs {LEAST_STRUMS} strums; there are {n}")
    about = value - value.mean()
    square = float(about @ about) / freedom
    # Heavy tails widen the interval of a variance by their excess kurtosis (large-sample variance of s²).
    excess = max(float(np.mean(about**4)) / max(float(np.mean(about**2)) ** 2, 1e-300) - 3, 0.0)
    effective = freedom / (1 + excess / 2)
    low, high = (math.sqrt(square * effective / float(chdtri(effective, p))) for p in (0.025, 0.975))
    sd = math.sqrt(square)
    # The error of s for fixed true values, to first order.
    measured = math.sqrt(float((about * u) @ (about * u))) / (freedom * sd) if sd > 0 else 0.0
    return Estimate(value=sd, low=min(low, sd), high=max(high, sd), u=measured)
