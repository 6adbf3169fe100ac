"""The registry of figures: complete, true to the values, and what the rest of the house is made from."""

from __future__ import annotations

import importlib
import json
from collections.abc import Iterator
from typing import Any

import pytest
from report_takes import take

from strumclock import report
from strumclock.journal.entry import figure_rows
from strumclock.journal.tables import TAKE_HEADER
from strumclock.pipeline.figures import COMPARED, DECIMALS, EACH, FIGURES, find, named
from strumclock.report.describing import FILE, describe
from strumclock.report.text import figures

NOT_OF_THE_TAKE = (
    "held.",
    "verdict.",
    "timing.findings.",
    "timing.by_step.",
)  # what is asked and concluded is no figure


def _estimates(schema: dict[str, Any], path: str = "") -> Iterator[str]:
    """The places of all estimates in a JSON Schema."""
    if schema.get("$ref") == "#/$defs/estimate":
        yield path
    for inner in schema.get("oneOf", ()):
        yield from _estimates(inner, path)
    for name, inner in schema.get("properties", {}).items():
        yield from _estimates(inner, f"{path}.{name}".lstrip("."))
    if "items" in schema:
        yield from _estimates(schema["items"], f"{path}.{EACH}")


def test_the_shipped_schema_is_made_from_the_values() -> None:
    """Truth: the values' own types; `python -m strumclock.report.describing` writes the file anew."""
    assert json.loads(FILE.read_text(encoding="utf-8")) == json.loads(json.dumps(describe()))


def test_every_estimate_of_the_document_has_its_row() -> None:
    """Truth: the schema, which is made from the values' types: neither list has what the other has not."""
    places = {place for place in _estimates(describe()) if not place.startswith(NOT_OF_THE_TAKE)}
    assert places == {figure.path for figure in FIGURES}


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.path)
def test_every_figure_says_what_it_is_and_where_it_comes_from(figure: Any) -> None:
    """Truth: the function that it names exists; its unit is one that can be told; its description is a sentence."""
    module, _, function = figure.source.rpartition(".")
    assert callable(getattr(importlib.import_module(module), function))
    assert figure.unit in DECIMALS
    assert figure.about.endswith(".")
    assert figure.label
    assert figure.when in ("always", "known", "several")


def test_a_figure_is_found_where_its_path_leads() -> None:
    """Truth: the measurement's own fields, and the places that the practice record gives them."""
    m = take()
    assert m.timing is not None
    (jitter,) = find(m, named("timing.jitter_ms"))
    assert jitter.estimate is m.timing.jitter_ms
    beats = list(find(m, named("timing.by_beat.*.offset_ms")))
    assert [one.estimate for one in beats] == [group.offset_ms for group in m.timing.by_beat]
    places = {row["place"] for row in figure_rows(report.to_dict(m))}
    assert {one.path for figure in FIGURES for one in find(m, figure) if one.estimate is not None} <= places
    assert list(find(m, named("stroke.spread_ms"))) == []


def test_the_table_has_a_row_for_every_figure_that_is_known() -> None:
    """Truth: the registry: each figure that is found in the take and is meant for the table, by its label."""
    m = take(change_ms=20.0)
    labels = {row[0] for row in figures(m)}
    for figure in FIGURES:
        found = [one for one in find(m, figure) if one.estimate is not None]
        if found and figure.in_table and "{" not in figure.label:
            assert figure.label in labels
    assert {"Beat 1", "Beat 4", "Part 2 (&)", "Within ± 35 ms of own mean"} <= labels


def test_the_comparison_and_the_practice_record_show_their_figures() -> None:
    """Truth: the registry."""
    assert [figure.name for figure in COMPARED] == [
        *("mean_offset_ms", "jitter_ms", "jitter_within_ms", "drift_ms_per_min")
    ]
    columns = {figure.column for figure in FIGURES if figure.column}
    assert columns == {"mean_offset_ms", "jitter_ms", "drift_ms_per_min", "within_share", "played_bpm"}
    assert columns | {f"{column}_u" for column in columns} <= set(TAKE_HEADER)
