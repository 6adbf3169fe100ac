"""A take without audio: its strums, clicks and sounds are put where arithmetic says, and `measure` is let loose on it.

Everything before the alignment is replaced by values that are made here; from the alignment on the real stages run. The
grid, the offsets, what is omitted and added are computed here from the exercise, with none of the program's functions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import SimpleNamespace
from typing import Any
from unittest import mock

import numpy as np
import numpy.typing as npt

from strumclock.click import Clicks
from strumclock.grid import Exercise
from strumclock.onsets import Ignored, Strums
from strumclock.pipeline import Measurement, analysing, measure, measuring
from strumclock.pipeline.components import pictured
from strumclock.pipeline.listening import Listened
from strumclock.pipeline.measurement import TakeInfo
from strumclock.report import to_dict
from strumclock.stroke import Spreads

Floats = npt.NDArray[np.float64]

BPM, PER_BAR, SWING, PATTERN, BARS = 90.0, 4, 0.6, "DUxUDU.U", 12
CHORDS = ("A", "D", "E")
EXERCISE = Exercise(
    name="wired", bpm=BPM, meter="4/4", per_beat=2, pattern=PATTERN, swing=SWING, count_in=1, bars=BARS, chords=CHORDS
)
START_S = 1.5  # the part of the file that was read begins here
DOWNBEAT_S = 6.25  # file time of beat 1 of the first played bar
SKEW_PPM = 80.0  # the recorder's clock is slow: the click is heard faster than told
OMITTED = (5, 33, 60)  # slots
ADDED_AT = 40  # an added strum half-way after this slot
MEAN_MS, DRIFT_MS_PER_MIN, PART_MS, CHANGE_MS = 14.0, 36.0, 18.0, 21.0
BIAS_U_S, SPREAD_SHARED_U_S = 0.0004, 0.0015
GUITAR_TO_MIC_M, CLICK_TO_MIC_M, CLICK_TO_EAR_M = 1.5, 0.2, 0.9
RATE_HZ = 11025.0
CLICK_U_S = 1e-4


@dataclass(frozen=True, kw_only=True)
class Wired:
    """One take: what was put in, the result, and its JSON.

    Arrays have one entry a slot (`slot_s`, `bar`, `beat`, `part`, `letter`, `at_change`) or a strum on a slot
    (`on`: its slot; `strum_s`, `u_s`, `spread_s`, `offset_ms` against the grid as it lies in the recording).
    """

    slot_s: Floats
    beat_s: float
    bar: npt.NDArray[np.int64]
    beat: npt.NDArray[np.int64]
    part: npt.NDArray[np.int64]
    letter: list[str]
    at_change: npt.NDArray[np.bool_]
    on: npt.NDArray[np.int64]
    strum_s: Floats
    u_s: Floats
    spread_s: Floats
    added_s: float
    offset_ms: Floats
    measurement: Measurement
    json: dict[str, Any]

    @property
    def minutes(self) -> Floats:
        """The slots' time in minutes about its mean, of the strums played."""
        minutes = self.slot_s[self.on] / 60
        return minutes - minutes.mean()


def wired(anchor: str, *, path: bool = True, chords: bool = True, seed: int = 7, **options: Any) -> Wired:
    """The take, anchored by clicks in the recording, on a channel, by a stated downbeat, or by nothing; made once."""
    return made(anchor, path=path, chords=chords, seed=seed, **options)


