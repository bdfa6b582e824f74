"""What was agreed is written down on Today, done, opened again, removed and put back, by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.long


def test_written_down_done_and_taken_back(page: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    width = page.viewport_size["width"] if page.viewport_size else 0
    said = f"Come a week earlier, {width}"
    page.goto(f"{address}/today?farms=Nether+Ash")
    page.get_by_text("Write down what was agreed").click()
    page.locator("#agreed-add").click()
    expect(page.locator("#agreed-said")).to_contain_text("Say in a few words what was agreed.")
    page.locator("#agreed-text").fill(said)
    page.locator("#agreed-who").fill("Kim")
    page.locator("#agreed-add").click()
    expect(page.locator("#done")).to_contain_text("Written down.")
    line = page.locator("li", has_text=said)
    expect(line).to_contain_text(f"Open. {said} (Kim)")
    for button, told, state in (
        ("Done", "It is done.", "Done on"),
        ("Not done after all", "It is open again.", "Open."),
    ):
        line.get_by_role("button", name=button).click()
        expect(page.locator("#done")).to_contain_text(told)
        expect(line).to_contain_text(state)
    line.get_by_role("button", name="Remove").click()
    expect(page.locator("#done")).to_contain_text("It was removed.")
    expect(line).to_have_count(0)
    page.get_by_role("button", name="Put it back").click()
    expect(line).to_contain_text("Open.")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    sizes = [button.bounding_box() for button in line.get_by_role("button").all()]
    assert len(sizes) == 2 and all(size and size["height"] >= 44 for size in sizes)
