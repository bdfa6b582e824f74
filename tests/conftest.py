"""Fixtures shared by all tests."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import tempfile
import time
from pathlib import Path

import pytest

from analytics.ledger import Ledger, open_ledger
from dashboard.serving import short_texts_plainly

if "PYTEST_XDIST_WORKER" not in os.environ:
    # What the program keeps between two runs is kept for one run of the tests, by all its processes.
    os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="evenfoot-cache-")
    atexit.register(shutil.rmtree, os.environ["XDG_CACHE_HOME"], ignore_errors=True)


# As in the server; commands, which tests call as programs of their own, leave texts as pandas has them.
short_texts_plainly()

PATIENCE = 120.0
"""Seconds to wait for what another process builds."""

LONGEST = (
    "browser/test_every_page", "accounts/test_walk", "browser/test_spanish", "browser/test_states",
    "browser/test_drills", "browser/test_main_line", "engines/test_readme", "ledger/test_torture",
    "engines/test_measures_on_postgres",
    "engines/test_counts", "engines/test_keeping", "engines/test_measures_on_spark", "engines/test_writing",
    "report/test_document", "browser/test_following", "report/test_all_farms", "dashboard/test_stored_text",
    "browser/test_stored_text", "engines/test_pages_on_spark", "engines/test_pages_on_postgres", "report/test_pdf",
    "browser/test_signing_in",
)  # fmt: skip
"""Files that take longest, begun first: at the end no process waits for another's long one."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if "PYTEST_XDIST_WORKER" not in os.environ:
        return
    here = Path(__file__).parent
    places = {here / f"{name}.py": place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))


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
    """The demo herds. Read only: a test that changes it makes its own."""
    own = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    if "PYTEST_XDIST_WORKER" not in os.environ:
        return _built(own)
    # The process that comes first builds them, and every process has its own copy.
    place = tmp_path_factory.getbasetemp().parent / "demo"
    try:
        place.mkdir()
    except FileExistsError:
        until = time.monotonic() + PATIENCE
        while not (place / "whole.duckdb").exists():
            assert time.monotonic() < until, "another process has not built the demo herds"
            time.sleep(0.1)
    else:
        _built(place / "draft.duckdb").lease.drop_if_idle()
        (place / "draft.duckdb").rename(place / "whole.duckdb")
    shutil.copy(place / "whole.duckdb", own)
    return open_ledger(str(own))


def _built(place: Path) -> Ledger:
    from dashboard.demo import build

    return build(str(place))
