"""The parts of a recording, named in words: what was done in each, from when to when."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report import words

if TYPE_CHECKING:
    from strumclock.alignment import Part
    from strumclock.pipeline import Measurement


def several_parts(measurement: Measurement) -> bool:
    """Whether the recording holds more than the one stretch of playing; the steps of a click alone are one.

    Examples
    --------
    >>> from strumclock.examples import example_take
    >>> several_parts(example_take())
    False
    """
    m = measurement
    plain = all(part.kind == "played" and part.measured for part in m.parts)
    return bool(m.left_click) or not plain or (len(m.parts) > 1 and len(m.steps) < 2)


def part_name(part: Part, *, told_apart: bool = False) -> str:
    """What was done in a part: ``"played at 88 bpm"``, ``"stopped for 8 s"``.

    Parameters
    ----------
    part : Part
    told_apart : bool
        Say whether the figures are of this part: where there are others that were played.

    Examples
    --------
    >>> from strumclock.alignment import Part
    >>> of = {"start_s": 15.9, "end_s": 24.1, "slots": 18}
    >>> part_name(Part(kind="stopped", bpm=92, n=0, measured=False, **of))
    'stopped for 8 s'
    >>> part_name(Part(kind="own-tempo", bpm=83.98, n=17, measured=False, **of))
    'a tempo of its own, about 84 bpm'
    >>> part_name(Part(kind="played", bpm=92.0, n=30, measured=True, **of), told_apart=True)
    'played at 92 bpm; the figures are of this'
    """
    at = "" if part.bpm is None else f" at {words.bpm(part.bpm)} bpm"
    if part.kind == "stopped":
        return f"stopped for {part.end_s - part.start_s:.0f} s"
    if part.kind == "own-tempo":
        return "a tempo of its own" + ("" if part.bpm is None else f", about {part.bpm:.0f} bpm")
    if part.kind == "false-start":
        return f"false start, {words.count(part.n, 'strum')}"
    name = f"another take{at}" if part.kind == "other-take" else f"played{at}"
    return f"{name}; the figures are of this" if part.measured and told_apart else name


def part_lines(measurement: Measurement) -> list[str]:
    """Every part on a line: number, from when to when, what was done.

    The numbers are those of ``--part``.
    """
    parts = measurement.parts
    told_apart = any(not p.measured and p.kind not in ("stopped", "own-tempo") for p in parts)
    return [f"{number}   {_when(p)}: {part_name(p, told_apart=told_apart)}" for number, p in enumerate(parts, 1)]


def _when(part: Part) -> str:
    start, end = words.clock(part.start_s), words.clock(part.end_s)
    return start if start == end else f"{start} to {end}"
