"""What the tests of journal, progress and batch share: invented results of takes, and measuring that needs no sound."""

from __future__ import annotations

import json
import os
import random
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from strumclock.errors import RecordingError
from strumclock.grid import Exercise


def estimate(value: float, half: float = 2.0, u: float = 0.3) -> dict[str, float]:
    """An estimate as the JSON has it."""
    return {"value": value, "low": value - half, "high": value + half, "u": u}


def take_json(
    *,
    bpm: float = 80.0,
    held: bool | None = True,
    jitter_ms: float = 18.0,
    offset_ms: float | None = 5.0,
    even: float = 0.95,
    margin: float | None = None,
    seed: int = 1,
    n: int = 32,
    path: str = "take.wav",
    sha256: str | None = None,
    exercise: Mapping[str, Any] | None = None,
    inferred: tuple[str, ...] = (),
    warnings: tuple[str, ...] = (),
) -> dict[str, Any]:
    """An invented take in the schema ``strumclock.take/2``; `seed` decides the strums."""
    dice = random.Random(seed)
    beat_s = 60 / bpm
    strums = []
    for slot in range(n):
        late = dice.gauss(offset_ms or 0.0, jitter_ms)
        strums.append(
            {
                "time_s": 2.0 + slot * beat_s + late / 1000,
                "u_ms": 0.5,
                "slot": slot,
                "bar": slot // 4 + 1,
                "beat": slot % 4 + 1,
                "part": 1,
                "stroke": "D",
                "offset_ms": late if offset_ms is not None else None,
                "deviation_ms": late - (offset_ms or 0.0),
                "at_change": slot % 4 == 0,
            }
        )
    strums.sort(key=lambda s: s["time_s"])
    fields = ("name", "bpm", "meter", "per_beat", "pattern", "swing", "count_in", "bars", "chords", "beats_per_change")
    told = {**dict.fromkeys(fields), "bpm": bpm, "meter": "4/4", "per_beat": 1, "pattern": "DDDD", **(exercise or {})}
    return {
        "schema": "strumclock.take/2",
        "version": "0",
        "take": {"path": path, "sha256": sha256, "duration_s": n * beat_s + 3, "sample_rate_hz": 44100, "channels": 1},
        "exercise": {**told, "inferred": list(inferred)},
        "grid": {
            "anchor": "recorded-click" if offset_ms is not None else "fitted",
            "bpm_heard": estimate(bpm, 0.01, 0.005),
            "clock_skew_ppm": estimate(12.0),
            "first_downbeat_s": 2.0,
            "clicks_heard": n,
        },
        "strums": strums,
        "omitted": [],
        "timing": {
            "n": n,
            "mean_offset_ms": estimate(offset_ms) if offset_ms is not None else None,
            "median_offset_ms": estimate(offset_ms) if offset_ms is not None else None,
            "body_offset_ms": None,
            "jitter_ms": estimate(jitter_ms),
            "jitter_within_ms": estimate(jitter_ms * 0.9),
            "drift_ms_per_min": estimate(3.0),
            "played_bpm": estimate(bpm, 0.1),
            "within_tolerance": {"tolerance_ms": 94.0, "share": estimate(even, 0.03, 0.01)},
            "lag1": estimate(0.2, 0.3),
            "by_beat": [{"beat": b, "n": n // 4, "offset_ms": estimate(float(b))} for b in (1, 2, 3, 4)],
            "by_part": [],
            "by_bar": [],
        },
        "changes": None,
        "tuning": None,
        "stroke": None,
        "correction": None,
        "held": {
            "held": held,
            "margin": margin,
            "standard": {"name": "steady"},
            "failed": [] if held else [{"code": "uneven", "found": 24, "asked": 29, "margin": 1.2, "of": 32}],
            "next_bpm": bpm,
        },
        "absent": {"timing.body_offset_ms": {"code": "no-spreads", "reason": "the spread was not measured"}},
        "warnings": [{"code": code, "message": code} for code in warnings],
        "ignored": [],
        "left_click": [],
    }


def pretend_to_measure(path: str, exercise: Exercise, _options: Mapping[str, Any]) -> dict[str, Any]:
    """Measuring for tests: the file's text is JSON that tells what comes of it.

    ``{"fail": …}`` raises, ``{"die": true}`` kills the process, ``{"sleep_s": …}`` takes its time, ``{"log": path}``
    notes the call there; the rest goes to `take_json`.
    """
    said = json.loads(Path(path).read_text())
    if "log" in said:
        with open(said.pop("log"), "a") as log:
            log.write(f"{Path(path).name}\n")
    time.sleep(said.pop("sleep_s", 0.0))
    if said.pop("die", False):
        os._exit(9)
    if "fail" in said:
        raise RecordingError(said["fail"])
    if "crash" in said:
        raise KeyError(said["crash"])
    told = {
        name: getattr(exercise, name)
        for name in ("name", "meter", "per_beat", "pattern", "count_in", "bars", "beats_per_change")
        if getattr(exercise, name) is not None
    }
    if exercise.chords:
        told["chords"] = list(exercise.chords)
    if exercise.bpm is not None:
        said["bpm"] = exercise.bpm
    said.pop("salt", None)
    return take_json(path=path, exercise=told, **said)


def recording(folder: Path, name: str, **said: Any) -> Path:
    """A file that `pretend_to_measure` understands."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    said.setdefault("seed", sum(map(ord, name)))
    path.write_text(json.dumps({"salt": name, **said}))
    return path
