"""Ten takes of different faults, from sound to verdict: the lines that strumclock says of each.

usage: python -m tests.benchmarks.ten_takes

Each take is synthesised with one fault in it (invented players), measured as a recording from a file would be, and its
verdict printed with the message for the student: what DEVELOPERS.md shows.
"""

from __future__ import annotations

import numpy as np

import strumclock as sc
from strumclock.report.sentences import lines
from strumclock.synthesis import Player, Scene, synthesise

EVEN = Player(timekeeper_ms=7.0, motor_ms=3.0)
CHANGES = sc.Exercise(bpm=72, per_beat=2, pattern="D.DU.UDU", count_in=1, bars=12, chords=("A", "D", "E", "D"))
PLAIN = sc.Exercise(bpm=90, per_beat=2, pattern="D.DU.UDU", count_in=1, bars=12)

SHORT = sc.Exercise(bpm=90, per_beat=2, pattern="D.DU.UDU", count_in=1, bars=6)


def _with(**faults: object) -> Player:
    from dataclasses import replace

    return replace(EVEN, **faults)


TAKES = (
    ("even and on the click", PLAIN, EVEN, None),
    ("100 ms late at every chord change", CHANGES, _with(change_late_ms=100.0), None),
    ("120 ms late only into D", CHANGES, _with(change_late_ms=120.0, late_into=("D",)), None),
    ("pulls ahead by 200 ms a minute", PLAIN, _with(drift_ms_per_min=-200.0), None),
    ("all strums 75 ms late", PLAIN, _with(offset_ms=75.0), None),
    ("scatters by 45 ms", PLAIN, _with(timekeeper_ms=36.0, motor_ms=16.0), None),
    ("leaves out every sixth strum", PLAIN, _with(miss=0.17), None),
    ("adds strums", PLAIN, _with(extra=0.2), None),
    ("plays six bars only, which is too short", SHORT, EVEN, None),
    ("headphones: no click in the recording", PLAIN, EVEN, Scene(click_db=None)),
)  # fmt: skip


def main() -> None:
    """Print the lines of every take."""
    for number, (fault, exercise, player, scene) in enumerate(TAKES, 1):
        take = synthesise(exercise, player, scene or Scene(), seed=40 + number)
        measured = sc.measure(sc.from_array(np.asarray(take.samples), take.sample_rate_hz), exercise)
        print(f"\n{number}. {fault}")
        for line in lines(measured):
            print(f"   {line.topic + ':':12s} {line.text}")
        print(f"   to the student: {sc.message(measured)}")


if __name__ == "__main__":
    main()
