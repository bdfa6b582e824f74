"""What axe-core, which knows the barriers of WCAG, has to say about a page."""

from __future__ import annotations

from pathlib import Path

import axe_playwright_python
from playwright.sync_api import Page

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OF_COLOUR = ["color-contrast", "link-in-text-block"]
"""Rules that depend on the colours of the page; the others see the same page in every theme."""
OF_WIDTH = ["target-size", "scrollable-region-focusable", "aria-hidden-focus", "meta-viewport"]
"""Rules that depend on how wide the page is."""

RUN = """async ([what, charts]) => {
  const inside = charts ? ".js-plotly-plot :is(path, circle, rect):nth-child(n + 9)" : ".js-plotly-plot > *";
  const out = [...document.querySelectorAll(inside + ", tbody > tr:nth-child(n + 9)")]
    .map(each => [each.parentNode, each.nextSibling, each]).reverse();  /* the last first, out and in again */
  out.forEach(([,, each]) => each.remove());
  const found = await axe.run(document, {runOnly: what, resultTypes: ["violations"]});
  out.forEach(([place, next, each]) => place.insertBefore(each, next));
  return found;
}"""


def barriers(page: Page, only: list[str] | None = None, *, charts: bool = False) -> list[str]:
    """What axe-core has to say about the page as it stands.

    The inside of a chart is a picture to a screen reader (its wrapper has the role and the description), and its
    thousands of marks take axe-core most of its time; they are looked at where *charts* says so. Of a long table
    the first rows are looked at, and of marks side by side the first: the others are like them.
    """
    if not page.evaluate("Boolean(window.axe)"):
        page.evaluate(AXE)
    runs = {"type": "rule", "values": only} if only else {"type": "tag", "values": TAGS}
    found = page.evaluate(RUN, [runs, charts])
    return [
        f"{each['id']}: {each['help']}: {each['nodes'][0]['html'][:160]} ({len(each['nodes'])} places)"
        for each in found["violations"]
    ]


def paint(page: Page, theme: str) -> None:
    """Another theme's colours on the page as it stands, the charts aside."""
    page.evaluate(
        """theme => {
          document.documentElement.dataset.theme = theme;
          document.documentElement.dataset.mantineColorScheme = theme === "night" ? "dark" : "light";
        }""",
        theme,
    )
