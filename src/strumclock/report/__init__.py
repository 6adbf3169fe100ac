"""What is shown of a measurement: plain words, a table, JSON, pictures, a page, sound. No computing of its own."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.report.answer_file import (
        Sent as Sent,
        as_blocks as as_blocks,
        mark_sent as mark_sent,
        read_answers as read_answers,
        write_answers as write_answers,
    )
    from strumclock.report.answer_words import answer_students as answer_students, answers as answers
    from strumclock.report.bar_sound import BarSound as BarSound, hear_bar as hear_bar
    from strumclock.report.class_text import class_table as class_table, spark as spark
    from strumclock.report.comparing import comparison as comparison, tuning_table as tuning_table
    from strumclock.report.comparison_plot import (
        plot_comparison as plot_comparison,
        write_comparison_plot as write_comparison_plot,
    )
    from strumclock.report.language import Language as Language, language_of as language_of, languages as languages
    from strumclock.report.methods_text import methods as methods
    from strumclock.report.offsets_plot import plot_offsets as plot_offsets
    from strumclock.report.outputs import Outputs as Outputs, write_outputs as write_outputs
    from strumclock.report.page_student import student_page as student_page, write_student_page as write_student_page
    from strumclock.report.page_take import page as page, write_page as write_page
    from strumclock.report.picture import plot_take as plot_take, write_plot as write_plot
    from strumclock.report.places_plot import plot_beats as plot_beats
    from strumclock.report.progress_text import in_short as in_short, progress_summary as progress_summary
    from strumclock.report.schema import (
        SCHEMA_ID as SCHEMA_ID,
        dumps as dumps,
        load_schema as load_schema,
        plain as plain,
        to_dict as to_dict,
        to_json as to_json,
    )
    from strumclock.report.sentences import details as details, headline as headline, lines as lines
    from strumclock.report.sound import marked as marked, write_sound as write_sound
    from strumclock.report.strum_table import to_csv as to_csv, write_csv as write_csv
    from strumclock.report.student import message as message
    from strumclock.report.text import summary as summary, table as table
    from strumclock.report.weeks_pictures import (
        plot_class as plot_class,
        plot_progress as plot_progress,
        write_class_plot as write_class_plot,
        write_progress_plot as write_progress_plot,
    )
    from strumclock.report.weeks_plots import (
        plot_cause as plot_cause,
        plot_jitter as plot_jitter,
        plot_placement as plot_placement,
        plot_tempo as plot_tempo,
    )
    from strumclock.report.writing import check_outputs as check_outputs

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
    "bar_sound": (
        "BarSound",
        "hear_bar",
    ),
    "class_text": (
        "class_table",
        "spark",
    ),
    "comparing": (
        "comparison",
        "tuning_table",
    ),
    "comparison_plot": (
        "plot_comparison",
        "write_comparison_plot",
    ),
    "language": (
        "Language",
        "language_of",
        "languages",
    ),
    "methods_text": ("methods",),
    "offsets_plot": ("plot_offsets",),
    "outputs": (
        "Outputs",
        "write_outputs",
    ),
    "picture": (
        "plot_take",
        "write_plot",
    ),
    "places_plot": ("plot_beats",),
    "progress_text": (
        "in_short",
        "progress_summary",
    ),
    "schema": (
        "SCHEMA_ID",
        "dumps",
        "load_schema",
        "plain",
        "to_dict",
        "to_json",
    ),
    "sentences": (
        "details",
        "headline",
        "lines",
    ),
    "sound": (
        "marked",
        "write_sound",
    ),
    "strum_table": (
        "to_csv",
        "write_csv",
    ),
    "student": ("message",),
    "page_student": (
        "student_page",
        "write_student_page",
    ),
    "page_take": (
        "page",
        "write_page",
    ),
    "text": (
        "summary",
        "table",
    ),
    "weeks_pictures": (
        "plot_class",
        "plot_progress",
        "write_class_plot",
        "write_progress_plot",
    ),
    "weeks_plots": (
        "plot_cause",
        "plot_jitter",
        "plot_placement",
        "plot_tempo",
    ),
    "writing": ("check_outputs",),
}
"""Where each name lives: imported when it is first asked for, since who measures one take needs few of them."""

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
