"""Run the cells of a simulation on several cores and keep their order."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

Cell = TypeVar("Cell")
Result = TypeVar("Result")


def run_cells(measure: Callable[[Cell], Result], cells: Iterable[Cell], jobs: int) -> list[Result]:
    """`measure` of each cell; in this process where `jobs` is 1."""
    cells = list(cells)
    if jobs == 1:
        return [measure(cell) for cell in cells]
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # inherited: one thread a process
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(measure, cells))
