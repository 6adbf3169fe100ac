"""What is whole before it is damaged: a short file of every container, MIDI, settings, tables, a journal."""

from __future__ import annotations

import io
import sys
import tempfile
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from audio_files import plucks, write_codec  # noqa: E402  # the tests' own folder is on the path only now
from practice import take_json  # noqa: E402  # the same

RATE, SECONDS = 16_000, 1.3
SOUNDFILES = {
    "a.wav": ("WAV", "PCM_16"),
    "float.wav": ("WAV", "FLOAT"),
    "double.wav": ("WAV", "DOUBLE"),
    "adpcm.wav": ("WAV", "IMA_ADPCM"),
    "a.aiff": ("AIFF", "PCM_16"),
    "a.aifc": ("AIFF", "FLOAT"),
    "a.caf": ("CAF", "PCM_16"),
    "alac.caf": ("CAF", "ALAC_16"),
    "a.w64": ("W64", "PCM_16"),
    "a.rf64": ("RF64", "PCM_24"),
    "a.au": ("AU", "PCM_16"),
    "a.flac": ("FLAC", "PCM_16"),
    "a.ogg": ("OGG", "VORBIS"),
}
CODECS: dict[str, tuple[str, int, dict[str, object]]] = {
    "a.mp3": ("libmp3lame", RATE, {}),
    "bare.mp3": ("libmp3lame", RATE, {"options": {"write_xing": "0"}}),
    "a.mp2": ("mp2", RATE, {}),
    "a.wma": ("wmav2", 44_100, {"bit_rate": 64_000}),
    "a.aac": ("aac", RATE, {}),
    "a.m4a": ("aac", RATE, {}),
    "fast.mp4": ("aac", RATE, {"options": {"movflags": "faststart"}}),
    "alac.m4a": ("alac", RATE, {}),
    "a.3gp": ("aac", RATE, {}),
    "a.mov": ("pcm_s16le", RATE, {}),
    "a.webm": ("libopus", 48_000, {}),
    "a.opus": ("libopus", 48_000, {}),
    "a.mka": ("flac", RATE, {}),
    "s64.mka": ("pcm_s64le", RATE, {}),
    "a.ts": ("aac", RATE, {"container": "mpegts"}),
    "a.avi": ("pcm_s16le", RATE, {}),
    "a.tta": ("tta", RATE, {}),
    "a.ac3": ("ac3", 48_000, {}),
}
STEREO = ("a.aac", "a.m4a", "a.mp3", "a.opus")

PRACTICE = (
    """student = "Ines"
equipment = "dreadnought; phone on the music stand"
standard = "steady"
[defaults]
count_in = 1
click = "auto"
[exercises."two chords"]
bpm = 80
chords = "A D"
beats_per_change = 4
pattern = "D.DU"
per_beat = 2
aliases = ["AD", "first exercise"]
goal_bpm = 90
goal_by = 2026-06-01
""",
    """student = "Jonas"
takes_to_hold = 3
[standard]
tolerance_share = 0.1
even_share = 0.9
[defaults]
latency_ms = 12.5
first_downbeat_s = 2.0
same_clock = true
[exercises.waltz]
meter = "3/4"
swing = 0.6
""",
)
TABLE = """file;date;student;exercise;bpm;start;end;remark;exclude
2026-01-05 two chords 80.wav;2026-01-05;Ines;two chords;80;0.5;12;"a, b";
b.wav;06.01.2026;Jonas;waltz;84,5;;;;out of tune
"""
PAGE = """date,exercise,tempo,held,remark
2026-01-05,two chords,80,yes,
2026-01-06,two chords,84,no,"late, but even"
"""


@lru_cache(maxsize=1)
def sounds() -> dict[str, bytes]:
    """A second of plucks in every container, by file name."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, (form, kind) in SOUNDFILES.items():
            buffer = io.BytesIO()
            soundfile.write(buffer, plucks(RATE, SECONDS), RATE, format=form, subtype=kind)
            found[name] = buffer.getvalue()
        for name, (codec, rate, more) in CODECS.items():
            x = plucks(rate, SECONDS)
            file = write_codec(Path(folder) / name, x, rate, codec, **more)  # type: ignore[arg-type]
            found[name] = file.read_bytes()
            if name in STEREO:
                both = np.column_stack([x, 0.5 * x])
                stereo = write_codec(Path(folder) / f"stereo-{name}", both, rate, codec, **more)  # type: ignore[arg-type]
                found[stereo.name] = stereo.read_bytes()
    return found


@lru_cache(maxsize=1)
def midis() -> tuple[bytes, ...]:
    """Tempo maps in several meters, with clicks and strums."""
    from strumclock.grid import Exercise, build_grid
    from strumclock.midi import write_midi

    found = []
    with tempfile.TemporaryDirectory() as folder:
        for meter, bpm in (("4/4", 97.0), ("6/8", 60.0), ("3/4", 180.5)):
            file = Path(folder) / "a.mid"
            grid = build_grid(Exercise(bpm=bpm, meter=meter, per_beat=2, count_in=1), bars=4)
            write_midi(file, grid, grid.slot_s + 0.01, meter=meter)
            found.append(file.read_bytes())
    return tuple(found)


@lru_cache(maxsize=1)
def journal() -> bytes:
    """A journal's file with takes of two students over three weeks, a note, a goal and an exclusion."""
    from strumclock.journal import Journal, TakeEntry

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "book.sqlite"
        book = Journal(file)
        for i in range(12):
            who, name = ("Ines", "two chords") if i % 3 else ("Jonas", "waltz")
            take = take_json(bpm=70.0 + i, seed=i, path=f"{i}.wav", sha256=f"{i:064x}", exercise={"name": name})
            entry = TakeEntry(
                identity=f"{i:064x}",
                student=who,
                path=f"{i}.wav",
                played_on=date(2026, 1, 5) + timedelta(days=2 * i),
                exercise={"name": name, "bpm": 70.0 + i},
                measurement=take,
            )
            book.record(entry)
        book.note("Ines", "wrist", exercise="two chords")
        book.set_goal("Ines", "two chords", 90)
        del book
        return file.read_bytes()
