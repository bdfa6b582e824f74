"""A report as HTML opens with the network off, on laptop and phone, without a word on the console."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, expect

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.report.request import SECTIONS, Request
from evenfoot.dashboard.report.writing import write_report


def test_an_html_report_opens_offline(page: Page, demo_ledger: Ledger, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    write_report(demo_ledger, Request("Nether Ash", sections=SECTIONS, language="es"), out)
    page.context.set_offline(True)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(out.as_uri())
    expect(page.get_by_role("heading", level=1)).to_have_text("Nether Ash")
    expect(page.locator("svg.feet")).to_be_visible()
    assert page.get_by_role("img").count() >= 2
    assert all(url.startswith(("file:", "data:")) for url in asked)
    assert page.evaluate("document.documentElement.lang") == "es"
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= page.viewport_size["width"], "a phone never scrolls the page sideways"  # type: ignore[index]
