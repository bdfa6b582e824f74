"""Every kind of mark leads where its row of the table leads; back, forward, reload and a sent link show the same."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.addresses import EVERY_PAGE
from tests.browser.reading import HERE, Reader

MARKS = (HERE / "marks.js").read_text(encoding="utf-8")
LINKS = """() => [...document.querySelectorAll("main [data-table]")]
  .flatMap(table => JSON.parse(table.getAttribute("data-table")).links)
  .concat([...document.querySelectorAll("main a[href]")].map(link => link.getAttribute("href")))"""
"""Addresses that the keyboard reaches on a page."""

SHOWN = """() => [...document.querySelectorAll(
  "main h1, #trail, #choices, .panel h2, .panel-body p:not([hidden]), .panel-body [data-table]")]
  .map(element => element.getAttribute("data-table") || element.textContent).join("\\n")
  + [...document.querySelectorAll(".panel svg.main-svg text")].map(text => text.textContent).join("|")"""


@pytest.fixture(scope="module")
def reader(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], 1280, 1000)
    yield tab
    tab.close()


def here(reader: Reader) -> str:
    return reader.page.url.removeprefix(reader.address)


def click(reader: Reader, panel: str, kind: str) -> str:
    """Click the first mark of a kind on a panel; gives the address it led to."""
    before = here(reader)
    section = reader.page.locator(f'section[aria-labelledby="title-{panel}"]')
    section.locator(".js-plotly-plot").first.scroll_into_view_if_needed()
    reader.page.wait_for_timeout(60)
    chart = next(each for each in reader.page.evaluate(MARKS) if each["panel"] == panel)
    spot = next(mark for mark in chart["marks"] if mark["kind"] == kind)
    if not 0 < spot["y"] < 1000:
        reader.page.mouse.wheel(0, spot["y"] - 500)
        reader.page.wait_for_timeout(120)
        chart = next(each for each in reader.page.evaluate(MARKS) if each["panel"] == panel)
        spot = next(mark for mark in chart["marks"] if mark["kind"] == kind)
    reader.page.evaluate("window.evenfootClock.start()")
    # A hand moves before it presses: the chart finds out what lies under the pointer as it moves.
    reader.page.mouse.move(spot["x"] - 1, spot["y"] - 1)
    reader.page.mouse.move(spot["x"], spot["y"])
    reader.page.wait_for_timeout(80)
    reader.page.mouse.click(spot["x"], spot["y"])
    reader.page.wait_for_url(lambda url: url.removeprefix(reader.address) != before)
    reader.settle()
    return here(reader)


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_marks_lead_where_the_table_leads(reader: Reader, path: str) -> None:
    reader.open(path)
    tried: set[str] = set()
    charts: list[dict[str, Any]] = reader.page.evaluate(MARKS)
    links = set(reader.page.evaluate(LINKS))
    for chart in charts:
        missing = set(chart["leads"]) - links
        assert not missing, f"{chart['panel']}: the keyboard does not reach {sorted(missing)[:3]}"
    for chart in charts:
        for kind in {mark["kind"] for mark in chart["marks"]} - tried:
            tried.add(kind)
            if here(reader) != path:
                reader.follow(path)
            assert click(reader, chart["panel"], kind) in chart["leads"]
    assert not reader.told()


def test_a_drill_narrows_the_page_and_comes_back(reader: Reader) -> None:
    page = reader.page
    start = "/lesions?farms=Larkmoor"
    reader.open(start)
    shown = {here(reader): page.evaluate(SHOWN)}
    steps = [here(reader)]
    for name, text in (("lesion-types", "Sole ulcer"), ("lesion-claws", "RH"), ("lesion-feet", "4")):
        section = page.locator(f'section[aria-labelledby="title-{name}"]')
        fold = section.locator("details.fold").first
        if fold.get_attribute("open") is None:
            fold.locator("summary").click()
        row = section.locator("tbody tr").filter(has_text=text).first
        page.evaluate("window.evenfootClock.start()")
        row.get_by_role("link").click()
        reader.settle()
        steps.append(here(reader))
        shown[here(reader)] = page.evaluate(SHOWN)
    # A fold that was opened stays open while the page is narrowed under it.
    expect(page.locator('section[aria-labelledby="title-lesion-claws"] details.fold').first).to_have_js_property(
        "open", True
    )
    assert len(set(shown.values())) == 4, "each step shows something else"
    expect(page.locator(".chips li")).to_have_count(4)
    expect(page.locator(".trail")).to_contain_text("Sole ulcer")
    for path in reversed(steps[:-1]):
        page.evaluate("window.evenfootClock.start()")
        page.go_back()
        reader.settle()
        assert here(reader) == path and page.evaluate(SHOWN) == shown[path], f"back to {path}"
    for path in steps[1:]:
        page.evaluate("window.evenfootClock.start()")
        page.go_forward()
        reader.settle()
        assert here(reader) == path and page.evaluate(SHOWN) == shown[path], f"forward to {path}"
    page.reload()
    reader.settle()
    assert page.evaluate(SHOWN) == shown[steps[-1]], "reloaded"
    page.locator(".chips a").first.click()
    expect(page.locator(".chips li")).to_have_count(3)
    assert not reader.told()


def test_a_sent_link_shows_the_same_to_another(browser: Browser, reader: Reader) -> None:
    path = "/comparison?farms=Larkmoor&by=season&lesions=DD&visits=all"
    reader.open(path)
    other = Reader(browser, reader.address, 1280, 1000)
    other.open(path)
    assert other.page.evaluate(SHOWN) == reader.page.evaluate(SHOWN)
    other.close()
