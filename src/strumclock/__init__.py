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
        align as align,
    )
    from strumclock.audio import (
        Recording as Recording,
        from_array as from_array,
        load as load,
    )
    from strumclock.batch import (
        BatchReport as BatchReport,
        measure_folder as measure_folder,
    )
    from strumclock.click import (
        Clicks as Clicks,
        find_click_channel as find_click_channel,
        find_clicks as find_clicks,
        remove_clicks as remove_clicks,
    )
    from strumclock.clicktrack import (
        ClickTrack as ClickTrack,
        click_track as click_track,
        write_click_track as write_click_track,
    )
    from strumclock.correction import (
        Correction as Correction,
        measure_correction as measure_correction,
    )
    from strumclock.errors import (
        Absent as Absent,
        AudioFileError as AudioFileError,
        ClickError as ClickError,
        JournalError as JournalError,
        Notice as Notice,
        OutputError as OutputError,
        RecordingError as RecordingError,
        StrumclockError as StrumclockError,
        UsageError as UsageError,
    )
    from strumclock.grid import (
        BeatGrid as BeatGrid,
        Exercise as Exercise,
        build_grid as build_grid,
        grid_from_beats as grid_from_beats,
    )
    from strumclock.journal import (
        Journal as Journal,
    )
    from strumclock.midi import (
        grid_from_midi as grid_from_midi,
    )
    from strumclock.onsets import (
        Detector as Detector,
        Strums as Strums,
        find_strums as find_strums,
    )
    from strumclock.pipeline import (
        Comparison as Comparison,
        Measurement as Measurement,
        MeasureOptions as MeasureOptions,
        compare as compare,
        measure as measure,
        measure_parts as measure_parts,
        measure_strums as measure_strums,
    )
    from strumclock.report import (
        BarSound as BarSound,
        answers as answers,
        hear_bar as hear_bar,
        message as message,
        methods as methods,
        plot_beats as plot_beats,
        plot_class as plot_class,
        plot_comparison as plot_comparison,
        plot_jitter as plot_jitter,
        plot_offsets as plot_offsets,
        plot_placement as plot_placement,
        plot_progress as plot_progress,
        plot_take as plot_take,
        plot_tempo as plot_tempo,
        summary as summary,
        table as table,
        to_csv as to_csv,
        to_dict as to_dict,
        to_json as to_json,
        write_csv as write_csv,
    )
    from strumclock.timing import (
        Estimate as Estimate,
        Timing as Timing,
        measure_timing as measure_timing,
    )
    from strumclock.tuning import (
        OpenStrings as OpenStrings,
        open_strings as open_strings,
    )
    from strumclock.verdict import (
        STANDARDS as STANDARDS,
        Held as Held,
        Obstacle as Obstacle,
        Played as Played,
        Standard as Standard,
        Verdict as Verdict,
        conclude as conclude,
        judge_take as judge_take,
    )
    from strumclock.weeks import (
        Progress as Progress,
        class_frame as class_frame,
        class_list as class_list,
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
        "grid_from_beats",
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
        "MeasureOptions",
        "Measurement",
        "compare",
        "measure",
        "measure_parts",
        "measure_strums",
    ),
    "report": (
        "BarSound",
        "answers",
        "hear_bar",
        "message",
        "methods",
        "plot_beats",
        "plot_class",
        "plot_comparison",
        "plot_jitter",
        "plot_offsets",
        "plot_placement",
        "plot_progress",
        "plot_take",
        "plot_tempo",
        "summary",
        "table",
        "to_csv",
        "to_dict",
        "to_json",
        "write_csv",
    ),
    "timing": ("Estimate", "Timing", "measure_timing"),
    "tuning": (
        "OpenStrings",
        "open_strings",
    ),
    "verdict": ("STANDARDS", "Held", "Obstacle", "Played", "Standard", "Verdict", "conclude", "judge_take"),
    "weeks": (
        "Progress",
        "class_frame",
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
    "BarSound",
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
    "MeasureOptions",
    "Measurement",
    "Notice",
    "Obstacle",
    "OpenStrings",
    "OutputError",
    "Played",
    "Progress",
    "Recording",
    "RecordingError",
    "Standard",
    "StrumclockError",
    "Strums",
    "Timing",
    "UsageError",
    "Verdict",
    "align",
    "answers",
    "build_grid",
    "class_frame",
    "class_list",
    "click_track",
    "compare",
    "conclude",
    "find_click_channel",
    "find_clicks",
    "find_strums",
    "from_array",
    "grid_from_beats",
    "grid_from_midi",
    "hear_bar",
    "judge_take",
    "load",
    "measure",
    "measure_correction",
    "measure_folder",
    "measure_parts",
    "measure_strums",
    "measure_timing",
    "message",
    "methods",
    "open_strings",
    "plot_beats",
    "plot_class",
    "plot_comparison",
    "plot_jitter",
    "plot_offsets",
    "plot_placement",
    "plot_progress",
    "plot_take",
    "plot_tempo",
    "progress",
    "remove_clicks",
    "summary",
    "table",
    "to_csv",
    "to_dict",
    "to_json",
    "write_click_track",
    "write_csv",
]


def __getattr__(name: str) -> Any:
    """Import a public name from its module when it is first asked for (PEP 562)."""
    if name == "__version__":
        from importlib.metadata import version

        return version("strumclock")
    if name not in _MODULE:
        raise AttributeError(f"module 'strumclock' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"strumclock.{_MODULE[name]}"), name)
    importlib.import_module("strumclock.showing").rendered_by(_renderer)
    globals()[name] = value
    return value


def _renderer() -> Any:
    """What a notebook shows of a value: the face knows who has the words, the values do not."""
    return importlib.import_module("strumclock.report.notebook").html


def __dir__() -> list[str]:
    """The public names, loaded or not, and nothing else."""
    return sorted(__all__)
