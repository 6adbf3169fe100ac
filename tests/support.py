"""What several tests share: where the bench lies, and one-line helpers."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
REFERENCE_AUDIO = ROOT / "reference_audio"


def bench_dir() -> Path:
    """The shared bench beside the checkout; skips the calling test where it is absent."""
    bench = ROOT.parent / "shared" / "bench"
    if not bench.is_dir():
        pytest.skip("the shared bench is not beside this checkout")
    return bench
