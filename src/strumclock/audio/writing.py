"""Writing sound."""

from __future__ import annotations

import errno
import os

import numpy as np
from numpy.typing import ArrayLike

from strumclock.errors import UsageError
from strumclock.saving import replacing

PCM_16_BYTES = 2  # of a sample: derived


def write_wav(path: str | os.PathLike[str], samples: ArrayLike, sample_rate_hz: int) -> None:
    """Write samples (full scale ±1) as a WAV of 16 bits.

    Parameters
    ----------
    path : path
        Replaced only when all is written.
    samples : (n,) or (n, channels) float
    sample_rate_hz : int

    Raises
    ------
    UsageError
        If a sample exceeds full scale or is not finite.
    OutputError
        If the file cannot be written.
    """
    import soundfile

    values = np.asarray(samples, dtype=np.float32)
    if values.size == 0 or not float(np.abs(values).max()) <= 1.0:  # also false for NaN
        raise UsageError("samples from −1 to 1 were required, but larger ones, NaN or none came; scale them first")
    with replacing(path) as temporary:
        try:
            soundfile.write(str(temporary), values, sample_rate_hz, subtype="PCM_16", format="WAV")
        except soundfile.LibsndfileError:  # it does not pass on what the system said
            raise OSError(errno.ENOSPC, "the sound cannot be written to its end; is the disk full?") from None
        if temporary.stat().st_size < PCM_16_BYTES * values.size:
            raise OSError(errno.ENOSPC, "the sound was not written to its end; is the disk full?")
