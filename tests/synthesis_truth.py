"""What holds of every truth file, whichever take it lies beside."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest


def check_truth(truth: dict[str, Any], *, duration_s: float) -> None:
    """offset = strum − slot, omitted and played slots make up the grid, times rise and lie in the take."""
    assert truth["schema"] == "strumclock.truth/1"
    slots, strums = truth["slots_s"], truth["strums"]
    played = [s["slot"] for s in strums if s["slot"] is not None]
    assert sorted(played + truth["omitted"]) == list(range(len(slots)))
    assert played == sorted(played)
    for s in strums:
        assert s["stroke"] in "DUx"
        assert (s["offset_ms"] is None) == (s["slot"] is None)
        if s["slot"] is not None:
            assert s["offset_ms"] == pytest.approx(1000 * (s["time_s"] - slots[s["slot"]]), abs=1e-3)
    for times in ([s["time_s"] for s in strums], slots, truth["clicks_s"]):
        assert all(a < b for a, b in pairwise(times))
        assert all(0 < t < duration_s for t in times)
    assert truth["exercise"]["bpm"] > 0
    assert all(0 < i < len(slots) for i in truth["changes"])
