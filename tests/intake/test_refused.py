"""Files that cannot be read at all: one clear sentence each, and nothing half-understood."""

import io
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet, check_file
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from evenfoot.analytics.intake.readers import excel
from evenfoot.analytics.intake.readers.dispatch import read_sheets
from tests.intake.books import TODAY, check


def says(data: bytes, name: str = "book.csv", **options: object) -> str:
    with pytest.raises(UserError) as caught:
        check(data, name, **options)
    message = str(caught.value)
    assert name in message and "Traceback" not in message
    return message


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf\r\n \r\n", "is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "picture"),
        (b"\xff\xd8\xff\xe0" + bytes(100), "picture"),
        (b"%PDF-1.7\n", "PDF"),
        (bytes(range(256)) * 40, "not a text file"),
        (b"date,farm,cow,lesion\n2026-03-14,Elm,1,ul\x00cer\n", "NUL"),
        (b"hello\nworld\n", "no headings"),
        (b"a,b,c\n1,2,3\n", "no headings"),
        (b"date,farm,lesion,foot\n2026-03-14,Elm,ulcer,LH\n", "'cow'"),
        (b"date,cow,lesion\n2026-03-14,1,ulcer\n", "Which farm is it?"),
        (b'date,farm,cow,lesion\n2026-03-14,Elm,1,"ulcer\n2026-03-14,Elm,2,ok\n', "quotation mark"),
        (b"PK\x03\x04" + bytes(200), "cannot be opened"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "cannot be opened"),
        (b"\xff\xfed\x00a\x00t\x00\x00\xd8", "damaged"),
    ],
)  # fmt: skip
def test_one_clear_sentence(data: bytes, words: str) -> None:
    assert words in says(data)


@pytest.mark.parametrize(
    "data", [b"{", b"[1, 2]", b'{"a": 1}', b"[" * 100_000, b'[{"cow": "\\ud800"}]', b"date,cow", b"[]"]
)
def test_json_that_is_none(data: bytes) -> None:
    with pytest.raises(UserError):
        check(data, "book.json")


def asked(data: bytes, **options: Any) -> tuple[Answers, list[CheckedSheet]]:
    found = understand_file(data, "book.csv", today=TODAY, **options)
    return found.answers, found.sheets


def test_dates_that_can_be_read_both_ways_are_asked_about() -> None:
    data = b"date,farm,cow,lesion\n3/4/2026,Elm,1,ulcer\n5.6.2026,Elm,2,ok\n"
    assert "'3/4/2026'" in says(data)
    answers, _ = asked(data)
    (question,) = answers.blocking()
    assert question.id == "date-order" and [one.value for one in question.choices] == ["day-first", "month-first"]
    for value, months in (("day-first", [4, 6]), ("month-first", [3, 5])):
        answers, (sheet,) = asked(data, answers=Answers({"date-order": value}))
        assert answers.open() == [] and sheet.records["visit_date"].dt.month.to_list() == months
        (sheet,) = check(data, day_first=value == "day-first")
        assert sheet.records["visit_date"].dt.month.to_list() == months
    torn = b"date,farm,cow,lesion\n14/3/2026,Elm,1,ulcer\n3/14/2026,Elm,2,ok\n"
    assert [one.id for one in asked(torn)[0].blocking()] == ["date-order"]
    assert "day first or the month first" in says(torn)


def test_a_farm_that_is_named_nowhere_is_asked_for() -> None:
    data = b"date,cow,lesion\n2026-03-14,1,ulcer\n"
    answers, _ = asked(data, known_farms=("Elm", "Oak"))
    (question,) = answers.blocking()
    assert question.id == "farm" and question.free and question.default is None
    assert {"Elm", "Oak"} <= {one.value for one in question.choices}
    for found in (asked(data, answers=Answers({"farm": "Ash"})), asked(data, farm="Ash")):
        assert found[0].open() == [] and found[1][0].records["farm"].to_list() == ["Ash"]
    with pytest.raises(UserError, match="Which farm is it"):
        check(b"cow,birth_date,calvings\n1,2020-01-01,2022-01-02\n")


def test_no_such_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="There is no file"):
        check_file(tmp_path / "none.csv", "none.csv")
    with pytest.raises(UserError, match="folder"):
        check_file(tmp_path, "folder")


