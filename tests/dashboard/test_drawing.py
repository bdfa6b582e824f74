"""A panel is drawn once while the ledger stays as it is, for all who ask, and never from an older ledger."""

from __future__ import annotations

import gzip
import json
import random
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.dashboard import drawing
from evenfoot.dashboard.language import Words, _, speaking
from evenfoot.dashboard.panel import Panel
from evenfoot.dashboard.view import View
from tests.sheets import checked


def sheet(cow: str) -> Any:
    return checked("trims", [{"visit_date": "2026-03-02", "farm": "Home", "cow": cow, "lesion": "SU", "foot": "RH"}])


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    made = open_ledger(tmp_path / "ledger.duckdb")
    add_sheets(made, [sheet("1")], "first.csv", "first")
    return made


def counting(answers: list[str], *, wait: float = 0.0) -> Panel:
    def draw(ledger: Ledger, view: View) -> Any:
        answers.append(view.href)
        time.sleep(wait)
        return html.P(f"{len(ledger.frame('SELECT DISTINCT cow FROM trims'))} cows")

    return Panel("counting", "Cows", draw)


def words(content: bytes) -> str:
    """The text of a panel of one paragraph."""
    [[tag, _attributes, [text]]] = json.loads(gzip.decompress(content))
    assert tag == "p"
    return str(text)


def test_the_same_view_is_drawn_once_and_another_anew(ledger: Ledger) -> None:
    asked: list[str] = []
    panel = counting(asked)
    for search in ("?farms=Home", "?farms=Home", "?farms=Away", "?farms=Home&theme=night"):
        drawing.drawn(panel, ledger, View.read("/", search))
    assert asked == ["/?farms=Home", "/?farms=Away", "/?farms=Home&theme=night"]


def test_what_a_viewer_may_see_and_a_phone_are_part_of_the_view(ledger: Ledger) -> None:
    asked: list[str] = []
    panel = counting(asked)
    for allowed, narrow in ((None, False), (("Home",), False), ((), False), (None, True)):
        drawing.drawn(panel, ledger, View.read("/", "", allowed, narrow))
    assert len(asked) == 4


def test_every_language_has_its_own(ledger: Ledger) -> None:
    def draw(_ledger: Ledger, _view: View) -> Any:
        return html.P(_("A group is wholly at one end of the scale."))

    panel = Panel("speaking", "", draw)
    said = []
    for language in ("en", "es", "en"):
        with speaking(Words(language)):
            said.append(words(drawing.drawn(panel, ledger, View.read("/", ""))))
    assert said[0] == said[2] == "A group is wholly at one end of the scale." != said[1]


def test_a_changed_ledger_is_drawn_anew(ledger: Ledger) -> None:
    panel = counting([])
    assert words(drawing.drawn(panel, ledger, View.read("/", ""))) == "1 cows"
    add_sheets(ledger, [sheet("2")], "second.csv", "second")
    assert words(drawing.drawn(panel, ledger, View.read("/", ""))) == "2 cows"


def test_readers_who_ask_together_wait_for_one_drawing(ledger: Ledger) -> None:
    asked: list[str] = []
    panel = counting(asked, wait=0.3)
    answers: list[str] = []
    readers = [
        threading.Thread(target=lambda: answers.append(words(drawing.drawn(panel, ledger, View.read("/", "")))))
        for _ in range(12)
    ]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join(240)
    assert answers == ["1 cows"] * 12 and len(asked) == 1


def test_a_mistake_is_told_to_everyone_and_not_kept(ledger: Ledger) -> None:
    tries: list[int] = []

    def draw(_ledger: Ledger, _view: View) -> Any:
        tries.append(1)
        time.sleep(0.05)
        if len(tries) < 4:
            raise UserError("The ledger is in use.")
        return html.P("well")

    panel, told = Panel("failing", "Fails", draw), []

    def read() -> None:
        try:
            drawing.drawn(panel, ledger, View.read("/", ""))
        except UserError as mistake:
            told.append(str(mistake))

    readers = [threading.Thread(target=read) for _ in range(3)]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join(240)
    assert told == ["The ledger is in use."] * 3
    assert words(drawing.drawn(panel, ledger, View.read("/", ""))) == "well"


def test_no_more_than_a_few_are_drawn_at_a_time(ledger: Ledger) -> None:
    now, most = [0], [0]
    guard = threading.Lock()

    def draw(_ledger: Ledger, _view: View) -> Any:
        with guard:
            now[0] += 1
            most[0] = max(most[0], now[0])
        time.sleep(0.05)
        with guard:
            now[0] -= 1
        return html.P("drawn")

    readers = [
        threading.Thread(target=drawing.drawn, args=(Panel(f"many-{n}", "", draw), ledger, View.read("/", "")))
        for n in range(10)
    ]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join(240)
    assert 1 < most[0] <= drawing.AT_A_TIME


def test_what_is_kept_is_bounded(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drawing, "MOST_KEPT", 2000)
    drawing.forget()
    asked: list[str] = []

    def draw(_ledger: Ledger, view: View) -> Any:
        asked.append(view.href)
        return html.P(random.Random(view.href).randbytes(400).hex())

    panel = Panel("long", "", draw)
    for n in range(8):
        drawing.drawn(panel, ledger, View.read("/", f"?cow={n}"))
    drawing.drawn(panel, ledger, View.read("/", "?cow=7"))
    assert len(asked) == 8, "the newest is kept"
    drawing.drawn(panel, ledger, View.read("/", "?cow=0"))
    assert len(asked) == 9, "the oldest is gone"


def test_what_was_drawn_of_an_older_state_goes(ledger: Ledger) -> None:
    drawing.forget()
    panel = Panel("stale", "", lambda _ledger, view: html.P(view.href))
    for n in range(5):
        drawing.drawn(panel, ledger, View.read("/", f"?cow={n}"))
    assert len(drawing._kept) == 5
    add_sheets(ledger, [sheet("2")], "second.csv", "second")
    drawing.drawn(panel, ledger, View.read("/", "?cow=0"))
    assert len(drawing._kept) == 1
