"""What the files around one recording say of it, so that ``measure`` and ``batch`` come to the same result.

A ``practice.toml`` in the recording's folder or above it, a row of ``takes.csv`` beside it and the file's name are read
as a batch reads them. Without a ``practice.toml`` nothing is read: a name alone is no settings.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from strumclock.batch.files import Found, is_remote, parents, read_text_file
from strumclock.errors import UsageError
from strumclock.journal.places import SETTINGS_NAME

FILES_NAME = "the file's name"


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What was found around a recording.

    Attributes
    ----------
    told : mapping
        Fields of the exercise.
    options : mapping
        Fields of `MeasureOptions`.
    sources : mapping of str to str
        Where each field of the exercise was told: a file's path, or the file's own name.
    """

    told: Mapping[str, Any] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)


def told_around(path: str | os.PathLike[str]) -> Around:
    """What the files around a recording say of it.

    Parameters
    ----------
    path : path
        The recording; it need not be readable.

    Raises
    ------
    UsageError
        If one of those files cannot be read or says something impossible.

    Examples
    --------
    >>> told_around("nowhere/take.wav")
    Around(told={}, options={}, sources={})
    """
    text = os.fspath(path)
    full = text if is_remote(text) else str(Path(text).absolute())
    folder = full.replace("\\", "/").rpartition("/")[0]
    settings = _nearest(folder)
    if settings is None:
        return Around()
    from strumclock.batch.names import read_name
    from strumclock.batch.planning import Planner  # few recordings have settings around them

    found = Found(path=full, folder=folder, size=0, stamp="", changed_at=None)
    planner = Planner(folder, edits={}, name_of=str, container_time=lambda _: None, assume=False)
    plans = planner.plans(found, sha256="")
    if len(plans) > 1:
        return Around()  # takes.csv names several parts of it: which one is meant is not known
    (plan,) = plans
    if plan.error is not None:
        raise UsageError(plan.error)
    says = read_name(found.name.rpartition(".")[0])
    sources = dict.fromkeys(plan.told, settings)
    if says.bpm is not None and plan.told.get("bpm") == says.bpm:
        sources["bpm"] = FILES_NAME
    return Around(told=dict(plan.told), options=dict(plan.options), sources=sources)


def _nearest(folder: str) -> str | None:
    """The settings file nearest to a folder, in it or above; None where there is none."""
    found = (read_text_file(place, SETTINGS_NAME) for place in parents(folder))
    return next((file[0] for file in found if file is not None), None)
