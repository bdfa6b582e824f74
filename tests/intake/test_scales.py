"""The scale of scores that come without one: told by the scores, else the one the farm used before."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.intake.checks.score_scale import farm_scales
from evenfoot.analytics.intake.sheet import Findings
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.farm_scales import scales_used
from tests.sheets import checked, herds_of_one, ledger_of

DAY = dt.date(2026, 3, 2)


@pytest.mark.parametrize(
    ("scores", "known", "scale", "told"),
    [
        ([1, 2, 3], None, "1-5", "fit both"),
        ([1, 2, 3], "0-3", "0-3", "as earlier ones are"),
        ([1, 2, 3], "1-5", "1-5", "as earlier ones are"),
        ([0, 1], "0-3", "0-3", "as some are 0"),
        ([0, 1], "1-5", "0-3", "on another scale"),
        ([1, 4], "0-3", "1-5", "on another scale"),
        ([0, 4], "1-5", "1-5", "0 is not on it"),
    ],
)
def test_scales(scores: list[int], known: str | None, scale: str, told: str) -> None:
    findings = Findings()
    found = farm_scales(
        pd.Series(scores, dtype="Int64"),
        pd.Series([None] * len(scores), dtype="str"),
        pd.Series(["Ash"] * len(scores), dtype="str"),
        findings,
        {"Ash": known, "Elm": "0-3"} if known else {},
    )
    assert found == {"Ash": scale}
    [note] = findings.notes
    assert told in note


def test_the_newest_scores_tell_the_scale(tmp_path: Path) -> None:
    def scored(farm: str, day: dt.date, cow: str, scale: str) -> dict[str, object]:
        return {"farm": farm, "date": day, "cow": cow, "score": 1, "scale": scale}

    later = DAY + dt.timedelta(days=30)
    rows = [scored("Ash", DAY, "1", "1-5"), scored("Ash", later, "1", "0-3"), scored("Elm", DAY, "1", "1-5")]
    rows += [scored("Oak", DAY, cow, scale) for cow, scale in (("1", "0-3"), ("2", "0-3"), ("3", "1-5"))]
    sheets = [checked("locomotion", rows), herds_of_one(["Ash", "Elm", "Oak"], DAY)]
    ledger = ledger_of(tmp_path / "l.duckdb", *sheets)
    assert scales_used(ledger) == {"Ash": "0-3", "Elm": "1-5", "Oak": "0-3"}
    assert scales_used(open_ledger(tmp_path / "none.duckdb")) == {}
