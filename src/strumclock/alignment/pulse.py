"""Where do the beats lie in the recording?  Clicks, a stated downbeat, or the strums themselves give a `Pulse`.

A pulse counts beats from its own beat 0 (the first click heard, the stated downbeat, the first strum); which beat is the
first *played* downbeat is asked later.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strumclock.alignment.pairing import FloatArray
from strumclock.alignment.values import Anchor
from strumclock.errors import Notice

if TYPE_CHECKING:
    from strumclock.click import Clicks

CLOCK_PPM = 100.0
"""How far two clocks may differ: crystals of sound cards and phones are quoted within ±100 ppm (FACTS D, opinions)."""
CLOCK_U = CLOCK_PPM * 1e-6 / 3**0.5
"""Standard uncertainty of a told tempo by the recorder's clock: ±`CLOCK_PPM`, rectangular (GUM 4.3.7)."""
TEMPO_TOLERANCE = 1e-3
"""Tempi told and heard that differ by more than this differ in more than their clocks."""
RATIOS = (1.0, 2.0, 3.0, 4.0, 1 / 2, 1 / 3, 1 / 4)
"""Clicks a told beat that count as the same tempo told otherwise: a click on each part, on every other beat, once a bar."""
WHOLE_BPM_TOLERANCE = 2 * CLOCK_PPM * 1e-6
"""A tempo heard this close to a whole number is that number: metronomes are set in whole beats a minute (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulse:
    """The beats' times: constant, or by a tempo map.

    Attributes
    ----------
    anchor : str
    bpm : float or None
        Tempo in nominal beats a minute; None where a map gives it.
    beat_s : float
        Length of a beat by the recorder's clock [s]; of the first beat where a map gives it.
    zero_s : float
        Time of beat 0 [s].
    pivot_s, pivot_u_s : float
        Where the pulse's place is known best, and its standard uncertainty there [s].
    rate_u : float
        Relative standard uncertainty of the rate.
    line_s : (m,) float
        Times of beats 0, 1, 2 … where a map gives them; else empty.
    clicks_per_beat : float
        1 where clicks and beats coincide or there are no clicks.
    last_click_beat : float or None
        Beat of the last click heard.
    bpm_heard, bpm_heard_u, skew_ppm, skew_u_ppm : float or None
        See `strumclock.alignment.Alignment`.
    tempo_found : bool
        Whether `bpm` was not told, or told otherwise than heard.
    notices : tuple of Notice
    """

    anchor: Anchor
    bpm: float | None
    beat_s: float
    zero_s: float
    pivot_s: float
    pivot_u_s: float
    rate_u: float
    line_s: FloatArray
    clicks_per_beat: float = 1.0
    last_click_beat: float | None = None
    bpm_heard: float | None = None
    bpm_heard_u: float | None = None
    skew_ppm: float | None = None
    skew_u_ppm: float | None = None
    tempo_found: bool = False
    notices: tuple[Notice, ...] = ()

    def beats(self, time_s: FloatArray) -> FloatArray:
        """Times [s] as beats since beat 0."""
        if not len(self.line_s):
            return (time_s - self.zero_s) / self.beat_s
        number = np.arange(len(self.line_s), dtype=np.float64)
        inside = np.interp(time_s, self.line_s, number)
        last_s = self.line_s[-1] - self.line_s[-2]
        before, after = np.minimum(time_s - self.line_s[0], 0), np.maximum(time_s - self.line_s[-1], 0)
        return inside + before / self.beat_s + after / last_s

    def u_at(self, time_s: FloatArray) -> FloatArray:
        """Standard uncertainty of the pulse's place at the given times [s]."""
        return np.hypot(self.pivot_u_s, (time_s - self.pivot_s) * self.rate_u)


