"""The recording without its clicks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import ArrayLike, NDArray

from strumclock.arrays import Floats, Samples
from strumclock.click.attack import swells_s
from strumclock.click.templates import MARGIN, learn, turn
from strumclock.click.values import Clicks

SOUND_S = (0.016, 0.220)
"""Before and after a click's time: what is learned. A click in a living room is 40 dB down by then; what sounds
before a click tells how disturbed it is. A sound of several hits is learned to the end of the last."""

HIT_S = 0.1
"""A hit after the first is learned for so long."""

LEAD_S = 0.005
"""So much before the click's time is removed."""

NEXT_SHARE = 0.9
"""Where clicks are close together, no more than this share of their distance is learned."""

FADE_S = (0.002, 0.02)
"""The learned sound is faded in and out over this at its ends."""

SURE = 0.5
"""A sound that is heard at so many of its places is known well enough for whether it swells to be asked."""

FRACTIONS = 32
"""The sound is kept at so many fractions of a sample, and interpolated between them: errors 60 dB down at 10 kHz."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Removal:
    """A recording without its clicks.

    Attributes
    ----------
    samples : float32 array, shape (n,)
        The recording less `removed`.
    removed : float32 array, shape (n,)
        What was subtracted.
    sounds : tuple of float32 arrays
        The learned sounds, commonest first, each beginning `lead_s` before the click's time.
    lead_s : float
    left_share : float64 array, shape (clicks,)
        Expected power of what is left of each click, as a share of what was subtracted there: short-time power of
        `removed` times this is the power that a strum must exceed.
    left_db : float
        The median of these, dB.
    swells_s : float
        How long the slowest of the sounds takes from its attack to its strength (`attack.swells_s`): 0 but for voices.
    """

    samples: Samples
    removed: Samples
    sounds: tuple[Samples, ...]
    lead_s: float
    left_share: Floats
    left_db: float
    swells_s: float

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        arrays: tuple[NDArray[Any], ...] = (self.samples, self.removed, self.left_share, *self.sounds)
        for array in arrays:
            array.flags.writeable = False


def remove_clicks(samples: ArrayLike, sample_rate_hz: float, clicks: Clicks, *, start_s: float = 0.0) -> Removal:
    """Learn the clicks' sounds from their repetitions and subtract them.

    Each sound is the mean of its repetitions, every few milliseconds of each weighted by how little else is heard
    there, and drawn towards silence where they do not agree: what is not known of a click stays in the recording
    rather than something else being taken out of it. Each click is subtracted at its own loudness, judged with its
    neighbours'.

    Parameters
    ----------
    samples : float array, shape (n,)
        The channel in which the clicks were found.
    sample_rate_hz : float
    clicks : Clicks
    start_s : float
        File time of samples[0].

    Returns
    -------
    Removal

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_recording
    >>> line = example_recording().mono()
    >>> clicks = sc.find_clicks(line, 44100, bpm=96)
    >>> removal = sc.remove_clicks(line, 44100, clicks)
    >>> first = slice(round((clicks.time_s[0] - 0.002) * 44100), round((clicks.time_s[0] + 0.02) * 44100))
    >>> bool(np.abs(removal.samples[first]).max() < 0.2 * np.abs(line[first]).max())
    True
    """
    x = np.ascontiguousarray(samples, dtype=np.float32)
    trains = clicks.trains
    position = (clicks.every_s - start_s) * sample_rate_hz
    sound, heard = (np.concatenate([getattr(train, name) for train in trains]) for name in ("sound", "heard"))
    before = round(SOUND_S[0] * sample_rate_hz)
    nearest = float(np.min(np.diff(clicks.every_s), initial=clicks.interval_s))
    lasts_s = max(SOUND_S[1], max(train.last_hit_s for train in trains) + HIT_S)
    after = round(min(lasts_s, NEXT_SHARE * nearest) * sample_rate_hz)
    t = np.arange(before + after) / sample_rate_hz
    t0 = SOUND_S[0] - LEAD_S
    ramp = np.clip(np.minimum((t - t0) / FADE_S[0], (t[-1] - t) / FADE_S[1]), 0.0, 1.0).astype(np.float32)
    removed = np.zeros(len(x), dtype=np.float32)
    left_share = np.ones(len(position))
    sounds = []
    swells = 0.0
    for kind in np.unique(sound):
        mine = sound == kind
        learned = learn(x, sample_rate_hz, position[mine], before, after)
        sounds.append(learned.sound * ramp)
        if np.mean(heard[mine]) > SURE:
            swells = max(swells, swells_s(sounds[-1], sample_rate_hz, before))
        left_share[mine] = learned.left
        _add(removed, sounds[-1], position[mine], before, learned.gain)
    return Removal(
        samples=x - removed,
        removed=removed,
        sounds=tuple(sounds),
        lead_s=before / sample_rate_hz,
        left_share=left_share,
        swells_s=swells,
        left_db=10 * float(np.log10(max(float(np.median(left_share)), 1e-6))),
    )


def _add(out: Samples, sound: Samples, position: Floats, before: int, gain: Floats) -> None:
    """Add the sound at every fractional position, at its gain."""
    size = scipy.fft.next_fast_len(len(sound) + 2 * MARGIN, real=True)
    spectrum = scipy.fft.rfft(np.pad(sound, (MARGIN, size - len(sound) - MARGIN)))
    delay = np.arange(FRACTIONS + 1) / FRACTIONS
    spectra = np.tile(spectrum, (len(delay), 1))
    turn(spectra, -delay, size)
    table = scipy.fft.irfft(spectra, size)
    whole = np.floor(position).astype(np.int64)
    place = (position - whole) * FRACTIONS
    before_it = np.minimum(place.astype(np.int64), FRACTIONS - 1)
    share = (place - before_it).astype(np.float32)[:, None]
    rows = table[before_it]
    rows += share * (table[before_it + 1] - rows)
    rows *= gain.astype(np.float32)[:, None]
    for row, first in zip(rows, whole - before - MARGIN, strict=True):
        a, b = max(first, 0), min(first + size, len(out))
        if b > a:
            out[a:b] += row[a - first : b - first]
