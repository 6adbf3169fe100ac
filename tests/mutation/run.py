"""Whether a changed sign, number or argument is noticed: a mutation run over the wiring, by mutmut.

usage: python tests/mutation/run.py [--share 0.2] [--seed 1] [--only strumclock.pipeline] [--keep DIR]

The tree is copied; mutmut changes one thing at a time in the functions of `MUTATED` (a number, an operator, a name, an
argument; not the wording, and not what a decorator wraps) and runs the tests of `TESTS` that reach the function. Of the
mutants a share is drawn for each function, by the seed. Prints, for each package, how many of those drawn died, and
every survivor with the line that was changed. A survivor that is listed in ``survivors.toml`` has its reason printed;
exits 1 when fewer than `FLOOR` died, those with a reason counted as alive; `ASKED` is printed beside the share.
"""

from __future__ import annotations

import argparse
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
ASKED, FLOOR = 0.9, 0.7
"""What is asked for; below the floor the run fails. What was reached between the two is in DEVELOPERS.md: a miss."""
MUTATED = (
    "src/strumclock/pipeline/*",
    "src/strumclock/timing/*",
    "src/strumclock/verdict/*",
    "src/strumclock/alignment/result.py",
    "src/strumclock/alignment/values.py",
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
)
KILLED, SURVIVED, NO_TESTS, TIMEOUT = "killed", "survived", "no tests", "timeout"
STATUS = {0: SURVIVED, 1: KILLED, 3: KILLED, 5: NO_TESTS, 33: NO_TESTS, 24: TIMEOUT, 36: TIMEOUT, 152: TIMEOUT}
"""mutmut's exit statuses; any other is a crash, which is noticed too."""

DRIVER = """
import sys
from pathlib import Path
from mutmut.mutation import mutators
if sys.argv[-1].startswith("@"):  # a list too long for a command line
    sys.argv[-1:] = Path(sys.argv[-1][1:]).read_text().split()
wording = ("operator_string",)
mutators.mutation_operators[:] = [(k, f) for k, f in mutators.mutation_operators if f.__name__ not in wording]
from mutmut.__main__ import cli
cli()
"""


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
        "pytest_add_cli_args_test_selection": tests,
    }
    more = "\n".join(f"{name} = {json.dumps(list(items))}" for name, items in wanted.items())
    with (to / "pyproject.toml").open("a") as file:
        file.write(f"\n[tool.mutmut]\n{more}\n")
    (to / "driver.py").write_text(DRIVER)


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
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    tree = given.keep or Path(tempfile.mkdtemp())
    tree.mkdir(parents=True, exist_ok=True)
    copy_tree(tree)
    first = mutmut(tree, "run", "--max-children", str(given.children), "strumclock.pipeline.options.x__known_standard*")
    if not any(code is not None for code in statuses(tree).values()):
        sys.exit(f"the tests must pass before anything is changed:\n{first[-3000:]}")
    chosen = drawn(list(statuses(tree)), given.share, given.seed, given.only)
    (tree / "chosen.txt").write_text("\n".join(chosen))
    mutmut(tree, "run", "--max-children", str(given.children), "@chosen.txt")
    found = statuses(tree)
    sys.exit(0 if report(tree, {name: found[name] for name in chosen}) >= FLOOR else 1)


def report(tree: Path, found: dict[str, int | None]) -> float:
    """Print the score of each package and every survivor; the share that died."""
    known = {row["change"]: row["reason"] for row in tomllib.loads(REASONS.read_text(encoding="utf-8"))["survivor"]}
    status = {name: STATUS.get(code, KILLED) if code is not None else NO_TESTS for name, code in found.items()}
    table: dict[str, Counter[str]] = defaultdict(Counter)
    for name, end in status.items():
        table[name.split(".")[1]][end] += 1
    dead = sum(end in (KILLED, TIMEOUT) for end in status.values())
    print(f"{'package':<12}{'drawn':>7}{'died':>7}{'share':>8}")
    for package, counts in sorted(table.items()):
        died = counts[KILLED] + counts[TIMEOUT]
        print(f"{package:<12}{counts.total():>7}{died:>7}{died / counts.total():>8.1%}")
    print(f"{'all':<12}{len(status):>7}{dead:>7}{dead / max(len(status), 1):>8.1%}   asked {ASKED:.0%}\n")
    for name, end in sorted(status.items()):
        if end in (SURVIVED, NO_TESTS):
            line = change(tree, name)
            print(f"{end}: {line}\n    {known.get(line, 'NO REASON LISTED')}")
    return dead / max(len(status), 1)


if __name__ == "__main__":
    main()
