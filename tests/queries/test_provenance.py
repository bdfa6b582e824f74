"""Where records come from: imports and people, against a count in plain Python over the rows themselves."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.sources import MOST_NAMED, sources_of
from evenfoot.analytics.queries.provenance import written_in
from evenfoot.analytics.queries.selection import Selection
from tests.measures.herds import trim
from tests.sheets import checked, ledger_of


@pytest.mark.parametrize(
    ("selection", "source"),
    [
        (Selection(), "trims"),
        (Selection(farms=("Larkmoor",)), "trims"),
        (Selection(visits=("all",)), "trims"),
        (Selection(since=dt.date(2025, 1, 1), until=dt.date(2025, 6, 30), visits=("lame-cow", "recheck")), "trims"),
        (Selection(farms=("Larkmoor", "Nether Ash")), "scores"),
        (Selection(farms=("Nowhere",)), "trims"),
        (Selection(allowed=("Nether Ash",), visits=("all",)), "trims"),
    ],
)
def test_as_counted_row_by_row(demo_ledger: Ledger, selection: Selection, source: str) -> None:
    days = demo_ledger.frame(f"SELECT DISTINCT farm, visit_date, visit_kind FROM {source}")
    kinds = {*selection.visits, "scoring"} if "whole-herd" in selection.visits else set(selection.visits)
    met = {
        (row.farm, row.visit_date)
        for row in days.itertuples()
        if (not selection.farms or row.farm in selection.farms)
        and (selection.allowed is None or row.farm in selection.allowed)
        and (selection.all_visits or row.visit_kind in kinds)
        and (selection.since is None or row.visit_date.date() >= selection.since)
        and (selection.until is None or row.visit_date.date() <= selection.until)
    }
    rows = demo_ledger.frame("SELECT import_no, farm, visit_date, trimmer, locomotion_score FROM trim_rows")
    if source == "scores":
        rows = rows[rows["locomotion_score"].notna()]
    found = [(r.import_no, r.trimmer) for r in rows.itertuples() if (r.farm, r.visit_date) in met]
    if source == "scores":
        scored = demo_ledger.frame("SELECT import_no, farm, date, scorer FROM score_rows")
        found += [(r.import_no, r.scorer) for r in scored.itertuples() if (r.farm, r.date) in met]
    expected = {pair: found.count(pair) for pair in set(found)}
    table = written_in(demo_ledger, selection, source)
    assert {(r.import_no, r.person): r.rows for r in table.itertuples()} == expected
    files = dict(demo_ledger.imports()[["import_no", "file"]].itertuples(index=False, name=None))
    assert all(files[r.import_no] == r.file for r in table.itertuples())


def test_said_in_words_and_forgotten_with_the_import(tmp_path: Path) -> None:
    rows = [{**trim("1", "DD", "LH", on="2026-01-05"), "trimmer": "AB"}]
    ledger = ledger_of(tmp_path / "herd.duckdb", checked("trims", rows))
    assert sources_of(ledger, Selection(visits=("all",)), "trims") == (
        "Read from made-up.csv (import 1).",
        "Trimmed by AB.",
    )
    more = checked("trims", [{**trim("2", None, None, on="2026-02-05"), "trimmer": None}])
    add_sheets(ledger, [more], "more.csv", "1" * 64)
    # What narrows findings narrows nothing here: the cow without the lesion is part of the answer.
    said = prevalence(ledger, Selection(visits=("all",), lesions=("SU",))).basis.sources
    assert said[0] == "Read from made-up.csv (import 1), more.csv (import 2)."
    undo_import(ledger, 1)
    assert prevalence(ledger, Selection(visits=("all",))).basis.sources == ("Read from more.csv (import 2).",)


def test_many_files_are_counted_and_not_all_named(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "herd.duckdb", checked("trims", [trim("0", None, None, on="2026-01-01")]))
    for n in range(1, MOST_NAMED + 3):
        sheet = checked("trims", [trim(str(n), None, None, on=f"2026-01-{n + 1:02d}")])
        add_sheets(ledger, [sheet], f"{n}.csv", str(n) * 64)
    assert sources_of(ledger, Selection(visits=("all",)), "trims")[0].endswith(" and 3 more.")
