"""Who may import whom: one direction, third-party packages only where they belong, nothing heavy at the door.

The rules are the design's; every import statement counts, those inside functions and under TYPE_CHECKING too.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from support import REFERENCE_AUDIO, ROOT

import strumclock

PACKAGE = ROOT / "src" / "strumclock"

# Each may import only what stands in a row above it (and itself).
ORDER = (
    ("errors",),
    ("saving", "fields", "arrays", "showing"),
    ("robust",),
    ("audio",),
    ("grid",),
    ("midi",),
    ("click",),
    ("onsets",),
    ("alignment",),
    ("timing",),
    ("chords", "tuning", "stroke", "correction"),
    ("verdict",),
    ("pipeline",),
    ("journal",),
    ("weeks",),
    ("report",),
    ("batch",),
    ("assignments",),
    ("demo", "examples"),
    ("cli",),
)
RANK = {module: i for i, row in enumerate(ORDER) for module in row}
RANK["clicktrack"] = RANK["click"] + 0.5  # both stand after click, whose rule for a sound's time they use
RANK["recording"] = RANK["click"] + 0.75  # plays a click track
RANK["synthesis"] = RANK["click"] + 0.5  # and only these import it:
RANK["learning"] = RANK["onsets"] + 0.5  # makes the detector's file; nothing imports it
MAY_IMPORT_SYNTHESIS = {"demo", "examples", "cli", "learning"}

# The third-party column: which module may import what.
MAY_IMPORT = {
    "errors": set(),
    "saving": set(),
    "fields": set(),
    "arrays": {"numpy"},
    "robust": {"numpy"},
    "showing": set(),
    "audio": {"numpy", "soundfile", "av"},
    "grid": {"numpy"},
    "midi": {"numpy", "mido"},
    "click": {"numpy", "scipy"},
    "clicktrack": {"numpy", "scipy"},
    "onsets": {"numpy", "scipy"},
    "alignment": {"numpy", "scipy"},
    "timing": {"numpy", "scipy"},
    "chords": {"numpy", "scipy", "librosa"},
    "tuning": {"numpy", "scipy", "librosa"},
    "stroke": {"numpy", "scipy"},
    "correction": {"numpy", "scipy"},
    "verdict": {"numpy", "scipy"},
    "pipeline": {"numpy", "pandas"},
    "journal": {"numpy", "sqlalchemy", "pandas", "psycopg"},
    "weeks": {"numpy", "scipy", "pandas"},
    "report": {"numpy", "matplotlib", "pandas", "rich", "soundfile", "jinja2", "markupsafe"},
    "batch": {"numpy", "distributed", "fsspec", "av", "rich"},
    "assignments": {"numpy", "soundfile", "tomlkit"},
    "demo": {"numpy", "soundfile"},
    "examples": set(),
    "recording": {"numpy", "scipy", "soundfile", "sounddevice"},
    "cli": {"click"},
    "synthesis": {"numpy", "scipy", "soundfile", "av"},
    "learning": {"numpy", "scipy", "soundfile", "soxr", "av", "torch", "pyroomacoustics"},
    "__init__": set(),
}

# Slow to import or needed by few: only inside the functions that use them.
ONLY_IN_FUNCTIONS = {
    "av", "distributed", "fsspec", "librosa", "matplotlib", "mido", "numba", "pandas", "psycopg", "rich",
    "scipy.signal", "scipy.stats", "sklearn", "sounddevice", "soundfile",
}  # fmt: skip


class Import(NamedTuple):
    """One imported name."""

    file: Path
    line: int
    module: str  # of ours, in which it stands
    name: str  # dotted
    at_top: bool  # whether it runs when the module is imported

    def __str__(self) -> str:
        return f"{self.file.relative_to(ROOT)}:{self.line} imports {self.name}"


def _imports() -> Iterator[Import]:
    """Every import statement of the package."""
    for file in sorted(PACKAGE.rglob("*.py")):
        module = file.relative_to(PACKAGE).parts[0].removesuffix(".py")
        tree = ast.parse(file.read_text(encoding="utf-8"))
        late = {id(node) for block in ast.walk(tree) if _runs_later(block) for node in ast.walk(block)}
        for node in ast.walk(tree):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{file}:{node.lineno}: imports are absolute here"
                names = [f"{node.module}.{alias.name}" for alias in node.names]
            for name in names:
                yield Import(file, node.lineno, module, name, id(node) not in late)


def _runs_later(node: ast.AST) -> bool:
    """Whether a block does not run when its module is imported: a function, or what only type checkers see."""
    if isinstance(node, ast.If):
        return isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
    return isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))


IMPORTS = list(_imports())
MODULES = sorted({file.relative_to(PACKAGE).parts[0].removesuffix(".py") for file in PACKAGE.rglob("*.py")})


def test_the_scan_sees_the_package() -> None:
    """A scan that finds nothing would pass every rule: the pipeline's own imports must be among what it sees."""
    seen = {(i.module, i.name.split(".")[1]) for i in IMPORTS if i.name.startswith("strumclock.")}
    assert {("pipeline", "audio"), ("pipeline", "click"), ("pipeline", "timing"), ("grid", "errors")} <= seen
    assert any(not i.at_top for i in IMPORTS)
    assert any(i.name.startswith("av") and not i.at_top for i in IMPORTS)


