"""A Standard MIDI File's tempo map, and the grid of an exercise along it."""

from __future__ import annotations

import math
import os
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Floats
from strumclock.audio.files import regular_file
from strumclock.errors import AudioFileError, UsageError
from strumclock.grid import BARS_MAX, BeatGrid, Exercise, Meter, lay_out, parse_meter

LEAST_US_PER_QUARTER = 30_000  # whole notes at 400 a minute, the fastest beats that an exercise may have, have 37 500
DEFAULT_US_PER_QUARTER = 500_000  # 120 quarters a minute, where a file tells no tempo (SMF 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoMap:
    """Tempo and meter changes of a Standard MIDI File.

    Attributes
    ----------
    ticks_per_quarter : int
    tempi : tuple of (tick, µs per quarter)
        From tick 0, increasing.
    meters : tuple of (tick, Meter)
        From tick 0, increasing.
    end_tick : int
        Of the last event.
    """

    ticks_per_quarter: int
    tempi: tuple[tuple[int, int], ...]
    meters: tuple[tuple[int, Meter], ...]
    end_tick: int

    def seconds(self, ticks: ArrayLike) -> Floats:
        """Time of ticks, which may be fractional [s].

        Examples
        --------
        >>> tempi = ((0, 500_000), (960, 250_000))
        >>> m = TempoMap(ticks_per_quarter=480, tempi=tempi, meters=((0, Meter(4, 4)),), end_tick=1440)
        >>> m.seconds([480, 960, 1440]).tolist()
        [0.5, 1.0, 1.25]
        """
        asked = np.asarray(ticks, dtype=np.float64)
        starts = [tick for tick, _ in self.tempi]
        sums = [0]  # whole numbers: tick · µs per quarter
        for (a, us), (b, _) in pairwise(self.tempi):
            sums.append(sums[-1] + (b - a) * us)
        which = np.maximum(np.searchsorted(starts, asked, side="right") - 1, 0)
        speed = np.array([us for _, us in self.tempi], dtype=np.float64)[which]
        within = (asked - np.array(starts, dtype=np.float64)[which]) * speed
        total: Floats = (np.array(sums, dtype=np.float64)[which] + within) / (self.ticks_per_quarter * 1e6)
        return total

    def bars(self) -> Iterator[tuple[int, Meter]]:
        """Start tick and meter of every bar, without end; a new meter always begins a bar."""
        changes = [tick for tick, _ in self.meters]
        tick = 0
        while True:
            i = bisect_right(changes, tick) - 1
            meter = self.meters[i][1]
            yield tick, meter
            tick += round(meter.upper * 4 * self.ticks_per_quarter / meter.lower)
            if i + 1 < len(changes):
                tick = min(tick, changes[i + 1])


def read_tempo_map(path: str | os.PathLike[str]) -> TempoMap:
    """Read the tempo map of a Standard MIDI File.

    Raises
    ------
    AudioFileError
        If there is no file, it is no MIDI, or it counts video frames instead of quarter notes.
    """
    import mido

    required = "a Standard MIDI File was required, but"
    file = regular_file(path, required)
    try:
        _check_chunks(file)
        midi = mido.MidiFile(str(file))
    except (OSError, EOFError, ValueError, KeyError, IndexError, TypeError, mido.KeySignatureError) as e:
        reason = str(e) or "it ends too early"
        raise AudioFileError(f"{required} {str(file)!r} cannot be read as one ({reason}); export it again") from None
    per_quarter = int(midi.ticks_per_beat)
    if midi.type == 2 or per_quarter <= 0:
        raise AudioFileError(
            f"{required} {str(file)!r} has independent tracks or counts video frames; export it with a tempo track"
        )
    tempi, meters, end = {0: DEFAULT_US_PER_QUARTER}, {0: Meter(4, 4)}, 0
    for track in midi.tracks:
        tick = 0
        for message in track:
            tick += int(message.time)
            if message.type == "set_tempo":
                if message.tempo < LEAST_US_PER_QUARTER:
                    raise AudioFileError(
                        f"{required} {str(file)!r} tells {int(message.tempo)} µs a quarter note, and at least "
                        f"{LEAST_US_PER_QUARTER} can be played; export it again"
                    )
                tempi[tick] = int(message.tempo)
            elif message.type == "time_signature":
                meters[tick] = parse_meter(f"{message.numerator}/{message.denominator}")
        end = max(end, tick)
    return TempoMap(
        ticks_per_quarter=per_quarter,
        tempi=tuple(sorted(tempi.items())),
        meters=tuple(sorted(meters.items())),
        end_tick=end,
    )


