"""Where recordings lie: a folder of this machine, or one that fsspec reaches (``s3://…``, ``sftp://…``)."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from strumclock.errors import AudioFileError, UsageError

_ENDINGS = (
    "wav wave w64 bwf aif aiff aifc caf flac ogg oga opus mp3 m4a m4b aac mp4 m4v mov webm mka mkv 3gp 3gpp 3g2 amr wma"
)
SOUND_ENDINGS = frozenset(f".{ending}" for ending in _ENDINGS.split())
BLOCK = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A recording that was found.

    Attributes
    ----------
    path : str
        Full path or URL.
    folder : str
        The folder it lies in.
    size : int
        Bytes.
    stamp : str
        Changes when the file does: its time of change, or what the remote store says.
    changed_at : float or None
        Time of change [s since 1970]; None where the store does not say.
    """

    path: str
    folder: str
    size: int
    stamp: str
    changed_at: float | None

    @property
    def name(self) -> str:
        """The file's name."""
        return self.path.replace("\\", "/").rpartition("/")[2]


def is_remote(path: str | os.PathLike[str]) -> bool:
    """Whether a path is a URL."""
    return isinstance(path, str) and "://" in path


def _filesystem(url: str) -> tuple[Any, str]:
    try:
        import fsspec
    except ImportError:
        raise UsageError(
            f"a folder elsewhere ({url}) needs the package fsspec, which is not installed; "
            "pip install 'strumclock[cluster]'"
        ) from None
    filesystem, inside = fsspec.core.url_to_fs(url)
    return filesystem, str(inside)


def find_recordings(folder: str | os.PathLike[str]) -> list[Found]:
    """Every sound file in a folder and below, in the order of their paths; hidden ones are passed over.

    Raises
    ------
    UsageError
        If there is no such folder.
    """
    if is_remote(folder):
        return _find_remote(str(folder))
    root = os.path.abspath(folder)
    if not os.path.isdir(root):
        raise UsageError(f"a folder must be given, but {folder} is none; check the path")
    found = []
    for place, folders, names in os.walk(root):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if name.startswith(".") or os.path.splitext(name)[1].lower() not in SOUND_ENDINGS:
                continue
            path = os.path.join(place, name)
            try:
                state = os.stat(path)
            except OSError:
                continue  # gone since it was listed
            found.append(
                Found(
                    path=path,
                    folder=place,
                    size=state.st_size,
                    stamp=str(state.st_mtime_ns),
                    changed_at=state.st_mtime,
                )
            )
    return found


def _find_remote(url: str) -> list[Found]:
    filesystem, inside = _filesystem(url)
    if not filesystem.isdir(inside):
        raise UsageError(f"a folder must be given, but {url} is none; check the URL")
    found = []
    for path, info in sorted(filesystem.find(inside, detail=True).items()):
        inner = PurePosixPath(path)
        if inner.suffix.lower() not in SOUND_ENDINGS or any(part.startswith(".") for part in inner.parts):
            continue
        full = filesystem.unstrip_protocol(path)
        stamp = info.get("ETag") or info.get("md5Hash") or info.get("mtime") or info.get("created") or ""
        modified = info.get("mtime") or info.get("LastModified")
        seconds = modified.timestamp() if hasattr(modified, "timestamp") else modified
        found.append(
            Found(
                path=full,
                folder=full.rpartition("/")[0],
                size=int(info.get("size") or 0),
                stamp=str(stamp),
                changed_at=float(seconds) if seconds is not None else None,
            )
        )
    return found


def read_text_file(folder: str, name: str) -> tuple[str, str] | None:
    """The path and the text of a small file in a folder; None where there is none.

    Raises
    ------
    UsageError
        If it is there and cannot be read as UTF-8.
    """
    path = f"{folder.rstrip('/')}/{name}" if is_remote(folder) else os.path.join(folder, name)
    try:
        if is_remote(folder):
            filesystem, inside = _filesystem(path)
            return path, filesystem.cat_file(inside).decode("utf-8-sig")
        return path, Path(path).read_text(encoding="utf-8-sig")
    except (FileNotFoundError, NotADirectoryError):
        return None
    except PermissionError:
        if is_remote(folder):
            return None  # who may read a folder of a store need not be allowed to look into those above it
        raise UsageError(f"{path} must be readable, but this user may not read it; change its permissions") from None
    except UnicodeDecodeError:
        raise UsageError(f"{path} must be UTF-8 text, but it is not; save it so") from None
    except OSError as error:
        raise UsageError(f"{path} must be readable, but the system said: {error.strerror or error}") from None


def parents(folder: str) -> list[str]:
    """A folder and those above it, nearest first, up to the home folder or the top."""
    if is_remote(folder):
        scheme, _, rest = folder.partition("://")
        pieces = rest.rstrip("/").split("/")
        return [f"{scheme}://{'/'.join(pieces[:n])}" for n in range(len(pieces), 0, -1)]
    start, home = Path(folder), Path.home()
    chain = []
    for place in (start, *start.parents):
        chain.append(str(place))
        if place == home:
            break
    return chain


def sha256_of_file(path: str) -> str:
    """The hash of a file's bytes.

    Raises
    ------
    AudioFileError
        If it cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with open(path, "rb", buffering=0) as file:
            while block := file.read(BLOCK):
                digest.update(block)
    except OSError as error:
        raise AudioFileError(f"a recording must be readable, but of {path} the system said: {error.strerror}") from None
    return digest.hexdigest()


@contextmanager
def local_copy(path: str) -> Iterator[str]:
    """A path on this machine with the file's bytes: itself, or a copy that is deleted afterwards."""
    if not is_remote(path):
        yield path
        return
    filesystem, inside = _filesystem(path)
    ending = PurePosixPath(inside).suffix
    handle, name = tempfile.mkstemp(suffix=ending, prefix="strumclock-")
    try:
        with open(handle, "wb") as target, filesystem.open(inside, "rb") as source:
            while block := source.read(BLOCK):
                target.write(block)
        yield name
    finally:
        Path(name).unlink(missing_ok=True)


def container_time(path: str) -> str | None:
    """When a container says that it was made: ISO 8601, local time; None where it does not say or cannot be right."""
    from datetime import UTC, datetime

    import av

    try:
        with av.open(path, metadata_errors="replace") as container:
            said = {key.lower(): value for key, value in container.metadata.items()}
            for stream in container.streams:
                said = {**{key.lower(): value for key, value in stream.metadata.items()}, **said}
    except (av.error.FFmpegError, OSError, ValueError):
        return None
    for key in ("creation_time", "com.apple.quicktime.creationdate", "date", "creation_date"):
        text = said.get(key, "").strip()
        try:
            moment = datetime.fromisoformat(text)
            if moment.tzinfo is not None:
                moment = moment.astimezone().replace(tzinfo=None)
        except (ValueError, OverflowError):  # the years 1 and 9999 have no local time everywhere
            continue
        if moment.year >= PLAUSIBLE_FROM_YEAR and moment <= datetime.now(UTC).astimezone().replace(tzinfo=None):
            return moment.isoformat()
    return None


PLAUSIBLE_FROM_YEAR = 1995  # before, no phone recorded: such dates are the zero of some clock (1904, 1970)
