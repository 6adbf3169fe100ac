"""The sound cards of this computer, through PortAudio (extra ``strumclock[record]``)."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from strumclock.clicktrack.making import SAMPLE_RATES_HZ
from strumclock.errors import RecordingError, UsageError, printable
from strumclock.recording.card import Exchange

MOST_OUTPUTS = 2  # the click goes to both ears
_KINDS, _CHANNELS = ("microphone", "output"), ("max_input_channels", "max_output_channels")
ROUTERS = ("default", "sysdefault", "pulse", "pipewire", "jack", "dmix", "mapper", "primary")
"""Names of devices that stand for whatever the system chooses, for playing and for recording: perhaps two clocks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PortAudioCard:
    """A microphone and an output of this computer.

    Attributes
    ----------
    input, output : int
        Their numbers in the list of devices.
    input_name, output_name : str
    sample_rate_hz : int
    outputs : int
        Channels that are played.
    same_clock : bool
    """

    input: int
    output: int
    input_name: str
    output_name: str
    sample_rate_hz: int
    outputs: int
    same_clock: bool

    @property
    def name(self) -> str:
        """Both, in words."""
        if self.input == self.output:
            return self.input_name
        return f"{self.input_name} (microphone) and {self.output_name} (click)"

    @contextmanager
    def opened(self, exchange: Exchange) -> Iterator[_Running]:
        """Open the stream.

        Raises
        ------
        RecordingError
            If the system does not open it.
        """
        sounddevice = _library()

        def called(recorded: Any, to_play: Any, frames: int, clock: object, status: Any) -> None:
            del frames, clock
            lost = status.input_overflow or status.input_underflow or status.output_underflow or status.output_overflow
            mono = to_play[:, 0].copy()
            exchange(recorded[:, 0], mono, bool(lost))
            to_play[:] = mono[:, None]

        try:
            with _without_noise():
                stream = sounddevice.Stream(
                    samplerate=self.sample_rate_hz, device=(self.input, self.output), channels=(1, self.outputs),
                    dtype="float32", latency="high", callback=called,
                )  # fmt: skip
                stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            raise RecordingError(_refused(f"{self.name} must open to play and record", error)) from None
        try:
            yield _Running()
        finally:
            stream.close(ignore_errors=True)


class _Running:
    """A stream that runs on a thread of its own."""

    def wait(self, seconds: float) -> None:
        """Let it run."""
        time.sleep(seconds)


def find_card(input: str | None = None, output: str | None = None) -> PortAudioCard:
    """The microphone and the output that are asked for, or the system's own.

    Parameters
    ----------
    input, output : str, optional
        A device's number in the list, or part of its name.

    Raises
    ------
    UsageError
        If no device, or several, fit what is told.
    RecordingError
        If the package or PortAudio is not there, or no device is.
    """
    sounddevice = _library()
    devices = [dict(device) for device in sounddevice.query_devices()]
    microphone = _chosen(devices, input, "input", int(sounddevice.default.device[0]))
    speaker = _chosen(devices, output, "output", int(sounddevice.default.device[1]))
    outputs = min(MOST_OUTPUTS, int(devices[speaker]["max_output_channels"]))
    names = [printable(str(devices[i]["name"])) for i in (microphone, speaker)]
    rate_hz = round(float(devices[speaker]["default_samplerate"]))
    low, high = SAMPLE_RATES_HZ
    if not low <= rate_hz <= high:
        rate_hz = 48_000
    try:
        sounddevice.check_input_settings(device=microphone, channels=1, dtype="float32", samplerate=rate_hz)
        sounddevice.check_output_settings(device=speaker, channels=outputs, dtype="float32", samplerate=rate_hz)
    except (sounddevice.PortAudioError, ValueError) as error:
        raise RecordingError(_refused(f"{names[0]} and {names[1]} must both run at {rate_hz} Hz", error)) from None
    return PortAudioCard(
        input=microphone, output=speaker, input_name=names[0], output_name=names[1], sample_rate_hz=rate_hz,
        outputs=outputs, same_clock=microphone == speaker and not names[0].casefold().startswith(ROUTERS),
    )  # fmt: skip


def list_devices() -> list[str]:
    """The devices, a line each: number, name, what it can.

    Raises
    ------
    RecordingError
        If the package or PortAudio is not there, or no device is.
    """
    sounddevice = _library()
    chosen = [int(i) for i in sounddevice.default.device]
    lines = []
    for i, device in enumerate(sounddevice.query_devices()):
        can = []
        for word, key, usual in zip(_KINDS, _CHANNELS, chosen, strict=True):
            if device[key] > 0:
                can.append(f"{word} (used unless told otherwise)" if usual == i else word)
        lines.append(f"{i:3d}  {printable(str(device['name']))}: {', '.join(can) or 'nothing'}")
    if not lines:
        raise RecordingError(_NO_DEVICE)
    return lines


_NO_DEVICE = "a sound card is needed to play and record, but the system shows none; plug one in, or allow access to it"


def _chosen(devices: list[dict[str, Any]], told: str | None, kind: str, usual: int) -> int:
    """The number of the device that is told, or the usual one."""
    able = [i for i, device in enumerate(devices) if device[f"max_{kind}_channels"] > 0]
    if not able:
        what = "microphone" if kind == "input" else "output"
        raise RecordingError(_NO_DEVICE if not devices else f"no {what} is there; plug one in, or allow access to it")
    if told is None:
        return usual if usual in able else able[0]
    if told.isascii() and told.isdecimal():
        fits = [i for i in able if i == int(told)]
    else:
        fits = [i for i in able if told.casefold() in str(devices[i]["name"]).casefold()]
    if len(fits) != 1:
        raise UsageError(
            f"--{kind} must name one device, but {told!r} fits {len(fits) or 'none'}; see strumclock record --devices"
        )
    return fits[0]


def _library() -> Any:
    try:
        with _without_noise():
            import sounddevice
    except ImportError:
        raise RecordingError(
            "recording needs the package sounddevice, which is not there; pip install 'strumclock[record]'"
        ) from None
    except OSError:
        raise RecordingError(
            "recording needs the library PortAudio, which is not there; on Debian and Ubuntu: apt install libportaudio2"
        ) from None
    return sounddevice


@contextmanager
def _without_noise() -> Iterator[None]:
    """What the system's own libraries write to standard error while they look for devices is not for the player.

    They write past Python, to descriptor 2. What goes wrong is raised as an error, with the system's words.
    """
    try:
        kept = os.dup(2)
    except OSError:  # standard error is closed: nothing to keep quiet
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _refused(required: str, error: Exception) -> str:
    said = printable(" ".join(str(error).split()))
    return f"{required}, but the system said: {said}; choose others (strumclock record --devices)"