@pytest.mark.parametrize("module", MODULES)
def test_every_module_has_its_place_in_the_order(module: str) -> None:
    """A new module must be put into the order, and into the third-party column, before it imports anything."""
    assert module == "__init__" or module in RANK
    assert module in MAY_IMPORT


def test_imports_go_in_one_direction() -> None:
    """The design's order; `__init__` names every module, which is its task."""
    wrong = []
    for i in IMPORTS:
        parts = i.name.split(".")
        if parts[0] != "strumclock" or i.module == "__init__":
            continue
        target = parts[1]
        if target == i.module:
            continue
        stranger = target == "synthesis" and i.module not in MAY_IMPORT_SYNTHESIS
        if stranger or target not in RANK or RANK[target] >= RANK[i.module]:
            wrong.append(str(i))
    assert wrong == []


def test_third_party_packages_are_imported_where_they_belong() -> None:
    """The third-party column above."""
    wrong = []
    for i in IMPORTS:
        package = i.name.split(".")[0]
        if package != "strumclock" and package not in sys.stdlib_module_names and package not in MAY_IMPORT[i.module]:
            wrong.append(str(i))
    assert wrong == []


def test_heavy_packages_are_imported_inside_functions() -> None:
    """Import statements at a module's top cost every user of that module."""
    wrong = [str(i) for i in IMPORTS if i.at_top and any(f"{i.name}.".startswith(f"{h}.") for h in ONLY_IN_FUNCTIONS)]
    assert wrong == []


def test_modules_are_imported_by_name_only_where_that_is_the_task() -> None:
    """`importlib.import_module` would pass the scan unseen: only the package's face and the command line's use it."""
    users = set()
    for file in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if getattr(node, "attr", getattr(node, "id", "")) in ("import_module", "__import__"):
                users.add(str(file.relative_to(PACKAGE)))
    faces = {
        "__init__.py",
        *(f"{name}/__init__.py" for name in ("batch", "cli", "journal", "pipeline", "report", "timing", "weeks")),
    }
    assert users <= faces


def _loaded_after(code: str) -> set[str]:
    """Modules in a fresh process after running some code."""
    show = "import sys\nprint('\\n'.join(sys.modules))"
    command = [sys.executable, "-W", "error", "-c", f"{code}\n{show}"]
    out = subprocess.run(command, capture_output=True, text=True, check=False)
    assert out.returncode == 0, out.stderr
    return set(out.stdout.split())


def test_importing_the_package_loads_nothing_heavy() -> None:
    """In a fresh process: neither matplotlib, numba, librosa nor scipy, nor even numpy or a module of ours."""
    loaded = _loaded_after("import strumclock")
    assert "strumclock" in loaded
    assert not loaded & {"matplotlib", "numba", "librosa", "scipy", "numpy", "pandas", "sqlalchemy", "av", "soundfile"}
    assert not {m for m in loaded if m.startswith("strumclock.")}


def test_the_command_line_starts_without_what_it_may_not_need() -> None:
    """In a fresh process: `strumclock --help` needs no numbers."""
    code = "from strumclock.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass"
    assert not _loaded_after(code) & {"matplotlib", "numba", "librosa", "scipy", "pandas", "sqlalchemy", "av", "rich"}


def test_the_command_measures_a_take_without_the_database() -> None:
    """In a fresh process: what a practice.toml around the take says is looked for, and no table is made for that."""
    take = REFERENCE_AUDIO / "steady.flac"
    code = f"from strumclock.cli import main\nmain(['measure', {str(take)!r}, '--bpm', '84'])"
    loaded = _loaded_after(code)
    assert not loaded & {"sqlalchemy", "pandas", "matplotlib", "librosa", "numba", "jinja2", "av"}
    others = (
        "weeks",
        "batch.planning",
        "pipeline.comparison",
        "report.page_take",
        "report.picture",
        "report.class_text",
    )
    assert not {m for m in loaded for other in others if m.startswith(f"strumclock.{other}")}


def test_the_default_measurement_loads_nothing_that_it_does_not_use() -> None:
    """In a fresh process, on a reference take: none of what only plots, tables, tuning or the journal need."""
    take = REFERENCE_AUDIO / "steady.flac"
    loaded = _loaded_after(f"import strumclock as sc\nsc.measure({str(take)!r}, sc.Exercise(bpm=90))")
    assert "strumclock.pipeline" in loaded
    unused = {"librosa", "numba", "sklearn", "matplotlib", "pandas", "sqlalchemy", "rich", "av", "mido", "scipy.stats"}
    assert not loaded & unused


