"""The list of cows with a lesion says how many there are, however few of them it shows."""

from __future__ import annotations

import re

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.pages import lesions
from evenfoot.dashboard.ui.view import View
from tests.pages.test_pages import words_of


def told(ledger: Ledger) -> str:
    panel = next(panel for panel in lesions.PAGE.panels if panel.name == "lesion-cows")
    return words_of(panel.draw(ledger, View.read("/lesions", "")))


def test_the_first_cows_of_many(demo_ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lesions, "TABLE_ROWS", 100_000)
    every = told(demo_ledger)
    monkeypatch.setattr(lesions, "TABLE_ROWS", 7)
    some = told(demo_ledger)
    counted = [re.search(r"\d[\d,]* of \d[\d,]* cows had [a-z ]+", text) for text in (every, some)]
    assert counted[0] and counted[1] and counted[0][0] == counted[1][0]
    assert "These are the first 7." in some
    assert "These are the first" not in every
    assert len(some) < len(every)