def from_clicks(clicks: Clicks, bpm: float | None) -> Pulse:
    """The pulse that the clicks beat.

    The rate is the clicks' own. Where they agree with the tempo told within what clocks do, the two are combined by
    their uncertainties: a long row of clicks decides alone, four clicks of a count-in hardly count beside the tempo told.
    """
    heard_bpm = 60.0 / clicks.interval_s
    heard_u = clicks.interval_u_s / clicks.interval_s
    notices: tuple[Notice, ...] = ()
    ratio = 1.0 if bpm is None else _ratio(heard_bpm, heard_u, bpm)
    heard = heard_bpm / (ratio or 1.0)
    rate, rate_u, skew = 60.0 / heard, heard_u, None
    if bpm is not None and ratio is not None:
        skew = heard / bpm - 1.0
        if abs(skew) <= 3.0 * np.hypot(heard_u, CLOCK_U):
            weight = CLOCK_U**2 / (CLOCK_U**2 + heard_u**2)
            rate, rate_u = 60.0 / (bpm * (1.0 + weight * skew)), heard_u * weight**0.5
        if ratio != 1.0:
            notices += (_ratio_notice(bpm, heard_bpm, ratio),)
    elif bpm is not None:
        notices += (
            Notice(
                code="tempo-differs",
                message=f"the tempo told is {bpm:g} bpm, but the clicks beat {heard_bpm:.2f}; "
                "the clicks are believed and everything is measured against them",
            ),
        )
    if bpm is None or ratio is None:
        bpm = _plain_bpm(heard)
    index = np.flatnonzero(clicks.heard)
    if not len(index):
        index = np.arange(len(clicks.time_s))
    pivot_s = float(np.interp(index.mean(), np.arange(len(clicks.time_s)), clicks.time_s))
    ratio = ratio or 1.0
    return Pulse(
        anchor="recorded-click" if clicks.source == "recording" else "click-channel",
        bpm=bpm, beat_s=rate, zero_s=pivot_s - index.mean() / ratio * rate, pivot_s=pivot_s,
        pivot_u_s=float(np.min(clicks.u_s)), rate_u=rate_u, line_s=np.zeros(0), clicks_per_beat=ratio,
        last_click_beat=float(index[-1]) / ratio, bpm_heard=heard, bpm_heard_u=heard * heard_u,
        skew_ppm=None if skew is None else skew * 1e6, skew_u_ppm=None if skew is None else heard_u * 1e6,
        tempo_found=skew is None, notices=notices,
    )  # fmt: skip


def _ratio(heard_bpm: float, heard_u: float, told_bpm: float) -> float | None:
    """Clicks a told beat, where that is a small whole ratio; None where the tempi simply differ."""
    for ratio in RATIOS:
        if abs(heard_bpm / (told_bpm * ratio) - 1.0) <= TEMPO_TOLERANCE + 2.0 * heard_u:
            return ratio
    return None


def _ratio_notice(bpm: float, heard_bpm: float, ratio: float) -> Notice:
    each = f"{ratio:.0f} clicks a beat" if ratio > 1 else f"a click every {1 / ratio:.0f} beats"
    return Notice(
        code="tempo-ratio",
        message=f"the clicks beat {heard_bpm:.2f} a minute and the tempo told is {bpm:g} bpm: the told beat is kept, "
        f"with {each}; tell {heard_bpm:.0f} bpm instead if each click is meant to be a beat",
    )


def _plain_bpm(heard: float) -> float:
    """A tempo heard, as it was probably set: a whole number where it is that close to one."""
    whole = round(heard)
    return float(whole) if abs(heard / whole - 1.0) <= WHOLE_BPM_TOLERANCE else round(heard, 3)


def told(*, anchor: Anchor, bpm: float, zero_s: float, u_s: float, same_clock: bool) -> Pulse:
    """The pulse of a told tempo from a stated or fitted beat 0."""
    return Pulse(
        anchor=anchor, bpm=bpm, beat_s=60.0 / bpm, zero_s=zero_s, pivot_s=zero_s, pivot_u_s=u_s,
        rate_u=0.0 if same_clock else CLOCK_U, line_s=np.zeros(0),
    )  # fmt: skip
