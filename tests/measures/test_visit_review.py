"""This visit against the last and last year's: which days are which visit, counts by hand, and what is too little.

Edge cases and their answers in words: no whole-herd visit, an empty table and why; one visit, no comparison; a visit of
several days, one visit; the last visit a year ago, told twice and said to be the same; two farms, a UserError.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.planning.visit_review import LAST, THIS, YEAR_AGO, visit_review
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.queries.visit_runs import visit_runs
from tests.sheets import checked, ledger_of

ONE = Selection(farms=("Home Farm",))


def visit(day: str, cows: int, ill: int, kind: str = "whole-herd", farm: str = "Home Farm") -> list[dict[str, Any]]:
    """Cows 1 to *cows*, the first *ill* of them with a sole ulcer."""
    return [
        {
            "visit_date": day,
            "farm": farm,
            "cow": str(cow + 1),
            "visit_kind": kind,
            "herd_size": cows,
            **({"foot": "LH", "claw": "lateral", "lesion": "SU"} if cow < ill else {}),
        }
        for cow in range(cows)
    ]


def of(path: Path, *visits: list[dict[str, Any]]) -> Ledger:
    return ledger_of(path / "ledger.duckdb", checked("trims", [row for each in visits for row in each]))


def test_three_visits_are_counted_and_carry_the_verdict_of_the_summary(tmp_path: Path) -> None:
    ledger = of(tmp_path, visit("2025-03-03", 50, 5), visit("2025-10-06", 80, 8), visit("2026-03-02", 100, 70))
    table = visit_review(ledger, ONE).table.set_index(["lesion", "visit"])
    for lesion in ("any", "SU"):
        assert table.loc[(lesion, THIS), ["cases", "at_risk"]].tolist() == [70, 100]
        assert table.loc[(lesion, LAST), ["cases", "at_risk"]].tolist() == [8, 80]
        assert table.loc[(lesion, YEAR_AGO), ["cases", "at_risk"]].tolist() == [5, 50]
        assert table.loc[(lesion, THIS), "verdict"] == "worse"
        assert table.loc[(lesion, LAST), "verdict"] is None
    verdicts = summary(ledger, ONE).table.set_index("what")
    assert table.loc[("SU", THIS), "reason"] == verdicts.loc["SU", "reason"]


def test_days_close_together_are_one_visit_and_other_kinds_are_not_in_it(tmp_path: Path) -> None:
    ledger = of(
        tmp_path,
        visit("2025-10-06", 30, 3),
        visit("2026-03-02", 30, 3),
        [{**row, "cow": f"b{row['cow']}"} for row in visit("2026-03-04", 30, 6)],
        visit("2026-01-20", 5, 5, "lame-cow"),
    )
    runs = visit_runs(ledger, ONE)
    assert [
        (str(a.date()), str(b.date()), n) for a, b, n in runs[["first", "last", "trims"]].itertuples(index=False)
    ] == [
        ("2025-10-06", "2025-10-06", 30),
        ("2026-03-02", "2026-03-04", 60),
    ]
    answer = visit_review(ledger, ONE)
    now = answer.table.set_index(["lesion", "visit"]).loc[("SU", THIS)]
    assert (now["cases"], now["at_risk"]) == (9, 60)
    assert any("lame-cow" in said for said in answer.basis.left_out)


def test_a_lesion_gone_or_new_is_in_the_table_with_none(tmp_path: Path) -> None:
    before = visit("2025-10-06", 30, 3)
    now = [{**row, **({"lesion": "DD"} if row.get("lesion") else {})} for row in visit("2026-03-02", 30, 3)]
    table = visit_review(of(tmp_path, before, now), ONE).table.set_index(["lesion", "visit"])
    assert table.loc[("SU", THIS), "cases"] == 0
    assert table.loc[("DD", LAST), "cases"] == 0
    assert table.loc[("SU", THIS), "high"] == pytest.approx(0.1135, abs=1e-4)  # Wilson, 0 of 30 [pub: Newcombe 1998]


def test_until_says_which_visit_is_this_one(tmp_path: Path) -> None:
    ledger = of(tmp_path, visit("2025-03-03", 30, 3), visit("2025-10-06", 30, 6), visit("2026-03-02", 30, 9))
    answer = visit_review(ledger, ONE.with_(until=dt.date(2025, 12, 31)))
    assert answer.table.set_index(["lesion", "visit"]).loc[("SU", THIS), "cases"] == 6
    assert YEAR_AGO not in set(answer.table["visit"])
    assert any("60 days of a year" in note for note in answer.basis.notes)


def test_too_little_is_an_answer(tmp_path: Path) -> None:
    only = visit_review(of(tmp_path, visit("2026-03-02", 5, 1)), ONE)
    assert set(only.table["visit"]) == {THIS}
    assert set(only.table["verdict"]) == {"too-few"}
    (tmp_path / "few").mkdir()
    few = visit_review(of(tmp_path / "few", visit("2025-10-06", 5, 1), visit("2026-03-02", 50, 9)), ONE).table
    assert set(few.loc[few["visit"] == THIS, "verdict"]) == {"too-few"}
    (tmp_path / "none").mkdir()
    none = visit_review(of(tmp_path / "none", visit("2026-03-02", 5, 1, "lame-cow")), ONE)
    assert none.empty
    assert none.cautions


def test_the_last_visit_a_year_ago_is_said_to_be_both(tmp_path: Path) -> None:
    answer = visit_review(of(tmp_path, visit("2025-03-03", 30, 3), visit("2026-03-02", 30, 6)), ONE)
    assert any("also that of the same season" in note for note in answer.basis.notes)


def test_one_farm_is_asked_for(demo_ledger: Ledger) -> None:
    for farms in ((), ("Larkmoor", "Nether Ash")):
        with pytest.raises(UserError, match="one farm"):
            visit_review(demo_ledger, Selection(farms=farms))


def test_counts_are_those_of_prevalence_on_the_same_days(demo_ledger: Ledger) -> None:
    answer = visit_review(demo_ledger, Selection(farms=("Larkmoor",)))
    for visit_name, rows in answer.table.groupby("visit"):
        days = rows.iloc[0]
        same = Selection(farms=("Larkmoor",), since=days["first"].date(), until=days["last"].date())
        counted = prevalence(demo_ledger, same).table.set_index("lesion")
        mine = rows[rows["cases"] > 0].set_index("lesion").drop(index="any")
        assert mine["cases"].to_dict() == counted.loc[counted["cases"] > 0, "cases"].to_dict(), visit_name
        assert mine["low"].to_dict() == pytest.approx(counted.loc[mine.index, "low"].to_dict())
