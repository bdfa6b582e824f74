"""Every page at the width of a phone, a tablet and a laptop: whole, quiet, from this machine alone, without a barrier
that axe-core knows; with the keyboard in sight at every stop, the numbers that the command says, and marks that lead
where the table leads. A page or panel added to the program is looked at without a word here.

Most of the time goes into drawing pages, so a page is drawn once for all that is asked of it at one width.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.pages import PAGES
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.tables import printable
from evenfoot.dashboard.ui.view import View
from tests.browser.addresses import DRILLED, EVERY_PAGE, address
from tests.browser.barriers import OF_COLOUR, OF_WIDTH, barriers, paint
from tests.browser.clicking import LINKS, MARKS, click, here
from tests.browser.reading import Reader, returning, saved
from tests.browser.stops import FOCUS, FROM_THE_TOP, MOST_STEPS
from tests.effort import WHOLE, some

WIDTHS = (1280, 390, 820)
WIDE = [(1280, path) for path in EVERY_PAGE]
READ = some(WIDE, 4)
"""Pages whose tables are read. That a panel's CSV is its table is one function for all of them."""
LOOKS = [
    *((width, path) for width in WIDTHS[:2] for path in (*EVERY_PAGE, *(DRILLED if WHOLE else ()))),
    *((WIDTHS[2], path) for path in EVERY_PAGE if WHOLE),
]
"""Begins with :data:`WIDE`: tests of the same place in both lists are run together, on one drawing of the page. A
tablet shows what a laptop or a phone does, and a page drilled into the parts of the page it is of; both are looked at
in ``make test-whole``."""
FIRST = tuple(map(address, ("/", "/today", "/herd", "/lesions", "/cow", "/import")))
"""Looked at in ``make test``; the others in ``make test-long``."""
OTHER_THEMES = {path: ("night", "contrast")[place % 2] for place, path in enumerate(some(EVERY_PAGE, 2))}
"""Pages share their parts and colours, so that each is looked at in one theme besides paper."""


@dataclass
class Visit:
    """A page that has been drawn at one width."""

    reader: Reader
    width: int
    path: str

    def at(self) -> Reader:
        """The reader, on the page."""
        if here(self.reader) != self.path:
            if self.reader.page.url.startswith(self.reader.address):
                self.reader.follow(self.path)
            else:
                self.reader.open(self.path)
        return self.reader


@pytest.fixture(scope="module")
def readers(browser: Browser, standing: tuple[str, Path]) -> Iterator[dict[int, Reader]]:
    tabs = {width: Reader(browser, standing[0], width, context=returning(browser)) for width in WIDTHS}
    yield tabs
    for tab in tabs.values():
        tab.close()


@pytest.fixture(scope="module")
def visit(readers: dict[int, Reader], request: pytest.FixtureRequest) -> Visit:
    width, path = request.param
    return Visit(readers[width], width, path)


def visits(looks: list[tuple[int, str]]) -> Any:
    return pytest.mark.parametrize(
        "visit",
        [pytest.param(look, id=f"{look[0]}-{look[1]}", marks=marks_of(look[1])) for look in looks],
        indirect=True,
        scope="module",
    )


def marks_of(path: str) -> Any:
    return () if path.startswith(FIRST) else pytest.mark.long


@visits(LOOKS)
def test_nothing_is_wrong_with_it(visit: Visit) -> None:
    reader = visit.at()
    wrong = reader.looks_wrong() + reader.told()
    if visit.width == 390:
        wrong += barriers(reader.page, OF_WIDTH)
    if visit.width == 1280:
        wrong += barriers(reader.page)
        # A page drilled into has the parts of the page it is of, in the same colours.
        if theme := OTHER_THEMES.get(visit.path):
            paint(reader.page, theme)
            wrong += [f"{theme}: {barrier}" for barrier in barriers(reader.page, OF_COLOUR)]
            paint(reader.page, "paper")
    assert not wrong, "\n".join(wrong)


@visits(WIDE)
def test_every_stop_is_in_sight(visit: Visit) -> None:
    """All stops of the keyboard, in order, with none in which the focus is caught."""
    page = visit.at().page
    page.evaluate(FROM_THE_TOP)
    stops: list[dict[str, Any]] = []
    out = False
    while not out and len(stops) < MOST_STEPS:
        page.keyboard.press("Tab")
        at = page.evaluate(FOCUS)
        out = at["tag"] == "BODY"
        if not out:
            assert at["seen"], f"the focus is out of sight: {at}"
            stops.append(at)
    page.keyboard.press("Escape")
    assert stops[0]["href"] == "#content", "the first stop skips to the figures"
    assert len(stops) > 12
    assert len({(at["tag"], at["words"], at["href"], at["panel"]) for at in stops[-40:]}) > 2, "the focus is caught"


@visits(READ)
def test_the_numbers_of_every_panel(visit: Visit, demo_ledger: Ledger) -> None:
    """The CSV of a panel is the whole table of its answer, asked anew outside the server."""
    reader = visit.at()
    view = View.read(visit.path.split("?")[0], "?" + visit.path.partition("?")[2])
    for panel in PAGES[view.path].panels:
        take = reader.page.locator(f'section[aria-labelledby="title-{panel.name}"] a.take[download$=".csv"]')
        made = panel.draw(demo_ledger, view)
        if not isinstance(made, Drawn):
            continue
        if made.answer.empty:
            assert take.count() == 0, panel.name
            continue
        rows = list(csv.reader(io.StringIO(saved(reader, take.first).decode("utf-8-sig"))))
        expected = printable(made.answer.table).to_csv(index=False, lineterminator="\n")
        assert rows == list(csv.reader(io.StringIO(expected))), panel.name
    assert not reader.told()


@visits(WIDE)
def test_marks_lead_where_the_table_leads(visit: Visit) -> None:
    """Every kind of mark of a page, clicked; and the keyboard reaches all that marks lead to."""
    reader = visit.at()
    tried: set[str] = set()
    charts: list[dict[str, Any]] = reader.page.evaluate(MARKS)
    links = set(reader.page.evaluate(LINKS))
    for chart in charts:
        missing = set(chart["leads"]) - links
        assert not missing, f"{chart['panel']}: the keyboard does not reach {sorted(missing)[:3]}"
    for chart in charts:
        for kind in {mark["kind"] for mark in chart["marks"]} - tried:
            tried.add(kind)
            assert click(visit.at(), chart["panel"], kind) in chart["leads"]
    assert not reader.told()


@pytest.mark.parametrize("path", some(["/lesions?farms=Larkmoor&theme=contrast", "/?farms=Larkmoor&theme=night"], 2))
def test_charts_in_another_theme_have_no_barrier(browser: Browser, standing: tuple[str, Path], path: str) -> None:
    tab = Reader(browser, standing[0], 1280, context=returning(browser))
    tab.open(path)
    wrong = barriers(tab.page, charts=True) + tab.looks_wrong() + tab.told()
    tab.close()
    assert not wrong, "\n".join(wrong)