def _check_chunks(file: Path) -> None:
    """Refuse chunks that are longer than the file: room for all that they announce would be made."""
    size, at = file.stat().st_size, 0
    with file.open("rb") as f:
        while len(head := f.read(8)) == 8:
            at += 8 + int.from_bytes(head[4:], "big")
            if at > size:
                raise EOFError
            f.seek(at)


def grid_from_midi(path: str | os.PathLike[str], exercise: Exercise) -> BeatGrid:
    """The grid of an exercise along a Standard MIDI File's tempo map, first played downbeat at 0.

    Tempo and meter come from the file, whatever the exercise tells; parts of the beat, pattern, swing, chords, count-in
    and bars from the exercise.  The file's first ``count_in`` bars are counted in.  Pattern and chords begin anew where
    the meter changes.  Without ``bars`` the grid goes to the end of the bar in which the file's last event lies; with
    it, the last tempo and meter go on as long as needed.

    Parameters
    ----------
    path : path
    exercise : Exercise

    Returns
    -------
    BeatGrid

    Raises
    ------
    AudioFileError
        If the file cannot be read as a Standard MIDI File.
    UsageError
        If no played bar is left, or the pattern does not fill whole beats.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from strumclock.grid import grid_from_beats
    >>> from strumclock.midi import write_midi
    >>> exercise = Exercise(meter="2/4", per_beat=1)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "slower.mid"
    ...     write_midi(path, grid_from_beats([0.0, 0.5, 1.1, 1.8], exercise))
    ...     grid_from_midi(path, exercise).slot_s.round(3).tolist()
    [0.0, 0.5, 1.1, 1.8]
    """
    tempo = read_tempo_map(path)
    count_in = exercise.count_in or 0
    bars = _bars(tempo, None if exercise.bars is None else count_in + exercise.bars)
    counted, played = bars[:count_in], bars[count_in:]
    if not played:
        raise UsageError(
            f"a MIDI file with a bar after the count-in was required, but {str(path)!r} has {len(bars)} and {count_in} "
            "are counted in; tell the bars played or a shorter count-in"
        )
    before = [tick for bar in counted for tick in bar.lines]
    edges = np.array(before + [tick for bar in played for tick in bar.lines] + [float(played[-1].end)])
    sizes = [len(bar.lines) for bar in played]
    zero = tempo.seconds(played[0].lines[0])
    first_line = np.cumsum([0, *sizes[:-1]])
    new = [i == 0 or played[i].meter != played[i - 1].meter for i in range(len(played))]

    def place(lines: Floats) -> Floats:
        return tempo.seconds(np.interp(lines + len(before), np.arange(len(edges)), edges)) - zero

    return lay_out(
        exercise,
        meter=played[0].meter,
        line_bar=np.repeat(np.arange(1, len(played) + 1), sizes),
        line_beat=np.concatenate([np.arange(1, n + 1) for n in sizes]),
        place=place,
        count_in=len(before),
        restart=first_line[new],
    )


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar of a tempo map: its meter, the ticks of its beat lines and the tick where it ends."""

    meter: Meter
    lines: tuple[float, ...]
    end: int


def _bars(tempo: TempoMap, wanted: int | None) -> list[_Bar]:
    """So many bars of a tempo map, or those that begin before its last event."""
    bars: list[_Bar] = []
    starts = tempo.bars()
    start, meter = next(starts)
    while start < tempo.end_tick if wanted is None else len(bars) < wanted:
        if len(bars) >= BARS_MAX:
            raise UsageError(f"at most {BARS_MAX} bars were required, but the MIDI file has more; tell the bars played")
        end, following = next(starts)
        beat = meter.beat_quarters * tempo.ticks_per_quarter
        lines = max(1, math.ceil((end - start) / beat - 1e-9))  # fewer than the meter's where a new one cuts the bar
        bars.append(_Bar(meter, tuple(start + i * beat for i in range(lines)), end))
        start, meter = end, following
    return bars
