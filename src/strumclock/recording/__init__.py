"""How is a take recorded in step with its click?  One sound card plays the click and records, in one stream.

In such a stream the n-th sample that is played and the n-th that is recorded belong together: the recorded one is later
by the loop's latency (buffers, converters, the air), which stays the same as long as the stream is open and nothing is
lost. It is measured by playing test sounds and hearing them return (`latency`); then the click is played and the take
recorded (`taking`), and where beat 1 lies in the file is known even if the click is only in the player's ears. `card`
says what a sound card must do, `portaudio` is one by the library of that name, and `desk` is what the card calls.
"""

from __future__ import annotations

from strumclock.recording.card import SoundCard, Stream
from strumclock.recording.latency import Latency
from strumclock.recording.taking import Moment, TakeInStep, record_take, write_take

__all__ = ["Latency", "Moment", "SoundCard", "Stream", "TakeInStep", "record_take", "write_take"]
