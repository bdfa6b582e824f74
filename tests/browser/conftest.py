"""A real server on its own ledger and a real Chromium in front of it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.reading import returning
from tests.ports import free_port

expect.set_options(timeout=90_000)

BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "microsoft-edge")
COMMAND = (sys.executable, "-c", "from evenfoot.dashboard.cli.main import main; main()")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


def find_browser() -> str | None:
    """The machine's own Chromium, Chrome or Edge; the one without windows first, which takes a quarter less work."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = find_browser()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("No Chromium on this machine; CI must have one.")
        pytest.skip("No Chromium, Chrome or Edge on this machine: the browser tests need one.")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield chromium
        chromium.close()


START_SECONDS = 240.0
"""Seconds that a server is given to answer for the first time."""


def start_server(ledger: Path, port: int | None = None) -> tuple[subprocess.Popen[str], str]:
    """Serve a ledger, on a free port unless one is given; gives the process and the address."""
    # Between the look for a free port and the start somebody else may have taken it.
    for _ in range(1 if port else 5):
        process = subprocess.Popen(
            [*COMMAND, "serve", "--ledger", str(ledger), "--port", str(port or free_port())],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        line = process.stdout.readline()
        if found := re.search(r"http://\S+", line):
            break
        process.kill()
        process.wait(120)
    else:
        raise AssertionError(f"the server said: {line!r}")
    address = found.group().rstrip("/")
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        try:
            with urlopen(address, timeout=30):
                return process, address
        except OSError:
            time.sleep(0.05)
    raise AssertionError("the server did not answer")


def _served(demo_ledger: object, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    path = tmp_path_factory.mktemp("served") / "ledger.duckdb"
    demo_ledger.lease.drop_if_idle()  # type: ignore[attr-defined]
    shutil.copy(demo_ledger.name, path)  # type: ignore[attr-defined]
    process, address = start_server(path)
    yield address, path
    with process:  # Its end closes what it printed to.
        process.terminate()
        process.wait(120)


@pytest.fixture(scope="module")
def served(demo_ledger: object, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """(address, ledger path) of a server on a copy of the demo herds, for a module that writes."""
    yield from _served(demo_ledger, tmp_path_factory)


@pytest.fixture(scope="session")
def standing(demo_ledger: object, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """(address, ledger path) of a server on a copy of the demo herds, for all modules that only read."""
    yield from _served(demo_ledger, tmp_path_factory)


@pytest.fixture(params=[1280, 390])
def page(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page at laptop and phone width; any error on the console fails the test."""
    tab = returning(browser).new_page()
    tab.set_viewport_size({"width": request.param, "height": 900})
    errors: list[str] = []
    tab.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.set_default_timeout(25_000)
    yield tab
    tab.context.set_offline(False)
    tab.close()
    assert not errors, errors
