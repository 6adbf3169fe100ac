"""Whether a changed sign, number or argument is noticed: a mutation run over the wiring, by mutmut.

usage: python tests/mutation/run.py [--share 0.2] [--seed 1] [--most 200] [--only strumclock.pipeline]

The tree is copied; mutmut changes one thing at a time in the functions of `MUTATED` (a number, an operator, a name, an
argument; not the wording, and not what a decorator wraps). Of the mutants a share is drawn for each function, by the
seed. One that mypy strict refuses is noticed by the house's own check, which every run of ``.ci/run`` makes; on every
other the tests of `TESTS` that reach the function are run, with the examples of the mutated modules, each mutant in a
process that has measured nothing before, so that no value kept by an unchanged function hides it. Prints, for each
package, how many of those drawn died, and every survivor with the line that was changed. A survivor that is listed in
``survivors.toml`` has its reason printed; exits 1 when fewer than `FLOOR` died, those with a reason counted as alive;
`ASKED` is printed beside the share.
"""

from __future__ import annotations

import argparse
import ast
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter, defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
REASONS = Path(__file__).with_name("survivors.toml")
ASKED, FLOOR = 0.9, 0.88
"""What is asked for; below the floor the run fails. The floor is the lower end of what was measured (85 of 90 died)."""
MUTATED = (
    "src/strumclock/pipeline/*",
    "src/strumclock/timing/*",
    "src/strumclock/verdict/*",
    "src/strumclock/alignment/result.py",
    "src/strumclock/audio/containers.py",
    "src/strumclock/audio/headers.py",
    "src/strumclock/audio/decoded.py",
)
TESTS = (
    *("test_wiring.py", "test_options.py", "test_figures.py", "test_timing.py", "test_timing_intervals.py"),
    *("test_alignment_parts.py", "test_correction.py", "test_verdict_holding.py"),
    *("test_verdict_obstacles.py", "test_verdict_reach.py", "test_audio_wiring.py", "test_audio_codecs.py"),
    "test_audio_damage.py",
    "test_wiring_stages.py",
    "test_own_times.py",
    "test_showing.py",
    *("test_judging.py", "test_compare.py", "test_in_step.py", "test_report_json.py"),
    *("test_timing_formulas.py", "test_timing_algebra.py", "test_verdict_formulas.py", "test_pipeline_decisions.py"),
    "test_audio_track.py",
)
LEFT_OUT = (
    *(
        "test_timing.py::test_errors_that_nothing_shows_lie_within_u",
        "test_timing.py::test_an_even_player_is_rarely_told_off",
    ),
    *("test_timing.py::test_errors_of_measuring_lie_within_u", "test_showing.py::test_brief_is_bounded_whatever_comes"),
    *("test_timing.py::test_intervals_of_swing_hold_straight_for_sloppy_players",),
    *("test_in_step.py::test_measure_and_batch_understand_the_file_alike",),
    *("test_compare.py::test_the_picture_of_two_takes_is_written",),
)
"""Tests that take as long as all others together: a mutant that only they would notice is counted as alive."""

KILLED, SURVIVED, NO_TESTS, TIMEOUT, REFUSED = "killed", "survived", "no tests", "timeout", "refused by mypy"
STATUS = {0: SURVIVED, 1: KILLED, 3: KILLED, 5: NO_TESTS, 33: NO_TESTS, 24: TIMEOUT, 36: TIMEOUT, 152: TIMEOUT}
"""mutmut's exit statuses; any other is a crash, which is noticed too."""

DRIVER = """
import sys
from pathlib import Path
from mutmut.mutation import mutators
from mutmut.runners.harness import PytestRunner
from mutmut.state import state
from mutmut.workers.isolation import ForkServerRunner

if sys.argv[-1].startswith("@"):  # a list too long for a command line
    sys.argv[-1:] = Path(sys.argv[-1][1:]).read_text().split()
wording = ("operator_string",)
mutators.mutation_operators[:] = [(k, f) for k, f in mutators.mutation_operators if f.__name__ not in wording]

plain = PytestRunner._pytest_args_regular_run
def quick_first(runner, tests):
    return plain(runner, sorted(tests, key=lambda test: (state().duration_by_test.get(test, 0.0), test)))
PytestRunner._pytest_args_regular_run = quick_first
ForkServerRunner.run_clean_tests = lambda *_, **__: 0  # all have passed when it was noted which reach a function

from mutmut.__main__ import cli
cli()
"""

EXAMPLES = '''
"""The examples in the docstrings of the mutated modules, each a test (written by tests/mutation/run.py)."""

import doctest
import importlib
import json
from pathlib import Path

import pytest

EXAMPLES = json.loads(Path(__file__).with_name("examples.json").read_text())


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_example(name):
    known = vars(importlib.import_module(EXAMPLES[name]["module"]))
    example = doctest.DocTestParser().get_doctest(EXAMPLES[name]["text"], dict(known), name, None, 0)
    assert doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(example).failed == 0
'''

