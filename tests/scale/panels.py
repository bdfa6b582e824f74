"""What the panels cost: ``python -m tests.scale.panels``.

On 40 farms of 200 cows over three years it prints the processor time of all panels of all pages, one after another in
a new process that is set up as a server is before it says that it is ready; the same once more with all answers
forgotten; and that of the due list and the visit plan, which every trimmer opens first. What is worked out the first
time only is loading the libraries that few panels need.
"""

from __future__ import annotations

import gc
import importlib
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pa_csv

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.measures import cache
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.pages import PAGES
from evenfoot.dashboard.ui.panel_callbacks import draw_panel
from evenfoot.dashboard.ui.panel_contents import filled
from evenfoot.dashboard.ui.view import View
from evenfoot.dashboard.web.server import FREED_AFTER, LOADED, short_texts_plainly
from tests.scale import ledgers
from tests.scale.table import costed, head, line, milliseconds

FARMS = 40
COWS = 200
YEARS = range(2023, 2026)
DEAREST = 8
"""Panels that are named."""


def costs(ledger: Ledger) -> Iterator[tuple[float, str]]:
    """Seconds of a processor and the name of every panel, of all farms."""
    for path, page in PAGES.items():
        for panel in page.panels:
            began = time.process_time()
            drawn, view = draw_panel(panel, ledger, View.read(path, ""))
            filled(panel, drawn, view)
            yield time.process_time() - began, panel.name


def sheet() -> Path:
    """The made-up sheet, written once and kept."""
    path = ledgers.FOLDER / "panels.csv"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        years = [ledgers.farm_year(farm, year, COWS) for year in YEARS for farm in range(FARMS)]
        pieces = [pa.table({name: pa.array(of, pa.string()) for name, of in year.items()}) for year in years]
        pa_csv.write_csv(pa.concat_tables(pieces), path)
    return path


def made() -> Path:
    """A ledger of its records, made once and kept."""
    place = ledgers.FOLDER / "panels.duckdb"
    if not place.exists():
        words = ["import", str(sheet()), "--accept", "--ledger", str(place)]
        subprocess.run([sys.executable, "-m", "evenfoot", "--quiet", *words], check=False)  # 4: some rows are set aside
    return place


def set_up_as_served() -> None:
    """What the server does before it says that it is ready: see :func:`evenfoot.dashboard.web.server.run`."""
    short_texts_plainly()
    for name in LOADED:
        importlib.import_module(name)
    gc.freeze()
    gc.set_threshold(FREED_AFTER)


def main() -> None:
    """Print the figures."""
    ledger = open_ledger(str(made()))
    set_up_as_served()
    head(f"Panels of {FARMS} farms of {COWS} cows, {len(YEARS)} years: processor time")
    both = lambda: (worklist(ledger, Selection()), plan(ledger, Selection()))  # noqa: E731
    for turn in ("at the first time", "again, no answer kept"):
        cache.forget()
        each = sorted(costs(ledger), reverse=True)
        line(f"{len(each)} panels, {turn}", milliseconds(sum(seconds for seconds, _name in each)))
        for seconds, name in each[:DEAREST]:
            line(f"    {name}", milliseconds(seconds))
    cache.forget()
    line("due list and visit plan together", milliseconds(costed(both)[0].work))


if __name__ == "__main__":
    main()
