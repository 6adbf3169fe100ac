"""The JSON: every document obeys the shipped schema, and says what was measured."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from report_takes import free_take, take

from strumclock import report
from strumclock.errors import Notice
from strumclock.grid import Exercise
from strumclock.onsets import Ignored
from strumclock.pipeline.measurement import LeftClick, Measurement

TAKES = {
    "plain": take(),
    "omitted and added": take(omit=(3, 9), added_s=(5.11,), ignored=(Ignored(time_s=1.0, reason="a tap"),)),
    "headphones": take(anchor="fitted"),
    "five strums": take(keep=5),
    "one strum": take(keep=1),
    "nothing on the grid": take(omit_all=True, added_s=(4.05,)),
    "left the click": take(left_click=(LeftClick(start_s=9.0, end_s=14.0, played_bpm=96.0),)),
    "strums beside the click": take(
        added_s=(5.11, 10.2), left_click=(LeftClick(start_s=9.0, end_s=14.0, played_bpm=96.0),)
    ),
    "warned": take(warnings=(Notice(code="clipped", message="the loudest strums are clipped"),)),
    "an array": take(path=None),
    "all inferred": take(inferred=("bpm", "meter", "per_beat", "pattern", "count_in")),
    "only strums": free_take(),
}


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = report.load_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("name", TAKES)
def test_every_document_obeys_the_shipped_schema(name: str, validator: jsonschema.Draft202012Validator) -> None:
    """Truth: JSON Schema draft 2020-12, by the jsonschema package."""
    document = json.loads(report.to_json(TAKES[name]), parse_constant=_refuse)
    validator.validate(document)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), "strumclock.take/1"),
        (("grid", "anchor"), "guessed"),
        (("strums", 0, "time_s"), None),
        (("strums", 0, "bar"), 0),
        (("timing", "mean_offset_ms"), 12.0),
        (("timing", "jitter_ms", "u"), -1.0),
        (("held", "held"), "yes"),
        (("absent",), {"timing.lag1": {"code": "too-few", "reason": ""}}),
        (("warnings",), [{"code": "x"}]),
    ],
)
def test_the_schema_refuses_what_the_design_forbids(
    path: tuple[str | int, ...], value: object, validator: jsonschema.Draft202012Validator
) -> None:
    """Truth: the design's definition of each key; a schema that lets everything pass would fail here."""
    document = report.to_dict(TAKES["plain"])
    inner = document
    for key in path[:-1]:
        inner = inner[key]  # type: ignore[index]
    inner[path[-1]] = value  # type: ignore[index]
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(document)


def test_the_strums_and_figures_are_those_of_the_measurement() -> None:
    """Truth: the measurement's own fields, to the rounding that is promised: a microsecond and a thousandth of a ms."""
    m = take(mean_ms=12.0, omit=(4,), added_s=(5.111111111,))
    document = report.to_dict(m)
    assert m.timing is not None
    assert m.timing.mean_offset_ms is not None
    assert [s["slot"] for s in document["strums"]] == [s.slot for s in m.strums]
    assert document["strums"][0].keys() >= {
        *("time_s", "u_ms", "slot", "bar", "beat", "part", "offset_ms", "deviation_ms", "at_change")
    }
    for said, strum in zip(document["strums"], m.strums, strict=True):
        assert said["time_s"] == pytest.approx(strum.time_s, abs=5.1e-7, rel=0)
        if strum.offset_ms is not None:
            assert said["offset_ms"] == pytest.approx(strum.offset_ms, abs=5.1e-4, rel=0)
    mean = document["timing"]["mean_offset_ms"]
    for key in ("value", "low", "high", "u"):
        assert mean[key] == pytest.approx(getattr(m.timing.mean_offset_ms, key), abs=5.1e-4, rel=0)
    at_s = round(m.omitted[0].time_s, 6)
    assert document["omitted"] == [{"slot": 4, "bar": 1, "beat": 4, "part": 1, "time_s": at_s, "p": None}]
    assert [row["beat"] for row in document["timing"]["by_beat"]] == [1, 2, 3, 4]
    assert "offset_ms" not in document["timing"]  # the strums have theirs


def test_what_is_absent_is_null_with_its_reason() -> None:
    """Truth: with a fitted grid, offsets and mean offset cannot be known (design, anchors)."""
    document = report.to_dict(TAKES["headphones"])
    assert document["timing"]["mean_offset_ms"] is None
    assert "click" in document["absent"]["timing.mean_offset_ms"]["reason"]
    assert all(s["offset_ms"] is None and s["deviation_ms"] is not None for s in document["strums"])
    few = report.to_dict(TAKES["five strums"])
    assert few["timing"]["within_tolerance"]["share"] is None
    assert few["timing"]["within_tolerance"]["tolerance_ms"] == pytest.approx(35, abs=1e-3)
    assert few["absent"]["timing.within_tolerance.share"]


def test_a_strum_beside_the_click_is_marked_and_not_added() -> None:
    """Truth: of two strums without a slot, the second lies in the stretch that left the click."""
    strums = report.to_dict(TAKES["strums beside the click"])["strums"]
    without = [s for s in strums if s["slot"] is None]
    assert [s["left_click"] for s in without] == [False, True]
    assert not any(s["left_click"] for s in strums if s["slot"] is not None)


def test_every_null_figure_of_the_timing_has_a_reason() -> None:
    """Truth: the design: what cannot be known is absent, with its reason."""
    for name, m in TAKES.items():
        document = report.to_dict(m)
        for key, value in (document["timing"] or {}).items():
            if value is None and key not in ("at_change", "explained_share"):
                assert f"timing.{key}" in document["absent"], (name, key)


@pytest.mark.parametrize("wrong", [math.nan, math.inf])
def test_a_number_that_is_not_finite_becomes_null_with_a_reason(wrong: float) -> None:
    """Truth: JSON has no NaN (RFC 8259, section 6)."""
    m = take()
    assert m.grid is not None
    document = json.loads(report.to_json(replace(m, grid=replace(m.grid, first_downbeat_s=wrong))))
    assert document["grid"]["first_downbeat_s"] is None
    assert "finite" in document["absent"]["grid.first_downbeat_s"]["reason"]


def test_numbers_are_rounded_by_their_unit_but_never_to_a_bare_zero() -> None:
    """Truth: 0.00004 ms is not nothing; −0.0 is written 0.0."""
    rounded = report.plain({"u_ms": 0.000041, "offset_ms": -0.0, "time_s": np.float64(1.23456789), "n": np.int64(3)})
    assert rounded == {"u_ms": 4.1e-05, "offset_ms": 0.0, "time_s": 1.234568, "n": 3}
    assert math.copysign(1, rounded["offset_ms"]) == 1


def test_the_exercise_is_written_with_what_was_inferred() -> None:
    """Truth: the exercise that was given."""
    m: Measurement = take(exercise=Exercise(bpm=80, meter="6/8", per_beat=3, pattern="D.DD.D"), inferred=("pattern",))
    exercise = report.to_dict(m)["exercise"]
    assert exercise["inferred"] == ["pattern"]
    assert (exercise["bpm"], exercise["meter"], exercise["chords"]) == (80.0, "6/8", None)


def _refuse(constant: str) -> None:
    raise AssertionError(f"{constant} in JSON")
