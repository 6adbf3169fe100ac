"""Takes for the verdict's tests: offsets as the test makes them, in a grid of its own."""

from __future__ import annotations

import numpy as np

from strumclock.timing import Estimate
from strumclock.verdict import Played
from strumclock.verdict.obstacles import Effect, Where


def played(offset_ms, *, bpm=90.0, per_beat=1, missing=(), beats=4, **options) -> Played:
    """A take in 4/4 with a place at each part of the beat; `offset_ms` has an entry a place, `missing` are left out."""
    offset_ms = np.asarray(offset_ms, dtype=float)
    part_s = 60 / bpm / per_beat
    slot = np.setdiff1d(np.arange(offset_ms.size), missing)

    def place(s):
        return s // (beats * per_beat) + 1, s // per_beat % beats + 1, s % per_beat + 1

    bar, beat, part = place(slot)
    fields = {
        "offset_ms": offset_ms[slot],
        "line_s": 2.0 + part_s * slot,
        "slot": slot,
        "bar": bar,
        "beat": beat,
        "part": part,
        "at_change": np.zeros(slot.size, dtype=bool),
        "part_s": part_s,
        "duration_s": part_s * (offset_ms.size - 1),
        "bpm": bpm,
        "per_beat": per_beat,
        "omitted": tuple(tuple(int(x) for x in place(s)) for s in missing),
    }
    return Played(**{**fields, **options})


def even(n, sd=10.0, seed=0):
    """Errors of an even player, ms, whose mean is exactly 0."""
    errors = sd * np.random.default_rng(seed).standard_normal(n)
    return errors - errors.mean()


def estimate(value, half=5.0) -> Estimate:
    return Estimate(value=value, low=value - half, high=value + half, u=0.2)


def effect(kind, size, column, half=5.0, **where) -> Effect:
    """Something shown of the take; `column` is what it does to each strum."""
    return Effect(
        kind=kind, size=estimate(size, half), columns=np.asarray(column, dtype=float)[:, None], where=Where(**where)
    )
