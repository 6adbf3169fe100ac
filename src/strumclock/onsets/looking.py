"""A look at the surroundings of candidates: how likely each is a strum, and when it began.

Where the network of a detector is in doubt, its second, learned from other first weights and wider, is asked too: the
mean of their log odds says whether there is a strum, and of their log probabilities when it began. Networks that were
learned apart err apart.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Floats, Samples
from strumclock.onsets.bands import STEP_S, STEPS
from strumclock.onsets.comparison import SURE_S, compared
from strumclock.onsets.detector import Calibration, Detector
from strumclock.onsets.levels import LAG_S, Levels, pictures
from strumclock.onsets.network import Tensor, probabilities, worth_a_look
from strumclock.onsets.places import doubt_of, place_of
from strumclock.onsets.residual import BEFORE_S, STRUM_CHANNELS, evidence, on_samples

BLOCK = 256  # candidates looked at together: bounds the memory
OPEN_P = (0.05, 0.95)  # by hand: the first network is in doubt of a strum that it finds so likely …
PLACED_P = 0.5  # … or of the time of one that it finds likelier than this, if u is above SURE_S
LEAST_SHARE = 1e-9  # of the probability in a step, so that one network alone cannot rule it out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """What candidates are looked at in.

    Attributes
    ----------
    samples : ndarray
    rate_hz : float
    removed : ndarray or None
        The click that was taken out.
    levels : Levels
    gain : float
        Brings the loudest sample to 1.
    """

    samples: Samples
    rate_hz: float
    removed: Samples | None
    levels: Levels
    gain: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
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

    def times(self, calibration: Calibration) -> tuple[Floats, Floats]:
        """Time and uncertainty of each strum [s], by itself."""
        place = place_of(self.steps, calibration)
        return self.from_s + place * STEP_S, doubt_of(self.steps, place) * STEP_S

    def times_beside_others(self, calibration: Calibration) -> tuple[Floats, Floats]:
        """The same after a look at the others of the take, which may place a strum; its doubt stays that of its own."""
        place = place_of(compared(self.steps, self.evidence, calibration), calibration)
        return self.from_s + place * STEP_S, doubt_of(self.steps, place, calibration.sharpen) * STEP_S

    def of(self, chosen: npt.NDArray[np.intp]) -> Look:
        """The look at these candidates alone."""
        return Look(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})

    def put(self, again: npt.NDArray[np.intp], look: Look) -> None:
        """Replace the look at some candidates by another at them."""
        for field in fields(self):
            getattr(self, field.name)[again] = getattr(look, field.name)


def look_at(scene: Scene, centre_s: Floats, detector: Detector) -> Look:
    """Look at the surroundings of each centre [s]."""
    levels = scene.levels
    centre_s = on_samples(centre_s, scene.rate_hz)
    steps, likely = np.empty((len(centre_s), STEPS)), np.empty(len(centre_s))
    kept = np.empty((len(centre_s), STEPS, STRUM_CHANNELS), np.float32)
    frame = np.clip(np.round((centre_s + LAG_S / 2) / levels.hop_s), 0, len(levels.total_db) - 1).astype(np.intp)
    for a in range(0, len(centre_s), BLOCK):
        part = slice(a, a + BLOCK)
        seen = evidence(scene.samples, scene.rate_hz, centre_s[part], scene.removed, gain=scene.gain)
        steps[part], likely[part] = _read(seen, pictures(levels, frame[part]), detector)
        kept[part] = seen[:, :, :STRUM_CHANNELS]
    return Look(from_s=centre_s - BEFORE_S, steps=steps, likely=likely, evidence=kept)


def _read(seen: Tensor, picture: Tensor, detector: Detector) -> tuple[Floats, Floats]:
    """Probability of each step given a strum, and of a strum, by the detector's network, or by both where it doubts."""
    steps, likely = _by(probabilities(seen, picture, detector.weights))
    if detector.second is None:
        return steps, likely
    unplaced = _unplaced(steps, likely, detector.calibration)
    open_ = np.flatnonzero((likely >= OPEN_P[0]) & (likely < OPEN_P[1]) | unplaced)
    theirs, theirs_likely = _by(probabilities(seen[open_], picture[open_], detector.second))
    both = np.sqrt((steps[open_] + LEAST_SHARE) * (theirs + LEAST_SHARE))
    steps[open_] = both / both.sum(axis=1, keepdims=True)
    yes, no = np.sqrt(likely[open_] * theirs_likely), np.sqrt((1 - likely[open_]) * (1 - theirs_likely))
    likely[open_] = yes / (yes + no)
    return steps, likely


def _by(p: Floats) -> tuple[Floats, Floats]:
    """The same two from a network's probabilities of each step and of none."""
    likely = 1 - p[:, STEPS]
    return p[:, :STEPS] / np.maximum(likely, 1e-12)[:, None], likely


def _unplaced(steps: Floats, likely: Floats, calibration: Calibration) -> npt.NDArray[np.bool_]:
    """Which are strums whose time is not sure."""
    unplaced = likely >= PLACED_P
    some = steps[unplaced]
    unplaced[unplaced] = doubt_of(some, place_of(some, calibration)) * STEP_S > SURE_S
    return unplaced


def worth_looking(scene: Scene, frame: npt.NDArray[np.intp], detector: Detector) -> npt.NDArray[np.bool_]:
    """Which of the rises are worth a look, by the picture of the levels alone."""
    worth = np.ones(len(frame), bool)
    if detector.calibration.least_worth <= 0:
        return worth
    for a in range(0, len(frame), BLOCK):
        part = slice(a, a + BLOCK)
        seen = worth_a_look(pictures(scene.levels, frame[part]), detector.weights)
        worth[part] = seen >= detector.calibration.least_worth
    return worth
