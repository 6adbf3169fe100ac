"""What the two decoders are asked for and say of what they handed on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from strumclock.audio.limits import MAX_CHANNELS, MAX_DURATION_S
from strumclock.errors import Notice, RecordingError, UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The part of a file to read, in file time [s]; None = from its start, to its end.

    Before and after it, `context_s` is decoded too, as far as the file goes.
    """

    start_s: float | None = None
    end_s: float | None = None
    context_s: float = 0.0

    @property
    def whole(self) -> bool:
        """Whether it is the whole file."""
        return self.start_s is None and self.end_s is None

    def frames(self, rate: int, total: int | None, file: Path) -> tuple[int, int | None]:
        """First frame with the context before, and the one after the last (None: to the end, wherever that is).

        Raises
        ------
        UsageError
            If the part begins after the file's end.
        RecordingError
            If the part is longer than is held in memory.
        """
        first, stop = self.asked(rate)
        if total is not None:
            self.check_start(total, rate, file)
            stop = total if stop is None else min(stop, total)
        if stop is not None:
            self.check_length(stop - first, rate, file)
        around = round(self.context_s * rate)
        if stop is not None and self.end_s is not None:
            stop = stop + around if total is None else min(stop + around, total)
        return max(0, first - around), stop

    def asked(self, rate: int) -> tuple[int, int | None]:
        """First frame of the part itself, and the one after the last."""
        return round((self.start_s or 0.0) * rate), None if self.end_s is None else round(self.end_s * rate)

    def check_start(self, total: int, rate: int, file: Path) -> None:
        """Refuse a part that begins after the end."""
        first, _ = self.asked(rate)
        if first >= total > 0:
            raise UsageError(
                f"start must lie within the recording, but {str(file)!r} ends at {total / rate:.2f} s and start is "
                f"{first / rate:.2f} s; give an earlier start"
            )

    def check_length(self, frames: int, rate: int, file: Path, *, at_least: bool = False) -> None:
        """Refuse what is longer than 30 minutes."""
        if frames > MAX_DURATION_S * rate:
            length = f"{'more than ' if at_least else ''}{frames / rate / 60:.3g} min"
            what = "of sound" if self.whole else "between start and end"
            raise RecordingError(
                f"at most {MAX_DURATION_S / 60:.0f} minutes are measured at once, but {length} {what} came "
                f"({str(file)!r}); choose a part with start and end (--start, --end)"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decoded:
    """What was decoded of a part, beside the samples that were handed on.

    Attributes
    ----------
    frames, channels : int
    sample_rate_hz : int
    first_frame : int
        Index in the whole file of the first.
    notices : tuple of Notice
    priming_known : bool
        Whether the codec's priming is removed (or there is none).
    lossy : bool
        Whether the codec does not keep the samples' values.
    """

    frames: int
    channels: int
    sample_rate_hz: int
    first_frame: int
    notices: tuple[Notice, ...] = ()
    priming_known: bool = True
    lossy: bool = False


def check_channels(channels: int, file: Path) -> None:
    """Refuse a number of channels that no recording has."""
    if not 1 <= channels <= MAX_CHANNELS:
        raise RecordingError(
            f"1 to {MAX_CHANNELS} channels were required, but {str(file)!r} has {channels}; export fewer"
        )


def truncated(got_s: float, promised_s: float | None) -> Notice:
    """The notice that a file ends early."""
    promise = "" if promised_s is None else f" of the {promised_s:.2f} s that it announces"
    return Notice(
        code="truncated",
        message=f"the file is cut short: {got_s:.2f} s{promise} could be read; what came later is missing",
    )
