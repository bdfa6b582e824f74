"""A real server on its own ledger and a real Chromium in front of it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tests.browser.reading import returning

expect.set_options(timeout=25_000)

BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "microsoft-edge")
COMMAND = (sys.executable, "-c", "from dashboard.cli import main; main()")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


def find_browser() -> str | None:
    """The machine's own Chromium, Chrome or Edge; the one without windows first, which takes a quarter less work."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def frugal(made: Callable[..., BrowserContext], **options: Any) -> BrowserContext:
    """A context of a browser set to ask for less: nothing is drawn ahead for it, which takes the tests' time."""
    context = made(**options)
    context.add_init_script("Object.defineProperty(navigator, 'connection', {value: {saveData: true}})")
    return context


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = find_browser()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("No Chromium on this machine; CI must have one.")
        pytest.skip("No Chromium, Chrome or Edge on this machine: the browser tests need one.")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=FLAGS)
        chromium.new_context = partial(frugal, chromium.new_context)  # type: ignore[method-assign]
        yield chromium
        chromium.close()


def start_server(ledger: Path, port: int | None = None) -> tuple[subprocess.Popen[str], str]:
    """Serve a ledger, on a free port unless one is given; gives the process and the address."""
    from socket import socket

    with socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = port or probe.getsockname()[1]
    process = subprocess.Popen(
        [*COMMAND, "serve", "--ledger", str(ledger), "--port", str(port)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    found = re.search(r"http://\S+", line)
    assert found, f"the server said: {line!r}"
    address = found.group().rstrip("/")
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            with urlopen(address, timeout=5):
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
    process.terminate()
    process.wait(10)


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
