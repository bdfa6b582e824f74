"""Fixtures shared by all tests."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import tempfile
from pathlib import Path

import pytest

from analytics.ledger import Ledger

if "PYTEST_XDIST_WORKER" not in os.environ:
    # What the program keeps between two runs is kept for one run of the tests, by all its processes.
    os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="evenfoot-cache-")
    atexit.register(shutil.rmtree, os.environ["XDG_CACHE_HOME"], ignore_errors=True)


def pytest_collection_finish() -> None:
    """What is loaded stays: not looking through it again and again for what can go takes a tenth off many tests."""
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Name a failure at once: a run that is cut off has said which tests failed."""
    if report.failed and not os.environ.get("PYTEST_XDIST_WORKER"):
        print(f"\nFAILED {report.nodeid} ({report.when}, {report.duration:.0f} s)", flush=True)


@pytest.fixture(scope="session")
def demo_ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """The demo herds, built once a test process. Read only: a test that changes it makes its own."""
    from dashboard.demo import build

    place: Path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    return build(str(place))
