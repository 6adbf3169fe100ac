"""The commands for one recording: measure, click, tuning, compare."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from strumclock.cli.options import FILE, options_of, take_out
from strumclock.cli.saying import columns, say
from strumclock.errors import UsageError, printable
from strumclock.grid import Exercise
from strumclock.pipeline.options import MeasureOptions

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.report import Outputs

_BPM_OF_TRACK = "Tempo in beats per minute; or tell --steps."


@click.command("measure", short_help="Measure one recording: how its strums lie against the click.")
@click.argument("take", type=FILE)
@options_of(Exercise)
@options_of(MeasureOptions)
@click.option("--table", is_flag=True, help="Every figure with its interval, after the summary.")
@click.option("--message", is_flag=True, help="Only the message for the student.")
@click.option(
    "--language", metavar="CODE|F.mo", type=FILE, help="The language of the message: en, de, or a catalogue. [en]"
)
@click.option("--json", "json_to", metavar="F|-", type=FILE, help="Write the JSON to a file, or to standard output.")
@click.option("--plot", "plot_to", metavar="F", type=FILE, help="Write the picture (png, svg, pdf).")
@click.option("--all", "everything", is_flag=True, help="Let --plot draw loudness and each error with the next too.")
@click.option("--page", "page_to", metavar="F", type=FILE, help="Write one self-contained web page.")
@click.option(
    "--sound", "sound_to", metavar="F", type=FILE, help="Write the take with a tick on every grid line (WAV)."
)
@click.option("--force", is_flag=True, help="Let --sound replace a file that is there.")
def measure_command(**told: Any) -> None:
    """Measure TAKE, a recording: whether it holds its tempo, what stands in the way and what to do next."""
    from strumclock import report
    from strumclock.pipeline import measure, measure_parts

    take, table, message, force = (told.pop(name) for name in ("take", "table", "message", "force"))
    everything = told.pop("everything")
    if os.path.isdir(take):
        raise UsageError(
            f"measure takes one recording, but {printable(take)} is a folder; measure all in it with: strumclock batch "
            f"{printable(take)}"
        )
    tongue = report.language_of(told.pop("language"))
    to = {kind: told.pop(f"{kind}_to") for kind in ("json", "plot", "page", "sound")}
    exercise, options, sources = _with_settings(take, take_out(Exercise, told), take_out(MeasureOptions, told))
    if options.part == "all" and (drawn := [kind for kind in ("plot", "page", "sound") if to[kind] is not None]):
        raise UsageError(f"--{drawn[0]} needs one part of the recording, but --part all came; give its number")
    outputs = report.Outputs(reads=(take, options.click, options.midi), force=force, everything=everything, **to)
    if options.part == "all":
        parts = [replace(part, sources={**sources, **part.sources}) for part in measure_parts(take, exercise, options)]
        _say_parts(parts, outputs, table)
        return
    measurement = measure(take, exercise, options)
    measurement = replace(measurement, sources={**sources, **measurement.sources})
    outputs.write(measurement)
    if outputs.json == "-":
        return
    say(report.message(measurement, language=tongue) if message else report.summary(measurement, width=columns()))
    if table:
        say(report.table(measurement, width=columns()))


def say_measured(take: str) -> None:
    """Measure a recording with nothing told beside what it and the files around it say, and say the verdict."""
    from strumclock import report
    from strumclock.pipeline import measure

    exercise, options, sources = _with_settings(take, Exercise(), MeasureOptions())
    measurement = measure(take, exercise, options)
    say(report.summary(replace(measurement, sources={**sources, **measurement.sources}), width=columns()))


def _with_settings(
    take: str, exercise: Exercise, options: MeasureOptions
) -> tuple[Exercise, MeasureOptions, Mapping[str, str]]:
    """What the command's options tell, completed by what a practice.toml says of the file, and what came from where."""
    from strumclock.batch import told_around

    around = told_around(take)
    asked = [{f.name: v for f in fields(x) if (v := getattr(x, f.name)) != f.default} for x in (exercise, options)]
    sources = {name: source for name, source in around.sources.items() if name not in asked[0]}
    return Exercise(**{**around.told, **asked[0]}), MeasureOptions(**{**around.options, **asked[1]}), sources


def _say_parts(parts: Sequence[Measurement], outputs: Outputs, table: bool) -> None:
    """Say what each part of a recording came to, and write the JSON of all."""
    from strumclock import report

    outputs.write_json({"parts": [report.to_dict(part) for part in parts]})
    if outputs.json == "-":
        return
    for measurement in parts:
        number = next(i for i, part in enumerate(measurement.parts, 1) if part.measured)
        say(f"Part {number} of {len(measurement.parts)}")
        say(report.summary(measurement, width=columns()))
        if table:
            say(report.table(measurement, width=columns()))


@click.command("click")
@click.argument("out", type=FILE)
@options_of(Exercise, bpm=_BPM_OF_TRACK)
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
        take_out(Exercise, told),
        steps=parse_steps(steps),
        clicks_per_beat=clicks_per_beat,
        accent=not no_accent,
        timbre=timbre,
    )
    write_click_track(track, Path(out))
    say(f"{out}: {track}")


@click.command("tuning", short_help="Tune by six open strings: a table of cents.")
@click.argument("take", type=FILE)
@click.option("--a4-hz", type=float, default=440.0, show_default=True, help="The reference pitch A4 (ISO 16: 440 Hz).")
@click.option("--json", "json_to", metavar="F|-", type=FILE, help="Write the JSON to a file, or to standard output.")
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
@click.argument("take_a", type=FILE)
@click.argument("take_b", type=FILE)
@options_of(Exercise)
@click.option("--journal", metavar="J", help="Practice record: how far this player's takes usually lie apart.")
@click.option("--student", metavar="NAME", help="Whose, where the record has several.")
@click.option("--json", "json_to", metavar="F|-", type=FILE, help="Write the JSON to a file, or to standard output.")
@click.option("--plot", "plot_to", metavar="F", type=FILE, help="Write the picture (png, svg, pdf).")
def compare_command(
    take_a: str,
    take_b: str,
    journal: str | None,
    student: str | None,
    json_to: str | None,
    plot_to: str | None,
    **told: Any,
) -> None:
    """Hold two takes of one exercise against each other: is the difference larger than its uncertainty?"""
    from strumclock import report
    from strumclock.pipeline import compare, measure

    outputs = report.Outputs(reads=(take_a, take_b, journal), json=json_to, plot=plot_to)
    exercise = take_out(Exercise, told)
    a, b = measure(take_a, exercise), measure(take_b, exercise)
    usual = None
    if journal is not None:
        from strumclock.journal import Journal
        from strumclock.weeks.usual import usual_differences

        usual = usual_differences(Journal(journal).history(student), a.exercise.bpm)
    result = compare(a, b, usual=usual)
    outputs.write_json(result.to_dict())
    if plot_to is not None:
        report.write_comparison_plot(result, plot_to)
    if json_to != "-":
        say(report.comparison(result))


__all__ = ["click_command", "compare_command", "measure_command", "tuning_command"]
