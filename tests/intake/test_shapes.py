"""Files of every shape: delimiters, encodings, workbooks, JSON, title rows, ragged rows."""

import datetime as dt
import io
import json

import openpyxl
import pandas as pd
import pytest
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.fields import KINDS, dtype_of
from tests.intake.books import check, delimited, only, reasons

ROWS = [
    ["2026-03-14", "Café Farm", "1", "LH", "outer", "4", "ulcer", "2"],
    ["2026-03-14", "Café Farm", "2", "", "", "", "ok", ""],
    ["2026-03-14", "Café Farm", "3", "RH", "", "10", "DD M2", ""],
]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_delimiters_and_encodings(delimiter: str, encoding: str) -> None:
    sheet = only(delimited(ROWS, delimiter=delimiter, encoding=encoding))
    assert sheet.kind == "trims" and sheet.rows_read == 3 and sheet.set_aside.empty
    assert sheet.records["farm"].to_list() == ["Café Farm"] * 3
    assert sheet.records["lesion"].to_list()[0::2] == ["SU", "DD"]
    assert sheet.records["lesion"].isna().to_list() == [False, True, False]
    assert sheet.records["dd_stage"].to_list()[2] == "M2"
    assert sheet.records["row"].to_list() == [2, 3, 4]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends(ending: str) -> None:
    text = ending.join(["date,farm,cow,lesion", "2026-03-14,Elm,1,ulcer", "2026-03-14,Elm,2,ok"])
    assert only(text.encode()).records["cow"].to_list() == ["1", "2"]


def test_columns_and_types_are_those_of_the_contract() -> None:
    sheet = only(delimited(ROWS))
    assert list(sheet.records.columns) == [field.name for field in KINDS["trims"]] + ["row"]
    for field in KINDS["trims"]:
        assert str(sheet.records[field.name].dtype) == dtype_of(field), field.name
    assert str(sheet.records["row"].dtype) == "Int64"


def test_title_rows_blank_rows_and_quoted_line_breaks() -> None:
    text = (
        "Elm End hoof book;;;;\nspring;;;;\n;;;;\nDate ;FARM NAME;Cow No.;Lesion found;Remarks\n"
        '2026-03-14;Elm End;5;wart;"two\nlines"\n;;;;\n2026-03-15;elm  end;6;ok;\n'
    )
    sheet = only(text.encode())
    assert sheet.rows_read == 2
    assert sheet.records["row"].to_list() == [5, 7]
    assert sheet.records["farm"].to_list() == ["Elm End", "Elm End"]
    assert sheet.records["note"].to_list()[0] == "two\nlines"
    assert any("elm  end" in note for note in sheet.notes)


def test_a_row_with_more_cells_than_headings_is_set_aside() -> None:
    # The decimal comma is not quoted, so everything after it has moved.
    text = (
        "date,farm,cow,foot,toe_length_mm,note\n2026-03-14,Elm,1,LH,75,\n2026-03-14,Elm,2,LH,75,5,x\n2026-03-14,Elm,3\n"
    )
    sheet = only(text.encode())
    assert [row for row, _, _ in reasons(sheet)] == [3]
    assert "more cells" in sheet.set_aside.loc[0, "reason"]
    assert sheet.records["cow"].to_list() == ["1", "3"]


def test_headings_once_more_are_not_a_row() -> None:
    text = "date,farm,cow,lesion\n2026-03-14,Elm,1,ulcer\ndate,farm,cow,lesion\n2026-03-14,Elm,2,ok\n"
    sheet = only(text.encode())
    assert sheet.rows_read == 2 and sheet.set_aside.empty
    assert "1 row that repeats the headings was passed over." in sheet.notes


