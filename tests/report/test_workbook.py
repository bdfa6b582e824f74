"""The workbook holds the numbers of the measures as numbers, explains every column, and nothing in it is a formula."""

from __future__ import annotations

import datetime as dt
import math
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from openpyxl.workbook import Workbook

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.columns import COLUMNS
from evenfoot.dashboard.report.contents import Contents, collect
from evenfoot.dashboard.report.request import SECTIONS, Request
from evenfoot.dashboard.report.sheets import sheets_of
from evenfoot.dashboard.report.writing import save
from tests.report.made import herd

FARM = "Larkmoor"


@pytest.fixture(scope="module")
def contents(demo_ledger: Ledger) -> Contents:
    return collect(demo_ledger, Request(FARM, sections=SECTIONS))


@pytest.fixture(scope="module")
def book(contents: Contents, tmp_path_factory: pytest.TempPathFactory) -> Workbook:
    place = tmp_path_factory.mktemp("book") / "report.xlsx"
    assert save(contents, place) == [place]
    return openpyxl.load_workbook(place)


def rows(book: Workbook, name: str) -> list[dict[str, Any]]:
    head, *body = book[name].iter_rows(values_only=True)
    return [dict(zip(map(str, head), row, strict=True)) for row in body]


def test_every_number_is_that_of_the_measure(book: Workbook, contents: Contents) -> None:
    """Sheet by sheet and cell by cell, against the answers themselves."""
    checked = 0
    for sheet in sheets_of(contents, Words()):
        page = book[sheet.title[:31]]
        assert page.max_row == len(sheet.table) + 1
        for place, column in enumerate(sheet.table.columns, start=1):
            for row, value in enumerate(sheet.table[column], start=2):
                cell = page.cell(row, place).value
                if (
                    value is None
                    or value is pd.NaT
                    or value is pd.NA
                    or (isinstance(value, float) and math.isnan(value))
                ):
                    assert cell is None
                elif isinstance(value, pd.Timestamp):
                    assert cell == value.to_pydatetime()
                elif isinstance(value, str):
                    assert cell == value
                else:
                    assert cell == pytest.approx(float(value), rel=1e-12)
                checked += 1
    assert checked > 1500


def test_shares_counts_and_days_have_their_own_types(book: Workbook, contents: Contents) -> None:
    lesions = {row["Lesion"]: row for row in rows(book, "Lesions")}
    table = contents.answers["lesions"].table.set_index("lesion")
    ulcer = lesions["Sole ulcer"]
    assert ulcer["With it"] == table.loc["SU", "cases"]
    assert ulcer["Share"] == pytest.approx(float(table.loc["SU", "prevalence"]))
    assert isinstance(rows(book, "Cows")[0]["Due"], dt.datetime)
    assert isinstance(rows(book, "Cows")[0]["Cow"], str)
    assert book["Lesions"]["D2"].number_format == "0.0%"


def test_headings_are_frozen_and_charts_are_native(book: Workbook) -> None:
    for name in ("Visits", "Lesions", "Locomotion", "Cows"):
        assert book[name].freeze_panes == "B2"
    assert len(book["Charts"]._charts) == 3  # type: ignore[attr-defined]


def test_every_column_of_every_sheet_is_explained(book: Workbook, contents: Contents) -> None:
    told = {(row["Sheet"], row["Column"]) for row in rows(book, "Columns") if row["What it says"]}
    for sheet in sheets_of(contents, Words()):
        heads = [cell.value for cell in book[sheet.title[:31]][1]]
        assert len(set(heads)) == len(heads)
        assert {(sheet.title, head) for head in heads} <= told


def test_only_the_reports_own_farm_is_in_it(book: Workbook, demo_ledger: Ledger) -> None:
    words = {str(cell.value) for page in book for row in page.iter_rows() for cell in row if cell.value is not None}
    for other in set(demo_ledger.farms()) - {FARM}:
        assert not any(other in said for said in words)


def test_text_that_looks_like_a_formula_stays_text(tmp_path: Path) -> None:
    farm = '=HYPERLINK("http://example.org","x")'
    ledger = herd(
        tmp_path / "one.duckdb", farm, 25, lesions=5, group="=1+1", locomotion_score=5, locomotion_scale="1-5"
    )
    out = tmp_path / "report.xlsx"
    save(collect(ledger, Request(farm)), out)
    book = openpyxl.load_workbook(out)
    for page in book:
        for row in page.iter_rows():
            assert all(cell.data_type != "f" and cell.hyperlink is None for cell in row)
    assert "=1+1" in {row["Group"] for row in rows(book, "Cows")}
    with zipfile.ZipFile(out) as parts:
        sheets = [parts.read(name) for name in parts.namelist() if name.startswith("xl/worksheets/")]
        assert not any(b"<f>" in sheet or b"hyperlink" in sheet for sheet in sheets)


def test_spanish_headings_are_spanish_and_numbers_are_numbers(contents: Contents, demo_ledger: Ledger) -> None:
    es = Words("es")
    for sheet in sheets_of(contents, es):
        assert es.knows(sheet.title)
        for column in sheet.table.columns:
            known = COLUMNS[str(column)]
            assert es.knows(known.heading), known.heading
            assert es.knows(known.meaning), known.meaning
            assert es.knows(known.sort), known.sort


def test_a_farm_with_little_has_a_workbook_too(tmp_path: Path) -> None:
    ledger = herd(tmp_path / "one.duckdb", "One", 1)
    out = tmp_path / "report.xlsx"
    save(collect(ledger, Request("One")), out)
    book = openpyxl.load_workbook(out)
    assert rows(book, "Lesions")[0]["With it"] == 0
    assert "Method" in book.sheetnames
