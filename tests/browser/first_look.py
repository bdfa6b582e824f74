"""What a reader meets first on every page: ``python -m tests.browser.first_look [ADDRESS]``.

Prints a line for each page and width, of a page opened anew: words in the first window, words before the first chart,
cautions in sight, panels, how far to scroll to the first answer, the smallest target, what was sent in kB, the first
window and the whole page in ms, and how far things moved after they stood (cumulative layout shift).
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from evenfoot.dashboard.cli.demo import build, stay_at_its_day
from tests.browser.addresses import address
from tests.browser.conftest import FLAGS, find_browser, start_server
from tests.browser.reading import Reader

WIDTHS = ((1280, 800), (390, 844))

LOOK = """() => {
  const seen = (element) => {
    const box = element.getBoundingClientRect();
    const style = getComputedStyle(element);
    const shown = box.width > 0 && box.height > 0 && style.visibility !== "hidden";
    return shown && !element.closest(".unseen, .skip, [hidden], details:not([open]) > :not(summary)");
  };
  const chart = document.querySelector(".js-plotly-plot");
  const chartTop = chart ? chart.getBoundingClientRect().top + scrollY : Infinity;
  const bar = document.querySelector(".items");
  const foot = bar && getComputedStyle(bar).position === "fixed" ? bar.getBoundingClientRect().top : innerHeight;
  let inWindow = 0, before = 0;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const at = walk.currentNode.parentElement;
    if (!at || at.closest("script, style, noscript, .js-plotly-plot") || !seen(at)) continue;
    const words = walk.currentNode.textContent.split(/\\s+/).filter((word) => /[\\p{L}\\d]/u.test(word)).length;
    const top = at.getBoundingClientRect().top;
    if (top < foot || at.closest(".items")) inWindow += words;
    if (at.closest("main") && top + scrollY < chartTop) before += words;
  }
  const answer = document.querySelector(
    ".answers li:last-child, main .lead, main h2:has(+ .asked), main .js-plotly-plot, main tbody tr");
  const box = answer && answer.getBoundingClientRect();
  const targets = [...document.querySelectorAll("a[href], button, summary, input, [role=button]")]
    .filter((each) => seen(each) && !each.closest("td, p, .js-plotly-plot"))
    .map((each) => Math.round(Math.min(each.getBoundingClientRect().width, each.getBoundingClientRect().height)));
  return {
    window: inWindow, before, cautions: [...document.querySelectorAll("main .caution")].filter(seen).length,
    panels: document.querySelectorAll(".panel").length,
    scroll: box ? Math.max(0, Math.round(box.bottom - foot)) : null,
    target: targets.length ? Math.min(...targets) : null, shift: window.evenfootShift || 0,
  };
}"""

SHIFT = """new PerformanceObserver((list) => {
  for (const entry of list.getEntries())
    if (!entry.hadRecentInput) window.evenfootShift = (window.evenfootShift || 0) + entry.value;
}).observe({ type: "layout-shift", buffered: true });"""


def look(reader: Reader, path: str) -> dict[str, float]:
    """The figures of one page, opened anew."""
    sent = [0]
    reader.page.on("response", lambda got: sent.__setitem__(0, sent[0] + int(got.headers.get("content-length") or 0)))
    reader.page.goto(reader.address + path)
    window, whole = reader.settle()
    found: dict[str, float] = reader.page.evaluate(LOOK)
    return {**found, "kB": round(sent[0] / 1000), "first": round(window), "whole": round(whole)}


def main() -> None:
    """Print the table, of a server that runs at the address given or of one begun on the demo herds."""
    from evenfoot.dashboard.pages import PAGES

    columns = ("window", "before", "cautions", "panels", "scroll", "target", "kB", "first", "whole", "shift")
    print(f"{'page':<24}{'width':>6}" + "".join(f"{name:>9}" for name in columns))
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=find_browser(), args=FLAGS)
        place, process = sys.argv[1] if len(sys.argv) > 1 else "", None
        if not place:
            stay_at_its_day()
            ledger = Path(folder) / "demo.duckdb"
            build(str(ledger)).lease.drop_if_idle()
            process, place = start_server(ledger)
        try:
            for width, height in WIDTHS:
                context = browser.new_context(has_touch=width < 600, is_mobile=width < 600)
                # The first page is a first visit; the later ones find the scripts kept.
                for path in PAGES:
                    reader = Reader(browser, place, width, height, context=context)
                    reader.page.add_init_script(SHIFT)
                    found = look(reader, "/" if path == "/" else address(path))
                    cells = "".join(f"{round(found[name] or 0, 3)!s:>9}" for name in columns)
                    print(f"{path:<24}{width:>6}{cells}", flush=True)
                    reader.page.close()
        finally:
            if process:
                process.terminate()
                process.wait(60)
            browser.close()


if __name__ == "__main__":
    main()
