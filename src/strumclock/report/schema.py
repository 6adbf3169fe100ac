"""The measurement as data for other programs: JSON of the schema ``strumclock.take/1``.

The shape is fixed by ``take.schema.json`` beside this file (JSON Schema, draft 2020-12). Keys may be added; none
changes its meaning within /1. Seconds and Hz, milliseconds for offsets; positive = late. Numbers are rounded far below
what is measured: times to a microsecond, milliseconds to a thousandth, so that the file stays readable.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

SCHEMA_ID = "strumclock.take/1"

_DECIMALS_BY_ENDING = {
    "_s": 6,
    "_ms": 3,
    "_per_min": 3,
    "_bpm": 4,
    "bpm": 4,
    "bpm_heard": 4,
    "_ppm": 2,
    "_hz": 3,
    "_cents": 2,
}
_DECIMALS = 4
_SMALL_DIGITS = 2  # a number that its decimals would round to a bare zero keeps this many figures
_NOT_FINITE = "the figure could not be computed from this take: its value is not a finite number"


def to_dict(measurement: Measurement) -> dict[str, Any]:
    """The measurement as the dict that ``take.schema.json`` describes: only JSON's own types, no NaN.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    dict
        An estimate is ``{"value", "low", "high", "u"}``, or None with its reason in ``absent``.
    """
    m = measurement
    converted = _Converter(absent=absences(m))
    document: dict[str, Any] = {
        "schema": SCHEMA_ID,
        "version": version(),
        "take": converted.of(m.take, "take"),
        "exercise": {**converted.of(m.exercise, "exercise"), "inferred": list(m.inferred)},
        "grid": converted.of(m.grid, "grid"),
        "parts": converted.of(m.parts, "parts"),
        "strums": converted.of(sorted((*m.strums, *m.elsewhere), key=lambda s: s.time_s), "strums"),
        "omitted": converted.of(m.omitted, "omitted"),
        "timing": _timing(m, converted),
        "changes": converted.of(m.changes, "changes"),
        "tuning": converted.of(m.tuning, "tuning"),
        "stroke": converted.of(m.stroke, "stroke"),
        "correction": converted.of(m.correction, "correction"),
        "held": converted.of(m.held, "held"),
        "ignored": converted.of(m.ignored, "ignored"),
        "left_click": converted.of(m.left_click, "left_click"),
    }
    return {**document, "absent": converted.absent, "warnings": converted.of(m.warnings, "warnings")}


def absences(measurement: Measurement) -> dict[str, str]:
    """What cannot be known about the take, by its place in the JSON, with the reason."""
    timing = measurement.timing
    of_timing = timing.absent if timing is not None else {}
    return {**{path: why.reason for path, why in of_timing.items()}, **measurement.absent}


def to_json(measurement: Measurement) -> str:
    """The measurement as JSON text, UTF-8, ending in a newline; see `to_dict`."""
    return dumps(to_dict(measurement))


def dumps(document: Mapping[str, Any]) -> str:
    """Any of the program's documents as JSON text, a line for each key and for each item of a list; refuses NaN.

    Examples
    --------
    >>> print(dumps({"n": 2, "strums": [{"time_s": 1.0}, {"time_s": 1.6}]}), end="")
    {
    "n": 2,
    "strums": [
     {"time_s": 1.0},
     {"time_s": 1.6}]
    }
    """
    encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode  # without indents it runs in C
    rows = []
    for key, value in document.items():
        in_lines = isinstance(value, list) and value and isinstance(value[0], dict)
        text = "[\n " + ",\n ".join(encode(item) for item in value) + "]" if in_lines else encode(value)
        rows.append(f"{encode(key)}: {text}")
    return "{\n" + ",\n".join(rows) + "\n}\n"


def load_schema() -> dict[str, Any]:
    """The JSON Schema that every document of `to_dict` obeys.

    Examples
    --------
    >>> load_schema()["properties"]["schema"]
    {'const': 'strumclock.take/1'}
    """
    text = resources.files("strumclock.report").joinpath("take.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def plain(value: object) -> Any:
    """Any of the library's values (dataclass, array, tuple, mapping) as JSON's own types, rounded by its keys' units.

    Examples
    --------
    >>> plain({"time_s": np.float64(1.23456789), "gaps_ms": np.array([12.34567])})
    {'time_s': 1.234568, 'gaps_ms': [12.346]}
    """
    return _Converter(absent={}).of(value, "")


class _Converter:
    """Turns values into JSON's types; notes in `absent` what was not a finite number."""

    def __init__(self, absent: dict[str, str]) -> None:
        self.absent = absent

    def of(self, value: object, path: str) -> Any:
        if isinstance(value, float):  # NumPy's float64 is one
            return self._number(float(value), path)
        if value is None or isinstance(value, bool | str):
            return value
        if isinstance(value, int):
            return value
        if isinstance(value, np.generic):
            return self.of(value.item(), path)
        if isinstance(value, np.ndarray):
            return [self.of(item, path) for item in value.tolist()]
        if isinstance(value, Mapping):
            return self._object({str(key): item for key, item in value.items()}, path)
        if isinstance(value, tuple | list | set | frozenset):
            items = sorted(value) if isinstance(value, set | frozenset) else value
            return [self.of(item, path) for item in items]
        if hasattr(value, "to_dict"):
            return self.of(value.to_dict(), path)
        if dataclasses.is_dataclass(value):
            return self._object({name: getattr(value, name) for name in value.__dataclass_fields__}, path)
        raise TypeError(f"no JSON form for {type(value).__name__} at {path or 'the top'}")

    def _object(self, items: dict[str, object], path: str) -> dict[str, Any] | None:
        is_estimate = set(items) == {"value", "low", "high", "u"}
        inner = {
            key: self.of(item, path if is_estimate else f"{path}.{key}".lstrip(".")) for key, item in items.items()
        }
        if is_estimate and None in inner.values():
            self.absent.setdefault(path, _NOT_FINITE)
            return None
        return inner

    def _number(self, value: float, path: str) -> float | None:
        if not math.isfinite(value):
            self.absent.setdefault(path, _NOT_FINITE)
            return None
        decimals = _decimals(path.rpartition(".")[2])
        rounded = round(value, decimals)
        if rounded == 0 and value != 0:
            return float(f"{value:.{_SMALL_DIGITS}g}")
        return rounded + 0.0  # turns -0.0 into 0.0


