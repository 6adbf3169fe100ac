"""The suite's own rule: a skip that nobody expects fails the run."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

# Why a test may be skipped, each by how its reason begins. Anything else is a test that silently stopped testing.
EXPECTED_SKIPS = (
    "the browser extra is not installed",
    "no browser is installed",
    "the shared bench is not beside this checkout",
    "no PostgreSQL server",
    "the cluster extra is not installed",
    "the learning extra is not installed",
    "the docs extra is not installed",
    "no small disk can be mounted",
)


@pytest.fixture(autouse=True, scope="session")
def _isolated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No journal or settings that lie above the tests' folders are found: there the home folder is, where looking ends.

    What programs keep in a home (the pictures' list of fonts) stays where it is.
    """
    base = tmp_path_factory.getbasetemp()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MPLCONFIGDIR", os.environ.get("MPLCONFIGDIR") or str(Path.home() / ".cache" / "matplotlib"))
        patch.setenv("HOME", str(base))
        yield


_unexpected: list[str] = []


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Note every skip whose reason is not on the list."""
    if report.skipped and not hasattr(report, "wasxfail") and isinstance(report.longrepr, tuple):
        reason = str(report.longrepr[2]).removeprefix("Skipped: ")
        if not reason.startswith(EXPECTED_SKIPS):
            _unexpected.append(f"{report.nodeid}: {reason}")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Fail the run where a test was skipped for a reason that is not expected."""
    if _unexpected and exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say which skips failed the run."""
    for line in _unexpected:
        terminalreporter.write_line(f"unexpected skip: {line}", red=True)
