"""A folder of recordings, measured in parallel, only what is new, into the practice record."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.batch.cluster import cluster_executor as cluster_executor
    from strumclock.batch.files import find_recordings as find_recordings
    from strumclock.batch.folder import measure_folder as measure_folder
    from strumclock.batch.names import read_name as read_name
    from strumclock.batch.noted import Noted as Noted
    from strumclock.batch.noting import note_take as note_take
    from strumclock.batch.report import BatchReport as BatchReport, Failure as Failure, Step as Step
    from strumclock.batch.single import Around as Around, told_around as told_around

_HOME = {
    "cluster": ("cluster_executor",),
    "files": ("find_recordings",),
    "folder": ("measure_folder",),
    "names": ("read_name",),
    "noted": ("Noted",),
    "noting": ("note_take",),
    "report": (
        "BatchReport",
        "Failure",
        "Step",
    ),
    "single": (
        "Around",
        "told_around",
    ),
}
"""Where each name lives: imported when it is first asked for, since not everything needs the database."""

__all__ = [
    "Around",
    "BatchReport",
    "Failure",
    "Noted",
    "Step",
    "cluster_executor",
    "find_recordings",
    "measure_folder",
    "note_take",
    "read_name",
    "told_around",
]


def __getattr__(name: str) -> Any:
    """Import a name from its module when it is first asked for (PEP 562)."""
    for module, names in _HOME.items():
        if name in names:
            return getattr(importlib.import_module(f"strumclock.batch.{module}"), name)
    raise AttributeError(f"module 'strumclock.batch' has no attribute {name!r}")
