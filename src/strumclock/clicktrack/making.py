"""Click tracks: what a player plays along to, as sound or as MIDI, every click's time known exactly.

A click's time is the moment at which its sound above 1.5 kHz first exceeds a fifth of its early peak, as everywhere.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats
from strumclock.audio.limits import MAX_DURATION_S
from strumclock.audio.writing import write_wav
from strumclock.click.attack import attack_index
from strumclock.errors import UsageError
from strumclock.grid import BeatGrid, Exercise, Meter, lay_out, parse_meter
from strumclock.showing import Shown

SAMPLE_RATES_HZ = (32_000, 192_000)  # the highest partial is at 7.4 kHz, and a place between samples needs room above
DEFAULT_BARS = 16  # with two or more beats a bar enough slots for every standard
LEAD_S = 0.5  # silence before the first click: players and loudspeakers swallow the first tenths of a second
TAIL_S = 0.3  # room for the last click to die away
PEAK = 0.25  # accented clicks reach −12 dB re full scale: the volume may stand high when the track begins
LEVEL_DB = {"accent": 0.0, "beat": -4.0, "part": -12.0}
CLICK_LENGTH_S = 0.06  # after which every timbre is 60 dB down
ONSET_S = 0.0004  # raised-cosine start: keeps the spectrum below half the sample rate, so that places are exact
OVERSAMPLING = 16  # at which the time of a timbre is measured

TIMBRES = ("wood", "stick", "tick", "beep")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ClickTrack(Shown):
    """A click track.

    Attributes
    ----------
    samples : (n,) float32
        Read-only; the peak is −12 dB re full scale.
    sample_rate_hz : int
    click_s : (k,) float
        Time of every click, parts of the beat included [s].
    accented : (k,) bool
        Whether each is accented: beat 1 of a bar.
    on_beat : (k,) bool
        Whether each is on a beat; the others are on parts of one.
    first_downbeat_s : float
        Beat 1 of the first played bar [s].
    grid : BeatGrid
        Its beats, placed in the track; slots are the clicks of the played bars.
    meter : str
    steps : tuple of (bars, bpm)
        The tempi in turn.
    timbre : str
    """

    samples: NDArray[np.float32]
    sample_rate_hz: int
    click_s: Floats
    accented: NDArray[np.bool_]
    on_beat: NDArray[np.bool_]
    first_downbeat_s: float
    grid: BeatGrid
    meter: str
    steps: tuple[tuple[int, float], ...]
    timbre: str

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for name in ("samples", "click_s", "accented", "on_beat"):
            getattr(self, name).flags.writeable = False

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / self.sample_rate_hz

    def __str__(self) -> str:
        tempi = ", then ".join(f"{_bars(bars)} at {bpm:g} bpm" for bars, bpm in self.steps)
        counted = len(self.grid.count_in_s) // self.grid.beats_per_bar
        count_in = f", after {_bars(counted)} counted in" if counted else ""
        first = f"first played downbeat at {self.first_downbeat_s:.3f} s"
        return f"{self.meter}, {tempi}{count_in}; {self.duration_s:.1f} s, {first}"


def click_track(
    exercise: Exercise,
    *,
    steps: Sequence[tuple[int, float]] | None = None,
    clicks_per_beat: int = 1,
    accent: bool = True,
    timbre: str = "wood",
    sample_rate_hz: int = 44_100,
    lead_s: float = LEAD_S,
) -> ClickTrack:
    """Make a click track for an exercise.

    Parameters
    ----------
    exercise : Exercise
        Its bpm, meter (4/4), count_in (0), bars (16) and, for two or four clicks a beat, swing.
    steps : sequence of (bars, bpm), optional
        Tempi in turn, instead of bars and bpm; bars counted in have the first one.
    clicks_per_beat : int
        1 to 4; those off the beat are softer, and silent in the bars counted in.
    accent : bool
        Whether beat 1 of each bar sounds higher and louder.
    timbre : str
        ``"wood"``, ``"stick"``, ``"tick"`` or ``"beep"``.
    sample_rate_hz : int
        32 000 to 192 000.
    lead_s : float
        Silence before the first click [s].

    Returns
    -------
    ClickTrack

    Raises
    ------
    UsageError
        If no tempo is told, it is told twice, or anything else makes no sense.

    Examples
    --------
    >>> track = click_track(Exercise(bpm=120, meter="3/4", bars=1, count_in=1), lead_s=0.5)
    >>> track.click_s.tolist(), track.accented.tolist()
    ([0.5, 1.0, 1.5, 2.0, 2.5, 3.0], [True, False, False, True, False, False])
    """
    if timbre not in TIMBRES:
        raise UsageError(f"a timbre must be one of {', '.join(TIMBRES)}, but {timbre!r} came; choose one")
    low, high = SAMPLE_RATES_HZ
    if not (isinstance(sample_rate_hz, (int, np.integer)) and low <= sample_rate_hz <= high):
        raise UsageError(f"a click track's rate must be {low} to {high} Hz, but {sample_rate_hz!r} came; take 44100")
    if not (math.isfinite(lead_s) and 0 <= lead_s <= 60):
        raise UsageError(f"the silence before the first click must be 0 to 60 s, but {lead_s!r} came; 0.5 is usual")
    meter = exercise.time_signature or Meter(4, 4)
    tempi = _steps(exercise, steps)
    nominal = _step_grid(exercise, meter, tempi, clicks_per_beat)
    start = nominal.count_in_s[0] if len(nominal.count_in_s) else 0.0
    grid = nominal.placed(lead_s - start)
    click_s = np.concatenate([grid.count_in_s, grid.slot_s])
    beat = np.concatenate([np.arange(len(grid.count_in_s)) % grid.beats_per_bar + 1, grid.beat])
    on_beat = np.concatenate([np.ones(len(grid.count_in_s), np.bool_), grid.part == 1])
    accented = on_beat & (beat == 1) & accent
    if grid.end_s > MAX_DURATION_S:
        raise UsageError(
            f"a click track of at most {MAX_DURATION_S / 60:.0f} minutes was required, but this lasts "
            f"{grid.end_s / 60:.0f}; take fewer bars"
        )
    samples = np.zeros(math.ceil((grid.end_s + TAIL_S) * sample_rate_hz), np.float32)
    for time_s, loud, full in zip(click_s.tolist(), accented.tolist(), on_beat.tolist(), strict=True):
        _add(samples, sample_rate_hz, time_s, timbre, "accent" if loud else "beat" if full else "part")
    return ClickTrack(
        samples=samples,
        sample_rate_hz=int(sample_rate_hz),
        click_s=click_s,
        accented=accented,
        on_beat=on_beat,
        first_downbeat_s=float(grid.line_s[0]),
        grid=grid,
        meter=str(meter),
        steps=tempi,
        timbre=timbre,
    )


def parse_steps(text: str | None) -> tuple[tuple[int, float], ...] | None:
    """Read stepped tempi such as ``"8x80 8x84"``: eight bars at 80, eight at 84.

    Raises
    ------
    UsageError
        If the text says something else.

    Examples
    --------
    >>> parse_steps("8x80, 4x84.5")
    ((8, 80.0), (4, 84.5))
    """
    if text is None:
        return None
    found = []
    for word in re.split(r"[\s,;]+", text.strip()):
        step = re.fullmatch(r"(\d{1,5})[x×*](\d{1,3}(?:\.\d+)?)", word)
        if step is None:
            raise UsageError(f"steps must be bars x bpm such as '8x80 8x84', but {word!r} came; write each as 8x80")
        found.append((int(step[1]), float(step[2])))
    return tuple(found)


def write_click_track(track: ClickTrack, path: str | os.PathLike[str]) -> None:
    """Write a click track as sound (.wav) or as MIDI (.mid, .midi; without the silence before the first click).

    Parameters
    ----------
    track : ClickTrack
    path : path
        Replaced only when all is written.

    Raises
    ------
    UsageError
        If the file's ending is another.
    OutputError
        If the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from strumclock.grid import Exercise
    >>> track = click_track(Exercise(bpm=80, meter="4/4", bars=1))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "click.wav"
    ...     write_click_track(track, path)
    ...     path.read_bytes()[:4]
    b'RIFF'
    """
    ending = Path(path).suffix.lower()
    if ending == ".wav":
        write_wav(path, track.samples, track.sample_rate_hz)
    elif ending in (".mid", ".midi"):
        from strumclock.midi.writing import HIGH_WOODBLOCK, LOW_WOODBLOCK, PERCUSSION, NoteTrack, write_notes

        clicks = zip(track.click_s.tolist(), track.accented.tolist(), track.on_beat.tolist(), strict=True)
        notes = tuple(
            (t, HIGH_WOODBLOCK if loud else LOW_WOODBLOCK, 110 if loud else 85 if full else 50)
            for t, loud, full in clicks
        )
        click = NoteTrack(name="Click", notes=notes, channel=PERCUSSION)
        write_notes(path, track.grid, [click], meter=parse_meter(track.meter))
    else:
        raise UsageError(f"a click track is written as .wav or .mid, but {Path(path).name!r} came; change the ending")


def _bars(n: int) -> str:
    """So many bars, in words."""
    return "1 bar" if n == 1 else f"{n} bars"


def _steps(exercise: Exercise, steps: Sequence[tuple[int, float]] | None) -> tuple[tuple[int, float], ...]:
    """The tempi in turn, each checked as an exercise's are."""
    if steps is None:
        if exercise.bpm is None:
            raise UsageError("a click track needs a tempo, but the exercise tells no bpm; give bpm or steps")
        return ((exercise.bars or DEFAULT_BARS, exercise.bpm),)
    checked = [Exercise(bars=bars, bpm=bpm) for bars, bpm in steps]
    if not checked:
        raise UsageError("steps must hold at least one (bars, bpm), but none came; give one or leave steps out")
    found = tuple((e.bars or 0, e.bpm or 0.0) for e in checked)
    total = sum(bars for bars, _ in found)
    if exercise.bars not in (None, total):
        raise UsageError(f"the steps have {total} bars, but bars is {exercise.bars}; leave bars out or make them agree")
    if exercise.bpm not in (None, found[0][1]):
        raise UsageError(f"the steps begin at {found[0][1]:g} bpm, but bpm is {exercise.bpm:g}; leave bpm out")
    return found


