"""Counts without cows: read, kept, listed with their shares, and in no figure that needs cows."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.intake import check_file
from evenfoot.analytics.intake.large_files import stream as streaming
from evenfoot.analytics.intake.large_files.stream import check_stream
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.exports.folder import export_folder
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.imports.bulk import add_stream
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.measures.catalogue import answer
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.ui.tables import as_json
from tests.sheets import checked, ledger_of

SHEET = """date,farm,trimmer,herd size,cows trimmed,lesion,number of cases,counted,remarks
2026-03-02,Brookend,K. Vance,70,60,digital dermatitis,9,,
2026-03-02,Brookend,K. Vance,70,60,any lesion,20,cows,busy day
2026-03-02,Brookend,K. Vance,70,240,SU,5,feet,
2026-04-07,Alder,,,,white line abscess,3,,
2026-04-07,Alder,,,10,DD,11,,
2026-04-07,Alder,,,10,none,4,,
2026-04-07,Alder,,5,10,DD,4,,
"""


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = open_ledger(tmp_path / "l.duckdb")
    add_sheets(ledger, check_file(SHEET.encode(), "summary.csv"), "summary.csv", "")
    return ledger


def test_a_sheet_of_counts_is_read() -> None:
    [sheet] = check_file(SHEET.encode(), "summary.csv")
    assert (sheet.kind, len(sheet.records), sheet.rows_read) == ("counts", 4, 7)
    told = sheet.records[["lesion", "cases", "unit"]].astype(object)
    assert told.where(told.notna(), None).values.tolist() == [
        ["DD", 9, None], [None, 20, "cows"], ["SU", 5, "feet"], ["WL", 3, None],
    ]  # fmt: skip
    assert sheet.set_aside["reason"].tolist() == [
        "More had it than were looked at.",
        "A count of sound cows: 'none'.",
        "More cows were looked at than are in the herd.",
    ]


def test_a_sheet_with_cows_is_no_sheet_of_counts() -> None:
    [sheet] = check_file(b"date,farm,cow,lesion,cows affected\n2026-03-02,Elm,1,DD,9\n", "trims.csv")
    assert sheet.kind == "trims"


def test_counts_are_listed_with_their_shares(ledger: Ledger) -> None:
    """9 of 60: 8.1 to 26.1 % [pub: Wilson 1927, worked out by hand from the formula]."""
    found = answer("herd-counts", ledger, Selection())
    assert found.table["cases"].tolist() == [3, 20, 9, 5]
    dermatitis = found.table.set_index("cases").loc[9]
    assert dermatitis["prevalence"] == 0.15
    assert (round(dermatitis["low"], 3), round(dermatitis["high"], 3)) == (0.081, 0.261)
    assert found.table.set_index("cases").loc[3, ["prevalence", "low", "high"]].isna().all()
    assert (found.basis.farms, found.basis.visits, found.basis.first) == (2, 2, dt.date(2026, 3, 2))
    assert answer("herd-counts", ledger, Selection(farms=("Alder",))).table["cases"].tolist() == [3]
    assert answer("herd-counts", ledger, Selection(allowed=("Alder",))).table["cases"].tolist() == [3]
    assert answer("herd-counts", ledger, Selection(allowed=())).empty
    assert answer("herd-counts", ledger, Selection(lesions=("DD",))).table["cases"].tolist() == [9]
    assert answer("herd-counts", ledger, Selection(since=dt.date(2026, 4, 1))).table["cases"].tolist() == [3]
    assert answer("herd-counts", ledger, Selection(trimmers=("K. Vance",))).table["cases"].tolist() == [20, 9, 5]
    [caution] = answer("herd-counts", ledger, Selection(housing=("pasture",))).cautions
    assert "say nothing of single cows" in caution


def test_they_are_written_as_json(ledger: Ledger) -> None:
    rows = json.loads(as_json(answer("herd-counts", ledger, Selection())))["table"]
    assert [(row["farm"], row["visit_date"], row["lesion"], row["looked_at"]) for row in rows] == [
        ("Alder", "2026-04-07", "WL", None),
        ("Brookend", "2026-03-02", None, 60),
        ("Brookend", "2026-03-02", "DD", 60),
        ("Brookend", "2026-03-02", "SU", 240),
    ]


def test_they_are_in_no_figure_of_cows(ledger: Ledger, tmp_path: Path) -> None:
    cows = checked("trims", [{"farm": "Brookend", "visit_date": "2026-03-02", "cow": "1", "lesion": "SU",
                              "visit_kind": "whole-herd"}])  # fmt: skip
    alone = ledger_of(tmp_path / "alone.duckdb", cows)
    add_sheets(ledger, [cows], "cows.csv", "")
    selection = Selection(visits=("all",))
    for name in ("prevalence", "quality", "cost"):
        ours, theirs = (answer(name, each, selection).table for each in (ledger, alone))
        pd.testing.assert_frame_equal(ours, theirs)


def test_they_are_kept_as_other_records_are(ledger: Ledger, tmp_path: Path) -> None:
    assert ledger.farms() == ["Alder", "Brookend"] and verify(ledger).whole
    assert export_folder(ledger, tmp_path / "out", format="csv") == {"counts.csv": 4}
    again = open_ledger(tmp_path / "again.duckdb")
    add_sheets(again, check_file(tmp_path / "out" / "counts.csv", "counts.csv"), "counts.csv", "")
    ours, theirs = (answer("herd-counts", each, Selection()).table for each in (ledger, again))
    pd.testing.assert_frame_equal(ours, theirs)
    erase_farm(ledger, "Alder")
    assert ledger.farms() == ["Brookend"] and verify(ledger).whole
    undo_import(ledger, 1)
    assert answer("herd-counts", ledger, Selection()).empty and verify(ledger).whole


def test_a_large_sheet_of_counts_is_read_in_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # A sheet too large to be unfolded.
    monkeypatch.setattr(streaming, "LARGEST_UNFOLDED", 0)
    path = tmp_path / "summary.csv"
    path.write_text(SHEET)
    stream = check_stream(path, path.name, big_from=0)
    assert stream is not None
    ledger = open_ledger(tmp_path / "l.duckdb")
    done = add_stream(ledger, stream, path.name, "")
    assert (done.added, done.set_aside) == (4, 3)
    assert answer("herd-counts", ledger, Selection()).table["cases"].tolist() == [3, 20, 9, 5]
