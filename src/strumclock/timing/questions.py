"""What is asked of a take, answered at one error rate: late on average, falling behind, a step, a place of the bar.

Each question is the size of one column of numbers beside others that are held fixed: a beat's strums beside the drift
line, a slope beside the mean. All questions of a take stand under one error rate (Holm 1979): a player who is even has
something said of them in one take of twenty, however much was asked. What is shown is held fixed for what is asked
next, so that one late beat does not make the other three early, and a step is not also a drift.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from strumclock.arrays import Floats
from strumclock.timing import intervals
from strumclock.timing.asking import SAME, Asked, Question, questions
from strumclock.timing.changes import change_contrasts, contrast_difference, mean_contrast, measuring_of_mean
from strumclock.timing.clocks import with_clock
from strumclock.timing.design import beside, independent, residual
from strumclock.timing.error_model import MIN_STRUMS, ErrorModel, fit_error_model
from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate
from strumclock.timing.values import Finding, Group

SHOWN_BELOW_P = 0.04
"""Largest p at which something is shown, after Holm's correction over all that was asked of the take (Holm 1979)."""

AS_CLEAR = 0.7
"""Places this close to the clearest may as well be what is wrong: two late beats of four look like two early ones."""

TREND = ("drift", "step")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Answer:
    """A question's size beside what is held fixed, with how clear it is."""

    question: Question
    size: Estimate
    clear: float
    p: float


def answer_all(asked: Asked, by: Mapping[str, tuple[Group, ...]]) -> tuple[Finding, ...]:
    """Ask everything; show the clearest, hold it fixed, and ask the rest again, until chance would do as well.

    Parameters
    ----------
    asked : Asked
    by : mapping of str to tuple of Group
        Means of the beats and parts, which tell the one of two that is further from the click.

    Returns
    -------
    tuple of Finding
        The smallest p first.
    """
    open_ = questions(asked)
    trend = _trend_model(asked, open_)
    fixed: list[Question] = []
    found: list[Finding] = []
    answers: list[_Answer] = []
    while open_:
        answers = [a for a in (_answer(q, asked, fixed, trend) for q in open_) if a is not None]
        # Whether the take as a whole is late is told last, by the strums of which nothing else is said.
        best = _clearest([a for a in answers if a.question.kind != "placement"], len(open_), asked)
        if best is None:
            break
        found.append(_finding(best, asked, by, shown=True))
        open_.remove(best.question)
        fixed.append(best.question)
    for answer in answers:
        whole = answer.question.kind == "placement"
        found.append(_finding(answer, asked, by, shown=whole and len(open_) * answer.p < SHOWN_BELOW_P))
    return tuple(sorted(found, key=lambda f: (not f.shown, f.p)))


def _trend_model(asked: Asked, asked_of_it: list[Question]) -> ErrorModel:
    """How errors hang together beside the likeliest step too: a step that is there would pass for long memory."""
    steps = [question.column for question in asked_of_it if question.kind == "step"]
    design = independent(asked.design, np.column_stack(steps)) if steps else asked.design
    if design.shape[1] == asked.design.shape[1] or len(asked.strums) - design.shape[1] < MIN_STRUMS:
        return asked.model
    return fit_error_model(asked.offset_ms, asked.strums.slot, design)


def _answer(question: Question, asked: Asked, fixed: list[Question], trend: ErrorModel) -> _Answer | None:
    """The size of a question's column beside what is held fixed; None where that hides it."""
    if question.kind in ("changes", "pair"):
        return _answer_of_changes(question, asked, fixed)
    model, extra_u = trend if question.kind in TREND else asked.model, 0.0
    shown = [q.column - q.column.mean() if q.kind == "step" else q.column for q in fixed]
    held = independent(question.beside, np.column_stack(shown)) if shown else question.beside
    weights = beside(question.column, held)
    if weights is None:
        return None
    size = intervals.combination(float(weights @ asked.offset_ms), weights, model, asked.u_ms)
    if question.kind == "placement":
        extra_u, size = asked.shared_u_ms, size.widened(asked.shared_u_ms)
    elif question.kind == "drift":
        plain = size.high - size.value
        size = with_clock(size, anchoring=asked.anchoring)
        extra_u = math.sqrt(max((size.high - size.value) ** 2 - plain**2, 0.0)) / COVERAGE_FACTOR
    elif question.kind in ("beat", "part"):
        extra_u = _marked_vary_more(question, asked, held, weights)
        half = math.hypot(size.high - size.value, COVERAGE_FACTOR * extra_u)
        size = Estimate(value=size.value, low=size.value - half, high=size.value + half, u=size.u)
    p = model.p_value(weights, size.value, extra_u=extra_u)
    return _Answer(
        question=question,
        size=size,
        clear=abs(size.value) / max(size.high - size.value, SAME),
        p=float(-np.expm1(question.looks * np.log1p(-min(p, 1 - 1e-12)))),
    )


