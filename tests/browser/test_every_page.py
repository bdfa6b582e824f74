"""Every page at the width of a phone, a tablet and a laptop: whole, quiet, from this machine alone, and without a
barrier that axe-core knows. A page or panel added to the program is looked at without a word here."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import Browser

from tests.browser.addresses import DRILLED, EVERY_PAGE
from tests.browser.reading import Reader

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OF_COLOUR = ["color-contrast", "link-in-text-block"]
"""Rules that depend on the colours of the page; the others see the same page in every theme."""
OF_WIDTH = ["target-size", "scrollable-region-focusable", "aria-hidden-focus", "meta-viewport"]
"""Rules that depend on how wide the page is."""
WIDTHS = (390, 820, 1280) if os.environ.get("EVENFOOT_ALL_LOOKS") else (390, 1280)
"""A tablet's width is looked at where EVENFOOT_ALL_LOOKS=1 asks for it: a run of all tests has a quarter of an hour."""
LOOKS = [
    *((width, path) for width in WIDTHS for path in EVERY_PAGE),
    *((width, path) for width in (390, 1280) for path in DRILLED),
]


RUN = """async ([what, charts]) => {
  const out = charts ? [] : [...document.querySelectorAll(".js-plotly-plot > *, tbody > tr:nth-child(n + 9)")]
    .map(each => [each.parentNode, each]);
  out.forEach(([, each]) => each.remove());
  const found = await axe.run(document, {runOnly: what, resultTypes: ["violations"]});
  out.forEach(([place, each]) => place.append(each));
  return found;
}"""


@pytest.fixture(scope="module")
def reader(browser: Browser, standing: tuple[str, Path], request: pytest.FixtureRequest) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], request.param)
    yield tab
    tab.close()


def barriers(reader: Reader, only: list[str] | None = None, *, charts: bool = False) -> list[str]:
    """What axe-core has to say about the page as it stands.

    The inside of a chart is a picture to a screen reader (its wrapper has the role and the description), and its
    thousands of marks take axe-core most of its time; they are looked at where *charts* says so. Of a long table
    the first rows are looked at: the others are like them.
    """
    page = reader.page
    if not page.evaluate("Boolean(window.axe)"):
        page.evaluate(AXE)
    runs = {"type": "rule", "values": only} if only else {"type": "tag", "values": TAGS}
    found = page.evaluate(RUN, [runs, charts])
    return [
        f"{each['id']}: {each['help']}: {each['nodes'][0]['html'][:160]} ({len(each['nodes'])} places)"
        for each in found["violations"]
    ]


def paint(reader: Reader, theme: str) -> None:
    """Another theme's colours on the page as it stands, the charts aside."""
    reader.page.evaluate(
        """theme => {
          document.documentElement.dataset.theme = theme;
          document.documentElement.dataset.mantineColorScheme = theme === "night" ? "dark" : "light";
        }""",
        theme,
    )


@pytest.mark.parametrize(("reader", "path"), LOOKS, indirect=["reader"])
def test_nothing_is_wrong_with_it(reader: Reader, path: str) -> None:
    if reader.page.url.startswith(reader.address):
        reader.follow(path)
    else:
        reader.open(path)
    wrong = reader.looks_wrong() + reader.told()
    width = reader.page.viewport_size["width"]  # type: ignore[index]
    if width == 390:
        wrong += barriers(reader, OF_WIDTH)
    if width == 1280:
        wrong += barriers(reader)
        for theme in ("night", "contrast") if path in EVERY_PAGE else ():
            paint(reader, theme)
            wrong += [f"{theme}: {barrier}" for barrier in barriers(reader, OF_COLOUR)]
        paint(reader, "paper")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("path", ["/?farms=Larkmoor&theme=night", "/lesions?farms=Larkmoor&theme=contrast"])
def test_charts_in_another_theme_have_no_barrier(browser: Browser, standing: tuple[str, Path], path: str) -> None:
    tab = Reader(browser, standing[0], 1280)
    tab.open(path)
    wrong = barriers(tab, charts=True) + tab.looks_wrong() + tab.told()
    tab.close()
    assert not wrong, "\n".join(wrong)
