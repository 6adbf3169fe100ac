"""The JSON Schema of a take's document, made from the values that the document is made of.

The shape comes from the fields' types, the descriptions from the registry of figures and from the values' docstrings,
the ranges of what was told from its own fields; `_ALSO` adds what neither a type nor a range says. The result is
shipped as ``take.schema.json``; after a change of a value, write it anew::

    python -m strumclock.report.describing
"""

from __future__ import annotations

import dataclasses
import inspect
import json
import re
import types
import typing
from pathlib import Path
from typing import Any

from strumclock import (
    alignment,
    chords,
    correction,
    errors,
    fields,
    grid,
    onsets,
    pipeline,
    stroke,
    timing,
    tuning,
    verdict,
)
from strumclock.pipeline.figures import EACH, FIGURES
from strumclock.report.schema import GROUPS, SCHEMA_ID, shown
from strumclock.report.student import LONGEST

FILE = Path(__file__).with_name("take.schema.json")
ADDED_WITHIN_2: frozenset[str] = frozenset({"ignored", "left_click", "settings"})
"""Keys at the top that came later: a document without them is one of /2 too."""

_PLAIN = {float: "number", int: "integer", str: "string", bool: "boolean"}
_ESTIMATE = {"$ref": "#/$defs/estimate"}
_REASON = {
    "type": "object",
    "required": ["code", "reason"],
    "properties": {"code": {"type": "string", "minLength": 1}, "reason": {"type": "string", "minLength": 1}},
}
_FROM_ONE = {
    "slot": 0,
    "slots": 0,
    "bar": 1,
    "beat": 1,
    "part": 1,
    "of": 1,
    "step": 1,
    "n": 0,
    "n_omitted": 0,
    "u_ms": 0,
    "p": 0,
    "channels": 1,
    "sample_rate_hz": 1,
}
"""Least values by the last part of the path: what is counted."""
_ABOVE_ZERO = ("duration_s", "bpm", "played_bpm", "other_bpm", "next_bpm", "tolerance_ms")
_ALSO: dict[str, dict[str, Any]] = {
    "take.sha256": {"pattern": "^[0-9a-f]{64}$"},
    "exercise.meter": {"pattern": "^[0-9]+/[0-9]+$"},
    "parts.*.kind": {"type": "string", "enum": list(typing.get_args(alignment.PartKind))},
    "grid.anchor": {"enum": list(timing.ANCHORS)},
    "changes.source": {"enum": ["told", "heard"]},
    "stroke.up_against_down.source": {"enum": ["told", "heard"]},
    "verdict.state": {"enum": sorted(verdict.STATES.values())},
    "warnings.*.code": {"minLength": 1},
    "warnings.*.message": {"minLength": 1},
}
_SECTION = r"^(?:Attributes|Parameters)\n-+\n(.*?)(?=^\w+\n-+\n|\Z)"
_ENTRY = r"^(\S[^\n]*?)(?: : [^\n]*)?\n((?:[ ]+[^\n]*\n?|\n)*)"
_ABOUT = {figure.path: figure.about for figure in FIGURES}


def describe() -> dict[str, Any]:
    """The schema as it should be shipped."""
    properties: dict[str, Any] = {"schema": {"const": SCHEMA_ID}, "version": {"type": "string", "minLength": 1}}
    properties |= _object(pipeline.Measurement, "")["properties"]
    properties["exercise"]["properties"]["inferred"] = properties.pop("inferred")
    properties["exercise"]["required"].append("inferred")
    properties["verdict"]["oneOf"][0]["properties"]["message"] = {"type": "string", "maxLength": LONGEST}
    properties["verdict"]["oneOf"][0]["required"].append("message")
    properties["settings"] |= {"additionalProperties": {"type": ["string", "number", "boolean"]}}
    texts = {"additionalProperties": {"type": "string"}}
    properties["exercise"]["properties"]["from"] = properties.pop("sources") | texts
    properties["exercise"]["required"].append("from")
    for name in ("omitted", "ignored"):  # came later: a document without it is one of /2 too
        properties[name]["items"]["required"].remove("p")
    del properties["elsewhere"]  # they stand among the other strums
    figures = properties["timing"]["oneOf"][0]
    figures["properties"]["by_step"] = properties.pop("steps")
    figures["required"].append("by_step")
    properties["timing"] = _with_empty_tolerance(properties["timing"])
    properties["absent"] = {
        "type": "object",
        "additionalProperties": _REASON,
        "description": "What cannot be known, by its place in this document.",
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:strumclock:take:2",
        "title": SCHEMA_ID,
        "description": "One recorded take, measured. Seconds are file time from the first decoded sample; milliseconds "
        "for offsets, positive = late (after the grid line). Keys may be added within /2; none changes its meaning. "
        "What cannot be known is null, with its reason in 'absent'.",
        "type": "object",
        "required": [name for name in properties if name not in ADDED_WITHIN_2],
        "properties": properties,
        "$defs": {
            "estimate": {
                "description": "low to high: 95 % interval of the player within this take; u: standard uncertainty of "
                "measuring this take. null where it cannot be known.",
                "oneOf": [
                    {
                        "type": "object",
                        "required": ["value", "low", "high", "u"],
                        "properties": {
                            **{name: {"type": "number"} for name in ("value", "low", "high")},
                            "u": {"type": "number", "minimum": 0},
                        },
                    },
                    {"type": "null"},
                ],
            }
        },
    }


