"""Writing sound, and writing any file so that nothing half-written is left."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from strumclock.errors import AudioFileError, UsageError


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
    AudioFileError
        If the file cannot be written.
    """
    import soundfile

    values = np.asarray(samples, dtype=np.float32)
    if values.size == 0 or not float(np.abs(values).max()) <= 1.0:  # also false for NaN
        raise UsageError("samples from −1 to 1 were required, but larger ones, NaN or none came; scale them first")
    with replacing(path) as temporary:
        soundfile.write(str(temporary), values, sample_rate_hz, subtype="PCM_16", format="WAV")


@contextlib.contextmanager
def replacing(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A temporary file beside `path` that takes its place when the block ends without an error, and vanishes else.

    Raises
    ------
    AudioFileError
        If the folder is not there or cannot be written to.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}-", dir=target.parent)
        os.close(handle)
        temporary = Path(name)
        try:
            yield temporary
            temporary.chmod(0o666 & ~_umask())
            temporary.replace(target)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as e:
        if isinstance(e, AudioFileError):
            raise
        raise AudioFileError(
            f"a place to write to was required, but {str(target)!r} cannot be written ({e.strerror or e}); choose one"
        ) from None


def _umask() -> int:
    """The rights that new files do not get (reading them needs setting them for a moment)."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
