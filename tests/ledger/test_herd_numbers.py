"""How many of the herd were looked at, where sheets do not say how large it is."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, prepare_import, run_import

TODAY = dt.date(2026, 11, 1)


def prepared(ledger: Ledger, day: str, cows: int, ill: int, kind: str = "whole-herd") -> PreparedImport:
    rows = "".join(f"{day},Elm,{kind},{cow},{'SU' if cow < ill else 'none'}\n" for cow in range(cows))
    sheet = f"visit_date,farm,visit_kind,cow,lesion\n{rows}".encode()
    return prepare_import(ledger, sheet, f"{day}.csv", today=TODAY, accept=True)


def whole_herd(ledger: Ledger) -> list[str]:
    days = ledger.frame("SELECT DISTINCT visit_date FROM trims WHERE visit_kind = 'whole-herd' ORDER BY visit_date")
    return [f"{day:%Y-%m-%d}" for day in days["visit_date"]]


def test_a_part_of_a_herd_seen_twice_a_year_is_not_the_herd(tmp_path: Path) -> None:
    """The visit before was 184 days ago."""
    ledger = open_ledger(tmp_path / "l.duckdb")
    run_import(ledger, prepared(ledger, "2025-03-01", 100, 10), "1")
    later = prepared(ledger, "2025-09-01", 30, 15)
    assert [question.id for question in later.answers.met.values()] == ["rest:Elm:2025-09-01"]
    run_import(ledger, later, "2")
    assert whole_herd(ledger) == ["2025-03-01"]


def test_a_visit_told_to_be_left_out_is_left_out_where_no_herd_size_is_known(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    first = prepared(ledger, "2025-03-01", 3, 3)
    assert "left out of herd figures" in " ".join(map(str, first.told))
    run_import(ledger, first, "1")
    assert whole_herd(ledger) == []


FEW_LAME = "date,farm,cow,foot,lesion,locomotion_score\n"


def few_lame(day: str, cows: range, sound: int = 0, score: int = 4) -> bytes:
    rows = [f"{day},Ash,{cow},LH,sole ulcer,{score}\n" for cow in cows]
    return (FEW_LAME + "".join(rows) + "".join(f"{day},Ash,{90 + cow},,none,1\n" for cow in range(sound))).encode()


def kinds(ledger: Ledger, table: str = "trims") -> list[str]:
    days = f"SELECT visit_date, MIN(visit_kind) AS kind FROM {table} GROUP BY visit_date ORDER BY visit_date"
    return [str(kind) for kind in ledger.frame(days)["kind"]]


@pytest.mark.parametrize("second", [range(4), range(1, 5), range(4, 8)])
@pytest.mark.parametrize("sound", [0, 1])
def test_a_few_lame_cows_are_never_taken_for_the_herd(second: range, sound: int, tmp_path: Path) -> None:
    """The number of cows that were brought for being lame says nothing of the herd, however often it is met."""
    ledger = open_ledger(tmp_path / "l.duckdb")
    for number, (day, cows) in enumerate([("2026-03-02", range(4)), ("2026-05-04", second), ("2026-07-06", second)]):
        one = prepare_import(ledger, few_lame(day, cows, sound), f"{number}.csv", today=TODAY)
        assert not one.answers.blocking()
        [question] = one.answers.taken()
        assert question.id == f"{'rest' if 'Were the other' in question.text else 'kind'}:Ash:{day}"
        assert "left out of herd figures" in " ".join(map(str, one.told))
        run_import(ledger, one, str(number))
    assert not set(kinds(ledger)) & {"whole-herd"}
    assert not set(kinds(ledger, "scores")) & {"whole-herd", "scoring"}


def test_a_scoring_of_a_few_lame_cows_is_none_of_the_herd(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    for month in (3, 4):
        sheet = "date,farm,cow,score\n" + "".join(f"2026-0{month}-02,Ash,{cow},{3 + cow % 2}\n" for cow in range(5))
        result = run_import(ledger, prepare_import(ledger, sheet.encode(), f"{month}.csv", today=TODAY), str(month))
        assert "all or most cows scored are lame" in " ".join(map(str, result.questioned))
    assert kinds(ledger, "scores") == ["unknown", "unknown"]


@pytest.mark.parametrize(
    ("answer", "kind"),
    [("whole-herd", "whole-herd"), ("lame-cow", "lame-cow"), ("recheck", "recheck"), ("not known", "unknown")],
)
def test_the_kind_of_a_visit_is_asked_where_nothing_tells_it(answer: str, kind: str, tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    given = {"kind:Ash:2026-03-02": answer}
    brought = few_lame("2026-03-02", range(20), sound=30, score=2)
    run_import(ledger, prepare_import(ledger, brought, "a.csv", today=TODAY, given=given), "1")
    assert kinds(ledger) == [kind]


def test_many_visits_of_no_known_kind_are_asked_about_together(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    rows = "".join(f"2026-03-02,Farm {farm},{cow},{'SU' if cow < 5 else 'none'}\n" for farm in range(5)
                   for cow in range(20))  # fmt: skip
    sheet = f"date,farm,cow,lesion\n{rows}".encode()
    one = prepare_import(ledger, sheet, "a.csv", today=TODAY, given={"kind": "whole-herd"})
    assert [question.id for question in one.answers.met.values()] == ["kind"]
    run_import(ledger, one, "1")
    assert kinds(ledger) == ["whole-herd"]


def test_the_group_on_a_sheet_of_scores_is_the_cows_on_that_day(tmp_path: Path) -> None:
    """Whatever its column is called; a trim sheet of the same day that names a group goes before it."""
    ledger = open_ledger(tmp_path / "l.duckdb")
    scores = b"date,farm,cow,score,pen\n2026-03-02,Ash,1,2,High\n2026-03-02,Ash,2,4,Low\n2026-03-02,Ash,3,1,\n"
    trims = b"visit_date,farm,cow,group,lesion\n2026-03-02,Ash,1,,none\n2026-03-02,Ash,2,Fresh,SU\n"
    for number, sheet in enumerate((scores, trims)):
        run_import(ledger, prepare_import(ledger, sheet, f"{number}.csv", today=TODAY, accept=True), str(number))
    found = ledger.frame('SELECT cow, "group" FROM scores ORDER BY cow').astype(object)
    assert found.where(found.notna(), None).values.tolist() == [["1", "High"], ["2", "Fresh"], ["3", None]]
    rows = ledger.frame('SELECT "group", note FROM score_rows ORDER BY cow')
    assert rows["group"].tolist()[:2] == ["High", "Low"] and rows["note"].isna().all()


def test_the_herd_size_of_a_sheet_of_scores_says_how_much_was_looked_at(tmp_path: Path) -> None:
    """It was read as a trim sheet on which nothing was found."""
    ledger = open_ledger(tmp_path / "l.duckdb")
    for day, cows in (("2026-03-10", 30), ("2026-06-10", 110)):
        rows = "".join(f"Ash,{day},{cow},{1 + cow % 3},120\n" for cow in range(cows))
        sheet = prepare_import(ledger, f"farm,date,cow,score,herd_size\n{rows}".encode(), f"{day}.csv", today=TODAY)
        assert [part.kind for part in sheet.sheets] == ["locomotion"]
        run_import(ledger, sheet, day)
    assert len(ledger.frame("SELECT * FROM trims")) == 0
    assert kinds(ledger, "scores") == ["part-herd", "scoring"]


def test_a_herd_size_above_a_table_of_scores_is_kept(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    rows = "".join(f"{cow},{1 + cow % 3}\n" for cow in range(1, 31))
    text = f"Farm: Ash,\nDate: 10 March 2026,\nHerd size: 120,\ncow,locomotion score\n{rows}".encode()
    run_import(ledger, prepare_import(ledger, text, "walk.csv", today=TODAY, accept=True), "1")
    assert set(ledger.frame("SELECT herd_size FROM score_rows")["herd_size"]) == {120}
    assert kinds(ledger, "scores") == ["part-herd"]
