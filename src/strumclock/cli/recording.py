"""The command that plays the click and records in step with it: record."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from strumclock.cli.live import Level, live_line
from strumclock.cli.options import FILE, options_of, take_out
from strumclock.cli.saying import say
from strumclock.cli.take import say_measured
from strumclock.errors import UsageError
from strumclock.grid import Exercise

if TYPE_CHECKING:
    from strumclock.recording import Latency, TakeInStep

CAUTION = (
    "Begin with the volume low and turn it up until the click is just clear: what is loud in headphones harms hearing."
)
ENDING_SIGNALS = ("SIGTERM", "SIGHUP")  # a closed terminal ends the take, and keeps it


@click.command("record", short_help="Play the click and record in step with it, with headphones too.")
@click.argument("out", required=False, type=FILE)
@options_of(Exercise, bpm="Tempo in beats per minute.", bars="Bars played. [16]", count_in="Bars of click before. [1]")
@click.option("--timbre", default="wood", show_default=True, help="The click's sound: wood, stick, tick or beep.")
@click.option("--headphones", is_flag=True, help="The click goes into headphones.")
@click.option("--input", "input_", metavar="N|NAME", help="The microphone. [the system's]")
@click.option("--output", metavar="N|NAME", help="Where the click is played. [the system's]")
@click.option("--devices", is_flag=True, help="Only list the devices.")
@click.option("--no-measure", is_flag=True, help="Do not measure the take at once.")
@click.option("--force", is_flag=True, help="Replace OUT if it is there.")
def record_command(
    out: str | None,
    timbre: str,
    headphones: bool,
    input_: str | None,
    output: str | None,
    devices: bool,
    no_measure: bool,
    force: bool,
    **told: Any,
) -> None:
    """Play a click, record OUT (.wav) in step with it, and measure it. Ctrl-C ends the take and keeps it.

    Test sounds tell first how late the microphone hears what is played. The file itself says where its click lies, so
    that measure and batch know it, wherever it is copied to.
    """
    from strumclock import report
    from strumclock.recording import write_take
    from strumclock.recording.portaudio import find_card, list_devices

    if devices:
        say("\n".join(list_devices()))
        return
    if out is None or Path(out).suffix.lower() != ".wav":
        raise UsageError(f"OUT must be a name that ends in .wav, but {out or 'none'} came; name the file to record")
    exercise = take_out(Exercise, told)
    if exercise.bpm is None:
        raise UsageError("a click needs a tempo, but none came; add --bpm")
    report.Outputs(out=out, force=force)  # refuses before anything is played
    take = _recorded(find_card(input_, output), exercise, timbre, headphones)
    with _uninterrupted():
        write_take(take, out)
    say(f"{out}: {take.duration_s:.1f} s, recorded in step with the click")
    for sentence in _remarks(take):
        click.echo(sentence, err=True)
    if not no_measure:
        say_measured(out)


def _recorded(card: Any, exercise: Exercise, timbre: str, headphones: bool) -> TakeInStep:
    """Play and record, talking to the player."""
    from strumclock.recording import record_take

    click.echo(f"{card.name}, {card.sample_rate_hz} Hz. {CAUTION}", err=True)
    if headphones:
        click.pause("Hold an earpiece to the microphone, then press any key: test sounds are played.", err=True)
    else:
        click.echo("Be quiet for six seconds: test sounds are played.", err=True)
    level = Level()
    with _ended_by_signals(), live_line() as line:

        def between(latency: Latency) -> None:
            if line is not None:
                line.clear()
            click.echo(f"The microphone hears what is played after {latency}.", err=True)
            if headphones:
                click.pause("Put the headphones on, then press any key: the click begins at once.", err=True)

        return record_take(
            card, exercise, timbre=timbre, headphones=headphones, between=between,
            watch=None if line is None else lambda moment: line.show(level.text(moment)),
        )  # fmt: skip


def _remarks(take: TakeInStep) -> list[str]:
    """What the player must know about the take."""
    said = []
    if take.stalled:
        said.append("The sound card stopped before the end; what was recorded until then is kept.")
    elif not take.whole:
        said.append("The take was ended before its last bar; what was played is kept.")
    if take.clipped:
        said.append(
            f"Too loud: {take.clipped} sample{' was' if take.clipped == 1 else 's were'} cut off; turn the microphone "
            "down, or sit further from it."
        )
    if take.in_step.lost_at_s is not None:
        said.append(
            f"The sound card lost samples at {take.in_step.lost_at_s:.1f} s: only what was played before is measured. "
            "Close other programs and record again."
        )
    if take.in_step.headphones and not take.in_step.same_clock:
        said.append(
            "Microphone and headphones may run by two clocks, which adds up to 6 ms a minute to what is not known of "
            "drift; one device for both would not."
        )
    return said


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Whoever asks the program to end, ends the take as Ctrl-C does."""
    kept: dict[int, Any] = {}

    def end(number: int, frame: object) -> None:
        del number, frame
        raise KeyboardInterrupt

    for name in ENDING_SIGNALS:
        if (number := getattr(signal, name, None)) is not None:
            kept[number] = signal.signal(number, end)
    try:
        yield
    finally:
        _restore(kept)


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """A second Ctrl-C while the file is written must not cost the take."""
    numbers = [n for name in ("SIGINT", *ENDING_SIGNALS) if (n := getattr(signal, name, None)) is not None]
    kept = {number: signal.signal(number, signal.SIG_IGN) for number in numbers}
    try:
        yield
    finally:
        _restore(kept)


def _restore(kept: dict[int, Callable[..., Any] | int | None]) -> None:
    for number, handler in kept.items():
        signal.signal(number, signal.SIG_DFL if handler is None else handler)
