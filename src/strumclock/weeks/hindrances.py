"""What this week's takes show together: what went well in all, and the obstacle that most have, with its place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from strumclock.verdict import WELL_EVEN, Where

OFTEN = 0.5
"""Share of the takes in which an obstacle must be shown to be this week's, and share of these that must agree on its
place. (That a take shows one by chance is ruled out within the take: Holm, `strumclock.timing.questions`.)"""

PLACED_BY_CHANGE, PLACED_BY_BAR = "changes", "step"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hindrance:
    """An obstacle of one take, as its verdict has it: see `strumclock.verdict.Obstacle`.

    Attributes
    ----------
    kind : str
    late : bool
        Its strums come late or fall behind; else early, ahead.
    where : Where
    share : float
        Of the mean squared distance from the grid.
    per_beat : int
        Parts of a beat in the exercise.
    """

    kind: str
    late: bool
    where: Where
    share: float
    per_beat: int = 1

    @property
    def same(self) -> tuple[object, ...]:
        """What two takes must share to have the same one."""
        return self.kind, self.late, self.where.beat, self.where.part


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What one take showed.

    Attributes
    ----------
    obstacles : tuple of Hindrance
        Largest first.
    even : bool
        Nearly all strums lie within the tolerance, and nothing says that they scatter.
    every_strum : bool
        The pattern was told, and no strum of it is missing or added.
    """

    obstacles: tuple[Hindrance, ...] = ()
    even: bool = False
    every_strum: bool = False


def looked_at(measurement: Mapping[str, Any]) -> Looked:
    """What one take showed, from its JSON."""
    verdict, held = measurement.get("verdict") or {}, measurement.get("held") or {}
    exercise = measurement["exercise"]
    obstacles = tuple(
        Hindrance(
            kind=one["kind"],
            late=(one["size"] or {}).get("value", 0.0) > 0,
            where=_where(one["where"]),
            share=one["share"] or 0.0,
            per_beat=exercise.get("per_beat") or 1,
        )
        for one in verdict.get("obstacles", ())
    )
    kinds = {one.kind for one in obstacles}
    added = any(strum["slot"] is None for strum in measurement.get("strums", ()))
    told = bool(exercise.get("pattern")) and "pattern" not in exercise.get("inferred", ())
    return Looked(
        obstacles=obstacles,
        even=(held.get("even_share") or 0.0) >= WELL_EVEN and "scatter" not in kinds,
        every_strum=told and not measurement.get("omitted") and not added and not kinds & {"stopped", "own-tempo"},
    )


def _where(said: Mapping[str, Any]) -> Where:
    return Where(
        bars=tuple(said.get("bars") or ()),
        beat=said.get("beat"),
        part=said.get("part"),
        from_chord=said.get("from_chord"),
        to_chord=said.get("to_chord"),
    )


def of_the_week(takes: Sequence[Sequence[Hindrance]]) -> Hindrance | None:
    """The obstacle of the most takes, of those the one with the largest share; None where no one is usual.

    Parameters
    ----------
    takes : sequence of sequence of Hindrance
        The obstacles of each take, oldest first.

    Examples
    --------
    >>> ahead = Hindrance(kind="drift", late=False, where=Where(), share=0.4)
    >>> late = Hindrance(kind="changes", late=True, where=Where(from_chord="A", to_chord="D"), share=0.3)
    >>> found = of_the_week([(ahead, late), (late,), ()])
    >>> found.kind, found.where.to_chord
    ('changes', 'D')
    """
    found = Counter(same for take in takes for same in {one.same for one in take})
    usual = [same for same, n in found.items() if n >= OFTEN * len(takes)]
    if not usual:
        return None
    every = [one for take in takes for one in take]
    first = max(usual, key=lambda same: (found[same], sum(one.share for one in every if one.same == same)))
    them = [one for one in every if one.same == first]
    newest = them[-1]
    place = Where(beat=newest.where.beat, part=newest.where.part)
    if newest.kind == PLACED_BY_CHANGE:
        pair, n = Counter((one.where.from_chord, one.where.to_chord) for one in them).most_common(1)[0]
        if n >= OFTEN * len(them):
            place = Where(from_chord=pair[0], to_chord=pair[1])
    if newest.kind == PLACED_BY_BAR:
        bars, n = Counter(one.where.bars[:1] for one in them).most_common(1)[0]
        if n >= OFTEN * len(them):
            place = Where(bars=bars)
    return Hindrance(kind=newest.kind, late=newest.late, where=place, share=newest.share, per_beat=newest.per_beat)
