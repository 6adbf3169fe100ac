"""What a file that was recorded in step says of the click that was played to, in a WAV chunk of its own.

The click and the recording went through one sound card at one time, so that where beat 1 lies in the file is known even
if no click is heard in it. That knowledge travels inside the file: who copies or renames it keeps it, who converts it
loses it with the chunk. Who cuts or changes the sound in an editor that keeps foreign chunks would keep a wrong one;
hence the chunk holds the checksum of format and sound, and is not believed where they are others.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, BinaryIO

from strumclock.errors import Notice, UsageError

CHUNK_ID = b"scis"
SCHEMA = "strumclock.in-step/1"
MOST_BYTES = 1 << 16  # of what a chunk says: an exercise of a thousand chords fits
MOST_CHUNKS = 1000  # no writer makes more; a file of nothing but chunk heads must not be gone through for ever
LATEST_S = 7 * 24 * 3600.0  # a week: no file is longer, so a later time is damage
_BLOCK_BYTES = 1 << 20  # read at once

CHANGED = Notice(
    code="in-step-changed",
    message="the file was recorded in step with its click, but the sound was changed since, so where the click lies in "
    "it is no longer known from the file; measure the file as it was recorded",
)
UNREADABLE = Notice(
    code="in-step-unreadable",
    message="what the file says of the click that it was recorded with cannot be read, so it is not used",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class InStep:
    """The click that was played while a file was recorded, and where it lies in the file.

    Attributes
    ----------
    exercise : mapping of str to value
        What was told of the exercise, its `bpm` at least; the names are fields of `Exercise`.
    first_downbeat_s : float
        Beat 1 of the first played bar, where it reached the microphone [s in the file].
    latency_s, latency_u_s : float
        How much later the microphone hears what is played, which `first_downbeat_s` holds already, and its standard
        uncertainty [s].
    same_clock : bool
        Whether one device played and recorded, so that the tempo in the file is the tempo told.
    headphones : bool
        Whether the click went from headphones into the ears; `first_downbeat_s` then is where it reached these.
    lost_at_s : float or None
        Where the sound card first lost samples: from here on nothing is known [s in the file].
    """

    exercise: Mapping[str, Any] = field(default_factory=dict)
    first_downbeat_s: float
    latency_s: float
    latency_u_s: float
    same_clock: bool
    headphones: bool = False
    lost_at_s: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "exercise", MappingProxyType(dict(self.exercise)))
        numbers = (self.first_downbeat_s, self.latency_s, self.latency_u_s, self.lost_at_s or 0.0)
        if not all(type(x) in (int, float) and math.isfinite(x) and abs(x) <= LATEST_S for x in numbers):
            raise UsageError(f"times of a file recorded in step must be seconds, but {numbers} came; correct them")
        if self.latency_u_s < 0 or (self.lost_at_s or 0.0) < 0 or "bpm" not in self.exercise:
            raise UsageError("a file recorded in step needs a tempo, and no negative uncertainty; correct them")


def add_in_step(wav: bytes, said: InStep) -> bytes:
    """A WAV file with what is known of its click: the same sound, one chunk more before it.

    Raises
    ------
    UsageError
        If it is no WAV file.
    """
    places = dict(_chunks(_Bytes(wav)))
    if b"data" not in places or b"fmt " not in places:
        raise UsageError("a WAV file was required, but other bytes came; write the sound as WAV first")
    document = {
        "schema": SCHEMA, "exercise": dict(said.exercise), "first_downbeat_s": said.first_downbeat_s,
        "latency_s": said.latency_s, "latency_u_s": said.latency_u_s, "same_clock": said.same_clock,
        "headphones": said.headphones, "lost_at_s": said.lost_at_s, "sound_sha256": _checksum(_Bytes(wav), places),
    }  # fmt: skip
    body = json.dumps(document, allow_nan=False).encode()
    body += b" " * (len(body) % 2)  # RIFF: chunks begin at even places
    chunk = CHUNK_ID + struct.pack("<I", len(body)) + body
    at = places[b"data"][0] - 8
    size = struct.pack("<I", len(wav) + len(chunk) - 8)
    return wav[:4] + size + wav[8:at] + chunk + wav[at:]


def read_in_step(path: str | os.PathLike[str]) -> InStep | Notice | None:
    """What a file says of the click that it was recorded with; a notice where that does not hold any more.

    None where it says nothing, which is also the answer for what is no WAV file or cannot be read.
    """
    try:
        with Path(path).open("rb") as file:
            places = dict(_chunks(file))
            if CHUNK_ID not in places or not {b"fmt ", b"data"} <= set(places):
                return None
            at, size = places[CHUNK_ID]
            if size > MOST_BYTES:
                return UNREADABLE
            file.seek(at)
            document = json.loads(file.read(size))
            checksum = document.pop("sound_sha256")
            if document.pop("schema") != SCHEMA:
                return UNREADABLE
            if not isinstance(document["same_clock"], bool) or not isinstance(document["headphones"], bool):
                return UNREADABLE
            said = InStep(**document)
            return said if checksum == _checksum(file, places) else CHANGED
    except OSError:
        return None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):  # what JSON can hold instead
        return UNREADABLE


class _Bytes:
    """Bytes in memory that are read as a file is, without a copy of them."""

    def __init__(self, data: bytes) -> None:
        self._data, self._at = memoryview(data), 0

    def seek(self, at: int) -> None:
        self._at = at

    def read(self, size: int) -> bytes:
        found = bytes(self._data[self._at : self._at + size])
        self._at += len(found)
        return found


def _chunks(file: BinaryIO | _Bytes) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """The chunks of a RIFF/WAVE file: id, then where its body begins and how long it is."""
    head = file.read(12)
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return
    at = 12
    for _ in range(MOST_CHUNKS):
        file.seek(at)
        entry = file.read(8)
        if len(entry) < 8:
            return
        size = struct.unpack("<I", entry[4:])[0]
        yield entry[:4], (at + 8, size)
        at += 8 + size + size % 2


def _checksum(file: BinaryIO | _Bytes, places: Mapping[bytes, tuple[int, int]]) -> str:
    """SHA-256 of format and sound: a file that says another rate of the same samples is another sound."""
    digest = hashlib.sha256()
    for name in (b"fmt ", b"data"):
        at, left = places[name]
        file.seek(at)
        while left > 0 and (block := file.read(min(left, _BLOCK_BYTES))):
            digest.update(block)
            left -= len(block)
    return digest.hexdigest()
