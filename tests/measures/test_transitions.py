"""Steps between scorings, by hand."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.transitions import transitions
from evenfoot.analytics.queries.selection import Selection
from tests.measures.herds import herd, scoring

DAYS = ("2025-01-10", "2025-02-10", "2025-03-10")


def _shares(table: pd.DataFrame) -> dict[str, tuple[int, int]]:
    return {row.transition: (row.cows, row.of) for row in table.itertuples()}


def test_steps_by_hand(tmp_path: Path) -> None:
    scores = {"1": (1, 1, 4), "2": (4, 4, 4), "3": (3, 1, 1), "4": (1, 5, 2), "5": (2, 2, 2)}
    rows = [scoring(cow, s, on=d) for cow, all_scores in scores.items() for s, d in zip(all_scores, DAYS, strict=True)]
    answer = transitions(herd(tmp_path, scorings=rows), Selection())
    # From sound: 1 (sound, lame), 3 (sound), 4 (lame), 5 (sound, sound). From lame: 2 twice, 3 and 4 to sound.
    assert _shares(answer.table) == {"sound": (4, 6), "new": (2, 6), "recovered": (2, 4), "chronic": (2, 4)}
    assert answer.table["share"].tolist() == pytest.approx([4 / 6, 2 / 6, 0.5, 0.5])
    assert ((answer.table["low"] <= answer.table["share"]) & (answer.table["share"] <= answer.table["high"])).all()
    assert answer.table["animals"].tolist() == [4, 4, 3, 3]
    assert any("Not enough to say much" in caution for caution in answer.cautions)


def test_by_month_is_the_later_scoring(tmp_path: Path) -> None:
    rows = [scoring(1, s, on=d) for s, d in zip((1, 4, 4), DAYS, strict=True)]
    table = transitions(herd(tmp_path, scorings=rows), Selection(visits=("all",)), by=("month",)).table
    seen = table[table["cows"] > 0][["month", "transition"]].to_numpy().tolist()
    assert seen == [[pd.Timestamp("2025-02-01"), "new"], [pd.Timestamp("2025-03-01"), "chronic"]]


def test_a_long_gap_makes_no_step(tmp_path: Path) -> None:
    rows = [scoring(cow, 4, on=day) for cow in range(30) for day in ("2024-01-01", "2025-01-01")]
    ledger = herd(tmp_path, scorings=rows)
    every = Selection(visits=("all",))  # where all are lame, it may be a list of lame cows
    answer = transitions(ledger, every)
    assert answer.empty
    assert any("Not enough to say" in caution for caution in answer.cautions)
    assert any("30 steps were further apart" in note for note in answer.basis.notes)
    longer = transitions(ledger, every, gap_days=400).table
    assert _shares(longer) == {"recovered": (0, 30), "chronic": (30, 30)}
    assert longer.set_index("transition").loc["chronic", "high"] == 1


def test_the_step_across_farms_is_two_cows(tmp_path: Path) -> None:
    """Cow 1 of Ash and cow 1 of Birch are two cows."""
    ledger = herd(tmp_path, scorings=[scoring(1, 1, on=DAYS[0]), scoring(1, 4, on=DAYS[1], farm="Birch")])
    assert transitions(ledger, Selection()).empty


def test_bad_requests_are_refused(tmp_path: Path) -> None:
    ledger = herd(tmp_path, scorings=[scoring(1, 1)])
    with pytest.raises(UserError, match="cannot be grouped by 'zone'"):
        transitions(ledger, Selection(), by=("zone",))
    with pytest.raises(UserError, match="makes no sense"):
        transitions(ledger, Selection(), gap_days=0)
    assert transitions(ledger, Selection()).cautions


def test_demo_steps_add_up(demo_ledger: Ledger) -> None:
    whole = transitions(demo_ledger, Selection()).table.set_index("transition")
    parts = transitions(demo_ledger, Selection(), by=("farm",)).table
    assert parts.groupby("transition")["cows"].sum().to_dict() == whole["cows"].to_dict()
    assert parts.groupby(["farm", "from_state"])["share"].sum().to_numpy() == pytest.approx(1)
    assert whole.loc["chronic", "share"] > whole.loc["new", "share"]
