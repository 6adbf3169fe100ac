"""How large the rooms are: packages with their files, lines, longest module and longest function.

usage: python -m tests.benchmarks.house

A function's length is counted without its docstring, from ``def`` to its last line. Prints a table in Markdown, and
what is longer than the house allows: modules of 350 lines, functions of 80.
"""

from __future__ import annotations

import ast
from pathlib import Path
from typing import NamedTuple

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "strumclock"
LONGEST_MODULE, LONGEST_FUNCTION = 350, 80


class Function(NamedTuple):
    """One function and its length."""

    lines: int
    name: str


def functions(file: Path) -> list[Function]:
    """Every function of a module with its lines, docstring not counted."""
    found = []
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0]
            told = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
            doc = (first.end_lineno or 0) - first.lineno + 1 if told else 0
            found.append(Function((node.end_lineno or 0) - node.lineno + 1 - doc, f"{file.stem}.{node.name}"))
    return found


def main() -> None:
    """Print the table, and what is too long."""
    rooms = sorted({f.relative_to(PACKAGE).parts[0] for f in PACKAGE.rglob("*.py")})
    print("| package | files | lines | longest module | longest function |")
    print("|---|---|---|---|---|")
    lengths, too_long = [], []
    for room in rooms:
        path = PACKAGE / room
        files = sorted(path.rglob("*.py")) if path.is_dir() else [path]
        lines = {f: len(f.read_text(encoding="utf-8").splitlines()) for f in files}
        lengths += [n for f, n in lines.items() if f.name != "__init__.py"]
        longest = max(lines, key=lambda f: lines[f])
        function = max((x for f in files for x in functions(f)), default=Function(0, "–"))
        print(
            f"| {room.removesuffix('.py')} | {len(files)} | {sum(lines.values())} | "
            f"{longest.stem} {lines[longest]} | {function.name} {function.lines} |"
        )
        too_long += [f"{f.relative_to(PACKAGE)}: {n} lines" for f, n in lines.items() if n > LONGEST_MODULE]
        too_long += [
            f"{f.relative_to(PACKAGE)}: {x.name} {x.lines} lines"
            for f in files
            for x in functions(f)
            if x.lines > LONGEST_FUNCTION
        ]
    print(f"\nmedian module {sorted(lengths)[len(lengths) // 2]} lines, {len(lengths)} modules")
    print("too long: " + ("; ".join(too_long) or "nothing"))


if __name__ == "__main__":
    main()
