"""strumclock: how accurately a guitarist strums against a click, and whether the weeks of practice work.

The public names below are loaded when they are first used, so that importing the package costs next to nothing.

Examples
--------
>>> import strumclock as sc
>>> sc.Exercise(bpm=80, meter="4/4", per_beat=2, pattern="D.DU.UDU").changes_per_minute is None
True
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.audio import Recording, from_array, load
    from strumclock.batch import measure_folder
    from strumclock.errors import (
        AudioFileError,
        ClickError,
        JournalError,
        Notice,
        RecordingError,
        StrumclockError,
        UsageError,
    )
    from strumclock.grid import BeatGrid, Exercise, build_grid
    from strumclock.journal import Journal
    from strumclock.measure import Measurement, compare, measure
    from strumclock.onsets import find_strums
    from strumclock.progress import progress
    from strumclock.report import plot_beats, plot_offsets, plot_take, summary, table, to_dict, to_json
    from strumclock.timing import Estimate, Standard, measure_timing

_HOME = {
    "audio": ("Recording", "from_array", "load"),
    "batch": ("measure_folder",),
    "errors": (
        "AudioFileError",
        "ClickError",
        "JournalError",
        "Notice",
        "RecordingError",
        "StrumclockError",
        "UsageError",
    ),
    "grid": ("BeatGrid", "Exercise", "build_grid"),
    "journal": ("Journal",),
    "measure": ("Measurement", "compare", "measure"),
    "onsets": ("find_strums",),
    "progress": ("progress",),
    "report": ("plot_beats", "plot_offsets", "plot_take", "summary", "table", "to_dict", "to_json"),
    "timing": ("Estimate", "Standard", "measure_timing"),
}
_MODULE = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "AudioFileError",
    "BeatGrid",
    "ClickError",
    "Estimate",
    "Exercise",
    "Journal",
    "JournalError",
    "Measurement",
    "Notice",
    "Recording",
    "RecordingError",
    "Standard",
    "StrumclockError",
    "UsageError",
    "build_grid",
    "compare",
    "find_strums",
    "from_array",
    "load",
    "measure",
    "measure_folder",
    "measure_timing",
    "plot_beats",
    "plot_offsets",
    "plot_take",
    "progress",
    "summary",
    "table",
    "to_dict",
    "to_json",
]


class _Face(ModuleType):
    """The package as a module in which a public name wins over the module of the same name.

    `measure` and `progress` are both.  Importing ``strumclock.measure`` anywhere makes Python bind the *module* to the
    package's attribute; without this, `sc.measure(...)` would work or not depending on what was imported before.
    """

    def __setattr__(self, name: str, value: Any) -> None:
        if isinstance(value, ModuleType) and _MODULE.get(name) == name:
            value = getattr(value, name)
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Face


def __getattr__(name: str) -> Any:
    """Import a public name from its module when it is first asked for (PEP 562)."""
    if name == "__version__":
        from importlib.metadata import version

        return version("strumclock")
    if name not in _MODULE:
        raise AttributeError(f"module 'strumclock' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"strumclock.{_MODULE[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """The public names, loaded or not."""
    return sorted({*globals(), *__all__})
