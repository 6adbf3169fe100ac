"""Each change of ``known.toml`` must be noticed by the test that it names.

usage: python tests/mutation/known.py

Applies each to a copy of the tree, runs its test there, and prints whether it died; exits 1 where one lives.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from run import ROOT, copy_tree

CHANGES = tomllib.loads(Path(__file__).with_name("known.toml").read_text(encoding="utf-8"))["change"]


def dies(tree: Path, change: dict[str, str]) -> bool:
    """Whether the named test fails with the change."""
    file = tree / change["file"]
    whole = file.read_text(encoding="utf-8")
    file.write_text(whole.replace(change["before"], change["after"]), encoding="utf-8")
    try:
        return pytest(tree, change["test"]) == 1
    finally:
        file.write_text(whole, encoding="utf-8")


def pytest(tree: Path, *tests: str) -> int:
    """The exit status of tests in a copy of the tree: 0 passed, 1 failed."""
    run = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    surroundings = {**os.environ, "PYTHONPATH": str(tree / "src"), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(run, cwd=tree, env=surroundings, capture_output=True, check=False).returncode


def main() -> None:
    """The command line."""
    tree = Path(tempfile.mkdtemp())
    copy_tree(tree, lists=False)
    alive = 0
    if pytest(tree, *{change["test"] for change in CHANGES}):
        sys.exit("the tests must pass before anything is changed, but they do not")
    for change in CHANGES:
        assert (ROOT / change["file"]).read_text(encoding="utf-8").count(change["before"]) == 1, change["what"]
        dead = dies(tree, change)
        alive += not dead
        print(f"{'died ' if dead else 'LIVES'}  {change['what']}  ({change['test'].partition('::')[2]})")
    print(f"{len(CHANGES)} changes, {len(CHANGES) - alive} died")
    sys.exit(1 if alive else 0)


if __name__ == "__main__":
    main()
