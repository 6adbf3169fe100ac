"""What can be told: checked before any file is read, and listed once."""

from __future__ import annotations

import inspect
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import strumclock as sc
from strumclock.batch.settings import EXERCISE_FIELDS, OPTION_FIELDS
from strumclock.cli import main
from strumclock.cli.options import option_name
from strumclock.cli.take import click_command, compare_command, measure_command
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.journal.edits import CORRECTABLE
from strumclock.pipeline.options import MeasureOptions
from strumclock.verdict import STANDARDS

NOT_THERE = "/no/such/take.wav"  # reading it would be an AudioFileError

REFUSED: tuple[dict[str, Any], ...] = (
    *({"first_downbeat_s": x} for x in (-1e5, 1e5, math.inf, -math.inf, math.nan, 1e308, "2", True)),
    *({"start_s": x} for x in (-0.001, 1e308, math.inf, math.nan)),
    *({"end_s": x} for x in (-1.0, 1e308, math.nan)),
    *({"latency_u_ms": x, "first_downbeat_s": 2.0} for x in (-5, 1e9, math.nan)),
    *({"latency_ms": x, "first_downbeat_s": 2.0} for x in (-1e5, 1e5, math.inf, math.nan)),
    *({name: x} for name in ("click_to_mic_m", "guitar_to_mic_m", "click_to_ear_m") for x in (-1, 1e4, math.nan)),
    *({"standard": x} for x in ("strict", 3, math.nan)),
    *({"changes": x} for x in (1, "yes")),
    *({"part": x} for x in (0, -1, "none", "0", 1.0, True, 10**9)),
    {"click": ""},
    {"midi": 5},
    {"start_s": 20.0, "end_s": 5.0},
    {"start_s": 5.0, "end_s": 5.0},
    {"latency_ms": 20.0},
)


@pytest.mark.parametrize("told", REFUSED, ids=str)
def test_an_impossible_option_is_refused_before_the_file_is_read(told: dict[str, Any]) -> None:
    """Truth: issue 10, item 10: finite, within the stated range, before any audio is read."""
    with pytest.raises(sc.UsageError, match=r";|must"):
        sc.measure(NOT_THERE, **told)
    with pytest.raises(sc.AudioFileError):
        sc.measure(NOT_THERE)


@pytest.mark.parametrize(
    "words",
    [
        *(f"--first-downbeat {x}" for x in ("-1e5", "1e5", "inf", "nan")),
        *("--start 1e308", "--start -1", "--end nan", "--start 9 --end 3"),
        *("--latency-u-ms -5", "--latency-ms 20", "--last-held-bpm nan", "--click-to-ear-m -1", "--standard strict"),
        *("--bpm nan", "--bpm 1e308", "--swing nan", "--count-in -1", "--bars 0", "--beats-per-change 0"),
    ],
)
def test_the_command_line_refuses_it_with_one_line_that_names_the_option(
    words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Truth: the design: exit 2 is usage, errors are one line; no field's Python name reaches a user."""
    assert main(["measure", NOT_THERE, *words.split()]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "_s " not in said.err
    assert "_ms " not in said.err


def test_a_downbeat_after_the_recording_is_refused() -> None:
    """Truth: a take of five seconds has no first downbeat at a minute."""
    take = sc.from_array(np.random.default_rng(1).normal(size=5 * 44100), 44100)
    with pytest.raises(sc.UsageError, match=r"before the recording's end at 5\.0 s"):
        sc.measure(take, first_downbeat_s=60.0)


def test_a_latency_moves_the_stated_downbeat() -> None:
    """Truth: the recording lags by the latency, so beat 1 lies later in it; 2 ms where its u is not said (README)."""
    told = MeasureOptions(first_downbeat_s=2.0, latency_ms=30.0)
    assert told.downbeat_s == pytest.approx(2.03, abs=1e-12)
    assert told.stated_u_s == pytest.approx(0.002, abs=1e-12)
    assert MeasureOptions(latency_u_ms=0.5).stated_u_s == pytest.approx(0.0005, abs=1e-12)
    assert MeasureOptions().downbeat_s is None


def test_options_are_kept_in_their_types() -> None:
    """Truth: whole numbers are numbers of seconds too; NumPy's numbers and booleans are numbers and booleans."""
    told = MeasureOptions(start_s=5, end_s=np.float64(28.0), free=np.bool_(True))
    assert (told.start_s, told.end_s, told.free) == (5.0, 28.0, True)
    assert type(told.free) is bool
    assert MeasureOptions(end_s=5.0).start_s is None
    assert [MeasureOptions(part=part).part for part in (2, "2", "all", None)] == [2, 2, "all", None]
    assert MeasureOptions(standard="tight").judged_by.name == "tight"
    assert MeasureOptions().judged_by.name == "steady"


def test_measure_takes_exactly_the_fields_of_its_options() -> None:
    """Truth: the fields of `MeasureOptions`; an unknown name is refused by that name, with those that there are."""
    shown = inspect.signature(sc.measure).parameters
    assert set(shown) == {"take", "exercise", "options", *fields_of(MeasureOptions)}
    with pytest.raises(sc.UsageError, match=r"'latncy_ms' came; choose of .*\blatency_ms\b"):
        sc.measure(NOT_THERE, latncy_ms=3)
    with pytest.raises(sc.UsageError, match="click_to_ear_m"):
        sc.measure(NOT_THERE, options=MeasureOptions(changes=True), click_to_ear_m=-1)


def test_every_field_reaches_the_command_line_the_files_and_the_corrections() -> None:
    """Truth: the values' own fields; nothing else in the house lists them."""
    exercise = {option_name(name) for name in fields_of(Exercise)}
    for command, fields in (
        (measure_command, exercise | {option_name(name) for name in fields_of(MeasureOptions)}),
        (click_command, exercise),
        (compare_command, exercise),
    ):
        offered = {word for option in command.params for word in option.opts}
        assert fields <= offered, command.name
    assert set(EXERCISE_FIELDS) | {"name"} == set(fields_of(Exercise)) == set(Exercise.__dataclass_fields__)
    assert set(OPTION_FIELDS) < set(fields_of(MeasureOptions)) == set(MeasureOptions.__dataclass_fields__)
    assert set(EXERCISE_FIELDS) < set(CORRECTABLE)


def test_what_was_told_is_what_differs_from_the_defaults() -> None:
    """Truth: the fields told here, each in a plain value: a path as text, a standard of one's own by its name."""
    assert dict(MeasureOptions().told()) == {}
    own = replace(STANDARDS["tight"], name="ours")
    told = MeasureOptions(
        standard=own, midi=Path("map.mid"), click="left", changes=True, click_to_mic_m=0, part=2
    ).told()
    assert dict(told) == {
        "click": "left", "midi": "map.mid", "part": 2, "click_to_mic_m": 0.0, "standard": "ours", "changes": True,
    }  # fmt: skip
    assert dict(MeasureOptions(standard="steady", changes=False).told()) == {"standard": "steady"}
    with pytest.raises(TypeError):
        told["click"] = "right"  # type: ignore[index]  # read-only
