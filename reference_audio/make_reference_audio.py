"""Makes the reference takes, their truth and this folder's README, the same from every run.

usage: python reference_audio/make_reference_audio.py [FOLDER]     (without a folder: beside this script)
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from strumclock.grid import Exercise
from strumclock.synthesis import NYLON, STEEL, Guitar, Player, Scene, Take, synthesise, write_take

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, kw_only=True)
class Reference:
    """One take: its file, who plays what, and what it shows.

    The seeds were chosen for takes that show it: chance alone gives a half-minute take a drift of some 20 ms a minute.
    """

    file: str
    player_name: str
    shows: str
    exercise: Exercise
    player: Player
    scene: Scene
    seed: int
    guitar: Guitar = STEEL
    capo: int = 0

    def make(self) -> Take:
        """The take, before it is written."""
        return synthesise(self.exercise, self.player, self.scene, self.seed, guitar=self.guitar, capo=self.capo)


TAKES = (
    Reference(
        file="steady.flac",
        player_name="Ilse",
        shows="Even playing, a little early, the metronome standing beside the guitar.",
        exercise=Exercise(
            name="four to the bar", bpm=84, meter="4/4", per_beat=1, pattern="DDDD", count_in=1, bars=8,
            chords=("A", "D", "E", "D"),
        ),
        player=Player(offset_ms=-9, timekeeper_ms=6, motor_ms=3),
        scene=Scene(click_sound="wood", click_db=-8),
        seed=19,
    ),
    Reference(
        file="late_changes.flac",
        player_name="Tomasz",
        shows="The first strum of every new chord comes late; everything else is close to the click.",
        exercise=Exercise(
            name="changes G C D", bpm=72, meter="4/4", per_beat=1, pattern="DDDD", count_in=1, bars=8,
            chords=("G", "C", "D", "C"), beats_per_change=4,
        ),
        player=Player(offset_ms=2, timekeeper_ms=8, motor_ms=4, change_late_ms=85, spread_ms=24),
        scene=Scene(click_sound="tick", click_db=-6, reverberation_s=0.25),
        seed=25,
    ),
    Reference(
        file="pulling_ahead.flac",
        player_name="Noor",
        shows="Eighths that run ahead of the click, further with every bar.",
        exercise=Exercise(
            name="down, down-up", bpm=96, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1, bars=10,
            chords=("Em", "G", "D", "A"),
        ),
        player=Player(offset_ms=4, timekeeper_ms=8, motor_ms=4, drift_ms_per_min=-110, spread_ms=12),
        scene=Scene(click_sound="tick", click_db=-8),
        seed=18,
    ),
    Reference(
        file="omitted_and_added.flac",
        player_name="Bruno",
        shows="A waltz in which strums are left out and others put in between; a nylon-string guitar.",
        exercise=Exercise(
            name="waltz", bpm=100, meter="3/4", per_beat=1, pattern="DDD", count_in=2, bars=13,
            chords=("C", "G", "Am", "F"),
        ),
        player=Player(offset_ms=-14, timekeeper_ms=13, motor_ms=6, miss=0.13, extra=0.1, spread_ms=20),
        scene=Scene(click_sound="wood", click_db=-5),
        seed=19,
        guitar=NYLON,
    ),
    Reference(
        file="headphones.flac",
        player_name="Wren",
        shows="The click was in headphones, not in the recording: offsets cannot be known, evenness and drift can.",
        exercise=Exercise(
            name="down, down-up", bpm=104, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=0, bars=10,
            chords=("A", "E", "F#m", "D"),
        ),
        player=Player(offset_ms=16, timekeeper_ms=9, motor_ms=4, spread_ms=14),
        scene=Scene(click_db=None),
        seed=25,
    ),
    Reference(
        file="phone.m4a",
        player_name="Paloma",
        shows="A phone across the room: reverberation, noise, a band-limited and swinging level, AAC; capo at fret 2.",
        exercise=Exercise(
            name="down-up", bpm=88, meter="4/4", per_beat=2, pattern="D.DUD.DU", count_in=1, bars=9,
            chords=("G", "Em", "C", "D"),
        ),
        player=Player(offset_ms=-12, timekeeper_ms=12, motor_ms=5, spread_ms=18),
        scene=Scene(click_sound="wood", click_db=-6, reverberation_s=0.35, noise_db=-32, phone=True, skew_ppm=35),
        seed=19,
        capo=2,
    ),
)  # fmt: skip

README = """# Reference takes

Synthesised guitar, strummed by invented people, with every strum's and click's time known to the sample.  Beside each
take lies its truth as JSON (`strumclock.truth/1`: times in seconds from the first sample, offsets in ms, positive =
late, slots counted from 0).  All of it is made by `python reference_audio/make_reference_audio.py`; change it there.

| take | player | bpm, meter | what it shows |
|---|---|---|---|
{rows}

A strum's time is the release of its first string.  The strings are a physical model (damped modes with stiffness, a
pick, a body): real guitars differ, so these takes show that the measuring is right, not how right it is on every
guitar.

Dedicated to the public domain under [CC0 1.0](https://creativecommons.org/publicdomain/zero/1.0/): copy, change and
use them without asking.
"""


def make(folder: Path) -> None:
    """Write every take, its truth and the README into a folder."""
    rows = []
    for reference in TAKES:
        write_take(
            reference.make(), folder / reference.file, extra={"player": reference.player_name, "shows": reference.shows}
        )
        e = reference.exercise
        link = f"[{reference.file}]({reference.file})"
        rows.append(f"| {link} | {reference.player_name} | {e.bpm:g}, {e.meter} | {reference.shows} |")
    (folder / "README.md").write_text(README.format(rows="\n".join(rows)), encoding="utf-8")


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