FORGET = """

import hypothesis


def pytest_runtest_teardown(item, nextitem):
    # while it is noted which tests reach a function, no test may find what another has measured
    if os.environ.get("MUTANT_UNDER_TEST") != "stats":
        return
    for name, module in list(sys.modules.items()):
        if name.startswith(FORGETFUL):
            for value in list(vars(module).values()):
                getattr(value, "cache_clear", int)()



def pytest_runtest_makereport(item, call):
    if call.excinfo is not None and os.environ.get("MUTANT_UNDER_TEST") == "stats":
        with open("failed.txt", "a") as file:
            file.write(f"{item.nodeid}: {call.excinfo.exconly()[:300]}\\n")


hypothesis.settings.register_profile("calm", deadline=None, suppress_health_check=list(hypothesis.HealthCheck))
hypothesis.settings.load_profile("calm")  # a busy machine is no failure
FORGETFUL = ("strumclock.timing", "strumclock.pipeline", "strumclock.verdict", "strumclock.alignment",
    "strumclock.examples", "tests.", "test_", "wired")
"""


def examples(tree: Path) -> dict[str, dict[str, str]]:
    """Every docstring with examples in the mutated modules, by where it stands."""
    found = {}
    for file in sorted({file for pattern in MUTATED for file in tree.glob(pattern) if file.suffix == ".py"}):
        module = ".".join(file.relative_to(tree / "src").with_suffix("").parts).removesuffix(".__init__")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
                text = ast.get_docstring(node) or ""
                if ">>>" in text:
                    found[f"{module}-{getattr(node, 'name', '')}-{getattr(node, 'lineno', 0)}"] = {
                        "module": module,
                        "text": text,
                    }
    return found


def copy_tree(to: Path, *, lists: bool = True) -> None:
    """The tree; with `lists`, what mutmut needs to know too."""
    aside = shutil.ignore_patterns(".git", ".*cache", "__pycache__", ".venv", "mutants", "out", "shared")
    shutil.copytree(ROOT, to, ignore=aside, dirs_exist_ok=True)
    if not lists:
        return
    tests = [f"tests/{name}" for name in TESTS if (ROOT / "tests" / name).exists()]
    wanted = {
        "source_paths": ["src"],
        "only_mutate": MUTATED,
        "also_copy": ["README.md", "LICENSE", "reference_audio"],
        "pytest_add_cli_args": [f"--deselect=tests/{name}" for name in LEFT_OUT],
        "pytest_add_cli_args_test_selection": [*tests, "tests/test_examples_of_mutated.py"],
    }
    more = "\n".join(f"{name} = {json.dumps(list(items))}" for name, items in wanted.items())
    more += '\nprocess_isolation = "forkserver"'  # a mutant's process finds nothing that its parent measured
    with (to / "pyproject.toml").open("a") as file:
        file.write(f"\n[tool.mutmut]\n{more}\n")
    (to / "driver.py").write_text(DRIVER)
    (to / "tests" / "test_examples_of_mutated.py").write_text(EXAMPLES)
    (to / "tests" / "examples.json").write_text(json.dumps(examples(to)))
    with (to / "tests" / "conftest.py").open("a") as file:
        file.write(FORGET)


def mutmut(tree: Path, *words: str) -> str:
    """Run mutmut in the copy; its last words where it fails."""
    done = subprocess.run([sys.executable, "driver.py", *words], cwd=tree, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1, 2):
        sys.exit(f"mutmut {' '.join(words[:2])} failed:\n{(done.stdout + done.stderr)[-3000:]}")
    return re.sub(r"[^\n]*\r", "", done.stdout)  # without what moved on the line


def statuses(tree: Path) -> dict[str, int | None]:
    """Every mutant's exit status; None where it was not run."""
    found: dict[str, int | None] = {}
    for file in (tree / "mutants").rglob("*.meta"):
        found |= json.loads(file.read_text())["exit_code_by_key"]
    return found


