"""One cow now: what is open and due as the list of all cows has it, and her feet with what was found on them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd

from evenfoot.analytics.clock import today
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.measures.planning.worklist import everybody_due, worklist
from evenfoot.analytics.queries.cows import one_cow
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import told
from evenfoot.dashboard.pages.cow_now import her_feet, last_on_each_foot, next_due
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.view import View
from tests.measures.herds import trim
from tests.pages.test_pages import words_of
from tests.sheets import checked, ledger_of

HERS = View.read("/cow", "?farms=Larkmoor&cow=1420")


def test_her_reasons_are_those_of_the_whole_list(demo_ledger: Ledger) -> None:
    farm = Selection(farms=("Larkmoor",))
    on = today()
    everybody = everybody_due(demo_ledger, farm, on).reasons
    hers = everybody[(everybody["cow"] == "1420") & (everybody["due_on"] <= pd.Timestamp(on) + dt.timedelta(days=365))]
    found = worklist(demo_ledger, farm.with_(cows=("1420",)), on=on, ahead_days=365).extra["reasons"]
    assert set(found["words"]) == set(hers["words"]) and len(found) == len(hers) > 2
    assert found["due_on"].is_monotonic_increasing
    said = words_of(next_due(demo_ledger, HERS))
    assert all(told(words) in said for words in hers["words"])
    assert "pass 80 mm about" in said
    assert "ask your veterinarian" in said


def test_without_a_cow_one_is_asked_for(demo_ledger: Ledger) -> None:
    for panel in (next_due, her_feet):
        assert "Choose a cow" in words_of(panel(demo_ledger, View.read("/cow", "?farms=Larkmoor")))


def test_nothing_open_is_said(tmp_path: Path) -> None:
    left = {"farm": "Ash", "cow": "1", "entered_on": "2020-01-01", "left_on": "2025-03-01"}
    rows = [trim("1", on="2025-01-05"), trim("2", on="2025-06-05")]
    ledger = ledger_of(tmp_path / "herd.duckdb", checked("trims", rows), checked("register", [left]))
    assert "Nothing is open" in words_of(next_due(ledger, View.read("/cow", "?farms=Ash&cow=1")))
    assert "No finding with its place" in words_of(her_feet(ledger, View.read("/cow", "?farms=Ash&cow=1")))


def test_feet_looked_at_without_a_finding_are_pale_and_others_hatched(tmp_path: Path) -> None:
    rows = [
        trim("1", "SU", "LH", claw="lateral", zone=4, on="2025-01-05", feet_seen="LH RH"),
        trim("1", "SU", "LH", claw="lateral", zone=4, on="2025-04-05", feet_seen="LH RH"),
    ]
    ledger = ledger_of(tmp_path / "herd.duckdb", checked("trims", rows))
    seen = foot_map(ledger, Selection(cows=("1",)), per="trim").extra["looked_at"]
    assert dict(zip(seen["foot"], seen["at_risk"], strict=True)) == {"LH": 2, "RH": 2}
    drawn = her_feet(ledger, View.read("/cow", "?farms=Ash&cow=1"))
    assert isinstance(drawn, Drawn) and drawn.figure is not None
    hover = {text for trace in drawn.figure.data if trace.hovertext is not None for text in trace.hovertext}
    assert "<b>LH outer claw, zone 4, sole\N{EN DASH}bulb junction</b><br>2 of 2 trims" in " ".join(hover)
    assert any("<b>RH" in each and "none recorded" in each for each in hover)
    assert all("nothing recorded on this foot" in each for each in hover if "<b>LF" in each)


def test_the_farm_that_may_not_be_seen_is_not(demo_ledger: Ledger) -> None:
    view = View.read("/cow", "?farms=Larkmoor&cow=1420", ("Nether Ash",))
    assert "Nothing is open" in words_of(next_due(demo_ledger, view))
    assert "No finding" in words_of(her_feet(demo_ledger, view))


def test_each_foot_shows_the_last_that_was_found_on_it(tmp_path: Path) -> None:
    rows = [
        trim("1", "DD", "RH", on="2025-01-05"),
        trim("1", "SU", "RH", claw="lateral", zone=4, on="2025-04-05"),
        trim("1", "WL", "LF", claw="medial", zone=3, on="2024-11-05"),
    ]
    ledger = ledger_of(tmp_path / "herd.duckdb", checked("trims", rows))
    said = words_of(last_on_each_foot(one_cow(ledger, rows[0]["farm"], "1")))
    assert "Sole ulcer" in said and "5\xa0Apr\xa02025" in said and "Digital dermatitis" not in said
    assert "White line disease" in said and said.count("nothing found") == 2
