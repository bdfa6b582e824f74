"""Fixtures shared by all tests."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest

from analytics.ledger import Ledger


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
