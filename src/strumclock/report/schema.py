"""The measurement as data for other programs: JSON of the schema ``strumclock.take/2``.

Its keys are the fields of the `Measurement` and of the values in it. ``take.schema.json`` beside this file (JSON
Schema, draft 2020-12) is made from the same values by `describing`. Keys may be added; none changes its meaning within
/2. Seconds and Hz, milliseconds for offsets; positive = late. Numbers are rounded far below what is measured: times to
a microsecond, milliseconds to a thousandth, so that the file stays readable.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
from collections.abc import Mapping
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.errors import Absent
from strumclock.report.student import message

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

SCHEMA_ID = "strumclock.take/2"

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
_DECIMALS = 4  # of what no ending tells: a convention
_SMALL_DIGITS = 2  # a number that its decimals would round to a bare zero keeps this many figures
NOT_FINITE = Absent(
    code="not-finite", reason="the figure could not be computed from this take: its value is not a finite number"
)
ABSENT = "absent"  # a field of this name holds reasons, which all stand in the document's own
ELSEWHERE = {"timing.offset_ms", "timing.deviation_ms"}  # the strums have theirs
GROUPS = {f"timing.by_{kind}": kind for kind in ("beat", "part", "bar")}  # whose place is called by its own name


def to_dict(measurement: Measurement) -> dict[str, Any]:
    """The measurement as the dict that ``take.schema.json`` describes: only JSON's own types, no NaN.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    dict
        An estimate is ``{"value", "low", "high", "u"}``, or None with its reason in ``absent``.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> document = sc.to_dict(example_take())
    >>> document["schema"], document["held"]["held"], sorted(document["timing"]["jitter_ms"])
    ('strumclock.take/2', False, ['high', 'low', 'u', 'value'])
    """
    converted = _Converter(absent=dict(measurement.absent))
    document = converted.of(measurement, "")
    document["exercise"]["inferred"] = document.pop("inferred")
    document["exercise"]["from"] = document.pop("sources")
    if document["verdict"] is not None:
        document["verdict"]["message"] = message(measurement)
    document["strums"] = sorted((*document["strums"], *document.pop("elsewhere")), key=lambda strum: strum["time_s"])
    steps = document.pop("steps")
    if measurement.timing is not None:
        document["timing"]["by_step"] = steps
    if measurement.timing is not None and measurement.timing.within_tolerance is None:
        document["timing"]["within_tolerance"] = _no_share(measurement, converted)
    last = {"absent": converted.reasons(), "warnings": document.pop("warnings")}
    return {"schema": SCHEMA_ID, "version": version(), **document, **last}


def to_json(measurement: Measurement) -> str:
    """The measurement as JSON text, UTF-8, ending in a newline; see `to_dict`.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    str

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.to_json(example_take()).splitlines()[1])
    "schema": "strumclock.take/2",
    """
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
    text = "{\n" + ",\n".join(rows) + "\n}\n"
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


_UNSEEN = re.compile("[\x7f-\x9f\u2028\u2029\ud800-\udfff]")
"""Control characters that JSON would let through to a terminal, and bytes of a file's name that are no text."""


def load_schema() -> dict[str, Any]:
    """The JSON Schema that every document of `to_dict` obeys.

    Examples
    --------
    >>> load_schema()["properties"]["schema"]
    {'const': 'strumclock.take/2'}
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

    def __init__(self, absent: dict[str, Absent]) -> None:
        self.absent = absent

    def reasons(self) -> dict[str, dict[str, str]]:
        """What is absent, as JSON."""
        return {path: {"code": why.code, "reason": why.reason} for path, why in self.absent.items()}

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
        if dataclasses.is_dataclass(value):
            place = GROUPS.get(path, "place")
            inner = {place if name == "place" else name: getattr(value, name) for name in shown(value, path)}
            return self._object(inner, path)
        if hasattr(value, "to_dict"):
            return self.of(value.to_dict(), path)
        raise TypeError(f"no JSON form for {type(value).__name__} at {path or 'the top'}")

    def _object(self, items: dict[str, object], path: str) -> dict[str, Any] | None:
        is_estimate = set(items) == {"value", "low", "high", "u"}
        inner = {
            key: self.of(item, path if is_estimate else f"{path}.{key}".lstrip(".")) for key, item in items.items()
        }
        if is_estimate and None in inner.values():
            self.absent.setdefault(path, NOT_FINITE)
            return None
        return inner

    def _number(self, value: float, path: str) -> float | None:
        if not math.isfinite(value):
            self.absent.setdefault(path, NOT_FINITE)
            return None
        decimals = _decimals(path.rpartition(".")[2])
        rounded = round(value, decimals)
        if rounded == 0 and value != 0:
            return float(f"{value:.{_SMALL_DIGITS}g}")
        return rounded + 0.0  # turns -0.0 into 0.0


def shown(value: Any, path: str) -> list[str]:
    """The fields of a value, or of its type, that the JSON shows at a path."""
    names = [field.name for field in dataclasses.fields(value)]
    return [name for name in names if name != ABSENT and f"{path}.{name}" not in ELSEWHERE]


@lru_cache(maxsize=512)
def _decimals(key: str) -> int:
    """How many decimals a number under this key keeps, by the unit in its name."""
    return next((n for ending, n in _DECIMALS_BY_ENDING.items() if key.endswith(ending)), _DECIMALS)


def _no_share(measurement: Measurement, converted: _Converter) -> dict[str, Any]:
    """The tolerance alone, where too few strums tell how many lie within it."""
    held = measurement.held
    known = held is not None and held.tolerance_s > 0  # a grid without a place has none
    tolerance_ms = converted.of(1e3 * held.tolerance_s, "tolerance_ms") if held is not None and known else None
    why = converted.absent.pop("timing.within_tolerance", Absent(code="too-few", reason="too few strums"))
    converted.absent.setdefault("timing.within_tolerance.share", why)
    return {"tolerance_ms": tolerance_ms, "share": None}


def version() -> str:
    """The program's version."""
    from importlib import metadata

    return metadata.version("strumclock")
