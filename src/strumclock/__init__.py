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
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.alignment import (
        Alignment as Alignment,
    )
    from strumclock.alignment import (
        align as align,
    )
    from strumclock.audio import (
        Recording as Recording,
    )
    from strumclock.audio import (
        from_array as from_array,
    )
    from strumclock.audio import (
        load as load,
    )
    from strumclock.batch import (
        BatchReport as BatchReport,
    )
    from strumclock.batch import (
        measure_folder as measure_folder,
    )
    from strumclock.click import (
        Clicks as Clicks,
    )
    from strumclock.click import (
        find_click_channel as find_click_channel,
    )
    from strumclock.click import (
        find_clicks as find_clicks,
    )
    from strumclock.click import (
        remove_clicks as remove_clicks,
    )
    from strumclock.clicktrack import (
        ClickTrack as ClickTrack,
    )
    from strumclock.clicktrack import (
        click_track as click_track,
    )
    from strumclock.clicktrack import (
        write_click_track as write_click_track,
    )
    from strumclock.correction import (
        Correction as Correction,
    )
    from strumclock.correction import (
        measure_correction as measure_correction,
    )
    from strumclock.errors import (
        Absent as Absent,
    )
    from strumclock.errors import (
        AudioFileError as AudioFileError,
    )
    from strumclock.errors import (
        ClickError as ClickError,
    )
    from strumclock.errors import (
        JournalError as JournalError,
    )
    from strumclock.errors import (
        Notice as Notice,
    )
    from strumclock.errors import (
        OutputError as OutputError,
    )
    from strumclock.errors import (
        RecordingError as RecordingError,
    )
    from strumclock.errors import (
        StrumclockError as StrumclockError,
    )
    from strumclock.errors import (
        UsageError as UsageError,
    )
    from strumclock.grid import (
        BeatGrid as BeatGrid,
    )
    from strumclock.grid import (
        Exercise as Exercise,
    )
    from strumclock.grid import (
        build_grid as build_grid,
    )
    from strumclock.journal import (
        Journal as Journal,
    )
    from strumclock.midi import (
        grid_from_midi as grid_from_midi,
    )
    from strumclock.onsets import (
        Detector as Detector,
    )
    from strumclock.onsets import (
        Strums as Strums,
    )
    from strumclock.onsets import (
        find_strums as find_strums,
    )
    from strumclock.pipeline import (
        Comparison as Comparison,
    )
    from strumclock.pipeline import (
        Measurement as Measurement,
    )
    from strumclock.pipeline import (
        compare as compare,
    )
    from strumclock.pipeline import (
        measure as measure,
    )
    from strumclock.pipeline import (
        measure_parts as measure_parts,
    )
    from strumclock.report import (
        plot_beats as plot_beats,
    )
    from strumclock.report import (
        plot_class as plot_class,
    )
    from strumclock.report import (
        plot_offsets as plot_offsets,
    )
    from strumclock.report import (
        plot_progress as plot_progress,
    )
    from strumclock.report import (
        plot_take as plot_take,
    )
    from strumclock.report import (
        summary as summary,
    )
    from strumclock.report import (
        table as table,
    )
    from strumclock.report import (
        to_dict as to_dict,
    )
    from strumclock.report import (
        to_json as to_json,
    )
    from strumclock.timing import (
        STANDARDS as STANDARDS,
    )
    from strumclock.timing import (
        Estimate as Estimate,
    )
    from strumclock.timing import (
        Held as Held,
    )
    from strumclock.timing import (
        Standard as Standard,
    )
    from strumclock.timing import (
        Timing as Timing,
    )
    from strumclock.timing import (
        judge_take as judge_take,
    )
    from strumclock.timing import (
        measure_timing as measure_timing,
    )
    from strumclock.tuning import (
        OpenStrings as OpenStrings,
    )
    from strumclock.tuning import (
        open_strings as open_strings,
    )
    from strumclock.weeks import (
        Progress as Progress,
    )
    from strumclock.weeks import (
        class_list as class_list,
    )
    from strumclock.weeks import (
        progress as progress,
    )

_HOME = {
    "alignment": (
        "Alignment",
        "align",
    ),
    "audio": (
        "Recording",
        "from_array",
        "load",
    ),
    "batch": (
        "BatchReport",
        "measure_folder",
    ),
    "click": (
        "Clicks",
        "find_click_channel",
        "find_clicks",
        "remove_clicks",
    ),
    "clicktrack": (
        "ClickTrack",
        "click_track",
        "write_click_track",
    ),
    "correction": (
        "Correction",
        "measure_correction",
    ),
    "errors": (
        "Absent",
        "AudioFileError",
        "ClickError",
        "JournalError",
        "Notice",
        "OutputError",
        "RecordingError",
        "StrumclockError",
        "UsageError",
    ),
    "grid": (
        "BeatGrid",
        "Exercise",
        "build_grid",
    ),
    "journal": ("Journal",),
    "midi": ("grid_from_midi",),
    "onsets": (
        "Detector",
        "Strums",
        "find_strums",
    ),
    "pipeline": (
        "Comparison",
        "Measurement",
        "compare",
        "measure",
        "measure_parts",
    ),
    "report": (
        "plot_beats",
        "plot_class",
        "plot_offsets",
        "plot_progress",
        "plot_take",
        "summary",
        "table",
        "to_dict",
        "to_json",
    ),
    "timing": (
        "Estimate",
        "Held",
        "STANDARDS",
        "Standard",
        "Timing",
        "judge_take",
        "measure_timing",
    ),
    "tuning": (
        "OpenStrings",
        "open_strings",
    ),
    "weeks": (
        "Progress",
        "class_list",
        "progress",
    ),
}
_MODULE = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "STANDARDS",
    "Absent",
    "Alignment",
    "AudioFileError",
    "BatchReport",
    "BeatGrid",
    "ClickError",
    "ClickTrack",
    "Clicks",
    "Comparison",
    "Correction",
    "Detector",
    "Estimate",
    "Exercise",
    "Held",
    "Journal",
    "JournalError",
    "Measurement",
    "Notice",
    "OpenStrings",
    "OutputError",
    "Progress",
    "Recording",
    "RecordingError",
    "Standard",
    "StrumclockError",
    "Strums",
    "Timing",
    "UsageError",
    "align",
    "build_grid",
    "class_list",
    "click_track",
    "compare",
    "find_click_channel",
    "find_clicks",
    "find_strums",
    "from_array",
    "grid_from_midi",
    "judge_take",
    "load",
    "measure",
    "measure_correction",
    "measure_folder",
    "measure_parts",
    "measure_timing",
    "open_strings",
    "plot_beats",
    "plot_class",
    "plot_offsets",
    "plot_progress",
    "plot_take",
    "progress",
    "remove_clicks",
    "summary",
    "table",
    "to_dict",
    "to_json",
    "write_click_track",
]


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
    """The public names, loaded or not, and nothing else."""
    return sorted(__all__)
