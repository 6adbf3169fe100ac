"""The API reference holds every public name, is built without a warning, and its docstrings say what they must."""

from __future__ import annotations

import doctest
import importlib.util
import inspect
import re
import runpy
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from support import ROOT

import strumclock

DOCS = ROOT / "docs"
FUNCTIONS = [name for name in strumclock.__all__ if inspect.isfunction(getattr(strumclock, name))]
CLASSES = [name for name in strumclock.__all__ if inspect.isclass(getattr(strumclock, name))]
PASSED_OVER = {
    "ES01", "SA01", "EX01", "GL01", "SS06", "PR10", "YD01",  # sections and layout that the house does otherwise
    "PR07", "RT03",  # a parameter or return value whose type says it all, such as `journal : Journal`
}  # fmt: skip
"""numpydoc's checks that are not asked for."""


def _told(docstring: str, section: str) -> set[str]:
    """Names in a numpydoc section: ``a, b : type`` holds two."""
    found = re.search(rf"^{section}\n-+\n(.*?)(?=\n\n\w[^\n]*\n-+\n|\Z)", inspect.cleandoc(docstring), re.M | re.S)
    heads = [line.partition(" : ")[0] for line in (found[1] if found else "").splitlines() if line[:1].strip()]
    return {name.strip().lstrip("*") for head in heads for name in head.split(",")}


@pytest.fixture
def sphinx() -> None:
    """The extra that the reference is built with."""
    if importlib.util.find_spec("sphinx") is None or importlib.util.find_spec("numpydoc") is None:
        pytest.skip("the docs extra is not installed")


def test_the_reference_names_all_that_is_public() -> None:
    """Against the package's own `__all__`, each name once."""
    page = runpy.run_path(str(DOCS / "conf.py"))["api"]()
    listed = re.findall(r"^   (\w+)$", page, re.M)
    assert sorted(listed) == sorted(strumclock.__all__)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_says_what_it_takes(name: str) -> None:
    """The numpydoc standard's section "Parameters": every name of the signature, and no other."""
    function = getattr(strumclock, name)
    told = _told(function.__doc__ or "", "Parameters")
    asked = set(inspect.signature(function, follow_wrapped=False).parameters)
    if "told" in told:  # `measure`: the options are listed once, in `MeasureOptions`
        asked = (asked - set(inspect.signature(strumclock.MeasureOptions).parameters)) | {"told"}
    assert told == asked


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_has_an_example_that_runs(name: str) -> None:
    """Found by the standard library's own finder; that it runs is tested where it stands (``--doctest-modules``)."""
    function = getattr(strumclock, name)
    examples = doctest.DocTestParser().get_examples(function.__doc__ or "")
    assert examples, f"{name} needs a running example"


@pytest.mark.parametrize("name", CLASSES)
def test_a_public_value_says_what_it_holds(name: str) -> None:
    """Every field of a value stands under Parameters or Attributes; an error says when it is raised."""
    value = getattr(strumclock, name)
    docstring = value.__doc__ or ""
    assert len(docstring.strip()) > 10
    fields = set(getattr(value, "__dataclass_fields__", {}))
    assert fields <= _told(docstring, "Parameters") | _told(docstring, "Attributes")


def test_the_first_page_says_what_is_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its example is run, from the project's folder."""
    monkeypatch.chdir(ROOT)
    assert doctest.testfile(str(DOCS / "index.rst"), module_relative=False) == doctest.TestResults(0, 4)


@pytest.mark.slow
@pytest.mark.usefixtures("sphinx")
def test_the_reference_is_built_without_a_warning(tmp_path: Path) -> None:
    """By Sphinx with warnings as errors; its inventory holds every public name."""
    shutil.copytree(DOCS, tmp_path / "docs", ignore=shutil.ignore_patterns("generated", "api.rst"))
    command = [sys.executable, "-m", "sphinx", "-W", "-q", "-b", "html", str(tmp_path / "docs"), str(tmp_path / "html")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    pages = {page.stem for page in (tmp_path / "html" / "generated").glob("*.html")}
    assert {f"strumclock.{name}" for name in strumclock.__all__} <= pages
    page = (tmp_path / "html" / "generated" / "strumclock.align.html").read_text(encoding="utf-8")
    assert "first_downbeat_u_s" in page
    assert "Raises" in page


@pytest.mark.slow
@pytest.mark.usefixtures("sphinx")
@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_docstring_is_what_numpydoc_asks_for(name: str) -> None:
    """numpydoc's own validation, but for what the house does otherwise."""
    from numpydoc.validate import validate

    function = getattr(strumclock, name)
    said = validate(f"{function.__module__}.{function.__qualname__}")["errors"]
    kept = [f"{code}: {text}" for code, text in said if code not in PASSED_OVER]
    if name == "measure":  # its signature lists the options, its docstring names their value
        kept = [text for text in kept if not text.startswith(("PR01", "PR02"))]
    assert kept == []
