"""From samples to `Strums`: candidates, evidence, decision."""

from __future__ import annotations

import bisect
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Floats
from strumclock.audio.decimation import decimated
from strumclock.errors import Notice, UsageError
from strumclock.onsets.comparison import SURE_S
from strumclock.onsets.detector import Calibration, Detector, shipped_detector
from strumclock.onsets.doubtful import Opinion, as_doubtful, likeliest, unexplained
from strumclock.onsets.levels import LAG_S, Levels, measure_levels, rises
from strumclock.onsets.looking import BLOCK, Scene, look_at, worth_looking
from strumclock.onsets.strums import CLICK_S, LEAD_S, TAIL_S, Ignored, Strums

if TYPE_CHECKING:
    from strumclock.click import Clicks, Removal

LEAST_GAP_S = 0.080  # nearer than this, two candidates are strings of one strum; the fastest strums are 100 ms apart
SECOND_LOOK_S = 0.015  # the second look is centred so much after the first one's answer
WELL_CENTRED_S = (0.002, 0.032)  # a strum so much before its candidate was seen well
LONGEST_LOOK_S = 0.030  # level of a strum is read so much after its time

CUT_IN_S = 0.002  # what begins with the recording was sounding before it

WORTH_NAMING_DB = 3.0  # a rejected rise smaller than this is not listed
SOFT_DB = -20.0  # against the median strum; by hand: softer sounds are handling, also where a strum is expected
UNSURE_S = 0.003  # by hand: such strums are counted in a notice, nothing else hangs on it


def find_strums(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    *,
    start_s: float = 0.0,
    clicks: Clicks | None = None,
    removal: Removal | None = None,
    detector: Detector | None = None,
) -> Strums:
    """Find the strums in one channel: one time for each, the release of its first string by the pick.

    Parameters
    ----------
    samples : array_like, shape (n,)
        One channel, any gain.
    sample_rate_hz : float
        8000 to 192000.
    start_s : float
        File time of the first sample [s].
    clicks : Clicks, optional
        The clicks in the recording; sounds that coincide with one are named so when they are ignored.
    removal : Removal, optional
        The samples without their clicks, which are then read instead, and what was removed: what is left of a
        click must not pass for a strum.
    detector : Detector, optional
        Weights and calibration to find them with; those that come with the package where it is left out.

    Returns
    -------
    Strums

    Raises
    ------
    UsageError
        If the samples are not one finite channel or the rate is out of range.

    Examples
    --------
    >>> len(find_strums(np.zeros(44100), 44100))
    0
    """
    whole = np.asarray(samples if removal is None else removal.samples, dtype=np.float32)
    if whole.ndim != 1 or not np.isfinite(whole).all():
        raise UsageError(f"find_strums needs one channel of finite samples, got shape {whole.shape}; pick a channel.")
    if not 8000 <= sample_rate_hz <= 192000:
        raise UsageError(f"find_strums needs a rate of 8000 to 192000 Hz, got {sample_rate_hz}; resample first.")
    x, rate = decimated(whole, sample_rate_hz)
    detector = detector or shipped_detector()
    calibration = detector.calibration
    peak = max(float(x.max(initial=0.0)), -float(x.min(initial=0.0)))
    if peak == 0.0:
        none = np.empty(0)
        return Strums(time_s=none, u_s=none, strength_db=none, p=none, bias_u_s=calibration.least_bias_u_s)
    removed = None if removal is None else decimated(removal.removed, sample_rate_hz, centred=False)[0]
    levels = measure_levels(x, rate, removed)

    frame = rises(levels, calibration.least_rise_db)
    rise_s: Floats = frame.astype(np.float64) * levels.hop_s - LAG_S / 2
    scene = Scene(samples=x, rate_hz=rate, removed=removed, levels=levels, gain=1 / peak)
    about_s = rise_s[worth_looking(scene, frame, detector)]
    look = look_at(scene, about_s, detector)
    time_s, u_s = look.times(calibration)
    least = np.where(u_s < calibration.sharp_s, calibration.least_if_sharp, calibration.least_probability)
    opinion = Opinion(time_s=time_s, u_s=u_s, p=np.where(time_s < CUT_IN_S, 0.0, look.likely))
    chosen = _apart(time_s, np.where(look.likely < least, 0.0, opinion.p))
    look, time_s, u_s, early_s = look.of(chosen), time_s[chosen], u_s[chosen], about_s[chosen] - time_s[chosen]
    p = look.likely.copy()  # a look that is centred well sees the time better, not whether there is a strum
    again = np.flatnonzero((u_s > SURE_S) & ((early_s < WELL_CENTRED_S[0]) | (early_s > WELL_CENTRED_S[1])))
    for few in np.split(again, range(BLOCK, len(again), BLOCK)):
        look.put(few, look_at(scene, time_s[few] + SECOND_LOOK_S, detector))
    time_s, u_s = look.times_beside_others(calibration)
    order = np.argsort(time_s, kind="stable")
    time_s, u_s = time_s[order], u_s[order]
    strength = _strength(levels, time_s)
    reference = float(np.median(strength)) if len(strength) else 0.0
    opinion = opinion.in_order()
    doubtful = unexplained(opinion, time_s, LEAST_GAP_S)
    ignored = tuple(
        Ignored(time_s=t + start_s, reason=_reason(t, levels, reference, clicks, start_s), p=likeliest(opinion, t))
        for t in _unclaimed(rise_s, levels.rise_db[frame], time_s).tolist()
    )
    return Strums(
        time_s=time_s + start_s,
        u_s=u_s,
        strength_db=strength - reference,
        p=p[order],
        bias_u_s=_shared_u(u_s, calibration),
        ignored=ignored,
        doubtful=as_doubtful(doubtful, _strength(levels, doubtful.time_s) - reference, SOFT_DB, start_s),
        notices=_notices(u_s),
    )


