"""The marks of charts that lead somewhere, and a mouse that clicks them."""

from __future__ import annotations

from tests.browser.reading import HERE, Reader

MARKS = (HERE / "marks.js").read_text(encoding="utf-8")
LINKS = """() => [...document.querySelectorAll("main a[href]")].map(link => link.getAttribute("href"))"""
"""Addresses that the keyboard reaches on a page."""


def here(reader: Reader) -> str:
    """The address a reader is at, without the server's."""
    return reader.page.url.removeprefix(reader.address)


def click(reader: Reader, panel: str, kind: str) -> str:
    """Click the first mark of a kind on a panel; gives the address it led to."""
    before = here(reader)
    height = reader.page.viewport_size["height"]  # type: ignore[index]
    section = reader.page.locator(f'section[aria-labelledby="title-{panel}"]')
    section.locator(".js-plotly-plot").first.scroll_into_view_if_needed()
    reader.page.wait_for_timeout(60)
    chart = next(each for each in reader.page.evaluate(MARKS) if each["panel"] == panel)
    spot = next(mark for mark in chart["marks"] if mark["kind"] == kind)
    if not 0 < spot["y"] < height:
        reader.page.mouse.wheel(0, spot["y"] - height / 2)
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
