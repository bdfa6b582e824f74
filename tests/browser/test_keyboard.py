"""From the first page to one cow with nothing but the keyboard, the focus always in sight."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.addresses import EVERY_PAGE
from tests.browser.reading import Reader

FOCUS = """() => {
  const at = document.activeElement, box = at.getBoundingClientRect();
  /* A field that is part of a larger box has its outline round the box. */
  const shown = [at, at.closest(".mantine-Input-input, .drop, .ag-header-cell, .ag-cell"), at.parentElement]
    .filter(Boolean).map(element => getComputedStyle(element))
    .some(style => (parseFloat(style.outlineWidth) >= 2 && style.outlineStyle !== "none"));
  const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
  const middle = document.elementFromPoint(Math.min(Math.max(box.left + box.width / 2, 0), innerWidth - 1),
    Math.min(Math.max(box.top + Math.min(box.height, 20) / 2, 0), innerHeight - 1));
  const free = at.tagName === "IFRAME" || (middle !== null && (at.contains(middle) || middle.contains(at)));
  const panel = at.closest("section.panel");
  return { tag: at.tagName, words: (at.textContent || at.getAttribute("aria-label") || at.id || "").trim().slice(0, 60),
    href: at.getAttribute("href"), cls: String(at.className).slice(0, 40), inRow: Boolean(at.closest("tbody")),
    panel: panel ? panel.getAttribute("aria-labelledby").slice(6) : "",
    seen: shown && inside && free, shown, inside, free };
}"""
MOST_STEPS = 250


@pytest.fixture(scope="module")
def reader(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], 1280)
    yield tab
    tab.close()


def tab_to(reader: Reader, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """Press Tab until the focus is on what is wanted; it must be in sight at every step."""
    for _ in range(MOST_STEPS):
        reader.page.keyboard.press("Tab")
        at = reader.page.evaluate(FOCUS)
        assert at["seen"] or at["tag"] == "BODY", f"the focus is out of sight: {at}"
        if wanted(at):
            return dict(at)
    raise AssertionError(f"not reached within {MOST_STEPS} steps of {reader.page.url}")


def enter(reader: Reader) -> None:
    reader.page.evaluate("window.evenfootClock.start()")
    reader.page.keyboard.press("Enter")
    reader.settle()


def test_from_the_start_to_one_cow(reader: Reader) -> None:
    page = reader.page
    reader.open("/?farms=Larkmoor")
    first = tab_to(reader, lambda at: True)
    assert first["href"] == "#content", "the first stop skips to the figures"
    tab_to(reader, lambda at: at["words"] == "Lesions" and at["tag"] == "A")
    enter(reader)
    expect(page.locator("h1")).to_have_text("Lesions")
    tab_to(reader, lambda at: at["tag"] == "SUMMARY" and at["panel"] == "lesion-types")
    page.keyboard.press("Enter")
    lesion = tab_to(reader, lambda at: at["inRow"] and at["tag"] == "A")
    enter(reader)
    expect(page.locator(".trail")).to_contain_text(lesion["words"])
    cow = tab_to(reader, lambda at: at["inRow"] and at["panel"] == "lesion-cows" and at["tag"] == "A")
    enter(reader)
    expect(page.locator("h1")).to_have_text("Cow")
    expect(page.locator('section[aria-labelledby="title-cow-who"]')).to_contain_text(cow["words"])
    assert not reader.told()


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_every_stop_of_every_page_is_in_sight(reader: Reader, path: str) -> None:
    """All stops, in order, with none in which the focus is caught."""
    reader.open(path)
    stops, body = [], 0
    for _ in range(MOST_STEPS):
        reader.page.keyboard.press("Tab")
        at = reader.page.evaluate(FOCUS)
        if at["tag"] == "BODY":
            body += 1
            break
        assert at["seen"], f"the focus is out of sight: {at}"
        stops.append(at)
    assert len(stops) > 20
    assert body or len(stops) == MOST_STEPS, "the keyboard comes out at the end of the page"
    assert len({(at["tag"], at["words"], at["href"], at["panel"]) for at in stops[-12:]}) > 2, "the focus is caught"