def _apart(time_s: Floats, likely: Floats) -> npt.NDArray[np.intp]:
    """The likeliest candidates of any likelihood, none nearer to a likelier one than `LEAST_GAP_S`."""
    kept: list[tuple[float, int]] = []  # in time order
    for i in np.argsort(-likely, kind="stable"):
        if likely[i] == 0:
            break
        at = bisect.bisect(kept, (float(time_s[i]), -1))
        if all(abs(time_s[i] - t) > LEAST_GAP_S for t, _ in kept[max(at - 1, 0) : at + 1]):
            kept.insert(at, (float(time_s[i]), int(i)))
    return np.array([i for _, i in kept], dtype=np.intp)


def _at(levels: Levels, time_s: Floats) -> npt.NDArray[np.intp]:
    return np.clip(np.round(time_s / levels.hop_s), 0, len(levels.total_db) - 1).astype(np.intp)


def _strength(levels: Levels, time_s: Floats) -> Floats:
    return levels.total_db[_at(levels, time_s + LONGEST_LOOK_S)].astype(np.float64)


def _unclaimed(time_s: Floats, rise_db: npt.NDArray[np.float32], strums_s: Floats) -> Floats:
    """Rises worth naming that belong to no strum."""
    begun = np.concatenate([[-np.inf], strums_s])  # in time order
    latest = begun[np.searchsorted(strums_s, time_s + LEAD_S)]
    alone: Floats = time_s[(rise_db >= WORTH_NAMING_DB) & (time_s - latest >= TAIL_S)]
    return alone


def _reason(time_s: float, levels: Levels, strum_db: float, clicks: Clicks | None, start_s: float) -> str:
    """What speaks against a strum."""
    if clicks is not None and np.any(np.abs(clicks.every_s - start_s - time_s) < CLICK_S):
        return "what is left of a click"
    before, after = (float(levels.total_db[_at(levels, np.array([time_s + s]))[0]]) for s in (-0.045, LONGEST_LOOK_S))
    if after < before + 1.0:
        return "strings were stopped or touched; nothing rang louder after it"
    if after < strum_db + SOFT_DB:
        return "20 dB or more below the strums: handling, a squeak or a touch"
    bands = levels.level(_at(levels, np.array([time_s + 0.02])))[0]
    if bands[: len(bands) // 3].mean() > bands[len(bands) // 3 :].mean() + 0.5:
        return "a low thump, as of a foot or a knock"
    return "no release of strings in it: a voice or another sound"


def _shared_u(u_s: Floats, calibration: Calibration) -> float:
    """Standard uncertainty of what all strums have in common: what they were taken for may be wrong in all of them."""
    rms_s = float(np.sqrt(np.mean(u_s**2))) if len(u_s) else 0.0
    return max(calibration.least_bias_u_s, calibration.bias_share * rms_s)


def _notices(u_s: Floats) -> tuple[Notice, ...]:
    unsure = int(np.sum(u_s > UNSURE_S))
    if len(u_s) and unsure > len(u_s) / 3:
        return (
            Notice(
                code="unsure-times",
                message=f"{unsure} of {len(u_s)} strum times are known only to more than {UNSURE_S * 1000:.0f} ms; "
                "the figures allow for it.",
            ),
        )
    return ()
