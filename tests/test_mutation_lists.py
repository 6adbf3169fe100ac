"""The lists of the mutation run fit this tree: what is to be changed is there, and so is the test that notices it."""

from __future__ import annotations

import tomllib

import pytest
from support import ROOT

LISTS = ROOT / "tests" / "mutation"
CHANGES = tomllib.loads((LISTS / "known.toml").read_text(encoding="utf-8"))["change"]


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change["what"])
def test_a_known_change_can_be_made_and_names_a_test(change: dict[str, str]) -> None:
    """Truth: the source and the tests; `python tests/mutation/known.py` makes the change and runs the test."""
    source = (ROOT / change["file"]).read_text(encoding="utf-8")
    assert source.count(change["before"]) == 1
    assert change["after"] not in source
    file, _, name = change["test"].partition("::")
    assert f"def {name}(" in (ROOT / file).read_text(encoding="utf-8")


def test_every_listed_survivor_has_a_reason() -> None:
    """Truth: the list itself: each change once, each with a sentence."""
    rows = tomllib.loads((LISTS / "survivors.toml").read_text(encoding="utf-8"))["survivor"]
    assert len({row["change"] for row in rows}) == len(rows)
    assert all(row["reason"].endswith(".") for row in rows)