def test_too_large(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("evenfoot.analytics.intake.readers.dispatch.LARGEST_FILE", 10)
    assert "larger than" in says(b"date,farm,cow,lesion\n")
    path = tmp_path / "big.csv"
    path.write_bytes(b"date,farm,cow,lesion\n")
    with pytest.raises(UserError, match="larger than"):
        check_file(path, "big.csv")


def test_too_many_columns() -> None:
    assert "10,001 cells" in says(b"date,farm,cow,lesion\n" + b"," * 10_000 + b"\n")


def test_a_long_cell_is_read_and_an_endless_one_refused() -> None:
    row = b"date,farm,cow,lesion,note\n2026-03-14,Elm,1,ulcer,%s\n"
    assert len(check(row % (b"x" * 32_767))[0].records["note"].iloc[0]) == 32_767
    assert "too long" in says(row % (b"x" * 200_000))


def _book(rows: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


GOOD = [["date", "farm", "cow", "lesion"], ["2026-03-14", "Elm", "1", "ulcer"]]


def test_an_archive_that_is_no_workbook() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("book.csv", "date,farm,cow\n")
    assert "zip archive" in says(out.getvalue(), "book.zip")


def test_an_archive_that_unpacks_to_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(excel, "MOST_UNPACKED_BYTES", 1000)
    assert "unpack to more" in says(_book(GOOD), "book.xlsx")


def test_an_archive_that_lies_about_its_size() -> None:
    data = bytearray(_book(GOOD))
    # The central directory says that the tab unpacks to one byte.
    place = data.rfind(b"xl/worksheets/sheet1.xml") - 46
    assert data[place : place + 4] == b"PK\x01\x02"
    data[place + 24 : place + 28] = struct.pack("<I", 1)
    assert "more than it says" in says(bytes(data), "book.xlsx")


def test_a_stray_cell_far_out_does_not_fill_the_memory() -> None:
    book = openpyxl.Workbook()
    for row in GOOD:
        book.active.append(row)
    book.active["XFD1048576"] = "x"
    out = io.BytesIO()
    book.save(out)
    assert "stray cells" in says(out.getvalue(), "book.xlsx")


@pytest.mark.parametrize("corner", [("A", 1_048_576, "ZZ", 2), ("A", 99_999, "NTP", 2), ("A", 2, "XFD", 2)])
def test_corners_far_apart_do_not_fill_the_memory(corner: tuple[str, int, str, int]) -> None:
    book = openpyxl.Workbook()
    book.active[f"{corner[0]}{corner[1]}"] = book.active[f"{corner[2]}{corner[3]}"] = "x"
    out = io.BytesIO()
    book.save(out)
    assert "stray cells" in says(out.getvalue(), "book.xlsx")


def _ods(rows: str) -> bytes:
    names = "".join(f' xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text"))
    content = (
        f'<?xml version="1.0"?><office:document-content{names}><office:body><office:spreadsheet>'
        f'<table:table table:name="a">{rows}</table:table></office:spreadsheet></office:body></office:document-content>'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr(
            "META-INF/manifest.xml",
            '<?xml version="1.0"?>'
            '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            '<manifest:file-entry manifest:full-path="/" '
            'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>',
        )
        archive.writestr("content.xml", content)
    return out.getvalue()


def _cells(*texts: str, more: str = "") -> str:
    return "".join(
        f'<table:table-cell{more} office:value-type="string"><text:p>{text}</text:p></table:table-cell>'
        for text in texts
    )


def test_repeated_cells_and_rows_do_not_fill_the_memory() -> None:
    many = _cells("x", more=' table:number-columns-repeated="9000"')
    rows = f'<table:table-row table:number-rows-repeated="1000000">{many}</table:table-row>'
    assert "stray cells" in says(_ods(rows), "book.ods")


def test_empty_cells_to_the_edge_of_the_sheet_are_no_stray_cells() -> None:
    # As office programs write them: the rest of the row and of the sheet, said to repeat.
    rest = '<table:table-cell table:number-columns-repeated="16380"/>'
    rows = (
        f"<table:table-row>{_cells('date', 'farm', 'cow', 'lesion')}{rest}</table:table-row>"
        f"<table:table-row>{_cells('2026-03-14', 'Elm', '1', 'ulcer')}{rest}</table:table-row>"
        f'<table:table-row table:number-rows-repeated="1048570">{rest}</table:table-row>'
    )
    (sheet,) = check(_ods(rows), "book.ods")
    assert sheet.records["lesion"].to_list() == ["SU"]


@pytest.mark.parametrize("cut", [100, 1000, 3000])
def test_a_torn_workbook(cut: int) -> None:
    assert "cannot be opened" in says(_book(GOOD)[:cut], "book.xlsx")


def test_read_sheets_wants_something_to_read() -> None:
    with pytest.raises(ValueError, match="path or the bytes"):
        read_sheets(None, None, "x")


def test_compressed_text_is_named() -> None:
    assert "gzip" in says(b"\x1f\x8b" + zlib.compress(b"date"))


def test_a_workbook_that_is_none_is_called_so() -> None:
    assert "is no workbook that can be opened" in says(bytes(range(256)) * 4, "book.xlsx")


def test_headings_that_are_all_misspelt_are_met_with_what_was_meant() -> None:
    data = b"Daet,Frm,Cwo,Leisson,Fooot\n2026-03-02,Ash,1,sole ulcer,LH\n2026-03-02,Ash,2,DD,RH\n"
    with pytest.raises(UserError, match="Did you mean 'Daet' = date, 'Frm' = farm, 'Cwo' = cow, 'Leisson' = lesion,"):
        check_file(data, "book.csv")
    with pytest.raises(UserError, match=r"in its first rows\. It should be one of"):
        check_file(b"alpha,zzqx\n1,2\n3,4\n", "book.csv")
