"""From samples to `Strums`: candidates, evidence, decision."""

from __future__ import annotations

import bisect
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Floats, Samples
from strumclock.audio.decimation import decimated
from strumclock.errors import Notice, UsageError
from strumclock.onsets.bands import STEP_S, STEPS
from strumclock.onsets.comparison import SURE_S, compared
from strumclock.onsets.detector import Calibration, Detector, shipped_detector
from strumclock.onsets.doubtful import Opinion, as_doubtful, away, likeliest, pooled, unexplained
from strumclock.onsets.levels import LAG_S, Levels, measure_levels, pictures, rises
from strumclock.onsets.network import probabilities, worth_a_look
from strumclock.onsets.places import doubt_of, place_of, smearing
from strumclock.onsets.residual import BEFORE_S, STRUM_CHANNELS, evidence, on_samples
from strumclock.onsets.strums import LEAD_S, TAIL_S, Ignored, Strums

if TYPE_CHECKING:
    from strumclock.click import Clicks, Removal

LEAST_GAP_S = 0.080  # nearer than this, two candidates are strings of one strum; the fastest strums are 100 ms apart
SECOND_LOOK_S = 0.015  # the second look is centred so much after the first one's answer
WELL_CENTRED_S = (0.002, 0.032)  # a strum so much before its candidate was seen well
BLOCK = 256  # candidates looked at together: bounds the memory
LONGEST_LOOK_S = 0.030  # level of a strum is read so much after its time
BESIDE_S = (0.028, 0.025)  # before and after a time, so that the levels' windows do not overlap

CUT_IN_S = 0.002  # what begins with the recording was sounding before it

WORTH_NAMING_DB = 3.0  # a rejected rise smaller than this is not listed
SOFT_DB = -20.0  # against the median strum; by hand: softer sounds are handling, also where a strum is expected
UNSURE_S = 0.003  # by hand: such strums are counted in a notice, nothing else hangs on it

# A second opinion, where a detector holds one. Calibrated with a sweep of five takes recorded twice and 130 simulated
# ones: the values at which no kind of take lost.
SURE_P = 0.9  # a strum less likely needs both; one that only the second hears must be so likely …
HEARD_P = 0.5  # the second hears a strum if it is so likely
NEW_U_S = 0.003  # … known so well, …
NEW_GAP_S = 0.100  # … and so far from every other


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
    about_s = rise_s[_worth(levels, frame, detector)]
    look = _look(x, rate, removed, levels, 1 / peak, about_s, detector)
    smeared = smearing(look.steps[look.likely >= calibration.least_probability], calibration)
    time_s, u_s = look.times(calibration, smeared)
    least = np.where(u_s < calibration.sharp_s, calibration.least_if_sharp, calibration.least_probability)
    barred = _stopped(levels, time_s, calibration) | (time_s < CUT_IN_S)
    opinion = Opinion(time_s=time_s, u_s=u_s, p=np.where(barred, 0.0, look.likely))
    chosen = _apart(time_s, np.where(look.likely < least, 0.0, opinion.p))
    look, time_s, u_s, early_s = look.of(chosen), time_s[chosen], u_s[chosen], about_s[chosen] - time_s[chosen]
    p = look.likely.copy()  # a look that is centred well sees the time better, not whether there is a strum
    again = np.flatnonzero((u_s > SURE_S) & ((early_s < WELL_CENTRED_S[0]) | (early_s > WELL_CENTRED_S[1])))
    for few in np.split(again, range(BLOCK, len(again), BLOCK)):
        look.put(few, _look(x, rate, removed, levels, 1 / peak, time_s[few] + SECOND_LOOK_S, detector))
    time_s, u_s = look.times(calibration, smeared, compared(look.steps, look.evidence, calibration, smeared))
    if detector.second is not None:
        open_s = _open(levels, time_s, p, detector.second)
        second = _opinion(_look(x, rate, removed, levels, 1 / peak, open_s, detector.second), detector.second)
        time_s, u_s, p = _with_second(time_s, u_s, p, second)
        opinion = pooled(opinion, second, unheard_p=detector.second.calibration.least_worth)
    order = np.argsort(time_s, kind="stable")
    time_s, u_s = time_s[order], u_s[order]
    strength = _strength(levels, time_s)
    reference = float(np.median(strength)) if len(strength) else 0.0
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """What was seen around each of n candidates.

    Attributes
    ----------
    from_s : ndarray, shape (n,)
        Time of the first step [s].
    steps : ndarray, shape (n, STEPS)
        Probability that a strum began in each step, given that one did.
    likely : ndarray, shape (n,)
        Probability that one did.
    evidence : float32 ndarray, shape (n, STEPS, STRUM_CHANNELS)
        What was seen of a strum at each step.
    """

    from_s: Floats
    steps: Floats
    likely: Floats
    evidence: npt.NDArray[np.float32]

    def times(self, calibration: Calibration, smeared: float, steps: Floats | None = None) -> tuple[Floats, Floats]:
        """Time and uncertainty of each strum [s].

        Steps that are surer, after a look at the others of the take, may place it; its doubt stays that of its own.
        """
        place = place_of(self.steps if steps is None else steps, calibration, smeared)
        return self.from_s + place * STEP_S, doubt_of(self.steps, place, calibration) * STEP_S

    def of(self, chosen: npt.NDArray[np.intp]) -> _Look:
        """The look at these candidates alone."""
        return _Look(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})

    def put(self, again: npt.NDArray[np.intp], look: _Look) -> None:
        """Replace the look at some candidates by another at them."""
        for field in fields(self):
            getattr(self, field.name)[again] = getattr(look, field.name)


