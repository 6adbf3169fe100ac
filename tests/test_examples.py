"""The examples run as they stand, and the notebook's outputs are those of the code in it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from support import ROOT

EXAMPLES = ROOT / "examples"


@pytest.mark.slow
def test_the_script_measures_prints_and_draws(tmp_path: Path) -> None:
    """The script ends well, prints the summary, and leaves a PNG."""
    picture = tmp_path / "take.png"
    done = subprocess.run(
        [sys.executable, str(EXAMPLES / "measure_a_take.py"), str(picture)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "72 bpm" in done.stdout
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_notebook_is_kept_executed() -> None:
    """Every code cell was run, in order, without an error, and a picture is among its outputs."""
    import nbformat

    notebook = nbformat.read(EXAMPLES / "one_take.ipynb", as_version=4)
    nbformat.validate(notebook)
    cells = [c for c in notebook.cells if c.cell_type == "code"]
    assert [c.execution_count for c in cells] == list(range(1, len(cells) + 1))
    outputs = [o for c in cells for o in c.outputs]
    assert not any(o.output_type == "error" for o in outputs)
    assert any("image/png" in o.get("data", {}) for o in outputs)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the kernel's machinery warns about itself
def test_the_notebook_still_runs() -> None:
    """Executed anew by nbclient, no cell fails."""
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.read(EXAMPLES / "one_take.ipynb", as_version=4)
    where = {"metadata": {"path": str(EXAMPLES)}}
    NotebookClient(notebook, timeout=300, kernel_name="python3", resources=where).execute()
