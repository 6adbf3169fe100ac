"""Strum times: against synthetic strums with known times."""

from __future__ import annotations

import numpy as np

from strumclock.onsets import find_strums


def test_nothing_is_found_in_silence() -> None:
    """Silence holds no strum; the truth is by construction."""
    assert len(find_strums(np.zeros(44100 * 3, np.float32), 44100)) == 0
