"""A panel, and a report, is of one state of the ledger, whatever is imported and undone while it is worked out."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from dash import html

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.measures.cache import forget
from evenfoot.dashboard.pages import PANELS
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import Request
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.panel_callbacks import draw_panel
from evenfoot.dashboard.ui.panel_contents import certainty, filled
from evenfoot.dashboard.ui.view import View
from tests.effort import tries
from tests.sheets import checked

WHOLE_HERDS = ("2026-03-02", "2026-06-02")
LESIONS = ("SU", "DD", "WL", None, None)


def sheet(first: int) -> Any:
    rows = [
        {"visit_date": day, "farm": "Home", "visit_kind": "whole-herd", "cow": str(cow), "foot": "RH", "lesion": lesion}
        for day in WHOLE_HERDS
        for cow in range(first, first + 20)
        for lesion in [LESIONS[cow % 5]]
    ]
    return checked("trims", rows)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    made = open_ledger(tmp_path / "ledger.duckdb")
    add_sheets(made, [sheet(0)], "first.csv", "first")
    return made


def test_nobody_writes_while_a_panel_is_drawn(ledger: Ledger) -> None:
    """A page imports between two questions of one panel: it waits until the panel is drawn."""
    done = threading.Event()

    def bring_in() -> None:
        add_sheets(ledger, [sheet(20)], "second.csv", "second")
        done.set()

    page = threading.Thread(target=bring_in)

    def draw(ledger: Ledger, view: View) -> Any:
        before = len(ledger.frame("SELECT DISTINCT cow FROM trims"))
        page.start()
        assert not done.wait(1.0)
        return html.P(f"{before} and {len(ledger.frame('SELECT DISTINCT cow FROM trims'))}")

    drawn, _view = draw_panel(Panel("twice", "Cows", draw), ledger, View.read("/", ""))
    assert drawn.children == "20 and 20"
    page.join(60)
    assert len(ledger.frame("SELECT DISTINCT cow FROM trims")) == 40


IN_AND_OUT = """
import sys, time
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.failures import Busy
from tests.dashboard.test_one_state import sheet

def certainly(act):
    while True:
        try:
            return act()
        except Busy:  # On a slow machine a report may take longer than one waits.
            pass

ledger, second = open_ledger(sys.argv[1]), sheet(20)
print("begun", flush=True)
while True:
    time.sleep(0.2)  # A program that writes without any pause lets no reader in.
    done = certainly(lambda: add_sheets(ledger, [second], "second.csv", "second"))
    time.sleep(0.2)
    certainly(lambda: undo_import(ledger, done.import_no, copy=False))
"""


@pytest.fixture
def beside(ledger: Ledger) -> Iterator[None]:
    """Another program that imports and undoes the same sheet without end."""
    ledger.lease.drop_if_idle()
    with subprocess.Popen([sys.executable, "-c", IN_AND_OUT, ledger.name], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None and other.stdout.readline() == "begun\n"
        yield
        assert other.poll() is None
        other.kill()


MOST_TURNS = 20
"""Turns after which the other program must have changed something, on the slowest machine."""
NAMES = ("lesion-types", "lesion-cows")


def told(ledger: Ledger) -> dict[str, str]:
    """What the panels and a report say. The number of an import is another one each time."""
    view = View.read("/lesions", "?farms=Home&visits=all")
    said = {}
    for name in NAMES:
        drawn = draw_panel(PANELS[name], ledger, view)
        said[name] = str(filled(PANELS[name], *drawn)) + str(certainty(PANELS[name], *drawn))
    said["report"] = document(collect(ledger, Request(farm="Home", sections=("lesions",))))
    return {name: re.sub(r"import \d+", "import", each) for name, each in said.items()}


@pytest.fixture
def states(ledger: Ledger) -> dict[str, set[str]]:
    """What each panel and the report says before the import, with it, and when it is undone."""
    said = []
    for step in range(3):
        if step == 1:
            number = add_sheets(ledger, [sheet(20)], "second.csv", "second").import_no
        if step == 2:
            undo_import(ledger, number, copy=False)
        said.append(told(ledger))
    assert said[0] == said[2] and all(said[0][name] != said[1][name] for name in said[0])
    return {name: {each[name] for each in said} for name in said[0]}


def test_panels_and_reports_beside_imports_are_of_one_state(
    states: dict[str, set[str]], ledger: Ledger, beside: None
) -> None:
    met: dict[str, set[str]] = {name: set() for name in states}
    turns = 0
    while turns < tries(6) or (turns < MOST_TURNS and not any(len(each) == 2 for each in met.values())):
        turns += 1
        forget()
        for name, said in told(ledger).items():
            assert said in states[name], name
            met[name].add(said)
    assert any(len(each) == 2 for each in met.values()), "nothing changed meanwhile"
