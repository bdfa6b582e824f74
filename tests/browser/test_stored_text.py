"""Harmful names in a real browser: no page runs them, fetches for them or breaks on them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import start_server
from tests.browser.reading import Reader, returning
from tests.effort import some
from tests.hostile import FARMS, TEXTS, hostile_ledger

pytestmark = pytest.mark.long

PLACES = (
    ("/today", {}), ("/lesions", {"lesions": "SU"}), ("/cow", {"cow": TEXTS[1]}), ("/worklist", {}), ("/plan", {}),
    ("/comparison", {"by": "group"}), ("/change", {"change": "2026-01-05"}), ("/records", {}), ("/import", {}),
)  # fmt: skip
INJECTED = "img[onerror], svg[onload], a[href^='javascript'], [onclick], iframe:not([sandbox])"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path: Path = tmp_path_factory.mktemp("hostile") / "l.duckdb"
    hostile_ledger(path).lease.drop_if_idle()
    process, address = start_server(path)
    yield address
    process.terminate()
    process.wait(120)


def test_no_page_runs_what_a_sheet_says(browser: Browser, address: str) -> None:
    reader = Reader(browser, address, 1280, context=returning(browser))
    tab = reader.page
    trouble: list[str] = []
    tab.on("dialog", lambda dialog: (trouble.append(f"dialog {dialog.message}"), dialog.dismiss()))
    # The preview of a report is shut in so well that the tests' own script is refused there, which is said.
    shut_in = "Blocked script execution in 'about:srcdoc'"
    tab.on(
        "console",
        lambda said: trouble.append(said.text) if said.type == "error" and not said.text.startswith(shut_in) else None,
    )
    tab.on("pageerror", lambda error: trouble.append(str(error)))
    tab.on(
        "request",
        lambda asked: trouble.append(asked.url) if not asked.url.startswith((address, "data:", "blob:")) else None,
    )
    tab.set_default_timeout(30_000)
    for place, (path, options) in some(enumerate(PLACES), 2):
        here = f"{path}?" + urlencode({"farms": FARMS[place % 3], "visits": "all"} | options)
        if place % 4 == 0:
            reader.open(here)
        else:
            reader.follow(here)
        assert tab.evaluate("() => window.struck") is None, path
        assert tab.locator(INJECTED).count() == 0, path
        assert tab.locator("main script, #picker script").count() == 0, path
        assert trouble == [], (path, trouble)
    tab.goto(f"{address}/report?" + urlencode({"farms": FARMS[0]}))
    tab.locator("#report-remarks").fill("\n".join(TEXTS))
    tab.locator("#report-show").click()
    shown = tab.frame_locator("iframe.report-frame")
    expect(shown.locator("h1")).to_contain_text("window.struck=1")
    assert tab.evaluate("() => window.struck") is None
    assert trouble == []
    reader.close()
