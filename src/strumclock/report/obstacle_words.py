"""What stands in the way of a take, one sentence for each obstacle: what, how much, where, and what it would change."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.places import count_name, part_in_words

if TYPE_CHECKING:
    from strumclock.verdict import Obstacle, Where


def obstacle_sentence(obstacle: Obstacle, *, per_beat: int, standard_name: str) -> str:
    """One obstacle, for the teacher: its size with its interval, and where it is worst.

    Examples
    --------
    >>> from strumclock.timing import Estimate
    >>> from strumclock.verdict import Obstacle, Where
    >>> late = Obstacle(
    ...     kind="changes", size=Estimate(value=101, low=86, high=117, u=0.5), unit="ms",
    ...     where=Where(bars=(3, 7, 9), from_chord="A", to_chord="D", times_s=(12.0, 31.0, 44.0)),
    ...     ratio=2.9, share=0.8, held_without=True, n=11,
    ... )
    >>> print(obstacle_sentence(late, per_beat=2, standard_name="steady"))
    The first strum of a new chord comes 101 ms late (86 to 117 ms), worst from A to D, in bars 3, 7 and 9 (0:12).
    """
    return words.sentence(_KINDS[obstacle.kind](obstacle, per_beat, standard_name))


def change_in_words(where: Where) -> str:
    """Which changes: ``"from A to D"``, ``"into D"``; nothing where all are meant.

    Examples
    --------
    >>> from strumclock.verdict import Where
    >>> change_in_words(Where(from_chord="A", to_chord="D")), change_in_words(Where(to_chord="D"))
    ('from A to D', 'into D')
    """
    if not where.to_chord:
        return ""
    return f"from {where.from_chord} to {where.to_chord}" if where.from_chord else f"into {where.to_chord}"


def short_name(obstacle: Obstacle, per_beat: int) -> str:
    """An obstacle in a few words, for a heading or a table: ``"late at A→D"``, ``"pulling ahead"``.

    Examples
    --------
    >>> from strumclock.timing import Estimate
    >>> from strumclock.verdict import Obstacle, Where
    >>> ahead = Obstacle(
    ...     kind="drift", size=Estimate(value=-80, low=-90, high=-70, u=1), unit="ms/min", where=Where(), ratio=1.5,
    ...     share=0.5, held_without=True, n=64,
    ... )
    >>> short_name(ahead, 2)
    'pulling ahead'
    """
    where, late = obstacle.where, "late" if obstacle.size.value > 0 else "early"
    if obstacle.kind == "changes":
        known = f"{where.from_chord}→{where.to_chord}" if where.from_chord else f"changes into {where.to_chord}"
        return f"{late} at {known if where.to_chord else 'chord changes'}"
    if obstacle.kind == "place":
        spot = f"on beat {where.beat}" if where.beat is not None else part_in_words(where.part or 1, per_beat)
        return f"{late} {spot}"
    if obstacle.kind == "step":
        return f"{late} from bar {where.bars[0]} on" if where.bars else f"{late} from one place on"
    return {
        "drift": "falling behind" if obstacle.size.value > 0 else "pulling ahead",
        "placement": f"{late} as a whole",
        "scatter": "uneven strums",
        "omitted": "strums left out",
        "added": "strums added",
        "stopped": "stopped in between",
        "own-tempo": "a tempo of its own",
    }[obstacle.kind]


def _changes(obstacle: Obstacle, *_: object) -> str:
    pair = obstacle.where
    which = change_in_words(pair)
    if obstacle.compared_with == "other changes":
        later = _off(obstacle, late="later", early="earlier")
        return f"changes {which} come {later} than the other changes, worst{_in_bars(pair)}"
    most = f", worst {which}" if which else ", worst"
    return f"the first strum of a new chord comes {_off(obstacle)}{most}{_in_bars(pair, comma=bool(which))}"


def _place(obstacle: Obstacle, per_beat: int, *_: object) -> str:
    where = obstacle.where
    which = f"on beat {where.beat}" if where.beat is not None else part_in_words(where.part or 1, per_beat)
    later = _off(obstacle, late="later", early="earlier")
    return f"the strums {which} come {later} than the others, worst{_in_bars(where)}"


def _drift(obstacle: Obstacle, *_: object) -> str:
    did = "fall behind" if obstacle.size.value > 0 else "pull ahead of"
    return f"the strums {did} the click by {words.amount(obstacle.size.value)} a minute{_range(obstacle)}"


def _step(obstacle: Obstacle, *_: object) -> str:
    later = _off(obstacle, late="later", early="earlier")
    where = obstacle.where
    start = f"from bar {where.bars[0]} on{_at(where)}" if where.bars else "from one place on"
    return f"{start} the strums come {later} than before"


def _placement(obstacle: Obstacle, _: int, standard_name: str) -> str:
    return f"all strums lie {_off(obstacle)}: more than “{standard_name}” lets pass, if it was not meant"


def _scatter(obstacle: Obstacle, *_: object) -> str:
    by = f"{words.amount(obstacle.size.value)}{_range(obstacle)}"
    return f"the strums are uneven: they scatter by {by}, most{_in_bars(obstacle.where)}"


def _omitted(obstacle: Obstacle, per_beat: int, *_: object) -> str:
    left_out = "was left out," if obstacle.n == 1 else "were left out, most"
    return f"{words.count(obstacle.n, 'strum')} of the pattern {left_out}{_at_place(obstacle.where, per_beat)}"


def _added(obstacle: Obstacle, per_beat: int, *_: object) -> str:
    most = "" if obstacle.n == 1 else " most"
    return f"{words.count(obstacle.n, 'strum')} more than the pattern has,{most}{_at_place(obstacle.where, per_beat)}"


def _stopped(obstacle: Obstacle, *_: object) -> str:
    times = obstacle.where.times_s
    at = f"at {words.listed([words.clock(t) for t in times[:3]])}"
    return f"the playing stops {at}" + (f", the longest time for {obstacle.size.value:.0f} s" if times else "")


def _own_tempo(obstacle: Obstacle, *_: object) -> str:
    at = words.listed([words.clock(t) for t in obstacle.where.times_s[:3]])
    when = f"from {at} on" if at else "from first to last"
    return f"{when} the strums keep a tempo of their own, about {obstacle.size.value:.0f} bpm"


_KINDS: dict[str, Callable[[Obstacle, int, str], str]] = {
    "changes": _changes,
    "place": _place,
    "drift": _drift,
    "step": _step,
    "placement": _placement,
    "scatter": _scatter,
    "omitted": _omitted,
    "added": _added,
    "stopped": _stopped,
    "own-tempo": _own_tempo,
}


def _off(obstacle: Obstacle, *, late: str = "late", early: str = "early") -> str:
    """``"101 ms late (86 to 117 ms)"``."""
    return f"{words.side(obstacle.size.value, late=late, early=early)}{_range(obstacle)}"


def _range(obstacle: Obstacle) -> str:
    """The interval's two ends, without their signs; nothing where it holds zero."""
    size = obstacle.size
    if not size.excludes(0):
        return ""
    near, far = sorted((abs(size.low), abs(size.high)))
    return f" ({words.number(near)} to {words.number(far)} ms)"


def _in_bars(where: Where, *, comma: bool = False) -> str:
    """``" in bars 3, 7 and 9 (0:12)"``."""
    return f"{',' if comma else ''} in {bars_in_words(where.bars)}{_at(where)}" if where.bars else ""


def _at(where: Where) -> str:
    """``" (0:31)"``: where in the recording; of several places the first."""
    return f" ({words.clock(where.times_s[0])})" if where.times_s else ""


def _at_place(where: Where, per_beat: int) -> str:
    """``" on beat 3 &, in bars 2 and 4"``."""
    spot = ""
    if where.beat is not None:
        spot = f" on beat {count_name(where.beat, where.part or 1, per_beat)},"
    return f"{spot} in {bars_in_words(where.bars)}"


def bars_in_words(bars: Sequence[int]) -> str:
    """Bars as a musician lists them.

    Examples
    --------
    >>> bars_in_words((3,)), bars_in_words((3, 7, 9))
    ('bar 3', 'bars 3, 7 and 9')
    """
    return f"bar{'s' * (len(bars) != 1)} {words.listed(str(bar) for bar in bars)}"
