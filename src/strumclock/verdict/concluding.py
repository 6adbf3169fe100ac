"""From one take's figures to what a teacher concludes: held or not, what stands in the way, one thing to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from strumclock.arrays import Floats
from strumclock.showing import Shown
from strumclock.timing import Finding, Timing
from strumclock.verdict.holding import Held
from strumclock.verdict.obstacles import Effect, Obstacle, Where, find_obstacles
from strumclock.verdict.played import Played
from strumclock.verdict.reach import next_tempo, settable_bpm, take_reach
from strumclock.verdict.standard import Standard

ALONE_SHARE, SLOWEST_ALONE_BPM = 0.75, 40.0
"""A change or place is practised alone at so much of the tempo, not below 40 bpm (common practice, no source)."""

COMPARED_WITH = {"placement": "click", "place": "other strums", "step": "strums before"}

SAME_DRIFT = 1e-9
"""Two drifts that differ by less, as a share, are the same."""

WELL_EVEN = 0.9
"""Share of the strums within the tolerance from which a player is told that they are even."""

STATES = {True: "held", False: "not-yet", None: "cannot-tell"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One thing to do next.

    Attributes
    ----------
    code : str
        ``"play-through"``, ``"hear-where-parted"``, ``"find-click"`` (never with it), ``"keep-hand-moving"``,
        ``"pattern-as-written"``,
        ``"change-alone"``, ``"foot-with-click"``, ``"hear-step"``, ``"muted-onto-click"``, ``"count-place"``,
        ``"muted-with-click"``, ``"longer-take"``, ``"check-exercise"``, ``"record-again"``, ``"once-more"``
        (not held, but nothing is shown that stands in the way), ``"go-on"``.
    where : Where
    bpm : float or None
        Tempo at which to do it, where it is not that of the next take.
    """

    code: str
    where: Where = field(default_factory=Where)
    bpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Verdict(Shown):
    """What a teacher concludes from one take.

    Attributes
    ----------
    state : str
        ``"held"``, ``"not-yet"`` or ``"cannot-tell"``.
    obstacles : tuple of Obstacle
        What stands in the way, largest first; only what is shown and can be heard.
    task : Task
        One thing to do next.
    """

    state: str
    obstacles: tuple[Obstacle, ...]
    task: Task


@dataclass(frozen=True, slots=True, kw_only=True)
class Conclusion:
    """The judgement of a take by the standard, and the verdict that rests on it."""

    held: Held
    verdict: Verdict


TASKS = {
    "stopped": "play-through",
    "own-tempo": "hear-where-parted",
    "omitted": "keep-hand-moving",
    "added": "pattern-as-written",
    "changes": "change-alone",
    "drift": "foot-with-click",
    "step": "hear-step",
    "placement": "muted-onto-click",
    "place": "count-place",
    "scatter": "muted-with-click",
}
"""What is done about each kind of obstacle: the task's code."""

_AT_OWN_TEMPO = {"change-alone", "count-place"}


def conclude(played: Played, timing: Timing, standard: Standard | None = None) -> Conclusion:
    """Draw the conclusion of one take.

    Parameters
    ----------
    played : Played
    timing : Timing
        Its figures: what they show decides what may be an obstacle.
    standard : Standard, optional
        Left out, ``steady``.

    Returns
    -------
    Conclusion

    Examples
    --------
    >>> import numpy as np
    >>> import strumclock as sc
    >>> grid = sc.build_grid(sc.Exercise(bpm=80, meter="4/4"), bars=8)
    >>> rng = np.random.default_rng(2)
    >>> timing = sc.measure_timing(sc.align(grid.slot_s + 0.01 * rng.standard_normal(32), grid))
    >>> take = sc.Played(
    ...     offset_ms=timing.offset_ms, line_s=grid.slot_s, slot=np.arange(32), bar=grid.bar, beat=grid.beat,
    ...     part=grid.part, at_change=grid.at_change, part_s=0.75, duration_s=23.25, bpm=80,
    ... )
    >>> found = conclude(take, timing)
    >>> found.verdict.state, found.verdict.task.code, found.held.next_bpm
    ('held', 'go-on', 84.0)
    """
    standard = standard or Standard()
    effects = shown_effects(played, timing)
    held, obstacles = find_obstacles(played, standard, effects, timing.jitter_within_ms or timing.jitter_ms)
    if any(criterion.code == "hardly-strums" for criterion in held.failed):
        obstacles = ()  # they would be of a voice or of noise
    reach, following, subdivide = None, None, False
    if played.bpm is not None and held.tempo_margin is not None:
        reach = take_reach(played.bpm, held.tempo_margin)
        following, subdivide = next_tempo(reach, played.bpm, held=held.held)
        if {criterion.code for criterion in held.failed} == {"placement"}:
            following, subdivide = settable_bpm(played.bpm), False  # a lean does not go away at another tempo
    elif played.bpm is not None:
        following = settable_bpm(played.bpm)
    return Conclusion(
        held=replace(held, reach_bpm=reach, next_bpm=following, subdivide=subdivide),
        verdict=Verdict(state=STATES[held.held], obstacles=obstacles, task=_task(held, obstacles, played)),
    )


