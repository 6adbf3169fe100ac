"""What was recorded?  A file or an array becomes a `Recording`.

Time zero is the first sample after the codec's priming; every time elsewhere is ``start_s + index / sample_rate_hz``.
"""

from __future__ import annotations

from strumclock.audio.reading import load
from strumclock.audio.recording import Recording, from_array

__all__ = ["Recording", "from_array", "load"]
