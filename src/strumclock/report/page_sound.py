"""The sounds that a page holds: the take, and the take with a tick on every grid line in the other ear."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING

from strumclock.errors import AudioFileError
from strumclock.report.sound import expected_places, marked, take_again

if TYPE_CHECKING:
    from strumclock.audio import Recording
    from strumclock.pipeline import Measurement

MOST_BYTES = 1_900_000
"""Of both sounds together, before they are written as text, which takes a third more: a page of three minutes stays
below 3 MB, though the encoder takes up to a tenth more than it is told."""

BIT_RATES = (24_000, 64_000)  # of each: from clear to as good as a phone records
RATE_HZ = 32_000  # by hand: keeps 16 kHz, beyond which a phone's recording has little


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounds:
    """The sounds of one page, as addresses that hold all of their data.

    Attributes
    ----------
    start_s : float
        Where in the file they begin.
    take, ticked : str
    """

    start_s: float
    take: str
    ticked: str


def sounds(m: Measurement, recording: Recording | None = None) -> Sounds | None:
    """The two sounds; None where the take was no file and is not given, or has no grid to tick.

    Parameters
    ----------
    m : Measurement
    recording : Recording, optional
        The take; by default it is read again from its file.
    """
    if not expected_places(m):
        return None
    if recording is None:
        if m.take.path is None:
            return None
        try:
            recording = take_again(m)
        except AudioFileError:  # measured once, and moved since
            return None
    from strumclock.audio.encoding import encode_m4a

    both = marked(m, recording)
    room = int(8 * MOST_BYTES / max(len(both) / recording.sample_rate_hz, 1.0) / 2)
    rate = min(max(room, BIT_RATES[0]), BIT_RATES[1])
    data = [
        encode_m4a(samples, recording.sample_rate_hz, bit_rate=rate, rate_hz=RATE_HZ) for samples in (both[:, 0], both)
    ]
    take, ticked = (f"data:audio/mp4;base64,{base64.b64encode(x).decode('ascii')}" for x in data)
    return Sounds(start_s=recording.start_s, take=take, ticked=ticked)
