"""A click to practise with: its sound as WAV, or as MIDI, every click's time known exactly."""

from strumclock.clicktrack.making import TIMBRES, ClickTrack, click_track, parse_steps, write_click_track

__all__ = ["TIMBRES", "ClickTrack", "click_track", "parse_steps", "write_click_track"]
