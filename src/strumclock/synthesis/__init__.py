"""Strummed guitar with a click, synthesised, every time of it known to the sample.

>>> from strumclock.grid import Exercise
>>> take = synthesise(Exercise(bpm=90, bars=1, chords=("A",), count_in=0), Player(offset_ms=-10), Scene(), seed=3)
>>> take.sample_rate_hz, len(take.truth.strum_s)
(44100, 4)

Not modelled: the glide of a hard-plucked string's pitch, coupling between strings, fret buzz, finger squeaks.
"""

from strumclock.synthesis.player import Player, deviations_ms
from strumclock.synthesis.scene import CLICK_SOUNDS, Scene
from strumclock.synthesis.shapes import SHAPES, shape, sounding
from strumclock.synthesis.strings import NYLON, STEEL, Guitar, attack_index, frequency_hz, note
from strumclock.synthesis.take import Take, synthesise
from strumclock.synthesis.truth import Truth
from strumclock.synthesis.writing import write_take

__all__ = [
    "CLICK_SOUNDS", "NYLON", "SHAPES", "STEEL", "Guitar", "Player", "Scene", "Take", "Truth", "attack_index",
    "deviations_ms", "frequency_hz", "note", "shape", "sounding", "synthesise", "write_take",
]  # fmt: skip
