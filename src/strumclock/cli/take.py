"""The commands for one recording: measure, click, tuning, compare."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from strumclock.cli.saying import say

_Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

_EXERCISE_OPTIONS: tuple[_Decorator, ...] = (
    click.option("--name", help="What the exercise is called."),
    click.option("--meter", help="Such as 4/4, 3/4 or 6/8 (whose beat is the dotted quarter)."),
    click.option("--per-beat", type=int, help="Parts of each beat, 1 to 4: 2 is eighths in 4/4."),
    click.option("--pattern", help="A letter a part: D down, U up, x muted, . nothing; such as D.DU.UDU."),
    click.option("--swing", type=float, help="Place of the second of two parts in the beat, 0.5 to 0.8."),
    click.option("--count-in", type=int, help="Bars of click before the first played bar."),
    click.option("--bars", type=int, help="Bars played."),
    click.option("--chords", help='The chords in turn, such as "A D E D".'),
    click.option("--beats-per-change", type=int, help="Beats on each chord."),
)
_BPM_TOLD = "Tempo told, in beats per minute; left out, it is taken from the click."
_BPM_OF_TRACK = "Tempo in beats per minute; or tell --steps."


def _exercise_options(bpm: str) -> _Decorator:
    """The options that tell an exercise; `bpm` is what the help says of the tempo."""

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        told: tuple[_Decorator, ...] = (click.option("--bpm", type=float, help=bpm), *_EXERCISE_OPTIONS)
        for option in reversed(told):
            command = option(command)
        return command

    return add


def _exercise(told: dict[str, Any]) -> Any:
    """The exercise that the options tell; takes its own options out of `told`."""
    from strumclock.grid import Exercise

    words = ("name", "bpm", "meter", "per_beat", "pattern", "swing", "count_in", "bars", "chords", "beats_per_change")
    fields = {word: told.pop(word) for word in words}
    if fields["chords"] is not None:
        fields["chords"] = tuple(fields["chords"].replace(",", " ").split())
    return Exercise(**fields)


@click.command("measure", short_help="Measure one recording: how its strums lie against the click.")
@click.argument("take")
@_exercise_options(_BPM_TOLD)
@click.option("--click", metavar="auto|left|right|none|FILE", default="auto", help="Where the click is. [auto]")
@click.option("--first-downbeat", "first_downbeat_s", type=float, help="Seconds to beat 1 of the first played bar.")
@click.option("--midi", help="A Standard MIDI File whose tempo map is the grid.")
@click.option("--latency-ms", type=float, help="Known delay of the recording behind the file it was played to.")
@click.option("--latency-u-ms", type=float, help="Standard uncertainty of what was stated. [2]")
@click.option("--start", "start_s", type=float, help="Seconds: measure from here.")
@click.option("--end", "end_s", type=float, help="Seconds: measure up to here.")
@click.option("--same-clock", is_flag=True, help="One device played the click and recorded: their clocks are one.")
@click.option("--click-to-mic-m", type=float, help="Metres from the click's speaker to the microphone.")
@click.option("--guitar-to-mic-m", type=float, help="Metres from the guitar to the microphone.")
@click.option("--click-to-ear-m", type=float, help="Metres from the click's speaker to the player's ear.")
@click.option("--standard", help="What counts as held: first-weeks, steady or tight. [steady]")
@click.option("--last-held-bpm", type=float, help="The highest tempo held before, for the advice on the next.")
@click.option("--changes", is_flag=True, help="Find where the chords change and what changing costs.")
@click.option("--tuning", is_flag=True, help="Tell the whole guitar's pitch.")
@click.option("--free", is_flag=True, help="Only find the strums: no grid, no timing.")
@click.option("--table", is_flag=True, help="Every figure with its interval, after the summary.")
@click.option("--json", "json_to", metavar="F|-", help="Write the JSON to a file, or to standard output.")
@click.option("--plot", "plot_to", metavar="F", help="Write the picture (png, svg, pdf).")
@click.option("--page", "page_to", metavar="F", help="Write one self-contained web page.")
@click.option("--sound", "sound_to", metavar="F", help="Write the take with a tick on every grid line (WAV).")
@click.option("--force", is_flag=True, help="Let --sound replace a file that is there.")
def measure_command(**told: Any) -> None:
    """Measure TAKE, a recording: say in plain words how the strums lie against the click."""
    from strumclock import report
    from strumclock.pipeline import measure

    take, table, force = told.pop("take"), told.pop("table"), told.pop("force")
    to = {kind: told.pop(f"{kind}_to") for kind in ("json", "plot", "page", "sound")}
    outputs = report.Outputs(reads=(take, told["click"], told["midi"]), force=force, **to)
    measurement = measure(take, _exercise(told), **told)
    outputs.write(measurement)
    if outputs.json != "-":
        say(report.summary(measurement))
        if table:
            say(report.table(measurement))


@click.command("click")
@click.argument("out")
@_exercise_options(_BPM_OF_TRACK)
@click.option("--steps", help='Stepped tempo: "8x80 8x84 8x88" is eight bars each at 80, 84 and 88.')
@click.option("--clicks-per-beat", type=int, default=1, show_default=True, help="Clicks on each beat.")
@click.option("--no-accent", is_flag=True, help="Every click alike.")
@click.option("--timbre", default="wood", show_default=True, help="The click's sound: wood, stick, tick or beep.")
@click.option("--force", is_flag=True, help="Replace OUT if it is there.")
def click_command(
    out: str, steps: str | None, clicks_per_beat: int, no_accent: bool, timbre: str, force: bool, **told: Any
) -> None:
    """Make a click track OUT (.wav or .mid)."""
    from strumclock import report
    from strumclock.clicktrack import click_track, parse_steps, write_click_track

    report.Outputs(out=out, force=force)  # refuses before the track is made
    track = click_track(
        _exercise(told),
        steps=parse_steps(steps),
        clicks_per_beat=clicks_per_beat,
        accent=not no_accent,
        timbre=timbre,
    )
    write_click_track(track, Path(out))
    say(f"{out}: {track}")


@click.command("tuning", short_help="Tune by six open strings: a table of cents.")
@click.argument("take")
@click.option("--a4-hz", type=float, default=440.0, show_default=True, help="The reference pitch A4 (ISO 16: 440 Hz).")
@click.option("--json", "json_to", metavar="F|-", help="Write the JSON to a file, or to standard output.")
def tuning_command(take: str, a4_hz: float, json_to: str | None) -> None:
    """Six open strings, played one by one: a table of cents."""
    from strumclock import report
    from strumclock.audio import load
    from strumclock.tuning import open_strings

    outputs = report.Outputs(reads=(take,), json=json_to)
    result = open_strings(load(take), a4_hz=a4_hz)
    outputs.write_json(result.to_dict())
    if json_to != "-":
        say(report.tuning_table(result))


@click.command("compare", short_help="Hold two takes of one exercise against each other.")
@click.argument("take_a")
@click.argument("take_b")
@_exercise_options(_BPM_TOLD)
@click.option("--json", "json_to", metavar="F|-", help="Write the JSON to a file, or to standard output.")
def compare_command(take_a: str, take_b: str, json_to: str | None, **told: Any) -> None:
    """Hold two takes of one exercise against each other: is the difference larger than its uncertainty?"""
    from strumclock import report
    from strumclock.pipeline import compare, measure

    outputs = report.Outputs(reads=(take_a, take_b), json=json_to)
    exercise = _exercise(told)
    result = compare(measure(take_a, exercise), measure(take_b, exercise))
    outputs.write_json(result.to_dict())
    if json_to != "-":
        say(report.comparison(result))


__all__ = ["click_command", "compare_command", "measure_command", "tuning_command"]
