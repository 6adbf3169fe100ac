"""The API reference, built by Sphinx from the docstrings: `python -m sphinx -W -b html docs build/docs`.

The list of what is public is the package's own: `api.rst` is written from it before anything is read, one section for
each stage under the first line of its docstring, so that a name cannot be missing from the reference.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import strumclock

project = "strumclock"
author = "The strumclock authors"
copyright = "The strumclock authors, MIT licence"
release = version = strumclock.__version__

extensions = ["sphinx.ext.autodoc", "sphinx.ext.autosummary", "numpydoc"]
autosummary_generate = True
autodoc_default_options = {"members": True, "show-inheritance": False}
autodoc_typehints = "none"  # the docstrings say types with shapes and units
numpydoc_show_class_members = False  # the classes' attributes stand in their docstrings
default_role = "py:obj"
exclude_patterns = ["generated/README*"]
templates_path = ["templates"]
html_theme = "alabaster"
html_theme_options = {"description": "How accurately a guitarist strums against a click", "page_width": "1100px"}
html_show_sourcelink = False

ORDER = (
    "pipeline", "audio", "grid", "midi", "clicktrack", "click", "onsets", "alignment", "timing", "chords", "tuning",
    "stroke", "correction", "verdict", "journal", "weeks", "report", "batch", "errors",
)  # fmt: skip
"""Stages in the order of a take's way, the one that does it all first; others follow by name."""


def api() -> str:
    """The page of all public names, by stage."""
    homes = strumclock._HOME
    stages = sorted(homes, key=lambda stage: (ORDER.index(stage) if stage in ORDER else len(ORDER), stage))
    text = ["The public names", "================", ""]
    for stage in stages:
        about = (importlib.import_module(f"strumclock.{stage}").__doc__ or "").strip().split("\n\n")[0]
        text += [stage, "-" * len(stage), "", " ".join(about.split()), ""]
        text += [".. currentmodule:: strumclock", "", ".. autosummary::", "   :toctree: generated", ""]
        text += [*(f"   {name}" for name in homes[stage]), ""]
    return "\n".join(text)


def setup(app: Any) -> None:
    """Write the page before Sphinx looks which pages there are."""
    path = Path(app.srcdir) / "api.rst"
    if not path.exists() or path.read_text(encoding="utf-8") != api():
        path.write_text(api(), encoding="utf-8")
