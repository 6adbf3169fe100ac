"""Which curve do the weeks follow?  Straight, slowing, stopped, stepped or flat, weighed against each other.

A series of weekly values is a level, plus so much of a curve's shape, plus luck: of the takes, and of the week, which
lasts into the next (AR(1)). How a take differs from others of its week is known; how weeks differ, and for how long, is
not: every size and duration of a grid is tried and weighed too. Level and amount of a shape are normal, so that each
trial is solved in closed form and what is said of the future is a mixture of normal distributions. With few weeks many
curves fit, and the intervals say so.

References
----------
Kass & Raftery (1995), J. Am. Stat. Assoc. 90:773 (weighing models by how well they foretold the data). Heathcote, Brown
& Mewhort (2000), Psychon. Bull. Rev. 7:185 (shapes of learning: exponential for one person, power for averages).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Floats

SCALES = (0.6, 0.8, 1.0, 1.3, 1.7)
"""Sizes of a take's luck that are tried, as multiples of what is known of it."""

KINDS_OF_LUCK = (
    (0.0, 0.0, 0.3),
    (0.5, 0.6, 0.3),
    (0.5, 0.85, 0.2),
    (1.2, 0.6, 0.08),
    (1.2, 0.85, 0.08),
    (3.0, 0.6, 0.04),
)
"""A week's luck as a multiple of a take's, how much of it lasts into the next week, and how likely such a player is."""

SMALLEST = 1e-9  # a computer's


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A shape: 0 in the first week, 1 in the last one, whatever lies between and after.

    Attributes
    ----------
    name : str
    seen : Floats [weeks]
        Its values in the weeks of the series.
    later : Floats [weeks ahead] or None
        And in weeks after the last one, where the future is asked for.
    prior : float
        How likely it is before anything is seen.
    sd : float
        Of the amount of it, in the unit of the values.
    """

    name: str
    seen: Floats
    prior: float
    sd: float
    later: Floats | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """Curves weighed against each other and against flat; one row a kind of luck, one column a curve, flat comes first.

    Attributes
    ----------
    curves : tuple of Curve
    probability : Floats [luck, 1 + curves]
    amount, amount_sd : Floats [luck, 1 + curves]
        Of each curve, where it is the right one.
    level, level_sd : Floats [luck]
        Weighted mean of the values, and its uncertainty.
    middle : Floats [luck, 1 + curves]
        The curve's value where the level is taken.
    """

    curves: tuple[Curve, ...]
    probability: Floats
    amount: Floats
    amount_sd: Floats
    level: Floats
    level_sd: Floats
    middle: Floats

    def chance(self, name: str, sign: int = 0) -> float:
        """Probability of the curves of a name (``"flat"`` too), or that they go up (sign 1) or down (-1)."""
        from scipy.special import ndtr

        chosen = np.array([name == "flat", *(curve.name == name for curve in self.curves)])
        part = np.ones_like(self.amount)
        if sign:
            part = ndtr(sign * self.amount / np.maximum(self.amount_sd, SMALLEST))
        return float((self.probability * part)[:, chosen].sum())

    def at(self, values: Floats) -> tuple[Floats, Floats, Floats]:
        """Mixture at one time: probabilities, means and sds, given each curve's value then [1 + curves]."""
        away = values - self.middle
        mean = self.level[:, None] + self.amount * away
        sd = np.hypot(self.level_sd[:, None], self.amount_sd * away)
        return self.probability.ravel(), mean.ravel(), sd.ravel()


def weigh(week: ArrayLike, value: ArrayLike, curves: Sequence[Curve], *, n: ArrayLike, take_sd: float) -> Weighed:
    """Weigh curves.

    Parameters
    ----------
    week : array-like [weeks]
        Increasing numbers of weeks; gaps keep their length.
    value : array-like [weeks]
        The weekly means.
    curves : sequence of Curve
    n : array-like [weeks]
        Takes in each week.
    take_sd : float
        Luck of one take about its week, in the unit of the values: `strumclock.weeks.week.luck`.
    """
    x, y, takes = (np.asarray(a, dtype=float) for a in (week, value, n))
    shapes = np.stack([np.zeros_like(y), *(curve.seen for curve in curves)])
    sd = np.array([0.0, *(curve.sd for curve in curves)])
    prior = np.array([1 - sum(curve.prior for curve in curves), *(curve.prior for curve in curves)])
    apart = np.abs(x[:, None] - x[None, :])
    scale, of_week, lasts, likely = (
        np.array(part)[:, None, None]
        for part in zip(*((scale, *luck) for scale, luck in itertools.product(SCALES, KINDS_OF_LUCK)), strict=True)
    )
    noise = (scale * take_sd) ** 2 * (np.diag(1 / takes) + of_week**2 * lasts**apart)
    log_prior = np.log(likely[:, 0] / len(SCALES))
    evidence, amount, amount_sd, level, level_sd, middle = _solve(y, shapes, sd, noise, log_prior)
    weight = evidence + np.log(np.maximum(prior, 1e-300))
    probability = np.exp(weight - np.logaddexp.reduce(weight, axis=None))
    return Weighed(
        curves=tuple(curves),
        probability=probability,
        amount=amount,
        amount_sd=amount_sd,
        level=level,
        level_sd=level_sd,
        middle=middle,
    )


def _solve(y: Floats, shapes: Floats, sd: Floats, noise: Floats, log_prior: Floats) -> tuple[Floats, ...]:
    """Under each noise, level free, amount of one shape normal: log evidence, amount and its sd [noises, shapes], level
    and its sd [noises], the shapes at the level [noises, shapes]."""
    root = np.linalg.cholesky(noise)
    columns = np.column_stack((np.ones_like(y), y, shapes.T))
    white = np.linalg.solve(root, columns[None])  # NumPy 1 took a table beside a stack for a stack of vectors
    one, rest = white[:, :, 0], white[:, :, 1:]
    precision = (one**2).sum(axis=1)[:, None]
    means = (one[:, :, None] * rest).sum(axis=1) / precision
    rest = rest - one[:, :, None] * means[:, None, :]
    seen, curve = rest[:, :, :1], rest[:, :, 1:]
    size, along = (curve**2).sum(axis=1), (seen * curve).sum(axis=1)
    grown = 1 + sd**2 * size
    halves = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)[:, None]
    evidence = log_prior - halves - 0.5 * (np.log(precision) + (seen**2).sum(axis=1))
    evidence = evidence - 0.5 * np.log(grown) + 0.5 * sd**2 * along**2 / grown
    return (
        evidence,
        sd**2 * along / grown,
        sd / np.sqrt(grown),
        means[:, 0],
        1 / np.sqrt(precision[:, 0]),
        means[:, 1:],
    )
