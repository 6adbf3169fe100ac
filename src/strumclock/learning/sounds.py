"""What there is to learn from: a folder of recorded sounds, and which of them are kept out for judging.

The folder holds, each optional but the first: ``guitars/NAME/`` (single notes with an index.csv of file, f0_hz),
``rooms/`` (impulse responses), ``noises/``, ``speech/`` and ``clicks/`` (audio files). Sounds that come from one
instrument, room or speaker have names that begin alike up to the first underscore; they are kept out together.
"""

from __future__ import annotations

import csv
import functools
import hashlib
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from strumclock.errors import UsageError

Wave = npt.NDArray[np.float64]

RATE_HZ = 44100  # a convention: what the recorded notes have
NOTE_S = 3.6  # of a recorded note that is used
KEPT_OUT_OF = 5  # where nobody names what to keep out, one instrument, room and speaker in so many
SUFFIXES = (".flac", ".wav", ".ogg")
PARTS = ("rooms", "noises", "speech", "clicks")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounds:
    """Files that scenes may draw from.

    Attributes
    ----------
    guitars : tuple of Path
        Folders of single notes.
    rooms, noises, speech, clicks : tuple of Path
        Audio files.
    """

    guitars: tuple[Path, ...] = ()
    rooms: tuple[Path, ...] = ()
    noises: tuple[Path, ...] = ()
    speech: tuple[Path, ...] = ()
    clicks: tuple[Path, ...] = ()

    def files(self) -> list[Path]:
        """Every audio file of them."""
        notes = [folder / row["file"] for folder in self.guitars for row in _index(folder)]
        return [*notes, *self.rooms, *self.noises, *self.speech, *self.clicks]


def read_sounds(folder: Path) -> Sounds:
    """What a folder holds.

    Raises
    ------
    UsageError
        If there is no guitar in it.
    """
    guitars = tuple(sorted(p.parent for p in folder.glob("guitars/*/index.csv")))
    if not guitars:
        raise UsageError(f"learning needs guitars/NAME/index.csv with single notes; {folder} has none; name another")
    parts = {
        part: tuple(sorted(p for p in (folder / part).rglob("*") if p.suffix.lower() in SUFFIXES)) for part in PARTS
    }
    return Sounds(guitars=guitars, **parts)


def divided(sounds: Sounds, kept_out: tuple[str, ...]) -> tuple[Sounds, Sounds]:
    """The sounds to learn from and those kept out for judging.

    Parameters
    ----------
    sounds : Sounds
    kept_out : tuple of str
        How the names of what is kept out begin (of a bank's folder, of a file); empty: one family in `KEPT_OUT_OF`.
        Of clicks and noises nothing is kept out unless named.

    Returns
    -------
    learned, judged : Sounds
        A part of which nothing is kept out is in both.
    """

    def out(path: Path, part: str) -> bool:
        if kept_out:
            return path.stem.startswith(kept_out)
        family = path.stem.split("_")[0]
        return part in ("guitars", "rooms", "speech") and zlib.crc32(family.encode()) % KEPT_OUT_OF == 0

    halves: list[dict[str, tuple[Path, ...]]] = [{}, {}]
    for part in ("guitars", *PARTS):
        paths: tuple[Path, ...] = getattr(sounds, part)
        kept = tuple(p for p in paths if out(p, part))
        halves[0][part] = tuple(p for p in paths if p not in kept) or paths
        halves[1][part] = kept or paths
    return Sounds(**halves[0]), Sounds(**halves[1])


def sha256_of(sounds: Sounds, folder: Path) -> dict[str, str]:
    """Name within the folder, and sha256, of every file."""
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in sounds.files()}


def _index(folder: Path) -> list[dict[str, str]]:
    with (folder / "index.csv").open(newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


@functools.lru_cache(maxsize=64)
def bank(folder: Path) -> list[tuple[float, Wave]]:
    """Fundamental [Hz] and samples of each note of a bank, loudest instant 1."""
    notes = []
    for row in _index(folder):
        x = audio(folder / row["file"])[: int(NOTE_S * RATE_HZ)]
        notes.append((float(row["f0_hz"]), x / np.abs(x[: RATE_HZ // 2]).max()))
    return notes


@functools.lru_cache(maxsize=256)
def audio(path: Path) -> Wave:
    """One channel at `RATE_HZ`."""
    import soundfile as sf
    import soxr

    x, rate = sf.read(path, always_2d=True)
    mono = x.mean(axis=1)
    return mono if rate == RATE_HZ else np.asarray(soxr.resample(mono, rate, RATE_HZ))
