"""When each strum began."""

from strumclock.onsets.detector import Calibration, Detector, shipped_detector
from strumclock.onsets.finding import find_strums
from strumclock.onsets.strums import Doubtful, Ignored, Strums

__all__ = ["Calibration", "Detector", "Doubtful", "Ignored", "Strums", "find_strums", "shipped_detector"]