def _step_grid(exercise: Exercise, meter: Meter, steps: Sequence[tuple[int, float]], clicks_per_beat: int) -> BeatGrid:
    """Beat lines of stepped tempi, a slot for every click of the played bars."""
    per_bar = meter.beats_per_bar
    first = np.cumsum([0, *(bars * per_bar for bars, _ in steps)])  # beat lines at which a tempo begins
    beat_s = np.array([60.0 / bpm for _, bpm in steps])
    begin_s = np.concatenate([[0.0], np.cumsum(np.diff(first) * beat_s)])
    lines = np.arange(first[-1])

    def place(x: Floats) -> Floats:
        which = np.clip(np.searchsorted(first, x, side="right") - 1, 0, len(steps) - 1)
        placed: Floats = begin_s[which] + (x - first[which]) * beat_s[which]
        return placed

    plain = replace(
        exercise, per_beat=clicks_per_beat, pattern=None, chords=None, beats_per_change=None,
        swing=exercise.swing if clicks_per_beat in (2, 4) else None,
    )  # fmt: skip
    return lay_out(
        plain, meter=meter, line_bar=lines // per_bar + 1, line_beat=lines % per_bar + 1, place=place,
        count_in=(exercise.count_in or 0) * per_bar,
    )  # fmt: skip


