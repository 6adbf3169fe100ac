"""Where the clicks are, the recording without them, and click tracks."""

from strumclock.click.channel import find_click_channel
from strumclock.click.finding import Clicks, find_clicks
from strumclock.click.removal import Removal, remove_clicks
from strumclock.click.tracks import ClickTrack, click_track, write_click_track

__all__ = [
    "ClickTrack",
    "Clicks",
    "Removal",
    "click_track",
    "find_click_channel",
    "find_clicks",
    "remove_clicks",
    "write_click_track",
]
