"""A drill narrows the page; back, forward, reload and a sent link show the same."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.addresses import address
from tests.browser.clicking import here
from tests.browser.reading import Reader, returning

pytestmark = pytest.mark.long

SHOWN = """() => [...document.querySelectorAll(
  "main h1, #trail, #choices, .panel h2, .panel-body p:not([hidden]), .panel-body table")]
  .map(element => element.textContent).join("\\n")
  + [...document.querySelectorAll(".panel .js-plotly-plot")].map(chart =>
    [...chart.querySelectorAll("svg.main-svg text")].map(text => text.textContent).sort().join("|")).join("\\n")"""
"""The words of a page; those of a chart in the order of the alphabet, since a chart drawn again over what was there
has its scale and its notes in another order."""


@pytest.fixture(scope="module")
def reader(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], 1280, 1000, context=returning(browser))
    yield tab
    tab.close()


def test_a_drill_narrows_the_page_and_comes_back(reader: Reader) -> None:
    page = reader.page
    start = address("/lesions") + "&certainty=always"
    reader.open(start)
    shown = {here(reader): page.evaluate(SHOWN)}
    steps = [here(reader)]
    for name, text in (("lesion-types", "Sole ulcer"), ("lesion-claws", "RH"), ("lesion-feet", "4")):
        section = page.locator(f'section[aria-labelledby="title-{name}"]')
        row = section.locator("tbody tr").filter(has_text=text).first
        page.evaluate("window.evenfootClock.start()")
        row.get_by_role("link").click()
        reader.settle()
        steps.append(here(reader))
        shown[here(reader)] = page.evaluate(SHOWN)
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
