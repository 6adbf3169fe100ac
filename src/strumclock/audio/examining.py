"""What makes samples fit to be measured, and what is weak about those that are."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Samples
from strumclock.audio.stored import Store, Survey
from strumclock.errors import Notice, RecordingError

MIN_DURATION_S = 1.0  # shorter than two strums at any tempo that is practised
MAX_SAMPLE = 2.0**31  # the largest of any whole numbers that samples come in, where somebody forgot to scale them
MIN_PEAK = 1e-9  # -180 dB: below, squares of samples are lost in single precision
SILENCE_PEAK = 1e-4  # −80 dB re full scale, three steps of 16 bits: no strum can be told from rounding there
CLIP_MARGIN = 2.0**-13  # "at the top" is within 1/8192 of the peak: four steps of 16 bits, dither and rounding make two
LOSSY_CLIP_LEVEL = 0.98  # lossy codecs bend flat tops by several per cent: there, the top is full scale less 2 %
CLIP_RUN_S = 9e-5  # a sine of the lowest string is that near its own top for 6e-5 s, whatever the sample rate
CLIP_RUN = 3  # samples in a row, at the least
CLIP_MIN_RUNS = 8  # one flat peak may be chance; below this many nothing is said


def examine(
    store: Store,
    rate: int,
    *,
    what: str,
    silence_peak: float = SILENCE_PEAK,
    lossy: bool = False,
) -> tuple[Notice, ...]:
    """Refuse samples that cannot be measured; say what is weak about the others.

    Parameters
    ----------
    store : Store
    rate : int
        Sample rate [Hz].
    what : str
        How messages name it.
    silence_peak : float
        Peak about the mean at or below which it is silence.
    lossy : bool
        Whether they come from a codec that does not keep the samples' values.

    Raises
    ------
    RecordingError
        If too short, not finite, or silent.
    """
    duration = store.frames / rate
    if duration < MIN_DURATION_S:
        raise RecordingError(
            f"a take must last at least {MIN_DURATION_S:g} s, but {what} lasts {duration:.3g} s; record some bars"
        )
    survey = store.known or Survey.of(store)
    if not survey.is_finite:
        raise RecordingError(
            f"samples must be finite numbers, but {what} holds NaN or infinity; repair or export it again"
        )
    low, high = survey.low, survey.high
    if max(-low, high) > MAX_SAMPLE:
        raise RecordingError(
            f"samples must lie near full scale, ±1, but {what} holds {max(-low, high):.3g}; scale or export it again"
        )
    if (high - low) / 2 <= max(silence_peak, MIN_PEAK):
        raise RecordingError(f"a take must hold sound, but {what} is silent; check the microphone and its permission")
    margin = CLIP_MARGIN * max(-low, high)
    top, bottom = (LOSSY_CLIP_LEVEL, -LOSSY_CLIP_LEVEL) if lossy else (high - margin, low + margin)
    run = CLIP_RUN if lossy else max(CLIP_RUN, math.ceil(CLIP_RUN_S * rate))
    share = clipped_share(store, top, bottom, run) if low <= bottom or high >= top else 0.0
    if not share:
        return ()
    where = "within 2 % of full scale or beyond" if lossy else "at the top of the scale"
    likely = "very likely clipped before it was encoded" if lossy else "clipped"
    return (
        Notice(
            code="clipped",
            message=f"{_percent(share)} of the samples lie {where}, {run} or more in a row: the take {likely} "
            "and its attacks are less sharply known; record at a lower level",
        ),
    )


def clipped_share(store: Store, top: float, bottom: float, run: int) -> float:
    """Share of samples in flat tops: runs of so many or more beyond `top` or `bottom`; 0 for fewer than eight runs."""
    flat = runs = 0

    def take(block: Samples) -> None:
        nonlocal flat, runs
        if float(block.max()) < top and float(block.min()) > bottom:
            return
        for at in (block >= top, block <= bottom):
            for c in range(at.shape[1]):
                lengths = _run_lengths(at[:, c])
                lengths = lengths[lengths >= run]
                flat, runs = flat + int(lengths.sum()), runs + len(lengths)

    store.each(take)
    return flat / (store.frames * store.channels) if runs >= CLIP_MIN_RUNS else 0.0


def _run_lengths(at: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Lengths of the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], at, [False]]).astype(np.int8)))
    return (edges[1::2] - edges[::2]).astype(np.int64)


def _percent(share: float) -> str:
    """A share in percent that never reads as none."""
    return "less than 0.01 %" if share < 1e-4 else f"{100 * share:.2g} %"
