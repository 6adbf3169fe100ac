"""Takes whose strums are made up, measured by the real timing: what the report's tests look at."""

from __future__ import annotations

from typing import Any

import numpy as np

from strumclock.errors import Absent, Notice
from strumclock.grid import Exercise, build_grid, part_places
from strumclock.onsets import Ignored
from strumclock.pipeline.measurement import GridInfo, LeftClick, Measurement, Omitted, Strum, TakeInfo
from strumclock.timing import Anchoring, Estimate, PlacedStrums, SoundPath, measure_timing
from strumclock.verdict import STANDARDS, Played, Stretch, conclude


def estimate(value: float, reach: float, *, u: float = 0.5) -> Estimate:
    """An estimate with an even interval."""
    return Estimate(value=value, low=value - reach, high=value + reach, u=u)


def take(
    *,
    bars: int = 8,
    mean_ms: float = 0.0,
    sd_ms: float = 8.0,
    drift_ms_per_min: float = 0.0,
    beat_ms: dict[int, float] | None = None,
    part_ms: dict[int, float] | None = None,
    change_ms: float = 0.0,
    omit: tuple[int, ...] = (),
    omit_all: bool = False,
    keep: int | None = None,
    added_s: tuple[float, ...] = (),
    outliers: dict[int, float] | None = None,
    anchor: str = "recorded-click",
    inferred: tuple[str, ...] = (),
    warnings: tuple[Notice, ...] = (),
    ignored: tuple[Ignored, ...] = (),
    left_click: tuple[LeftClick, ...] = (),
    path: str | None = "monday.m4a",
    path_u_s: float = 0.0034,
    seed: int = 1,
    absent: dict[str, Absent] | None = None,
    exercise: Exercise | None = None,
    standard: str = "steady",
    **parts: Any,
) -> Measurement:
    """A take with known errors on a known grid; `parts` replaces whole parts of the measurement."""
    exercise = exercise or Exercise(
        name="Two chords", bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1, chords=("A", "D")
    )
    assert exercise.bpm is not None
    grid = build_grid(exercise, bars=bars).placed(2.4)
    rng = np.random.default_rng(seed)
    n = len(grid.slot_s)
    error_ms = mean_ms + sd_ms * rng.standard_normal(n)
    error_ms += drift_ms_per_min * (grid.slot_s - grid.slot_s.mean()) / 60
    error_ms += np.array([(beat_ms or {}).get(int(b), 0.0) for b in grid.beat])
    error_ms += np.array([(part_ms or {}).get(int(p), 0.0) for p in grid.part])
    error_ms += change_ms * grid.at_change
    for slot, extra in (outliers or {}).items():
        error_ms[slot] += extra
    kept = np.array([i not in omit and not omit_all and (keep is None or i < keep) for i in range(n)], dtype=bool)
    last = n if keep is None else keep
    on = np.flatnonzero(kept)
    placed = PlacedStrums.of(
        grid.slot_s[on] + error_ms[on] / 1e3,
        grid.slot_s[on],
        slot=on,
        bar=grid.bar[on],
        beat=grid.beat[on],
        part=grid.part[on],
        at_change=grid.at_change[on],
        u_s=0.0007,
        part_s=grid.part_s[on],
        beat_s=grid.beat_s[on],
        second_at=float(part_places(2, exercise.swing)[1]) if exercise.per_beat == 2 else None,
    )
    timing = measure_timing(
        placed,
        anchoring=Anchoring(anchor=anchor, clock_known=anchor != "fitted"),
        path=SoundPath(bias_s=0.0, u_s=path_u_s if anchor != "fitted" else 0.0),
        tolerance_s=[STANDARDS[standard].tolerance_s(x) for x in grid.part_s[on].tolist()],
    )
    strums = [
        Strum(
            time_s=float(grid.slot_s[i] + error_ms[i] / 1e3),
            u_ms=0.7,
            slot=int(i),
            bar=int(grid.bar[i]),
            beat=int(grid.beat[i]),
            part=int(grid.part[i]),
            stroke=str(grid.stroke[i]),
            offset_ms=None if timing.offset_ms is None else float(timing.offset_ms[k]),
            deviation_ms=float(timing.deviation_ms[k]),
            at_change=bool(grid.at_change[i]),
        )
        for k, i in enumerate(on)
    ]
    nowhere = {
        "slot": None,
        "bar": None,
        "beat": None,
        "part": None,
        "stroke": None,
        "offset_ms": None,
        "deviation_ms": None,
    }
    strums += [
        Strum(
            time_s=t,
            u_ms=0.7,
            at_change=False,
            left_click=any(left.start_s <= t <= left.end_s for left in left_click),
            **nowhere,
        )
        for t in added_s
    ]
    omitted = tuple(
        Omitted(
            slot=i, bar=int(grid.bar[i]), beat=int(grid.beat[i]), part=int(grid.part[i]), time_s=float(grid.slot_s[i])
        )
        for i in range(last)
        if not kept[i]
    )
    heard = anchor in ("recorded-click", "click-channel")
    chords = [str(grid.chord[i]) for i in on]
    played = Played(
        offset_ms=np.array(timing.deviation_ms if timing.offset_ms is None else timing.offset_ms),
        fitted=timing.offset_ms is None,
        line_s=grid.slot_s[on],
        slot=on,
        bar=grid.bar[on],
        beat=grid.beat[on],
        part=grid.part[on],
        at_change=grid.at_change[on],
        pairs=tuple(
            (a, b) if change and a != b and a else None
            for a, b, change in zip(["", *chords], chords, grid.at_change[on], strict=False)
        ),
        omitted=tuple((o.bar, o.beat, o.part) for o in omitted),
        added=((1, 1, 1),) * sum(strum.added for strum in strums),
        part_s=float(np.median(grid.part_s)),
        duration_s=float(grid.slot_s[last - 1] - grid.slot_s[0]) if last > 1 else 0.0,
        bpm=exercise.bpm,
        per_beat=exercise.per_beat or 1,
        u_ms=0.7,
        own_tempo=tuple(
            Stretch(start_s=left.start_s, end_s=left.end_s, slots=16, bpm=left.played_bpm) for left in left_click
        ),
    )
    concluded = conclude(played, timing, STANDARDS[standard])
    known: dict[str, Any] = {
        "take": TakeInfo(
            path=path, sha256="ab" * 32, duration_s=float(grid.end_s + 1), sample_rate_hz=44100, channels=1
        ),
        "exercise": exercise,
        "inferred": inferred,
        "grid": GridInfo(
            anchor=anchor,
            bpm_heard=estimate(exercise.bpm, 0.002, u=0.001) if heard else None,
            clock_skew_ppm=estimate(12.0, 4.0, u=2.0) if heard else None,
            first_downbeat_s=2.4,
            clicks_heard=4 * (bars + 1) if heard else 0,
        ),
        "strums": tuple(sorted(strums, key=lambda strum: strum.time_s)),
        "omitted": omitted,
        "timing": timing,
        "held": concluded.held,
        "verdict": concluded.verdict,
        "absent": {**timing.absent, **(absent or {})},
        "warnings": warnings,
        "ignored": ignored,
        "left_click": left_click,
    }
    return Measurement(**{**known, **parts})


def free_take(n: int = 9) -> Measurement:
    """A take of which only the strums were asked for."""
    nowhere = {
        "slot": None,
        "bar": None,
        "beat": None,
        "part": None,
        "stroke": None,
        "offset_ms": None,
        "deviation_ms": None,
    }
    return Measurement(
        take=TakeInfo(path="riff.wav", sha256="cd" * 32, duration_s=12.5, sample_rate_hz=48000, channels=2),
        exercise=Exercise(),
        strums=tuple(Strum(time_s=1.0 + 0.6 * i, u_ms=0.8, at_change=False, **nowhere) for i in range(n)),
    )
