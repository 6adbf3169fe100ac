"""What is written about one take: from the JSON of a measurement to rows of the journal's tables, and back.

A take's **identity** is its sound: the hash of the file's bytes, with the part that was played where a file holds
several. Paths change, sounds do not.
"""

from __future__ import annotations

import json
import unicodedata
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

ESTIMATE = frozenset({"value", "low", "high", "u"})
STRUM_COLUMNS = ("time_s", "u_ms", "slot", "bar", "beat", "part", "stroke", "offset_ms", "deviation_ms", "at_change")
KEY_FIELDS = ("name", "chords", "beats_per_change", "meter", "per_beat", "pattern")
"""What makes two takes one exercise. Tempo, swing and length are how it was played."""

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeEntry:
    """One take to be written down.

    Parameters
    ----------
    identity : str
        See `identity_of`.
    student : str
        Name; empty where nobody told it.
    source : str
        ``"recording"`` or ``"paper"``.
    path : str, optional
        The recording, as the journal shall name it.
    played_on, played_at : date, datetime, optional
        Local; None where it is not known.
    date_source : str, optional
        ``"hand"``, ``"told"``, ``"name"``, ``"container"`` or ``"file"`` (uncertain).
    equipment, remark, excluded : str, optional
        Free text; a text in `excluded` is the reason why the take does not count.
    exercise : mapping
        As told; by default what the measurement did not infer.
    measurement : mapping, optional
        JSON of schema ``strumclock.take/2``.
    error : str, optional
        Why there is none.
    retry : bool
        The error may pass: try again next time even if nothing changed.
    held : bool, optional
        For paper: whether somebody wrote that it was held.
    settings, version : str
        Fingerprint of what it was measured with.
    replaces : str, optional
        Identity of the sound that the same file held before.
    """

    identity: str
    student: str = ""
    source: str = "recording"
    path: str | None = None
    played_on: date | None = None
    played_at: datetime | None = None
    date_source: str | None = None
    equipment: str | None = None
    remark: str | None = None
    excluded: str | None = None
    exercise: Json = field(default_factory=dict)
    measurement: Json | None = None
    error: str | None = None
    retry: bool = False
    held: bool | None = None
    settings: str = ""
    version: str = ""
    replaces: str | None = None


def identity_of(sha256: str, start_s: float | None = None, end_s: float | None = None) -> str:
    """The identity of a recording, or of a part of it.

    Examples
    --------
    >>> identity_of("ab12"), identity_of("ab12", 30.0, None)
    ('sha256:ab12', 'sha256:ab12#30-')
    """
    if start_s is None and end_s is None:
        return f"sha256:{sha256}"
    ends = ["" if x is None else f"{x:g}" for x in (start_s, end_s)]
    return f"sha256:{sha256}#{'-'.join(ends)}"


def sha256_of(identity: str) -> str | None:
    """The hash in an identity; None for paper."""
    kind, _, rest = identity.partition(":")
    return rest.partition("#")[0] if kind == "sha256" else None


def plain(text: str | None) -> str:
    """A name without case, accents' encodings and spare spaces: what two spellings of one name share.

    Examples
    --------
    >>> plain("  Ines  MÜLLER ") == plain("ines müller")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", text or "").casefold().split())


def told_exercise(measurement: Json) -> dict[str, Any]:
    """The exercise of a measurement without what was inferred from the sound."""
    exercise = dict(measurement["exercise"])
    inferred = set(exercise.pop("inferred", ()))
    return {name: value for name, value in exercise.items() if value is not None and name not in inferred}


def exercise_row(exercise: Json) -> dict[str, Any]:
    """The row of the exercises' table that an exercise, as told, belongs to.

    Examples
    --------
    >>> exercise_row({"name": "Two chords", "chords": ["A", "D"], "bpm": 80})["key"]
    'two chords|A D||||'
    """
    chords = exercise.get("chords")
    row = {
        "name": exercise.get("name"),
        "chords": " ".join(chords) if isinstance(chords, (list, tuple)) else chords,
        "beats_per_change": exercise.get("beats_per_change"),
        "meter": exercise.get("meter"),
        "per_beat": exercise.get("per_beat"),
        "pattern": exercise.get("pattern"),
    }
    parts = [plain(row["name"]), *(_canonical(row[name]) for name in KEY_FIELDS[1:])]
    return {"key": "|".join(parts), **row}


def _canonical(value: object) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, (int, float)) else str(value)


def exercise_label(row: Json) -> str:
    """An exercise's name for people, with what sets it apart.

    Examples
    --------
    >>> exercise_label({"name": "Two chords", "chords": "A D", "beats_per_change": 4.0})
    'Two chords (A D, every 4 beats)'
    """
    details = [row["chords"]] if row.get("chords") else []
    if row.get("beats_per_change"):
        details.append(f"every {row['beats_per_change']:g} beats")
    if not row.get("name"):
        details += [str(row[name]) for name in ("meter", "pattern") if row.get(name)]
        return ", ".join(details) or "unnamed exercise"
    return f"{row['name']} ({', '.join(details)})" if details else str(row["name"])


def take_columns(measurement: Json) -> dict[str, Any]:
    """The columns of the takes' table that a measurement fills."""
    exercise, timing, held = measurement["exercise"], measurement["timing"], measurement["held"]
    bpm = exercise.get("bpm")
    n = timing["n"] if timing else None
    share = timing["within_tolerance"]["share"] if timing else None
    added = [s for s in own_strums(measurement) if s.get("slot") is None and not s.get("left_click", False)]
    return {
        "bpm": bpm,
        "beats_per_change": exercise.get("beats_per_change"),
        "beat_ms": 60_000.0 / bpm if bpm else None,
        "anchor": (measurement["grid"] or {}).get("anchor"),
        "duration_s": measurement["take"]["duration_s"],
        "slots": n + len(measurement["omitted"]) if n is not None else None,
        "played": n,
        "added": len(added) if timing else None,
        "tolerance_ms": timing["within_tolerance"]["tolerance_ms"] if timing else None,
        "even_share": share["value"] if share else None,
        "held": held["held"] if held else None,
        "margin": held.get("tempo_margin", held.get("margin")) if held else None,
        "failed": _failed(held) if held else None,
        "next_bpm": held["next_bpm"] if held else None,
        "warnings": " ".join(sorted({w["code"] for w in measurement["warnings"]})) or None,
    }