@lru_cache(maxsize=512)
def _decimals(key: str) -> int:
    """How many decimals a number under this key keeps, by the unit in its name."""
    return next((n for ending, n in _DECIMALS_BY_ENDING.items() if key.endswith(ending)), _DECIMALS)


def _timing(measurement: Measurement, converted: _Converter) -> dict[str, Any] | None:
    """The timing's figures in the document's shape: groups by their own name, no copy of the strums' offsets."""
    timing = measurement.timing
    if timing is None:
        return None
    document: dict[str, Any] = converted.of(timing, "timing")
    for elsewhere in ("absent", "offset_ms", "deviation_ms"):
        document.pop(elsewhere, None)
    for group in ("beat", "part", "bar"):
        document[f"by_{group}"] = [
            {group: row["place"], "n": row["n"], "offset_ms": row["offset_ms"]} for row in document[f"by_{group}"]
        ]
    document["by_step"] = converted.of(measurement.steps, "timing.by_step")
    if document["within_tolerance"] is None:
        held = measurement.held
        known = held is not None and held.tolerance_s > 0  # a grid without a place has none
        tolerance_ms = converted.of(1e3 * held.tolerance_s, "tolerance_ms") if held is not None and known else None
        document["within_tolerance"] = {"tolerance_ms": tolerance_ms, "share": None}
        reason = converted.absent.pop("timing.within_tolerance", None)
        converted.absent.setdefault("timing.within_tolerance.share", reason or "too few strums")
    return document


def version() -> str:
    """The program's version."""
    from importlib import metadata

    return metadata.version("strumclock")