def _answer_of_changes(question: Question, asked: Asked, fixed: list[Question]) -> _Answer | None:
    """Changes against their neighbours, or one pair's against the others', beside what else was shown."""
    strums, offset_ms = asked.strums, asked.offset_ms
    others = [q.column for q in fixed if q.kind not in ("changes", "pair")]
    if others:
        held = independent(question.beside, np.column_stack(others))
        if beside(question.column, held) is None:
            return None
        design = np.column_stack([held, question.column])
        shift = np.linalg.lstsq(design, offset_ms, rcond=None)[0]
        offset_ms = offset_ms - held[:, 1:] @ shift[1:-1]
    contrasts = change_contrasts(offset_ms, strums)
    known = np.isfinite(contrasts)
    of_it = question.column[strums.at_change][known] > 0
    contrasts, u_ms = contrasts[known], asked.u_ms[strums.at_change][known]
    measuring = measuring_of_mean(u_ms[of_it])
    if question.kind == "changes":
        found = mean_contrast(contrasts, measuring)
    else:
        found = contrast_difference(contrasts[of_it], contrasts[~of_it], measuring)
    if found is None:
        return None
    size, p = found
    end = size.low if size.value > 0 else size.high
    return _Answer(question=question, size=size, clear=abs(size.value) / max(abs(size.value - end), SAME), p=p)


def _marked_vary_more(question: Question, asked: Asked, held: Floats, weights: Floats) -> float:
    """Standard uncertainty to add where the marked strums scatter more than the others, as those at changes do.

    The part of the contrast's variance that the marked strums bring is theirs; its degrees of freedom are as many as
    they are less one, so that the factor to a 95 % interval is Student's.
    """
    marked = question.column > 0
    left = residual(asked.offset_ms, np.column_stack([held, question.column]))
    more = float(left[marked].var()) - float(left[~marked].var())
    if more <= 0:
        return 0.0
    t = float(stdtrit(int(marked.sum()) - 1, 0.975))
    return t / COVERAGE_FACTOR * math.sqrt(more * float(weights[marked] @ weights[marked]))


def _clearest(answers: list[_Answer], n_open: int, asked: Asked) -> _Answer | None:
    """The answer to be shown next: beyond chance, and of those as clear the one further from the click."""
    proven = [a for a in answers if n_open * a.p < SHOWN_BELOW_P]
    # That something changed is proven by either; which of the two it was is told by what fits better.
    if any(a.question.kind in TREND for a in proven):
        trend = max((a for a in answers if a.question.kind in TREND), key=lambda a: _trend_score(a, asked))
        proven = [a for a in proven if a.question.kind not in TREND] + [trend]
    if not proven:
        return None
    best = max(proven, key=lambda a: a.clear)
    if best.question.kind in (*TREND, "pair"):
        return best
    alike = [a for a in proven if a.clear >= AS_CLEAR * best.clear and a.question.kind in ("changes", "beat", "part")]

    def off(a: _Answer) -> float:
        # Where the click is known, the place further from it is what is wrong; else the later one.
        if asked.anchoring.fitted:
            return a.size.value
        return abs(float(asked.offset_ms[a.question.column > 0].mean()))

    return max(alike, key=off)  # of equals the first asked: a chord change before the beat that it falls on


def _trend_score(answer: _Answer, asked: Asked) -> float:
    """Twice the logarithm of how much better the shape alone explains the take, less something for the places searched.

    By plain least squares: the shape that a reader of the picture would draw. Weighed by how errors hang together, a
    shift near the end of a take that drifts would seem the clearer of the two.
    """
    question = answer.question
    left = residual(asked.offset_ms, np.column_stack([np.ones(len(asked.strums)), question.column]))
    squares = max(float(left @ left), SAME)
    return -len(asked.strums) * math.log(squares) - math.log(question.looks)


def _finding(found: _Answer, asked: Asked, by: Mapping[str, tuple[Group, ...]], *, shown: bool) -> Finding:
    """The answer as it is told."""
    question, size, where = found.question, found.size, found.question.where
    plain = beside(question.column, question.beside)
    seen = 0.0 if plain is None else float(plain @ asked.offset_ms)
    reach = min(abs(size.value), abs(seen)) if seen * size.value > 0 else 0.0
    if question.kind == "drift":
        reach *= float(np.ptp(asked.minutes))
    if question.other is not None:
        where, size = _which_of_two(question, size, by[question.kind], contrasts=asked.anchoring.fitted)
    return Finding(kind=question.kind, where=where, size=size, p=found.p, shown=shown, audible=reach > asked.audible_ms)


def _which_of_two(
    question: Question, size: Estimate, groups: tuple[Group, ...], *, contrasts: bool
) -> tuple[int | tuple[str, str] | None, Estimate]:
    """Of two places that differ, the one further from the click; where that is not known, the later one."""
    first, second = (group.offset_ms for group in groups)
    take_first = size.value > 0
    if not contrasts and first is not None and second is not None:
        take_first = abs(first.value) > abs(second.value)
    if take_first:
        return question.where, size
    return question.other, Estimate(value=-size.value, low=-size.high, high=-size.low, u=size.u)
