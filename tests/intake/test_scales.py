"""The scale of scores that come without one: told by the scores, else the one the farm used before."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.intake.checks.score_scale import farm_scales
from evenfoot.analytics.intake.sheet import Findings
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import ImportResult
from evenfoot.analytics.ledger.imports.farm_scales import scales_used
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from tests.intake.books import only
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


def brought(
    ledger: Ledger, scores: str, farm: str = "Brook End", day: str = "2026-03-02", **given: str
) -> ImportResult:
    """Import a sheet of scores, such as "1 2 3", of cows 1, 2, 3."""
    rows = "".join(f"{day},{farm},{cow},{score}\n" for cow, score in enumerate(scores.split(), start=1))
    sheet = f"Date,Farm,Cow,Score\n{rows}".encode()
    prepared = prepare_import(ledger, sheet, "scores.csv", today=dt.date(2026, 11, 1), accept=True, given=given)
    return run_import(ledger, prepared, str(hash(sheet)))


def scales(ledger: Ledger) -> list[str]:
    return ledger.frame("SELECT DISTINCT scale FROM scores ORDER BY scale")["scale"].tolist()


def test_a_sheet_sent_again_is_read_on_the_scale_it_was_read_on(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    brought(ledger, "0 1 2")
    brought(ledger, "1 2 3", day="2026-04-02")
    brought(ledger, "1 2 5", day="2026-05-02")
    again = brought(ledger, "1 2 3", day="2026-04-02")
    assert (again.added, again.already_known) == (0, 3)


def test_a_farm_by_another_name_keeps_its_scale(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    brought(ledger, "0 1 2")
    brought(ledger, "1 2 2", farm="Brookend", day="2026-04-02")
    brought(ledger, "1 1 3", farm="Brookend", day="2026-05-02")
    assert list(ledger.farms()) == ["Brook End"] and scales(ledger) == ["0-3"]


def test_a_cow_that_was_not_in_has_no_score_and_was_not_looked_at() -> None:
    scores = only(b"date,farm,cow,score\n2026-03-02,Ash,1,2\n2026-03-02,Ash,2,not in\n2026-03-02,Ash,3,4\n")
    assert (scores.kind, scores.records["cow"].tolist(), len(scores.set_aside)) == ("locomotion", ["1", "3"], 0)
    assert "Cells that say that a cow was not there hold no score: 'not in'." in scores.notes
    trims = only(
        b"date,farm,cow,foot,lesion,locomotion score\n2026-03-02,Ash,1,LH,SU,3\n2026-03-02,Ash,2,,,not in\n"
        b"2026-03-02,Ash,3,,,1\n2026-03-02,Ash,4,RH,DD,not in\n"
    )
    assert trims.records["cow"].tolist() == ["1", "3", "4"]