def _task(held: Held, obstacles: Sequence[Obstacle], played: Played) -> Task:
    """One thing to do: from the first obstacle where there is one, else from the judgement."""
    codes = {criterion.code for criterion in held.failed} if held.held is None else set()
    if "nowhere" in codes:
        return Task(code="check-exercise")
    if codes & {"unsure", "hardly-strums"}:
        return Task(code="record-again")
    if codes & {"slots", "duration"} and not obstacles:
        return Task(code="longer-take")
    if not obstacles:
        return Task(code="go-on" if held.held else "once-more")
    first = obstacles[0]
    code = "find-click" if first.kind == "own-tempo" and played.never_with_click else TASKS[first.kind]
    alone = None
    if code in _AT_OWN_TEMPO and played.bpm is not None:
        alone = settable_bpm(max(ALONE_SHARE * played.bpm, min(SLOWEST_ALONE_BPM, played.bpm)))
    return Task(code=code, where=first.where, bpm=alone)


def shown_effects(played: Played, timing: Timing) -> tuple[Effect, ...]:
    """What is shown of the take beyond chance and can be heard, and how each moves the strums.

    Parameters
    ----------
    played : Played
    timing : Timing
        Of the same strums.

    Returns
    -------
    tuple of Effect
    """
    findings = tuple(_as_figure(finding, timing) for finding in timing.named)
    leaning = any(finding.kind == "placement" for finding in findings)
    found = [effect for finding in findings if (effect := _effect(finding, played, leaning=leaning)) is not None]
    pairs = [finding for finding in findings if finding.kind == "pair"]
    changes = next((finding for finding in findings if finding.kind == "changes"), None)
    if changes is not None or pairs:
        found.append(_changes(changes, pairs, played))
    return tuple(found)


def _as_figure(finding: Finding, timing: Timing) -> Finding:
    """A drift of the size of the take's own, which nothing else shown moves, has that figure's interval too: whoever
    reads both sees one. That it is shown is decided beside the likeliest step, which makes its own interval another."""
    drift = timing.drift_ms_per_min
    if finding.kind != "drift" or drift is None or not drift.excludes(0.0):
        return finding
    same = abs(finding.size.value - drift.value) <= SAME_DRIFT * abs(drift.value)
    return replace(finding, size=drift) if same else finding


def _effect(finding: Finding, played: Played, *, leaning: bool) -> Effect | None:
    """One finding as an effect; None for those of chord changes, which are one effect together.

    In a take that leans to one side, a drift or a step is what came after the beginning: who starts on the click and
    pulls ahead is not early as a whole. Else it is what lies about its middle.
    """
    column, where = None, Where()
    if finding.kind == "placement":
        column = np.ones(played.n)
    elif finding.kind == "drift":
        column = played.minutes - (played.minutes[0] if leaning else 0.0)
    elif finding.kind == "step" and isinstance(finding.where, int):
        column = (played.slot >= finding.where).astype(float)
        column = column - (0.0 if leaning else column.mean())
    elif finding.kind == "beat" and isinstance(finding.where, int):
        column, where = (played.beat == finding.where).astype(float), Where(beat=finding.where)
    elif finding.kind == "part" and isinstance(finding.where, int):
        column, where = (played.part == finding.where).astype(float), Where(part=finding.where)
    if column is None:
        return None
    kind = "place" if finding.kind in ("beat", "part") else finding.kind
    than = COMPARED_WITH.get(kind, "")
    return Effect(kind=kind, size=finding.size, columns=column[:, None], where=where, compared_with=than)


def _of_pair(finding: Finding, played: Played) -> Floats:
    """Which strums are at the changes that a finding is about: of one pair, or all into one chord."""
    before, to = finding.where if isinstance(finding.where, tuple) else ("", "")
    return np.array([float(p is not None and p[1] == to and before in ("", p[0])) for p in played.pairs])


def _changes(changes: Finding | None, pairs: Sequence[Finding], played: Played) -> Effect:
    """Chord changes that come late or early, and the pairs of chords that do so more than the others."""
    columns = [] if changes is None else [played.at_change.astype(float)]
    columns += [_of_pair(finding, played) for finding in pairs]
    size = pairs[0].size if changes is None else changes.size
    furthest = max(pairs, key=lambda finding: finding.size.value * math.copysign(1, size.value), default=None)
    where = Where()
    if furthest is not None and isinstance(furthest.where, tuple) and furthest.size.value * size.value > 0:
        where = Where(from_chord=furthest.where[0] or None, to_chord=furthest.where[1])
    than = "neighbours" if changes is not None else "other changes"
    return Effect(kind="changes", size=size, columns=np.column_stack(columns), where=where, compared_with=than)