def test_the_table_of_a_class_loads_nothing_that_only_measuring_and_drawing_need() -> None:
    """In a fresh process, with the conclusions kept from before: SciPy alone would double the time."""
    code = (
        "import tempfile\nfrom strumclock.cli import main\nfrom strumclock.journal import Journal\n"
        "with tempfile.TemporaryDirectory() as folder:\n"
        "    Journal(folder).note('Ines', 'new')\n    assert main(['class', folder]) == 0"
    )
    loaded = _loaded_after(code)
    assert "strumclock.report.class_text" in loaded
    assert not loaded & {"scipy", "pandas", "matplotlib", "numba", "av", "soundfile", "tomlkit", "jinja2", "babel"}


def test_public_names_come_on_demand() -> None:
    """PEP 562: each name of `__all__` is loaded when asked for, listed before, and is what its module defines."""
    loaded = _loaded_after("import strumclock as sc\nassert set(sc.__all__) <= set(dir(sc))\nsc.Exercise")
    assert "strumclock.grid" in loaded
    assert "strumclock.pipeline" not in loaded
    for name in strumclock.__all__:
        value = getattr(strumclock, name)
        assert isinstance(value, dict) or value.__module__.startswith("strumclock."), name
        assert value.__doc__, name
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        strumclock.nothing  # noqa: B018
    assert strumclock.__version__[0].isdigit()


def test_no_name_that_comes_on_demand_is_that_of_a_module_beside_it() -> None:
    """PEP 562 is asked only for what is not there: once such a module is loaded, its name would mean the module."""
    import strumclock.report

    for face in (strumclock, strumclock.batch, strumclock.journal, strumclock.pipeline, strumclock.report):
        beside = {file.stem for file in Path(str(face.__file__)).parent.glob("*.py")}
        assert not beside & set(face.__all__), face.__name__


def test_no_package_has_the_name_of_a_public_function() -> None:
    """Else `sc.measure` would be the function or the module, depending on what was imported before."""
    assert not set(strumclock.__all__) & set(MODULES)
    assert dir(strumclock) == sorted(strumclock.__all__)


def test_type_checkers_see_the_same_public_names() -> None:
    """What is imported under TYPE_CHECKING is what `__all__` promises, each once."""
    typed = {i.name.split(".")[-1] for i in IMPORTS if i.module == "__init__" and i.name.startswith("strumclock.")}
    assert typed == set(strumclock.__all__)
    assert len(strumclock.__all__) == len(typed)


def _is_number(node: ast.expr | None) -> bool:
    """Whether it is a number, arithmetic of numbers, or some of them in a tuple."""
    if isinstance(node, ast.Constant):
        return type(node.value) in (int, float)
    if isinstance(node, ast.UnaryOp):
        return _is_number(node.operand)
    if isinstance(node, ast.BinOp):
        return _is_number(node.left) and _is_number(node.right)
    return isinstance(node, ast.Tuple) and bool(node.elts) and all(_is_number(x) for x in node.elts)


def _said_of(tree: ast.Module, lines: list[str], at: int) -> str:
    """What the source says of a module's statement: beside it, above it, or below the run of numbers it stands in."""
    node = tree.body[at]
    said = [line.partition("#")[2] for line in lines[node.lineno - 1 : node.end_lineno]]
    for line in reversed(lines[: node.lineno - 1]):
        if not line.strip():
            break
        said.append(line.lstrip()[1:] if line.lstrip().startswith("#") else "")
    for before, after in zip(tree.body[at:], tree.body[at + 1 :], strict=False):
        if any(not line.strip() for line in lines[before.end_lineno or 0 : after.lineno - 1]):
            break
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            said.append(str(after.value.value))
    return "".join(said).strip()


def test_every_named_number_says_what_it_is() -> None:
    """STYLE: a tuned number is a named constant with its reason. Words must stand beside, above or below each.

    Whether they are true no test can tell; a number without any is one that nobody knows whether to change.
    """
    silent, known = [], 0
    for file in sorted(PACKAGE.rglob("*.py")):
        text = file.read_text(encoding="utf-8")
        tree, lines = ast.parse(text), text.splitlines()
        for at, node in enumerate(tree.body):
            target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
            names = list(target.elts) if isinstance(target, ast.Tuple) else [target]
            named = all(isinstance(name, ast.Name) and name.id.isupper() for name in names)
            if named and _is_number(getattr(node, "value", None)):
                known += len(names)
                if not _said_of(tree, lines, at):
                    silent.append(f"{file.relative_to(ROOT)}:{node.lineno}: {lines[node.lineno - 1]}")
    assert known > 500
    assert not silent, "\n".join(silent)
