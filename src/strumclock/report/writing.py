"""What must not be written over: the one place that knows every file a command reads and writes.

Refused, before anything is measured: a file that the command reads, any journal, ``takes.csv``, ``practice.toml``,
another output of the same command, a recording. Files are compared by what they are, not by how their names are
spelled.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping, Sequence

from strumclock.errors import OutputError
from strumclock.saving import is_stream, same_file, writable

_ENDINGS = (
    "wav wave w64 bwf aif aiff aifc caf flac ogg oga opus mp3 m4a m4b aac mp4 m4v mov webm mka mkv 3gp 3gpp 3g2 amr wma"
)
SOUND_ENDINGS = frozenset(f".{ending}" for ending in _ENDINGS.split())
"""How the names of recordings end: what a batch looks for, and what no output but a sound may replace."""

_SOUND_STARTS = (
    *(b"RIFF", b"RIFX", b"RF64", b"riff\x2e\x91\xcf\x11", b"FORM", b"caff", b"fLaC", b"OggS", b"ID3", b"MThd"),
    *(b"\x1aE\xdf\xa3", b"\x30\x26\xb2\x75", b"#!AMR", b"\xff\xfb", b"\xff\xf3", b"\xff\xf2", b"\xff\xf1", b"\xff\xf9"),
)
"""First bytes of WAV, W64, AIFF, CAF, FLAC, Ogg, MP3, MIDI, Matroska, Windows Media, AMR and ADTS files."""
_DATABASE_STARTS = (b"SQLite format 3\0", b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7")
"""First bytes of an SQLite database, and of the rollback journal that stands beside it while it is written."""
_OURS = {
    "practice.toml": "the settings of a folder",
    "takes.csv": "what was told of a folder's takes",
    "strumclock-journal.csv": "the journal's own copy",
    "strumclock-journal.sqlite": "a practice record",
    "strumclock-journal.sqlite-journal": "part of a practice record",
}
STANDARD_OUTPUT = "-"


def check_outputs(
    writes: Mapping[str, str | os.PathLike[str]],
    *,
    reads: Sequence[str | os.PathLike[str]] = (),
    sounds: Collection[str] = (),
    force: bool = False,
) -> None:
    """Refuse outputs that would destroy something.

    Parameters
    ----------
    writes : mapping
        What each output is called (``"--json"``), and its path.
    reads : sequence of path
        What the command reads.
    sounds : collection of str
        Those of `writes` that are sound: with `force`, and only then, they may replace a file that is there.

    Raises
    ------
    OutputError
        One line: what was asked for, what stands there, what to do.
    """
    before: dict[str, str | os.PathLike[str]] = {}
    for option, path in writes.items():
        if os.fspath(path) == STANDARD_OUTPUT:
            continue
        target = writable(path)
        if is_stream(path):
            continue
        refused = _why_not(path, reads, before)
        if not refused and target.exists():
            refused = _why_kept(target, replaceable=force) if option in sounds else _why_kept(target)
        if refused:
            raise OutputError(f"{option} must not write over {os.fspath(path)}, which is {refused}")
        before[option] = path


def _why_not(
    path: str | os.PathLike[str],
    reads: Sequence[str | os.PathLike[str]],
    before: Mapping[str, str | os.PathLike[str]],
) -> str | None:
    """What speaks against a place, whatever stands there."""
    if any(same_file(path, read) for read in reads):
        return "read by this command; choose another name"
    for option, other in before.items():
        if same_file(path, other):
            return f"written by {option} of this command too; choose another name"
    name = os.path.basename(os.path.realpath(path)).casefold()
    said = _OURS.get(name) or _OURS.get(os.path.basename(os.fspath(path)).casefold())
    return f"{said}; choose another name" if said else None


def _why_kept(target: os.PathLike[str], *, replaceable: bool | None = None) -> str | None:
    """What a file that is there holds, if no output may replace it; `replaceable`: None for what is no sound."""
    try:
        with open(target, "rb") as file:
            head = file.read(16)
    except OSError as error:
        return f"not to be read ({error.strerror}), so that nobody knows what would be lost; choose another name"
    if head.startswith(_DATABASE_STARTS):
        return "a database, perhaps a practice record; choose another name"
    if replaceable is not None:
        return None if replaceable else "there already; choose another name, or allow it with --force"
    sound = head.startswith(_SOUND_STARTS) or head[4:8] == b"ftyp"
    ending = os.path.splitext(target)[1].casefold()
    if head and (sound or ending in SOUND_ENDINGS):
        return "a recording; choose another name"
    return None
