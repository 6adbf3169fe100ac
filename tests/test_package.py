"""What is shipped: a wheel built from the sdist works without this tree; what is imported is declared, and used."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest
from support import REFERENCE_AUDIO, ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
IMPORTED_AS = {"dask": "distributed", "mir-eval": "mir_eval"}  # distributions whose packages have another name
TOOLS = {
    "ruff",
    "mypy",
    "mutmut",
    "types-jsonschema",
    "pandas-stubs",
    "ipykernel",
    "hatchling",
}  # run or read, not imported
PEERS = {"essentia", "aubio"}  # held against ours by benchmarks, where somebody has installed them
SHARED_BENCH = {"cases", "cases_hard", "match", "real", "render", "evaluate", "sessions"}  # modules beside the checkout


def _declared(*groups: list[str]) -> set[str]:
    """Import names of the requirements."""
    names = {re.split(r"[\[<>=; ]", requirement)[0].lower() for group in groups for requirement in group}
    return {IMPORTED_AS.get(name, name) for name in names}


def _imported(folder: Path) -> set[str]:
    """Third-party packages that the files in a folder import, at their top or within functions."""
    ours = {file.stem for file in (ROOT / "tests").rglob("*.py")} | {"strumclock", "tests", "bench_speed"}
    found = set()
    for file in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                found.add(node.module.split(".")[0])
    return found - ours - set(sys.stdlib_module_names)


def test_what_the_package_imports_is_declared_and_nothing_else() -> None:
    """Against pyproject: dependencies and the extras of users."""
    extras = PROJECT["optional-dependencies"]
    of_users = ("cluster", "postgresql", "learning", "record")
    users = _declared(PROJECT["dependencies"], *(extras[name] for name in of_users))
    assert _imported(ROOT / "src") == users


def test_what_the_tests_import_is_declared_and_nothing_else() -> None:
    """Against pyproject's dev extra; peers and the shared bench are there or skipped."""
    extras = PROJECT["optional-dependencies"]
    developers = _declared(extras["dev"]) - TOOLS
    imported = set().union(*(_imported(ROOT / folder) for folder in ("tests", "examples", "reference_audio")))
    users = ("cluster", "postgresql", "learning", "record", "browser", "docs")
    everywhere = _declared(PROJECT["dependencies"], *(extras[name] for name in users))
    assert imported - everywhere - PEERS - SHARED_BENCH <= developers
    assert developers <= imported | {"nbformat", "nbclient"}


def test_every_requirement_has_a_lower_bound_but_stubs() -> None:
    """What has none is tried with any version; `.ci/run --all` tries the lowest of all others."""
    extras = PROJECT["optional-dependencies"].values()
    free = [r for group in (PROJECT["dependencies"], *extras) for r in group if ">=" not in r]
    assert set(free) <= {"types-jsonschema", "pandas-stubs"}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The sdist, and the wheel that is built from it."""
    folder = tmp_path_factory.mktemp("built")
    build = [sys.executable, "-m", "hatchling", "build", "-d", str(folder)]
    subprocess.run([*build, "-t", "sdist"], cwd=ROOT, check=True, capture_output=True)
    (sdist,) = folder.glob("*.tar.gz")
    with tarfile.open(sdist) as archive:
        archive.extractall(folder, filter="data")
    subprocess.run([*build, "-t", "wheel"], cwd=folder / sdist.name.removesuffix(".tar.gz"), check=True)
    (wheel,) = folder.glob("*.whl")
    return sdist, wheel


def test_the_wheel_holds_the_package_and_its_data(built: tuple[Path, Path]) -> None:
    """Against the tree: every file of the package, no test, and what people are told about it."""
    with zipfile.ZipFile(built[1]) as archive:
        names = archive.namelist()
        (metadata,) = (archive.read(n).decode() for n in names if n.endswith("METADATA"))
    tree = {
        f"strumclock/{file.relative_to(ROOT / 'src' / 'strumclock').as_posix()}"
        for file in (ROOT / "src" / "strumclock").rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }
    assert {n for n in names if n.startswith("strumclock/")} == tree
    assert "strumclock/py.typed" in names
    assert any(n.endswith("CHANGELOG.md") for n in names)
    assert any(n.endswith("LICENSE") for n in names)
    assert "Author: The strumclock authors" in metadata
    assert "Typing :: Typed" in metadata
    with tarfile.open(built[0]) as archive:
        shipped = [n.split("/", 1)[1] for n in archive.getnames() if "/" in n]
    assert {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "tests/conftest.py", "reference_audio/steady.flac"} <= set(
        shipped
    )


def test_the_wheel_works_without_the_source_tree(built: tuple[Path, Path], tmp_path: Path) -> None:
    """Unpacked far from the tree, it measures a reference take and makes a click track, with the tree's own answer."""
    with zipfile.ZipFile(built[1]) as archive:
        archive.extractall(tmp_path / "site")
    script = (
        "import sys, strumclock\n"
        f"assert strumclock.__file__.startswith({str(tmp_path / 'site')!r}), strumclock.__file__\n"
        "from strumclock.cli import main\n"
        f"assert main(['measure', {str(REFERENCE_AUDIO / 'steady.flac')!r}, '--bpm', '84', '--json', 'take.json',"
        " '--plot', 'take.png', '--page', 'take.html']) == 0\n"
        "assert main(['click', 'click.wav', '--bpm', '80', '--meter', '4/4', '--bars', '2']) == 0\n"
    )
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    environment["PYTHONPATH"] = str(tmp_path / "site")
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    for name in ("take.json", "take.png", "take.html", "click.wav"):
        assert (tmp_path / name).stat().st_size > 1000
