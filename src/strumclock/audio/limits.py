"""What a recording may be, and the type of its samples."""

from __future__ import annotations

from numbers import Real

from strumclock.errors import RecordingError, UsageError

SAMPLE_RATE_RANGE_HZ = (8_000, 192_000)  # telephone to studio
MAX_DURATION_S = 30 * 60.0  # a lesson's recording; longer ones are measured in parts
MAX_CHANNELS = 64  # by hand: more than a desk records in one file; a larger number is a damaged header
BLOCK_FRAMES = 1 << 18  # samples are gone through in blocks of six seconds


def check_rate(sample_rate_hz: object, error: type[UsageError] | type[RecordingError]) -> int:
    """The sample rate as a whole number in the range that is understood; else `error` is raised."""
    low, high = SAMPLE_RATE_RANGE_HZ
    if isinstance(sample_rate_hz, Real) and not isinstance(sample_rate_hz, bool):
        rate = float(sample_rate_hz)
        if rate.is_integer() and low <= rate <= high:
            return int(rate)
    raise error(
        f"a sample rate must be a whole number from {low} to {high} Hz, but {sample_rate_hz!r} came; resample it"
    )
