"""From a file to a `Recording`: which decoder, which part, and what is wrong with the file."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from numbers import Real
from pathlib import Path

from strumclock.arrays import Samples
from strumclock.audio import stored
from strumclock.audio.blocks import Keeper, Take
from strumclock.audio.decoded import Decoded, Part
from strumclock.audio.examining import MIN_DURATION_S, examine
from strumclock.audio.files import regular_file, unreadable
from strumclock.audio.headers import sound_head
from strumclock.audio.in_step import InStep, read_in_step
from strumclock.audio.limits import check_rate
from strumclock.audio.recording import Recording
from strumclock.audio.stored import Held, InFile, Store, Survey, stamp_of
from strumclock.errors import AudioFileError, RecordingError, UsageError

CONTEXT_S = 30.0  # around a part: a count-in, from which the click's sound is learned, lies before its playing
LATEST_S = 7 * 24 * 3600  # no recorder runs for a week on end
SOUNDFILE_SIGNATURES = (b"RIFF", b"RIFX", b"RF64", b"riff", b"fLaC", b"FORM", b"caff", b".snd")


def load(path: str | os.PathLike[str], *, start_s: float | None = None, end_s: float | None = None) -> Recording:
    """Read a recording, or a part of it.

    libsndfile reads WAV, FLAC, Ogg Vorbis and AIFF; FFmpeg's libraries read MP3, M4A and AAC, Opus, WebM, 3GP, the
    sound of MP4 and other videos, and what is damaged.  The bytes decide, not the file's ending.  What the codec put
    before the first sample (its priming) is removed where the file says how much that is.  Where it does not (raw AAC,
    some phones' MP4, MP3 without an encoder's tag) nothing can be removed and ``priming_known`` is False: every time in
    the file, click and strum alike, is then late by the same few hundredths of a second.

    Parameters
    ----------
    path : path
    start_s, end_s : float, optional
        Read only the part between these file times [s].  Sample times are those of the whole file; what lies within
        half a minute of the part is its `Recording.context`.

    Returns
    -------
    Recording
        With the checksum of the whole file.

    Raises
    ------
    AudioFileError
        If the file is missing, empty, a folder or no audio.
    RecordingError
        If it was read but cannot be measured: silent, too short, not finite, longer than 30 minutes.
    UsageError
        If start and end make no sense.

    Examples
    --------
    >>> import tempfile
    >>> import soundfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = f"{folder}/take.wav"
    ...     soundfile.write(path, [0.0, 0.1] * 8000, 8000)
    ...     load(path).duration_s, load(path, start_s=0.5).start_s
    (2.0, 0.5)
    """
    part = _part(start_s, end_s)
    file = regular_file(path)
    head = _head(file)
    stamp = stamp_of(file)
    decoded, store = _store(file, head, part, stamp)
    rate = check_rate(decoded.sample_rate_hz, RecordingError)
    what = f"{str(file)!r}" if part.whole else f"the part read of {str(file)!r}"
    first, stop = part.asked(rate)
    around = first - decoded.first_frame
    asked = store.part(around, decoded.frames if stop is None else min(stop - decoded.first_frame, decoded.frames))
    got_s = asked.frames / rate
    if got_s < MIN_DURATION_S and any(notice.code == "truncated" for notice in decoded.notices):
        raise RecordingError(
            f"a whole file was required, but {what} is cut short: {got_s:.2g} s could be read; copy or send it again"
        )
    whole = asked.frames == store.frames
    weak = examine(asked, rate, what=what, lossy=decoded.lossy)
    in_step = read_in_step(file) if head[:4] == b"RIFF" else None
    if in_step is not None and not isinstance(in_step, InStep):
        weak, in_step = (*weak, in_step), None
    recording = Recording(
        store=asked,
        sample_rate_hz=rate,
        start_s=first / rate,
        path=str(file),
        sha256=_sha256(file),
        notices=decoded.notices + weak,
        priming_known=decoded.priming_known,
        in_step=in_step,
    )
    if whole:
        return recording
    wide = replace(recording, store=store, start_s=decoded.first_frame / rate)
    return replace(recording, context=wide if store.known is None or store.known.is_finite else None)


def _store(file: Path, head: bytes, part: Part, stamp: tuple[int, int]) -> tuple[Decoded, Store]:
    """Decode with the library that is right for these bytes, and keep the samples if they are not many."""
    if _is_for_soundfile(head):
        from strumclock.audio.soundfiles import decode_soundfile

        found = _gone_through(file, part, stamp, decode_soundfile)
        if found is not None:
            return found
    from strumclock.audio.containers import decode_container

    found = _gone_through(file, part, stamp, decode_container)
    assert found is not None
    return found


def _gone_through(
    file: Path, part: Part, stamp: tuple[int, int], decode: Callable[[Path, Part, Take], Decoded | None]
) -> tuple[Decoded, Store] | None:
    """What one decoder makes of a file; None where it is for the other one."""
    keeper, survey = Keeper(stored.KEPT_BYTES), Survey()

    def take(block: Samples) -> None:
        keeper.take(block)
        survey.take(block)

    decoded = decode(file, part, take)
    if decoded is None:
        return None
    if keeper.samples is not None:
        return decoded, Held(keeper.samples, survey)
    again = partial(decode, file, part)
    return decoded, InFile(file, again, stamp, 0, decoded.frames, decoded.channels, survey)


def _is_for_soundfile(head: bytes) -> bool:
    """Whether libsndfile reads what begins like this (Opus, MP3 and AAC go elsewhere)."""
    if head[:4] == b"OggS":
        return b"OpusHead" not in head and b"Speex" not in head
    return head[:4] in SOUNDFILE_SIGNATURES


def _head(file: Path) -> bytes:
    """The first bytes of the sound, once the file is known to hold some."""
    required = "an audio file was required, but"
    try:
        head, at = sound_head(file)
    except OSError as e:
        raise AudioFileError(unreadable(required, file, e)) from None
    if not head:
        content = "holds a tag and no sound" if at else "is empty"
        raise AudioFileError(f"{required} {str(file)!r} {content}; copy or record it again")
    return head


def _part(start_s: float | None, end_s: float | None) -> Part:
    """Start and end, checked."""
    for key, value in (("start", start_s), ("end", end_s)):
        if value is not None and not (
            isinstance(value, Real) and not isinstance(value, bool) and 0 <= value <= LATEST_S
        ):
            raise UsageError(
                f"{key} must be seconds from the file's start, but {value!r} came; give a number from 0 to {LATEST_S}"
            )
    if end_s is not None and end_s <= (start_s or 0.0):
        raise UsageError(
            f"end must come after start, but start {start_s or 0.0:g} s and end {end_s:g} s came; give a later end"
        )
    return Part(
        start_s=None if start_s is None else float(start_s),
        end_s=None if end_s is None else float(end_s),
        context_s=0.0 if start_s is None and end_s is None else CONTEXT_S,
    )


def _sha256(file: Path) -> str:
    """Checksum of the file's bytes, read in pieces."""
    with file.open("rb") as f:
        return hashlib.file_digest(f, "sha256").hexdigest()
