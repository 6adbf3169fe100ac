"""What is shown of a measurement: plain words, a table, JSON, pictures, a page, sound. No computing of its own."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from strumclock.report.bar_sound import BarSound, hear_bar
from strumclock.report.class_table import class_table, spark
from strumclock.report.comparing import comparison, tuning_table
from strumclock.report.comparison_plot import plot_comparison, write_comparison_plot
from strumclock.report.language import Language, language_of, languages
from strumclock.report.methods import methods
from strumclock.report.offsets_plot import plot_offsets
from strumclock.report.outputs import Outputs, write_outputs
from strumclock.report.page import page, write_page
from strumclock.report.picture import plot_take, write_plot
from strumclock.report.places_plot import plot_beats
from strumclock.report.progress_text import in_short, progress_summary
from strumclock.report.schema import SCHEMA_ID, dumps, load_schema, plain, to_dict, to_json
from strumclock.report.sentences import details, headline, lines
from strumclock.report.sound import marked, write_sound
from strumclock.report.strum_table import to_csv, write_csv
from strumclock.report.student import message
from strumclock.report.student_page import student_page, write_student_page
from strumclock.report.text import summary, table
from strumclock.report.weeks_pictures import plot_class, plot_progress, write_class_plot, write_progress_plot
from strumclock.report.weeks_plots import plot_cause, plot_jitter, plot_placement, plot_tempo
from strumclock.report.writing import check_outputs

if TYPE_CHECKING:
    from strumclock.report.answer_file import (
        Sent as Sent,
        as_blocks as as_blocks,
        mark_sent as mark_sent,
        read_answers as read_answers,
        write_answers as write_answers,
    )
    from strumclock.report.answer_words import answer_students as answer_students, answers as answers

_HOME = {
    "answer_file": (
        "Sent",
        "as_blocks",
        "mark_sent",
        "read_answers",
        "write_answers",
    ),
    "answer_words": (
        "answer_students",
        "answers",
    ),
}
"""Where each name lives: imported when it is first asked for, since not everything needs the database."""

__all__ = [
    "SCHEMA_ID",
    "BarSound",
    "Language",
    "Outputs",
    "Sent",
    "answer_students",
    "answers",
    "as_blocks",
    "check_outputs",
    "class_table",
    "comparison",
    "details",
    "dumps",
    "headline",
    "hear_bar",
    "in_short",
    "language_of",
    "languages",
    "lines",
    "load_schema",
    "mark_sent",
    "marked",
    "message",
    "methods",
    "page",
    "plain",
    "plot_beats",
    "plot_cause",
    "plot_class",
    "plot_comparison",
    "plot_jitter",
    "plot_offsets",
    "plot_placement",
    "plot_progress",
    "plot_take",
    "plot_tempo",
    "progress_summary",
    "read_answers",
    "spark",
    "student_page",
    "summary",
    "table",
    "to_csv",
    "to_dict",
    "to_json",
    "tuning_table",
    "write_answers",
    "write_class_plot",
    "write_comparison_plot",
    "write_csv",
    "write_outputs",
    "write_page",
    "write_plot",
    "write_progress_plot",
    "write_sound",
    "write_student_page",
]


def __getattr__(name: str) -> Any:
    """Import a name from its module when it is first asked for (PEP 562)."""
    for module, names in _HOME.items():
        if name in names:
            return getattr(importlib.import_module(f"strumclock.report.{module}"), name)
    raise AttributeError(f"module 'strumclock.report' has no attribute {name!r}")