def _with_empty_tolerance(part: dict[str, Any]) -> dict[str, Any]:
    """The tolerance is told even where no share is."""
    within = part["oneOf"][0]["properties"]["within_tolerance"]["oneOf"][0]
    within["properties"]["tolerance_ms"]["type"] = ["number", "null"]
    part["oneOf"][0]["properties"]["within_tolerance"] = within
    return part


def _object(kind: Any, path: str) -> dict[str, Any]:
    """A value's type as an object of its fields."""
    hints = typing.get_type_hints(kind, localns=_names())
    said = _described(kind)
    told = fields.fields_of(kind)
    place = GROUPS.get(path.removesuffix(f".{EACH}"))
    properties = {}
    for name in shown(kind, path):
        inner = f"{path}.{name}".lstrip(".")
        property = _property(hints[name], inner) | _limits(name, told.get(name)) | _ALSO.get(inner, {})
        about = _ABOUT.get(inner) or said.get(name, "")
        key = place if place and name == "place" else name
        properties[key] = property | ({"description": about} if about else {})
    return {"type": "object", "required": list(properties), "properties": properties}


def _property(kind: Any, path: str) -> dict[str, Any]:
    """A field's type."""
    inner = [x for x in typing.get_args(kind) if x is not types.NoneType]
    if isinstance(kind, types.UnionType) and len(inner) > 1:
        return {"anyOf": [*(_property(x, path) for x in inner), {"type": "null"}]}
    if isinstance(kind, types.UnionType):
        return _or_null(_property(inner[0], path))
    if kind is timing.Estimate:
        return dict(_ESTIMATE)
    if kind in _PLAIN:
        return {"type": _PLAIN[kind]}
    if typing.get_origin(kind) is tuple:
        return {"type": "array", "items": _property(inner[0], f"{path}.{EACH}")}
    if dataclasses.is_dataclass(kind):
        return _object(kind, path)
    return {"type": "object"}


def _or_null(known: dict[str, Any]) -> dict[str, Any]:
    if known == _ESTIMATE:
        return known
    if set(known) == {"type"} or known["type"] == "array":
        return {**known, "type": [known["type"], "null"]}
    return {"oneOf": [known, {"type": "null"}]}


def _limits(name: str, told: fields.Given | None) -> dict[str, Any]:
    """The range of a number, by what it counts or by what may be told."""
    if told is not None and told.low is not None:
        return {"minimum": told.low, "maximum": told.high}
    if name in _FROM_ONE:
        return {"minimum": _FROM_ONE[name]}
    return {"exclusiveMinimum": 0} if name in _ABOVE_ZERO else {}


def _names() -> dict[str, Any]:
    """What the values' annotations may name without importing it."""
    homes = (alignment, chords, correction, errors, grid, onsets, pipeline, stroke, timing, tuning, verdict)
    return {name: getattr(home, name) for home in homes for name in getattr(home, "__all__", dir(home))}


def _described(kind: Any) -> dict[str, str]:
    """What a docstring in numpydoc's form says of each field."""
    text = inspect.getdoc(kind) or ""
    found: dict[str, str] = {}
    for section in re.findall(_SECTION, text, re.DOTALL | re.MULTILINE):
        for head, body in re.findall(_ENTRY, f"{section}\n", re.MULTILINE):
            found |= dict.fromkeys((name.strip() for name in head.split(",")), " ".join(body.split()))
    return found


if __name__ == "__main__":
    FILE.write_text(json.dumps(describe(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
