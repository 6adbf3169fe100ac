"""What a paper needs of a take: the paragraph on how it was measured, its settings, and how to cite the program."""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from support import REFERENCE_AUDIO, ROOT

import strumclock as sc
from strumclock.report import load_schema

TAKE = REFERENCE_AUDIO / "steady.flac"
DISTANCES = {"guitar_to_mic_m": 0.5, "click_to_mic_m": 1.0, "click_to_ear_m": 0.5}


@pytest.fixture(scope="module")
def take() -> sc.Measurement:
    """A reference take, told its tempo, one of three distances and a standard."""
    return sc.measure(TAKE, sc.Exercise(bpm=84), guitar_to_mic_m=0.5, standard="tight")


def test_the_settings_are_what_was_told_and_no_default(take: sc.Measurement) -> None:
    """Kept in the result and in its JSON, which obeys the schema; a document without them is one of /2 too."""
    import jsonschema

    assert dict(take.settings) == {"guitar_to_mic_m": 0.5, "standard": "tight"}
    document = sc.to_dict(take)
    assert document["settings"] == {"guitar_to_mic_m": 0.5, "standard": "tight"}
    jsonschema.validate(document, load_schema())
    del document["settings"]
    jsonschema.validate(document, load_schema())


def test_told_again_the_settings_give_the_same_result(take: sc.Measurement) -> None:
    """What "settings" is for: another lab, the same file, the same numbers."""
    told = {**take.settings}
    again = sc.measure(TAKE, sc.Exercise(bpm=84), **told)
    assert sc.to_dict(again) == sc.to_dict(take)


def test_the_paragraph_holds_what_a_reader_needs(take: sc.Measurement) -> None:
    """Version, the file's own SHA-256, clicks, what was told and what was found, settings, standard, u."""
    said = sc.methods(take)
    assert f"strumclock {sc.__version__}" in said
    assert hashlib.sha256(TAKE.read_bytes()).hexdigest() in said
    assert take.grid is not None
    assert f"The grid lies on the {take.grid.clicks_heard} clicks heard in the recording (84.000 bpm" in said
    assert "Told of the exercise: tempo 84 bpm. Found from the recording: meter 4/4" in said
    assert "Settings: guitar_to_mic_m = 0.5, standard = tight." in said
    assert "not told (click_to_mic_m, click_to_ear_m) are in the mean offset's u" in said
    assert "the standard “tight”, tolerance" in said
    assert take.timing is not None
    assert take.timing.mean_offset_ms is not None
    assert f"of the mean offset {take.timing.mean_offset_ms.u:.1f} ms" in said
    middle = np.median([strum.u_ms for strum in take.strums])
    assert f"u of a strum's time: {middle:.1f} ms in the median of {len(take.strums)}" in said


def test_the_paragraph_is_true_where_less_is_known(take: sc.Measurement) -> None:
    """Every anchor, distances all told, no grid, no strum, an array: no sentence claims what is not there."""
    assert take.grid is not None
    assert take.timing is not None
    every = sc.methods(replace(take, settings=DISTANCES))
    assert "not told (" not in every
    fitted = replace(
        take, grid=replace(take.grid, anchor="fitted"), timing=replace(take.timing, mean_offset_ms=None), settings={}
    )
    said = sc.methods(fitted)
    assert "No click was heard" in said
    assert "mean offset" not in said
    assert "All settings were the program's own." in said
    stated = replace(take, grid=replace(take.grid, anchor="given", first_downbeat_s=2.5))
    assert "was stated: the first played downbeat at 2.500 s" in sc.methods(stated)
    channel = replace(take, grid=replace(take.grid, anchor="click-channel", bpm_heard=None, clicks_heard=1))
    assert "on the 1 click heard on a channel or in a file of their own." in sc.methods(channel)
    bare = replace(take, grid=None, timing=None, held=None, strums=(), take=replace(take.take, path=None, sha256=None))
    said = sc.methods(bare)
    assert "samples given as an array" in said
    assert "SHA" not in said
    assert "Only the strums were found" in said
    assert "u of a strum" not in said
    assert not re.search(r"\bnan\b|None", said)


def test_the_citation_is_of_this_version() -> None:
    """Citation File Format 1.2.0: its required keys (authors, cff-version, message, title), the project's version and
    licence."""
    text = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    keys = dict(re.findall(r"^([\w-]+): ?(.*)$", text, re.M))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert {"authors", "cff-version", "message", "title"} <= set(keys)
    assert keys["cff-version"] == "1.2.0"
    assert keys["version"] == project["version"]
    assert keys["license"] == project["license"]
    assert project["authors"][0]["name"] in text
