"""Files that are either whole or not there: everything the program leaves behind is written through here.

A regular file is replaced in one step by a complete one, which keeps its rights. A link is followed. What is no regular
file (a device, a pipe, standard output by its name) is written into, never replaced.
"""

from __future__ import annotations

import os
import secrets
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from strumclock.errors import OutputError

NEW_FILE_RIGHTS = 0o666  # less the umask, as for every new file
NAME_BYTES = 40  # of the file's own name in that of its temporary neighbour
MOST_LINKS = 40  # as the kernel follows
STREAMS = ("/dev/", "/proc/")  # a link into these is an open stream: its file must stay the one that is open


@contextmanager
def replacing(path: str | os.PathLike[str], *, rights: int | None = None) -> Iterator[Path]:
    """A temporary file that takes the place of `path` when the block ends without an error, and vanishes else.

    Parameters
    ----------
    path : path
        Where the file shall be. Its folder must exist.
    rights : int, optional
        The mode of the file; by default that of the file which it replaces, for a new one what the umask leaves.

    Yields
    ------
    Path
        An empty file with the same ending.

    Raises
    ------
    OutputError
        The folder is missing or cannot be written, `path` is a folder or a disk, or the disk is full.
    """
    try:
        target = writable(path)
        with _streamed(target) if is_stream(target) else _beside(target, rights) as temporary:
            yield temporary
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(f"cannot write {os.fspath(path)}: {error.strerror or error}; choose another place") from error


@contextmanager
def _beside(target: Path, rights: int | None) -> Iterator[Path]:
    """A neighbour that is renamed to the target."""
    start = os.fsencode(target.stem)[:NAME_BYTES].decode(errors="ignore")
    temporary = target.with_name(f".{start}-{secrets.token_hex(4)}{target.suffix}")
    try:
        os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, NEW_FILE_RIGHTS))
        if rights is None and target.exists():
            rights = stat.S_IMODE(target.stat().st_mode)
        if rights is not None:
            temporary.chmod(rights)
        yield temporary
        with open(temporary, "rb") as written:
            os.fsync(written.fileno())  # else a power cut may leave the new name with nothing in it
        temporary.replace(target)
    finally:
        temporary.unlink(missing_ok=True)


@contextmanager
def _streamed(target: Path) -> Iterator[Path]:
    """A file elsewhere whose bytes go into the device or pipe."""
    with tempfile.TemporaryDirectory(prefix="strumclock-") as folder:
        temporary = Path(folder) / f"output{target.suffix}"
        temporary.touch()
        yield temporary
        into = os.open(target, os.O_WRONLY | os.O_APPEND)
        with open(temporary, "rb") as source, open(into, "wb", buffering=0) as stream:
            shutil.copyfileobj(source, stream)


def writable(path: str | os.PathLike[str]) -> Path:
    """Where a file's bytes will be: links followed, and known to be a place that can be written.

    Raises
    ------
    OutputError
        If it is none.
    """
    named = os.fspath(path)
    try:
        target = Path(_followed(named))
        mode = _mode(target)
        above = target.parent.stat() if target.parent.is_dir() else None
    except (OSError, ValueError) as error:  # ValueError: a NUL, or what no file system can spell
        reason = getattr(error, "strerror", None) or "it is no name that a file can have"
        raise OutputError(f"cannot write {named}: {reason}; choose another name") from None
    if not named or (mode is not None and stat.S_ISDIR(mode)):
        raise OutputError(f"cannot write {named!r}: a file's name is required, this is a folder; add a name to it")
    if above is None:
        raise OutputError(f"cannot write {named}: its folder {target.parent} does not exist; make it first")
    if mode is not None and (stat.S_ISBLK(mode) or stat.S_ISSOCK(mode)):
        raise OutputError(f"cannot write {named}: a file's name is required, this is a disk or a socket; choose one")
    place = target if mode is not None else target.parent
    if not os.access(place, os.W_OK) or (not is_stream(target) and not os.access(target.parent, os.W_OK)):
        raise OutputError(f"cannot write {named}: {place} is protected; change its permissions or choose another place")
    return target


def _mode(path: Path) -> int | None:
    try:
        return path.stat().st_mode
    except FileNotFoundError:
        return None


def _followed(name: str) -> str:
    """The end of a chain of links, unless it leads to an open stream, whose name stays."""
    for _ in range(MOST_LINKS):
        if os.path.abspath(name).startswith(STREAMS) or not os.path.islink(name):
            return name
        name = os.path.join(os.path.dirname(name), os.readlink(name))
    return name


def is_stream(path: str | os.PathLike[str]) -> bool:
    """Whether a name stands for something that is written into, not replaced: a device, a pipe, an open file's name."""
    name = _followed(os.fspath(path))
    mode = _mode(Path(name))
    return mode is not None and (not stat.S_ISREG(mode) or os.path.abspath(name).startswith(STREAMS))


def same_file(first: str | os.PathLike[str], second: str | os.PathLike[str]) -> bool:
    """Whether two names are one file, however they are spelled; also where there is none of it yet."""
    try:
        return os.path.samefile(first, second)
    except FileNotFoundError:
        return _place(first) == _place(second)
    except (OSError, ValueError):
        return False


def _place(path: str | os.PathLike[str]) -> object:
    """A name by the folder that it lies in, by its identity, and the last part."""
    followed = Path(_followed(os.path.abspath(path)))
    try:
        state = followed.parent.stat()
    except OSError:
        return str(followed)
    return state.st_dev, state.st_ino, followed.name


def write_text(path: str | os.PathLike[str], text: str) -> Path:
    """Write `text` to `path` as UTF-8, whole or not at all; see `replacing`.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_text(Path(folder) / "note.txt", "Beat 3 sits well now.").read_text(encoding="utf-8")
    'Beat 3 sits well now.'
    """
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8", errors="backslashreplace", newline="\n")
    return Path(path)
