"""Files that are either whole or not there: everything the program leaves behind is written through here."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from strumclock.errors import OutputError


def write_file(path: str | os.PathLike[str], write: Callable[[Path], None]) -> Path:
    """Let `write` fill a temporary file beside `path`, then put it in place in one step.

    A reader never sees half a file, and a failure leaves what stood there before.

    Parameters
    ----------
    path : path
        Where the file shall be. Its folder must exist.
    write : callable
        Called with the path of an empty temporary file with the same ending; fills it.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    OutputError
        The folder is missing or cannot be written, `path` is a folder, or the disk is full.
    """
    target = Path(path)
    if target.is_dir():
        raise OutputError(f"cannot write {target}: a file's name is required, this is a folder; add a name to it")
    if not target.parent.is_dir():
        raise OutputError(f"cannot write {target}: its folder {target.parent} does not exist; make it first")
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.stem[:40]}-", suffix=target.suffix, dir=target.parent)
        os.close(handle)
        temporary = Path(name)
        write(temporary)
        temporary.chmod(0o666 & ~_umask())  # mkstemp makes files that only their owner may read
        temporary.replace(target)
        temporary = None
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"cannot write {target}: {reason}; choose another place") from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
    return target


def write_text(path: str | os.PathLike[str], text: str) -> Path:
    """Write `text` to `path` as UTF-8, whole or not at all; see `write_file`.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_text(Path(folder) / "note.txt", "Beat 3 sits well now.").read_text(encoding="utf-8")
    'Beat 3 sits well now.'
    """
    return write_file(path, lambda temporary: _fill(temporary, text))


def _fill(temporary: Path, text: str) -> None:
    temporary.write_text(text, encoding="utf-8", newline="\n")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
