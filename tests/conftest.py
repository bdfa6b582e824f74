"""Fixtures shared by all tests."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from evenfoot.analytics.clock import SET_BY
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.engines import file_lease
from evenfoot.dashboard.web.server import short_texts_plainly
from tests.ports import DEMO_PORT

OWN_SETTINGS = ("EVENFOOT_BROWSER", "EVENFOOT_WHOLE_TESTS")
"""Settings of the environment that tests take; others, such as the ledger of whoever runs them, are left out."""

for name in [name for name in os.environ if name.startswith("EVENFOOT_") and name not in OWN_SETTINGS]:
    del os.environ[name]

if "PYTEST_XDIST_WORKER" not in os.environ:
    # What the program keeps between two runs is kept for one run of the tests, by all its processes; where no ledger
    # is named, it is one of this run.
    for name in ("XDG_CACHE_HOME", "XDG_DATA_HOME"):
        os.environ[name] = tempfile.mkdtemp(prefix="evenfoot-tests-")
        atexit.register(shutil.rmtree, os.environ[name], ignore_errors=True)

# The same examples each time, and no test fails because the machine has other work to do.
settings.register_profile("tests", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("tests")


def _keep_off_the_demo(event: str, values: tuple[Any, ...]) -> None:
    """Let no test listen where ``make run`` does."""
    if event == "socket.bind" and isinstance(values[1], tuple) and values[1][1] == DEMO_PORT:
        raise AssertionError(f"a test takes port {DEMO_PORT}, which is that of `make run`; take tests.ports.free_port")


sys.addaudithook(_keep_off_the_demo)

os.environ[SET_BY] = "2026-10-31"  # lists of the demo herds are the same whatever the day
# As in the server; commands, which tests call as programs of their own, leave texts as pandas has them.
short_texts_plainly()

PATIENCE = 600.0
"""Seconds to wait for what another process builds."""

file_lease.WAIT_SECONDS = 120.0

LONGEST = (
    "browser/test_every_page", "auth/test_walk", "browser/test_spanish", "browser/test_states",
    "browser/test_drills", "browser/test_main_line", "engines/test_guide", "ledger/test_torture",
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
    from evenfoot.dashboard.cli.demo import build

    return build(str(place))