def _xlsx(tabs: dict[str, list[list[object]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tabs.items():
        tab = book.create_sheet(name)
        for row in rows:
            tab.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_workbook_with_real_dates_numbers_and_several_tabs() -> None:
    data = _xlsx(
        {
            "Hoof book": [
                ["Elm End, spring"],
                [],
                ["Date", "Farm", "Cow", "Leg", "Lesion", "Toe length (mm)", "Recheck"],
                [dt.date(2026, 3, 14), "Elm", 123.0, "LH", "ulcer", 81.5, dt.datetime(2026, 4, 14, 9, 30)],
                [46095, "Elm", "A7", "RH", "ok", 75, None],
                [None] * 7,
                [dt.datetime(2026, 3, 14, 7, 15), "Elm", 124, None, None, None, None],
            ],
            "Scores": [["date", "farm", "cow", "score"], [dt.date(2026, 3, 14), "Elm", 123, 4]],
            "Shopping": [["milk", 2], ["nails", 3]],
        }
    )
    book, scores = check(data, "book.xlsx")
    assert (book.kind, scores.kind) == ("trims", "locomotion")
    assert book.records["cow"].to_list() == ["123", "A7", "124"]
    assert book.records["row"].to_list() == [4, 5, 7]
    assert book.records["visit_date"].to_list() == [pd.Timestamp("2026-03-14")] * 3
    assert book.records["recheck_on"].to_list()[0] == pd.Timestamp("2026-04-14")
    assert book.records["toe_length_mm"].to_list()[0] == 81.5
    assert scores.records["scale"].to_list() == ["1-5"]
    assert "Scores" in scores.source
    assert any("Shopping" in note for note in book.notes)


def test_an_open_document_sheet() -> None:
    document = OpenDocumentSpreadsheet()
    table = Table(name="book")
    rows = [
        ["date", "farm", "cow", "lesion"],
        [dt.date(2026, 3, 14), "Elm", 12, "ulcer"],
        ["14.3.2026", "Elm", "B1", "ok"],
    ]
    for row in rows:
        line = TableRow()
        for cell in row:
            if isinstance(cell, dt.date):
                made = TableCell(valuetype="date", datevalue=cell.isoformat())
            elif isinstance(cell, int):
                made = TableCell(valuetype="float", value=str(cell))
            else:
                made = TableCell(valuetype="string")
            made.addElement(P(text=str(cell)))
            line.addElement(made)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    out = io.BytesIO()
    document.write(out)
    sheet = only(out.getvalue(), "book.ods")
    assert sheet.records["cow"].to_list() == ["12", "B1"]
    assert sheet.records["visit_date"].to_list() == [pd.Timestamp("2026-03-14")] * 2


def test_json_lists_and_named_lists() -> None:
    record = {"date": "2026-03-14", "farm": "Elm", "cow": 12, "foot": "LH", "lesion": "ulcer", "zone": 4.0, "fat": True}
    sheet = only(json.dumps([record, {**record, "cow": 13, "lesion": None, "zone": None}]).encode(), "book.json")
    assert sheet.records["cow"].to_list() == ["12", "13"]
    assert sheet.records["row"].to_list() == [1, 2]
    assert sheet.records["zone"].to_list()[0] == 4
    assert sheet.records["note"].to_list() == ["fat: yes", "fat: yes"]
    both = {
        "trims": [record],
        "register": [
            {"farm": "Elm", "cow": 12, "calvings": ["2024-02-03", "2023-01-02"], "group_moves": "2023-01-02 dry"}
        ],
    }
    trims, register = check(json.dumps(both).encode(), "all.json")
    assert (trims.kind, register.kind) == ("trims", "register")
    assert register.records["calvings"].to_list() == ["2023-01-02; 2024-02-03"]
    assert register.records["group_moves"].to_list() == ["2023-01-02 dry"]


def test_the_other_kinds_of_sheet() -> None:
    housing = only(
        b"farm,group,from,to,housing,floor,bedding,pasture,wetness\n"
        b"Elm,high,1 Nov 2025,15 Apr 2026,cubicles,Rubber mats,Sand,no,always wet\n"
        b"Elm,,16 Apr 2026,,grazing,grass,,Yes,\n"
    )
    assert housing.kind == "housing"
    assert housing.records["housing"].to_list() == ["freestall", "pasture"]
    assert housing.records["floor"].to_list() == ["rubber", "grass"]
    assert housing.records["pasture"].to_list() == [False, True]
    assert housing.records["ends_on"].isna().to_list() == [False, True]
    assert housing.records["wetness"].to_list()[0] == "always-wet"
    changes = only(b"Farm,Date,What changed\nElm,2025-05-01,Rubber in the alleys\n")
    assert changes.kind == "changes" and changes.records["what"].to_list() == ["Rubber in the alleys"]
    assert changes.records["lesions"].isna().all()


def test_a_change_may_say_which_lesions_it_aims_at() -> None:
    text = b'Farm,Date,What changed,Aims at\nElm,2025-05-01,Foot bath,"heel erosion, DD"\nElm,2025-06-01,Mats,WLA SU\n'
    assert only(text).records["lesions"].to_list() == ["DD HHE", "SU WL"]
    held = only(b"Farm,Date,What changed,Aims at\nElm,2025-05-01,Foot bath,DD; mastitis\n").set_aside
    assert held["column"].to_list() == ["Aims at"] and "mastitis" in held["reason"].iloc[0]


def test_a_farm_may_be_given_and_is_spelt_as_known() -> None:
    sheet = only(b"date,cow,lesion\n2026-03-14,1,ulcer\n2026-03-14,2,blob\n", farm=" elm end ", known_farms=["Elm End"])
    assert sheet.records["farm"].to_list() == ["Elm End"]
    assert json.loads(sheet.set_aside.loc[0, "original"])["farm"] == " elm end "


def test_a_sheet_of_headings_only_has_no_rows() -> None:
    sheet = only(b"date,farm,cow,lesion\n")
    assert sheet.rows_read == 0 and sheet.records.empty and sheet.set_aside.empty
    assert list(sheet.records.columns)[-1] == "row"


def test_date_farm_and_cow_alone_are_a_trim_sheet() -> None:
    """Only these three are required; a row is then a cow with nothing found."""
    [sheet] = check(b"visit_date,farm,cow\n2026-04-13,Ash,7\n")
    assert sheet.kind == "trims" and sheet.records["lesion"].isna().all() and len(sheet.records) == 1
    [sheet] = check(b"Date;Farm;Cow\n2026-04-13;Ash;007\n")
    assert sheet.kind == "trims" and sheet.records["cow"].tolist() == ["007"]


def test_a_milk_record_is_not_taken_for_a_trim_sheet() -> None:
    with pytest.raises(UserError, match="looks like a trim sheet"):
        check(b"date,farm,cow,milk\n2026-04-13,Ash,7,31.5\n")
