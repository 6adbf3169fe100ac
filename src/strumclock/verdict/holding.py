"""Whether a take holds its tempo by a standard, and by what margin.

Each criterion is one number against another: what was found and what is asked for. Their ratio is the criterion's
margin, and the largest is the take's: at 1 it just holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strumclock.showing import Shown
from strumclock.timing import Estimate
from strumclock.verdict.played import Played
from strumclock.verdict.standard import Standard

SAME = 1e-9
"""Shares and times that differ by less are the same: 9 of 10 slots are nine tenths of them."""

SAME_S = 1e-6
"""Durations that differ by less are the same."""

UNSURE_SHARE = 1.0
"""Strums whose times are known only to this share of the tolerance (their rms u) show nothing about it."""

SURELY_STRUMS = 0.75
"""Share of the strums heard that must surely be strums for a recording to be taken for one of a guitar. Calibrated: of
72 mixed and recorded takes, with talk, noise, palm-muted and ghost strokes among them, the least has .81; of 23
recordings of voices or noises alone, with eight such sounds or more, the most has .71."""

LEFT_MARGIN = 1.0
"""A take that stopped or left the click did not hold through it: its margin is above this, by the share it lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One thing that a standard asks for.

    Attributes
    ----------
    code : str
        ``"slots"``, ``"duration"``, ``"nowhere"`` (no strum on a place), ``"unsure"`` (times) or
        ``"hardly-strums"``: not to be judged;
        ``"omitted"``, ``"added"``, ``"uneven"``,
        ``"placement"``, ``"drift"``, ``"place"``, ``"changes"``, ``"stopped"``, ``"own-tempo"``.
    found, asked : float
        In the unit of the code: strums, seconds, ms, ms a minute.
    margin : float or None
        Found over asked, such that 1 just passes; None where it is not met and no number says by how much.
    of : int or None
        Strums or slots counted from, where `found` is a number of them.
    """

    code: str
    found: float
    asked: float
    margin: float | None
    of: int | None = None

    @property
    def met(self) -> bool:
        """Whether the take meets it."""
        return self.margin is not None and self.margin <= 1 + SAME


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Held(Shown):
    """The judgement of one take by a standard.

    Attributes
    ----------
    held : bool or None
        None where the take cannot tell.
    standard : Standard
    failed : tuple of Criterion
        What was asked and not met; where `held` is None, why the take is not judged.
    margin : float or None
        The largest of found over asked: at 1 the take just holds. None where it is not judged, or no strum fell on a
        place of the pattern.
    tempo_margin : float or None
        The same without the placement, which a slower tempo does not mend: what the tempo in reach is read from.
    tolerance_s : float
        The tolerance used, s.
    even_share : float or None
        Share of the strums within it; None where no strum was meant for a slot.
    reach_bpm : Estimate or None
        Tempo in reach: at which three takes of four would hold, as this take alone shows it; None where it does not.
    next_bpm : float or None
        Tempo for the next take, a whole number as metronomes are set; None where this take's is unknown.
    subdivide : bool
        The next tempo is slower than people follow a click: let the click sound between the beats too.
    """

    held: bool | None
    standard: Standard
    failed: tuple[Criterion, ...]
    margin: float | None
    tempo_margin: float | None
    tolerance_s: float
    even_share: float | None
    reach_bpm: Estimate | None = None
    next_bpm: float | None = None
    subdivide: bool = False

    def __str__(self) -> str:
        word = {True: "held", False: "not held", None: "not judged"}[self.held]
        why = f" ({', '.join(criterion.code for criterion in self.failed)})" if self.failed else ""
        return f"{word} by “{self.standard.name}”{why}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """How much later than the others the strums of one place are shown to come, at least.

    Attributes
    ----------
    code : str
        ``"place"`` or ``"changes"``.
    at_least_ms : float
        The end of its 95 % interval that is nearer to zero, without its sign; 0 where nothing is shown.
    """

    code: str
    at_least_ms: float


def judge_take(
    played: Played,
    standard: Standard | None = None,
    *,
    drift_ms_per_min: float = 0.0,
    contrasts: Sequence[Contrast] = (),
) -> Held:
    """Hold a take against a standard.

    Parameters
    ----------
    played : Played
    standard : Standard, optional
        Left out, ``steady``.
    drift_ms_per_min : float
        The drift where it is shown, else 0.
    contrasts : sequence of Contrast
        Beats, parts and chord changes that are shown to be late or early.

    Returns
    -------
    Held

    Examples
    --------
    >>> import numpy as np
    >>> n = np.arange(32)
    >>> take = Played(
    ...     offset_ms=np.where(n % 2, 20.0, -20.0), line_s=0.75 * n, slot=n, bar=n // 4 + 1, beat=n % 4 + 1,
    ...     part=np.ones(32, dtype=int), at_change=np.zeros(32, dtype=bool), part_s=0.75, duration_s=23.25, bpm=80,
    ... )
    >>> judge_take(take).held, round(judge_take(take).margin, 2)  # 20 of 62.5 ms
    (True, 0.32)
    """
    standard = standard or Standard()
    tolerance_ms = 1e3 * standard.tolerance_s(played.part_s)
    deviation = np.abs(played.deviation_ms)
    even = int(np.sum(deviation <= tolerance_ms + SAME))
    unjudged = _too_little(played, standard, tolerance_ms)
    criteria = () if unjudged else _criteria(played, standard, tolerance_ms, drift_ms_per_min, contrasts)
    failed = tuple(criterion for criterion in criteria if not criterion.met)
    return Held(
        held=None if unjudged else not failed,
        standard=standard,
        failed=unjudged or failed,
        margin=_largest(criteria),
        tempo_margin=_largest([criterion for criterion in criteria if criterion.code != "placement"]),
        tolerance_s=tolerance_ms / 1e3,
        even_share=even / played.n if played.n else None,
    )


def evenness_ms(deviation_ms: np.ndarray, even_share: float) -> float:
    """The deviation within which just the share asked for lies, ms.

    Examples
    --------
    >>> evenness_ms(np.array([1.0, -2, 3, -4, 50]), 0.8)
    4.0
    """
    need = math.ceil(even_share * deviation_ms.size - SAME)
    return float(np.sort(np.abs(deviation_ms))[max(need, 1) - 1])


def _too_little(played: Played, standard: Standard, tolerance_ms: float) -> tuple[Criterion, ...]:
    """Why the take is too short, or too badly known, to be judged."""
    found, lasted_s = [], played.lasted_s
    need = math.ceil(SURELY_STRUMS * played.n_heard - SAME)
    if played.n_sure < need:
        found.append(Criterion(code="hardly-strums", found=played.n_sure, asked=need, margin=None, of=played.n_heard))
    if not played.n and not played.own_tempo:
        return (Criterion(code="nowhere", found=0, asked=standard.min_slots, margin=None),)
    n = played.n_slots + sum(stretch.slots for stretch in (*played.own_tempo, *played.stopped))
    if n < standard.min_slots:
        found.append(Criterion(code="slots", found=n, asked=standard.min_slots, margin=None))
    if lasted_s < standard.min_duration_s - SAME_S:
        found.append(Criterion(code="duration", found=lasted_s, asked=standard.min_duration_s, margin=None))
    if played.n and played.u_ms > UNSURE_SHARE * tolerance_ms:
        found.append(Criterion(code="unsure", found=played.u_ms, asked=tolerance_ms, margin=None))
    return tuple(found)


def _criteria(
    played: Played,
    standard: Standard,
    tolerance_ms: float,
    drift_ms_per_min: float,
    contrasts: Sequence[Contrast],
) -> tuple[Criterion, ...]:
    """Everything that the standard asks of a take long enough to be judged."""
    found = []
    for code, stretches in (("stopped", played.stopped), ("own-tempo", played.own_tempo)):
        if stretches:
            lost = sum(stretch.slots for stretch in stretches)
            share = lost / max(played.n_slots + lost, 1)
            margin = LEFT_MARGIN + max(share / (1 - standard.played_share + SAME), SAME_S)
            found.append(Criterion(code=code, found=len(stretches), asked=0, margin=margin))
    n = played.n_slots
    if n >= standard.min_slots:
        may_miss, may_add = (1 - standard.played_share) * n, standard.added_share * n
        missed, added = len(played.omitted), len(played.added)
        need = n - math.floor(may_miss + SAME)
        found.append(Criterion(code="omitted", found=n - missed, asked=need, margin=_over(missed, may_miss), of=n))
        most = math.floor(may_add + SAME)
        found.append(Criterion(code="added", found=added, asked=most, margin=_over(added, may_add), of=n))
    if played.n and n >= standard.min_slots:
        reach = evenness_ms(played.deviation_ms, standard.even_share)
        even = int(np.sum(np.abs(played.deviation_ms) <= tolerance_ms + SAME))
        need = math.ceil(standard.even_share * played.n - SAME)
        found.append(Criterion(code="uneven", found=even, asked=need, margin=reach / tolerance_ms, of=played.n))
    worst: dict[str, float] = {}
    for contrast in contrasts:
        worst[contrast.code] = max(worst.get(contrast.code, 0.0), contrast.at_least_ms)
    for code, at_least in worst.items():
        found.append(Criterion(code=code, found=at_least, asked=tolerance_ms, margin=at_least / tolerance_ms))
    if standard.mean_offset_max_s is not None and not played.fitted and played.n:
        mean, most_ms = float(played.offset_ms.mean()), 1e3 * standard.mean_offset_max_s
        found.append(Criterion(code="placement", found=mean, asked=most_ms, margin=abs(mean) / most_ms))
    if standard.drift:
        over = drift_ms_per_min * max(1.0, played.duration_s / 60)
        found.append(Criterion(code="drift", found=over, asked=tolerance_ms, margin=abs(over) / tolerance_ms))
    return tuple(found)


def _largest(criteria: Sequence[Criterion]) -> float | None:
    """The take's margin; None where it was not judged, or where a criterion says only that it was not met."""
    margins = [criterion.margin for criterion in criteria]
    known = [margin for margin in margins if margin is not None]
    return max(known) if known and len(known) == len(margins) else None


def _over(number: int, allowed: float) -> float | None:
    """A number of strums over what is allowed; where none is, any is too many."""
    if allowed > 0:
        return number / allowed
    return None if number else 0.0
