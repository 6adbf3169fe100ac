"""When each strum began."""

from strumclock.onsets.finding import find_strums
from strumclock.onsets.strums import Ignored, Strums

__all__ = ["Ignored", "Strums", "find_strums"]