def _look(
    x: Samples,
    rate_hz: float,
    removed: Samples | None,
    levels: Levels,
    gain: float,
    centre_s: Floats,
    detector: Detector,
) -> _Look:
    """Look at the surroundings of each centre."""
    centre_s = on_samples(centre_s, rate_hz)
    steps, likely = np.empty((len(centre_s), STEPS)), np.empty(len(centre_s))
    kept = np.empty((len(centre_s), STEPS, STRUM_CHANNELS), np.float32)
    frame = np.clip(np.round((centre_s + LAG_S / 2) / levels.hop_s), 0, len(levels.total_db) - 1).astype(np.intp)
    for a in range(0, len(centre_s), BLOCK):
        part = slice(a, a + BLOCK)
        seen = evidence(x, rate_hz, centre_s[part], removed, gain=gain)
        p = probabilities(seen, pictures(levels, frame[part]), detector.weights)
        steps[part] = p[:, :STEPS] / np.maximum(p[:, :STEPS].sum(axis=1, keepdims=True), 1e-12)
        likely[part] = 1 - p[:, STEPS]
        kept[part] = seen[:, :, :STRUM_CHANNELS]
    return _Look(from_s=centre_s - BEFORE_S, steps=steps, likely=likely, evidence=kept)


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


def _worth(levels: Levels, frame: npt.NDArray[np.intp], detector: Detector) -> npt.NDArray[np.bool_]:
    """Which of the rises are worth a look."""
    worth = np.ones(len(frame), bool)
    if detector.calibration.least_worth <= 0:
        return worth
    for a in range(0, len(frame), BLOCK):
        part = slice(a, a + BLOCK)
        seen = worth_a_look(pictures(levels, frame[part]), detector.weights)
        worth[part] = seen >= detector.calibration.least_worth
    return worth


def _open(levels: Levels, time_s: Floats, p: Floats, second: Detector) -> Floats:
    """Where the second detector looks: the strums that are not sure, and rises that no strum explains."""
    frame = rises(levels, second.calibration.least_rise_db)
    rise_s: Floats = frame.astype(np.float64) * levels.hop_s - LAG_S / 2
    alone = away(rise_s - SECOND_LOOK_S, time_s) > LEAST_GAP_S
    worth = _worth(levels, frame[alone], second)
    return np.concatenate([time_s[p < SURE_P] + SECOND_LOOK_S, rise_s[alone][worth]])


def _opinion(look: _Look, detector: Detector) -> Opinion:
    """What a second detector says of what it looked at."""
    time_s, u_s = look.times(detector.calibration, 0.0)
    return Opinion(time_s=time_s, u_s=u_s, p=np.where(time_s < CUT_IN_S, 0.0, look.likely))


def _with_second(time_s: Floats, u_s: Floats, p: Floats, second: Opinion) -> tuple[Floats, Floats, Floats]:
    """The strums after a second detector's look at what is open: without the unsure ones that it does not hear, with
    those that it alone hears and is sure of."""
    chosen = _apart(second.time_s, np.where(second.p < HEARD_P, 0.0, second.p))
    heard_s, heard_u_s, heard_p = second.time_s[chosen], second.u_s[chosen], second.p[chosen]
    kept = (p >= SURE_P) | (away(time_s, heard_s) < LEAST_GAP_S)
    time_s, u_s, p = time_s[kept], u_s[kept], p[kept]
    new = (heard_p >= SURE_P) & (heard_u_s <= NEW_U_S) & (away(heard_s, time_s) > NEW_GAP_S)
    return (
        np.concatenate([time_s, heard_s[new]]),
        np.concatenate([u_s, heard_u_s[new]]),
        np.concatenate([p, heard_p[new]]),
    )


def _stopped(levels: Levels, time_s: Floats, calibration: Calibration) -> npt.NDArray[np.bool_]:
    """Whether the sound only ended there: much quieter after than before, and louder in hardly any band."""
    before, after = _at(levels, time_s - BESIDE_S[0]), _at(levels, time_s + BESIDE_S[1])
    louder_db = 20 * np.maximum(levels.level(after) - levels.level(before), 0).mean(axis=1)
    fell_db = levels.total_db[before] - levels.total_db[after]
    stopped: npt.NDArray[np.bool_] = (fell_db > calibration.fell_db) & (louder_db < calibration.louder_db)
    return stopped


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
    if clicks is not None and np.any(np.abs(clicks.every_s - start_s - time_s) < 0.03):
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