def refused(tree: Path, chosen: list[str]) -> set[str]:
    """Those of the mutants that mypy strict refuses, by the lines of its errors; the others are blanked out for it."""
    seen = tree / "typed"
    shutil.rmtree(seen, ignore_errors=True)
    shutil.copytree(tree / "mutants" / "src", seen / "src", ignore=shutil.ignore_patterns("*.meta", "*.spans"))
    shutil.copy(tree / "pyproject.toml", seen)
    spans: dict[str, dict[str, tuple[int, int]]] = {}
    for index in (tree / "mutants" / "src").rglob("*.spans"):
        file = index.relative_to(tree / "mutants").with_suffix("")
        module = ".".join(file.with_suffix("").parts[1:]).removesuffix(".__init__")
        lines = (seen / file).read_text(encoding="utf-8").splitlines()
        for name, (first, last) in json.loads(index.read_text())["spans"].items():
            if f"{module}.{name}" in chosen:
                spans.setdefault(str(file), {})[f"{module}.{name}"] = (first, last)
            elif "__mutmut_" in name and not name.endswith("_orig"):
                lines[first - 1 : last] = [""] * (last - first + 1)
        (seen / file).write_text("\n".join(lines) + "\n", encoding="utf-8")
    run = [sys.executable, "-m", "mypy", "--no-error-summary", "--no-incremental"]
    said = subprocess.run(run, cwd=seen, capture_output=True, text=True, check=False).stdout
    wrong: dict[str, list[int]] = defaultdict(list)
    for file, line in re.findall(r"^(\S+\.py):(\d+): error:", said, re.MULTILINE):
        wrong[file].append(int(line))
    return {
        name
        for file, lines in wrong.items()
        for name, (first, last) in spans.get(file, {}).items()
        if any(first <= line <= last for line in lines)
    }


def drawn(names: list[str], share: float, seed: int, only: str) -> list[str]:
    """A share of each function's mutants, one at least."""
    of_function = defaultdict(list)
    for name in sorted(names):
        if name.startswith(only):
            of_function[name.rpartition("__mutmut_")[0]].append(name)
    dice = random.Random(seed)
    return [
        name for mutants in of_function.values() for name in dice.sample(mutants, max(1, round(share * len(mutants))))
    ]


def change(tree: Path, name: str) -> str:
    """The changed line of a mutant: ``module.function: before -> after``."""
    shown = mutmut(tree, "show", name).splitlines()
    lines = [" ".join(line[1:].split()) for line in shown if re.match(r"[-+](?![-+])", line)]
    module, _, function = name.partition(".x")[0], "", re.sub(r"__mutmut_\d+$", "", name).rpartition(".x")[2]
    return f"{module}.{function.strip('_ǁ').replace('ǁ', '.')}: {' -> '.join(lines)}"


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--share", type=float, default=0.2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--children", type=int, default=2)
    parser.add_argument("--most", type=int, default=10**6, help="of those drawn, so many at random")
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    tree = given.keep or Path(tempfile.mkdtemp())
    tree.mkdir(parents=True, exist_ok=True)
    copy_tree(tree)
    first = mutmut(tree, "run", "--max-children", str(given.children), "strumclock.pipeline.options.x__known_standard*")
    if not any(code is not None for code in statuses(tree).values()):
        failed = tree / "mutants" / "failed.txt"
        sys.exit(f"the tests must pass before anything is changed:\n{failed.read_text() if failed.exists() else first}")
    chosen = drawn(list(statuses(tree)), given.share, given.seed, given.only)
    chosen = random.Random(given.seed).sample(chosen, min(given.most, len(chosen)))
    typed = refused(tree, chosen)
    (tree / "chosen.txt").write_text("\n".join(name for name in chosen if name not in typed))
    mutmut(tree, "run", "--max-children", str(given.children), "@chosen.txt")
    found = statuses(tree)
    ends = {
        name: REFUSED if name in typed else STATUS.get(found[name] if found[name] is not None else 33, KILLED)
        for name in chosen
    }
    sys.exit(0 if report(tree, ends) >= FLOOR else 1)


def report(tree: Path, ends: dict[str, str]) -> float:
    """Print the score of each package and every survivor; the share that died."""
    known = {row["change"]: row["reason"] for row in tomllib.loads(REASONS.read_text(encoding="utf-8"))["survivor"]}
    table: dict[str, Counter[str]] = defaultdict(Counter)
    for name, end in ends.items():
        table[name.split(".")[1]][end] += 1
    table["all"] = sum(table.values(), Counter())
    print(
        f"{'package':<12}{'drawn':>7}{'mypy':>7}{'tests':>7}{'alive':>7}{'died':>8}"
        f"{'by tests, of those that mypy lets pass':>40}"
    )
    for package, counts in table.items():
        by_tests = counts[KILLED] + counts[TIMEOUT]
        dead = by_tests + counts[REFUSED]
        alive = counts.total() - dead
        print(
            f"{package:<12}{counts.total():>7}{counts[REFUSED]:>7}{by_tests:>7}{alive:>7}"
            f"{dead / max(counts.total(), 1):>8.1%}{by_tests / max(by_tests + alive, 1):>40.1%}"
        )
    print(f"asked: {ASKED:.0%} died\n")
    for name, end in sorted(ends.items()):
        if end in (SURVIVED, NO_TESTS):
            line = change(tree, name)
            print(f"{end}: {line}\n    {known.get(line, 'NO REASON LISTED')}")
    return 1 - (table["all"][SURVIVED] + table["all"][NO_TESTS]) / max(len(ends), 1)


if __name__ == "__main__":
    main()