@cache
def made(anchor: str, *, path: bool, chords: bool, seed: int, **options: Any) -> Wired:
    """See `wired`."""
    rng = np.random.default_rng(seed)
    skew = SKEW_PPM * 1e-6 if anchor in ("recorded-click", "click-channel") else 0.0
    beat_s = 60 / (BPM * (1 + skew))
    places = [
        (bar, beat, part)
        for bar in range(BARS)
        for beat in range(PER_BAR)
        for part in range(2)
        if PATTERN[2 * beat + part] != "."
    ]
    bar, beat, part = (np.array(x) for x in zip(*places, strict=True))
    slot_s = DOWNBEAT_S + beat_s * (PER_BAR * bar + beat + np.where(part == 1, SWING, 0.0))
    at_change = (beat == 0) & (part == 0) & (bar > 0) if chords else np.zeros(len(bar), bool)
    on = np.array([i for i in range(len(slot_s)) if i not in OMITTED])
    n = len(on)
    minutes = (slot_s[on] - slot_s[on].mean()) / 60
    error_ms = MEAN_MS + DRIFT_MS_PER_MIN * minutes + PART_MS * part[on] + CHANGE_MS * at_change[on]
    error_ms = error_ms + rng.normal(0.0, 6.0, n)
    strum_s = slot_s[on] + error_ms / 1000
    u_s = rng.uniform(0.0004, 0.0012, n)
    spread_s = rng.uniform(0.008, 0.02, n)
    added_s = float(slot_s[ADDED_AT] + slot_s[ADDED_AT + 1]) / 2
    every = np.append(strum_s, added_s)
    order = np.argsort(every)
    strums = Strums(
        time_s=every[order],
        u_s=np.append(u_s, 0.0009)[order],
        strength_db=np.zeros(n + 1),
        p=np.full(n + 1, 0.97),
        bias_u_s=BIAS_U_S,
        ignored=(Ignored(time_s=3.0, reason="a tap", p=0.125),),
    )
    spreads = Spreads(
        spread_s=np.append(spread_s, 0.011)[order], u_s=np.full(n + 1, 0.001), shared_u_s=SPREAD_SHARED_U_S
    )
    end_s = float(slot_s[-1] + 3)
    samples = _sounds(strums.time_s - START_S, end_s - START_S, rng)
    heard = Listened(
        take=TakeInfo(path="wired.wav", sha256="ab" * 32, duration_s=end_s - START_S, sample_rate_hz=48000, channels=2),
        start_s=START_S,
        end_s=end_s,
        priming_known=True,
        clicks=clicks_heard(beat_s, "recording" if anchor == "recorded-click" else "channel") if skew else None,
        strums=strums,
        low=pictured(samples, RATE_HZ, START_S, strums),
        notices=(),
    )
    told: dict[str, Any] = dict(options)
    if path:
        told |= {
            "guitar_to_mic_m": GUITAR_TO_MIC_M,
            "click_to_mic_m": CLICK_TO_MIC_M,
            "click_to_ear_m": CLICK_TO_EAR_M,
        }
    if anchor == "given":
        told |= {"first_downbeat_s": DOWNBEAT_S - 0.030, "latency_ms": 30.0, "latency_u_ms": 1.5}
    exercise = (
        EXERCISE
        if chords
        else Exercise(
            name="wired", bpm=BPM, meter="4/4", per_beat=2, pattern=PATTERN, swing=SWING, count_in=1, bars=BARS
        )
    )
    file = SimpleNamespace(start_s=START_S, duration_s=end_s - START_S, in_step=None)
    with (
        mock.patch.object(measuring, "load", return_value=file),
        mock.patch.object(measuring, "listen", return_value=heard),
        mock.patch.object(analysing, "take_spreads", return_value=spreads),
    ):
        measurement = measure("wired.wav", exercise, **told)
    return Wired(
        slot_s=slot_s,
        beat_s=beat_s,
        bar=bar + 1,
        beat=beat + 1,
        part=part + 1,
        letter=[PATTERN[2 * b + p] for b, p in zip(beat, part, strict=True)],
        at_change=at_change,
        on=on,
        strum_s=strum_s,
        u_s=u_s,
        spread_s=spread_s,
        added_s=added_s,
        offset_ms=error_ms,
        measurement=measurement,
        json=to_dict(measurement),
    )


def clicks_heard(beat_s: float, source: str) -> Clicks:
    """A click on every beat, a bar counted in, the first of each bar accented."""
    n = PER_BAR * (BARS + 1)
    number = np.arange(n)
    return Clicks(
        time_s=DOWNBEAT_S + beat_s * (number - PER_BAR),
        u_s=np.full(n, CLICK_U_S),
        heard=np.ones(n, bool),
        accented=number % PER_BAR == 0,
        interval_s=beat_s,
        interval_u_s=CLICK_U_S / np.sqrt(n * (n * n - 1) / 12),
        extent="throughout",
        source=source,
        score=100.0,
        sound=(number % PER_BAR == 0).astype(int),
        number=number,
    )


def _sounds(time_s: Floats, lasts_s: float, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Noise that begins at each strum and dies away, as guitars do at a great distance from music."""
    samples = np.zeros(int(lasts_s * RATE_HZ))
    burst = np.exp(-np.arange(int(0.2 * RATE_HZ)) / (0.05 * RATE_HZ))
    for t in time_s:
        first = round(t * RATE_HZ)
        samples[first : first + len(burst)] += burst * rng.normal(0.0, 0.1, len(burst))
    return samples.astype(np.float32)