def _failed(held: Json) -> str | None:
    """What was asked and not met, as the journal's text: the codes, with both numbers."""
    said = [f"{row['code']} {row['found']:g} of {row['asked']:g}" for row in held["failed"]]
    return "; ".join(said) or None


def own_strums(measurement: Json) -> list[Any]:
    """The strums of the part of the recording that the figures are of."""
    return [strum for strum in measurement["strums"] if strum.get("measured", True)]


def result_row(measurement: Json) -> dict[str, Any]:
    """A take's whole result but for its strums."""
    return {"detail": pack({key: value for key, value in measurement.items() if key != "strums"})}


def figure_rows(measurement: Json) -> list[dict[str, Any]]:
    """Every estimate in a measurement by its place, such as ``timing.by_beat.2.offset_ms``, and every absence."""
    rows = {place: {"place": place, **estimate, "absent": None} for place, estimate in _estimates("", measurement)}
    for place, why in measurement["absent"].items():
        nothing = dict.fromkeys(sorted(ESTIMATE))
        rows.setdefault(place, {"place": place, **nothing, "absent": why["reason"]})
    return list(rows.values())


def _estimates(place: str, node: object) -> Iterator[tuple[str, dict[str, float]]]:
    if isinstance(node, Mapping):
        if node.keys() == ESTIMATE:
            yield place, dict(node)
            return
        for key, value in node.items():
            if key not in ("strums", "omitted"):
                yield from _estimates(f"{place}.{key}" if place else key, value)
    elif isinstance(node, list):
        group = place.rpartition(".")[2]
        for index, value in enumerate(node):
            yield from _estimates(f"{place}.{_name_in(group, value, index)}", value)


def _name_in(group: str, value: object, index: int) -> str:
    """What an item of a list is called in a place: the beat of ``by_beat``, what a finding is of; else a number."""
    if isinstance(value, Mapping):
        if group.startswith("by_"):
            return str(value.get(group.removeprefix("by_"), index))
        if group == "findings":
            where = value["where"]
            about = ">".join(where) if isinstance(where, list) else where
            return value["kind"] if about is None else f"{value['kind']}.{about}"
    return str(index)


def strum_row(measurement: Json) -> dict[str, Any]:
    """A take's strums, column by column."""
    strums = own_strums(measurement)
    columns = {name: [s.get(name) for s in strums] for name in STRUM_COLUMNS}
    times: list[float] = columns["time_s"]
    return {"n": len(times), "span_s": times[-1] - times[0] if times else 0.0, "columns": pack(columns)}


def pack(value: object) -> bytes:
    """JSON, compressed. NaN is refused, as everywhere."""
    return zlib.compress(json.dumps(value, separators=(",", ":"), allow_nan=False).encode(), 6)


class DamagedError(Exception):
    """A value in the database that cannot have been written by us; says where."""


def unpack(blob: bytes) -> Any:
    """The inverse of `pack`.

    Raises
    ------
    DamagedError
        If it is no such thing.
    """
    try:
        return json.loads(zlib.decompress(blob))
    except (zlib.error, ValueError, TypeError, RecursionError):
        raise DamagedError("a take's result, which cannot be unpacked") from None
