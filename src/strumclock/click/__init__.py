"""Where the clicks are, and the recording without them."""

from strumclock.click.channel import find_click_channel
from strumclock.click.finding import find_clicks
from strumclock.click.removal import Removal, remove_clicks
from strumclock.click.values import Clicks

__all__ = [
    "Clicks",
    "Removal",
    "find_click_channel",
    "find_clicks",
    "remove_clicks",
]
