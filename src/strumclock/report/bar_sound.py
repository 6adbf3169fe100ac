"""A bar to listen to: the recording from half a beat before a bar to its end, as a notebook plays it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from strumclock.arrays import Samples
from strumclock.errors import UsageError
from strumclock.fields import whole_between
from strumclock.report.page_bars import chart
from strumclock.report.page_sound import RATE_HZ
from strumclock.report.sound import marked
from strumclock.showing import Shown

if TYPE_CHECKING:
    from strumclock.audio import Recording
    from strumclock.pipeline import Measurement

BIT_RATE = 64_000  # a few seconds: as good as a phone records
AROUND_S = 1.0  # read on either side: a bar alone may be shorter than what counts as a recording
BEFORE_BEATS = 0.5  # so that a strum before the one is heard


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class BarSound(Shown):
    """Some bars of a take, to be played: the last line of a notebook's cell shows a player.

    Attributes
    ----------
    samples : (n,) or (n, 2) float32
        Between -1 and 1.
    sample_rate_hz : int
    start_s : float
        Where in the file it begins [s].
    label : str
        What it is, in words.
    """

    samples: Samples
    sample_rate_hz: int
    start_s: float
    label: str

    def compressed(self) -> bytes:
        """The sound as AAC in an MP4 file, which browsers play."""
        from strumclock.audio.encoding import encode_m4a

        return encode_m4a(self.samples, self.sample_rate_hz, bit_rate=BIT_RATE, rate_hz=RATE_HZ)


def hear_bar(
    measurement: Measurement,
    bar: int,
    *,
    bars: int = 1,
    ticks: bool = False,
    recording: Recording | None = None,
) -> BarSound:
    """Some bars of a take to listen to, from half a beat before.

    Parameters
    ----------
    measurement : Measurement
        With a grid.
    bar : int
        The first, as the take counts them, from 1.
    bars : int
        How many.
    ticks : bool
        The take on the left and a short tone at each place of the pattern on the right, as `write_sound` writes it.
    recording : Recording, optional
        The take; by default it is read again from its file.

    Returns
    -------
    BarSound

    Raises
    ------
    UsageError
        If the take has no such bar, or was an array and no recording is given.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_recording, example_take
    >>> sound = sc.hear_bar(example_take(), 3, recording=example_recording())
    >>> sound.label, round(len(sound.samples) / sound.sample_rate_hz, 1)  # 4.5 beats at 96 bpm
    ('bar 3', 2.8)
    """
    drawn = chart(measurement)
    known = {one.number: one for one in drawn.bars} if drawn is not None else {}
    if not known:
        raise UsageError("a bar to hear needs a take that was held against a grid; measure it without free")
    bar = whole_between("bar", bar, min(known), max(known), "the bar to hear")
    bars = whole_between("bars", bars, 1, max(known) - bar + 1, "the bars to hear")
    wanted = [known[number] for number in range(bar, bar + bars) if number in known]
    if not wanted:
        raise UsageError(f"bar {bar} has no places of the pattern in it; choose from {min(known)} to {max(known)}")
    beat_s = 60 / measurement.exercise.bpm if measurement.exercise.bpm else 0.5
    start_s, end_s = max(wanted[0].start_s - BEFORE_BEATS * beat_s, 0.0), wanted[-1].end_s
    if recording is None:
        if measurement.take.path is None:
            raise UsageError("hearing a bar needs the recording, and the take has no file; pass recording= too")
        from strumclock.audio import load

        around_s = max(start_s - AROUND_S, 0.0), end_s + AROUND_S
        recording = load(measurement.take.path, start_s=around_s[0], end_s=around_s[1])
    both = marked(measurement, recording)
    rate_hz = recording.sample_rate_hz
    first = max(round((start_s - recording.start_s) * rate_hz), 0)
    cut = both[first : round((end_s - recording.start_s) * rate_hz)]
    label = f"bar {bar}" if bars == 1 else f"bars {bar} to {bar + bars - 1}"
    sound = BarSound(samples=cut, sample_rate_hz=rate_hz, start_s=start_s, label=label)
    if ticks:
        return replace(sound, label=f"{label}, with a tone at each place on the right")
    return replace(sound, samples=cut[:, 0])
