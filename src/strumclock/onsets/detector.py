"""A strum detector: the network's weights and every number that belongs to them, read from one file.

Weights, thresholds and shares of doubt are learned and calibrated together on simulated takes, so they are kept and
exchanged together: `find_strums(..., detector=Detector.load(path))` finds strums with another file, and nothing outside
of this package knows what is in it. The features that the weights read are those of `residual` and `levels`; a file
names their version, and one for other features is refused.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from importlib.resources import as_file, files
from types import MappingProxyType

import numpy as np

from strumclock.errors import UsageError
from strumclock.onsets.network import Weights
from strumclock.showing import Shown

FORMAT = 3  # of the file
FEATURES = 1  # of what the weights read: raised when `residual`, `bands` or `levels` change what they tell
SHIPPED = "detector.npz"
SECOND = "second_"  # begins the names of the second network's arrays


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The numbers that belong to one set of weights.

    Attributes
    ----------
    least_rise_db : float
        Mean rise over the bands from which a place is looked at …
    least_worth : float
        … if the picture of its levels says with so much probability that a look is worth while.
    least_probability : float
        Of being a strum, for a strum to be told.
    least_if_sharp, sharp_s : float
        Enough instead where the time is known to better than `sharp_s`: what is no strum seldom is.
    earlier : float
        An earlier place is taken if it is so likely against the likeliest.
    sharpen : float
        Power of the probability that an uncertainty is read from.
    temper, floor : float
        Share of the log-likelihood that counts when strums of a take are compared, and by how much the evidence of
        strums that are alike differs at least.
    bias_share, least_bias_u_s : float
        How much of the strums' rms uncertainty is shared by all strums of a take, and the least that is [s].
    """

    least_rise_db: float
    least_worth: float
    least_probability: float
    least_if_sharp: float
    sharp_s: float
    earlier: float
    sharpen: float
    temper: float
    floor: float
    bias_share: float
    least_bias_u_s: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Detector(Shown):
    """What finds strums: weights, their calibration, and where both come from.

    Attributes
    ----------
    weights : Weights
    calibration : Calibration
    provenance : mapping of str to object
        How the file was made: seeds, versions of packages, sounds and their sha256, figures on sounds kept out.
    second : Weights, optional
        Those of a network that was learned apart, asked where the first is in doubt (`onsets.looking`).

    Examples
    --------
    >>> detector = shipped_detector()
    >>> 0.0 < detector.calibration.least_probability < 1.0
    True
    """

    weights: Weights
    calibration: Calibration
    provenance: Mapping[str, object]
    second: Weights | None = None

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> Detector:
        """Read a detector's file.

        Parameters
        ----------
        path : path

        Returns
        -------
        Detector

        Raises
        ------
        UsageError
            If the file is no detector, or one for other features than these.
        """
        try:
            with np.load(path, allow_pickle=False) as z:
                about = json.loads(str(z["about"]))
                arrays = {name: z[name] for name in z.files if name != "about"}
                weights = Weights.from_arrays(arrays)
                theirs = {name.removeprefix(SECOND): a for name, a in arrays.items() if name.startswith(SECOND)}
                second = Weights.from_arrays(theirs) if theirs else None
        except (OSError, ValueError, KeyError) as e:
            raise UsageError(f"a detector is a file that strumclock.learning wrote; {path} is none ({e})") from e
        if (about.get("format"), about.get("features")) != (FORMAT, FEATURES):
            raise UsageError(
                f"a detector of format {FORMAT} for features {FEATURES} is needed; {path} has "
                f"{about.get('format')} and {about.get('features')}; learn it anew"
            )
        known = {f.name for f in fields(Calibration)}
        if set(about["calibration"]) != known:
            raise UsageError(
                f"a detector's calibration needs {', '.join(sorted(known))}; {path} has other numbers; learn it anew"
            )
        return cls(
            weights=weights,
            calibration=Calibration(**about["calibration"]),
            provenance=MappingProxyType(about["provenance"]),
            second=second,
        )

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the detector's file; half precision is enough for weights."""
        about = {
            "format": FORMAT,
            "features": FEATURES,
            "calibration": asdict(self.calibration),
            "provenance": dict(self.provenance),
        }
        arrays = {name: a.astype(np.float16) for name, a in self.weights.arrays().items()}
        if self.second is not None:
            arrays |= {SECOND + name: a.astype(np.float16) for name, a in self.second.arrays().items()}
        with open(path, "wb") as f:
            np.savez_compressed(f, about=np.array(json.dumps(about, indent=1)), **arrays)  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def shipped_detector() -> Detector:
    """The detector that comes with the package."""
    with as_file(files("strumclock.onsets") / SHIPPED) as path:
        return Detector.load(path)
