"""A file that can be read to its end: there, not a folder, and no pipe or device that would be waited for for ever."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from strumclock.errors import AudioFileError


def regular_file(path: str | os.PathLike[str], required: str = "an audio file was required, but") -> Path:
    """The path, once it is known to lead to a regular file; links are followed.

    Raises
    ------
    AudioFileError
        If there is none, it is a folder, or it is a pipe, a socket or a device.
    """
    file = Path(path)
    try:
        mode = file.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        raise AudioFileError(f"{required} there is none at {str(file)!r}; check the path") from None
    except (OSError, ValueError) as e:  # ValueError: a null byte in the path
        raise AudioFileError(unreadable(required, file, e)) from None
    if stat.S_ISDIR(mode):
        raise AudioFileError(f"{required} {str(file)!r} is a folder; name a file in it")
    if not stat.S_ISREG(mode):
        raise AudioFileError(f"{required} {str(file)!r} is a pipe or a device; save it as a file first")
    return file


def unreadable(required: str, file: Path, error: Exception) -> str:
    """What is said of a file that cannot be opened."""
    reason = getattr(error, "strerror", None) or str(error)
    return f"{required} {str(file)!r} cannot be opened ({reason}); check path and rights"