def _add(samples: NDArray[np.float32], rate: int, time_s: float, timbre: str, level: str) -> None:
    """Add one click so that it is heard at `time_s`, between samples where need be."""
    begin_s = time_s - _attack_s(timbre, level)
    i = math.ceil(begin_s * rate)
    n = min(round(CLICK_LENGTH_S * rate), len(samples) - i)
    skip = max(0, -i)  # a click at the very start loses what lies before it
    t = (np.arange(i + skip, i + n)) / rate - begin_s
    samples[i + skip : i + n] += (_gain(timbre, level) * _sound(timbre, level, t)).astype(np.float32)


@lru_cache(maxsize=32)
def _attack_s(timbre: str, level: str) -> float:
    """When a timbre is heard after it begins [s]: the rule applied to it at a high sample rate."""
    rate = 44_100 * OVERSAMPLING
    lead = rate // 20  # silence, so that the filter has no edge to react to
    sound = np.concatenate([np.zeros(lead), _sound(timbre, level, np.arange(round(CLICK_LENGTH_S * rate)) / rate)])
    return (attack_index(sound.astype(np.float32), rate) - lead) / rate


@lru_cache(maxsize=32)
def _gain(timbre: str, level: str) -> float:
    """The factor that brings a timbre to its level."""
    t = np.arange(round(CLICK_LENGTH_S * 192_000)) / 192_000
    return PEAK * 10 ** (LEVEL_DB[level] / 20) / float(np.abs(_sound(timbre, level, t)).max())


def _sound(timbre: str, level: str, t: Floats) -> Floats:
    """A timbre at times t ≥ 0 after its beginning: decaying partials (or a steady tone), started and ended smoothly."""
    high = 1.25 if level == "accent" else 1.0  # a major third: heard as the same instrument, told apart at once
    start = 0.5 - 0.5 * np.cos(np.pi * np.clip(t / ONSET_S, 0, 1))
    end = np.clip((CLICK_LENGTH_S - t) / 0.005, 0, 1)
    sound: Floats = start * end * _BODY[timbre](t, high)
    return sound


def _partials(*parts: tuple[float, float, float]) -> Callable[[Floats, float], Floats]:
    """A sum of decaying sines, each (Hz, amplitude, decay to 1/e in s)."""

    def body(t: Floats, high: float) -> Floats:
        total = np.zeros_like(t)
        for hz, amplitude, decay_s in parts:
            total += amplitude * np.exp(-t / decay_s) * np.sin(2 * np.pi * hz * high * t)
        return total

    return body


def _beep(t: Floats, high: float) -> Floats:
    """40 ms of 1.6 or 2 kHz: above 1.5 kHz, where the rule listens, and easy to hear at a low level."""
    tone: Floats = np.sin(2 * np.pi * 1600.0 * high * t) * np.clip((0.04 - t) / 0.005, 0, 1)
    return tone


_BODY: dict[str, Callable[[Floats, float], Floats]] = {
    "wood": _partials((1250.0, 1.0, 0.008), (2650.0, 1.0, 0.006), (3900.0, 0.3, 0.003)),
    "stick": _partials((2480.0, 1.0, 0.012), (3150.0, 0.3, 0.006), (5200.0, 0.4, 0.003)),
    "tick": _partials((3100.0, 1.0, 0.0015), (4700.0, 0.9, 0.0012), (5900.0, 0.6, 0.001)),
    "beep": _beep,
}
