"""Where the clicks are.

Two finders propose candidates, even clicks and uneven ones, and one scorer weighs both against chance; the best is
looked for beyond its ends, and placed exactly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Floats, Samples
from strumclock.audio.channel import Channel
from strumclock.audio.decimation import TARGET_RATE_HZ, decimation_for
from strumclock.click.candidate import Candidate
from strumclock.click.countin import find_count_in
from strumclock.click.even import PLAIN_SCORE, Scan, find_even
from strumclock.click.matching import Matcher
from strumclock.click.preprocessing import preprocess
from strumclock.click.refining import Take, refine
from strumclock.click.segments import find_segments
from strumclock.click.uneven import again, between, find_uneven
from strumclock.click.values import ALIKE_SHARE, Clicks, to_the_end
from strumclock.errors import UsageError

SHORTEST_S = 0.5
"""Nothing shorter than this can hold three clicks."""


HIGH_RATE_HZ = 22_050.0
"""Clicks are looked for below 5 kHz; where none is clear there, at about this rate too: a closed hi-hat lies above."""


HIGH_FROM_HZ = 1000.0
"""What lies below hardly counts in that second search: strings swing there, and an even player's fundamentals came back
so exactly that they passed for a click (2 of some 2,550 synthesised takes; two thirds and four fifths of those sounds
lay below). Calibrated with sweep_kinds.py at -20 and -26 dB: found 0.907 with 0 and with this, 0.895 with
2000, 0.884 with 4000."""


CLEAR_SHARE, BEGIN_S = 0.8, 2.0
"""Clicks are plain where so many of those on the line are heard, from before this time: short quiet ticks may have more
above 5 kHz, and a closed hi-hat is hardly heard below in a quiet count-in."""


SKEW_HINTS = (0.5, 1.0, 2.0)
"""A given tempo may mean clicks on the halves of the beat, on the beat, or on every other one."""


def find_clicks(
    samples: ArrayLike | Channel,
    sample_rate_hz: float,
    *,
    start_s: float = 0.0,
    bpm: float | None = None,
    beats_per_bar: int | None = None,
    nominal_s: ArrayLike | None = None,
    source: str = "recording",
    low: Samples | None = None,
) -> Clicks | None:
    """Find the clicks of a metronome in a recording, whatever they sound like.

    What makes a click is that the same waveform comes back at the same distance to a fraction of a millisecond;
    loudness is not needed, a tempo need not be told.

    Parameters
    ----------
    samples : float array, shape (n,), or Channel
        One that need not be in memory is a `Channel`.
        One channel.
    sample_rate_hz : float
    start_s : float
        File time of samples[0].
    bpm : float, optional
        The tempo given. It may be wrong, half or double: it only helps where clicks are few.
    beats_per_bar : int, optional
        After how many clicks accents are looked for; without it they are looked for after 2 to 12.
    nominal_s : float array, shape (m,), optional
        Given times of the clicks (a tempo map), increasing, of which only the start and the clocks' ratio are unknown.
    source : str
        Passed on into the result.
    low : float32 array, optional
        ``audio.decimation.decimated(samples, sample_rate_hz)[0]`` where the caller has it already.

    Returns
    -------
    Clicks or None
        None where there is no click.

    Raises
    ------
    UsageError
        Where the samples are not one channel of finite numbers, or the given times do not increase.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> tick = rng.standard_normal(200) * np.exp(-np.arange(200) / 40)
    >>> take = 0.01 * rng.standard_normal(8 * 16000)
    >>> for start in range(4000, 120000, 8000):
    ...     take[start : start + 200] += tick
    >>> clicks = find_clicks(take, 16000)
    >>> len(clicks.time_s), round(clicks.interval_s, 5), clicks.extent
    (15, 0.5, 'throughout')
    """
    take = _checked(samples, sample_rate_hz, start_s=start_s, source=source, nominal_s=nominal_s)
    if take is None:
        return None
    if low is None:
        low, _ = take.samples.decimated(TARGET_RATE_HZ)
    if not np.any(low):
        return None
    hints_s = () if bpm is None else tuple(60 / bpm * m for m in SKEW_HINTS)
    match, found = _heard_best(take, low, hints_s, beats_per_bar)
    if found is None:
        return None
    alone = take.nominal_s is not None or not found.even
    return refine(take, match, (found,) if alone else find_segments(match, found, beats_per_bar))


def _checked(
    samples: ArrayLike | Channel, sample_rate_hz: float, *, start_s: float, source: str, nominal_s: ArrayLike | None
) -> Take | None:
    """The recording and what was given, as it is to be; None where it is too short."""
    if isinstance(samples, Channel):
        x = samples
    else:
        array = np.ascontiguousarray(samples, dtype=np.float32)
        if array.ndim != 1:
            raise UsageError(
                f"clicks are looked for in one channel, not in an array of shape {array.shape}: choose a channel"
            )
        x = Channel.of(array, sample_rate_hz)
    if not sample_rate_hz > 0:
        raise UsageError(f"a sample rate above 0 Hz is required, not {sample_rate_hz}")
    given = None if nominal_s is None else np.asarray(nominal_s, dtype=np.float64)
    if given is not None and (given.ndim != 1 or len(given) < 3 or not np.all(np.diff(given) > 0)):
        raise UsageError("given click times must be at least 3 and increase")
    if len(x) < SHORTEST_S * sample_rate_hz:
        return None
    if x is not samples and not x.survey().is_finite:  # a recording's channel has been examined
        raise UsageError("the samples hold a number that is not finite: repair or leave out that part")
    return Take(samples=x, sample_rate_hz=sample_rate_hz, start_s=start_s, source=source, nominal_s=given)


def _heard_best(
    take: Take, low: Samples, hints_s: tuple[float, ...], beats_per_bar: int | None
) -> tuple[Matcher, Candidate | None]:
    """The best candidate below 5 kHz or, where none is clear there, up to 11 kHz; and the signal it was found in."""
    rate_hz = take.sample_rate_hz
    match = Matcher.of(preprocess(low, rate_hz / decimation_for(rate_hz)))
    found = _candidate(match, hints_s, take.nominal_s, beats_per_bar)
    if _clear(found, match) or decimation_for(rate_hz) == decimation_for(rate_hz, HIGH_RATE_HZ):
        return match, found
    high = Matcher.of(preprocess(*take.samples.decimated(HIGH_RATE_HZ), HIGH_FROM_HZ))
    # what is heard of a wind-up metronome lies below 5 kHz
    there = _candidate(high, hints_s, take.nominal_s, beats_per_bar, uneven=False)
    if there is not None and (found is None or _better(there, high, found, match)):
        return high, there
    return match, found


def _candidate(
    match: Matcher,
    hints_s: tuple[float, ...],
    nominal_s: Floats | None,
    beats_per_bar: int | None,
    *,
    uneven: bool = True,
) -> Candidate | None:
    """The clicks that stand out from chance: even ones, uneven ones, or those of a count-in."""
    scan = Scan(match.signal)
    even = find_even(match, scan, hints_s=hints_s, nominal_s=nominal_s, beats_per_bar=beats_per_bar)
    if nominal_s is not None:
        return even
    if even is not None:
        return (between(match, even) or again(match, even) or even) if uneven else even
    early = scan.early
    if early is None:
        return None
    found = find_uneven(match, *early, hints_s) if uneven else None
    return found or find_count_in(match, *early, hints_s)


def _better(there: Candidate, high: Matcher, found: Candidate, match: Matcher) -> bool:
    """Whether more is heard there; what was heard plainly keeps its tempo."""
    ratio = there.interval / high.signal.rate_hz / (found.interval / match.signal.rate_hz)
    alike = abs(ratio - 1) < ALIKE_SHARE
    return there.score > found.score and (alike or found.score < PLAIN_SCORE)


def _clear(found: Candidate | None, match: Matcher) -> bool:
    """Whether clicks are heard plainly, nearly all of them, from the beginning to the end."""
    if found is None or found.score < PLAIN_SCORE or np.mean(found.heard) < CLEAR_SHARE:
        return False
    rate_hz = match.signal.rate_hz
    first_s, last_s = ((found.start + found.step * float(n)) / rate_hz for n in found.nominal[[0, -1]])
    return first_s < BEGIN_S and to_the_end(last_s, len(match.signal.samples) / rate_hz)
