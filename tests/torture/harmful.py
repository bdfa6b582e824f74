"""Files made to fill the memory, to never end, or to be run."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterator

from tests.torture.files import packed, sound


def harmful() -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Files made to fill the memory, to never end, or to be run."""
    head, line = b"date,farm,cow,lesion\n", b"2026-03-14,Elm,%d,ulcer\n"
    book = sound()["book.xlsx"]
    parts = {
        name: zipfile.ZipFile(io.BytesIO(book)).read(name) for name in zipfile.ZipFile(io.BytesIO(book)).namelist()
    }
    tab = "xl/worksheets/sheet1.xml"
    laughs = b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a0 "ha">' + b"".join(
        b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10) for n in range(1, 12)
    )
    open_row = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    shut = b"</sheetData></worksheet>"
    cell = b'<c r="%s" t="inlineStr"><is><t>%s</t></is></c>'
    ods = sound()["book.ods"]
    ods_parts = {
        name: zipfile.ZipFile(io.BytesIO(ods)).read(name) for name in zipfile.ZipFile(io.BytesIO(ods)).namelist()
    }
    body = ods_parts["content.xml"]

    yield "million columns.csv", lambda: b"date,farm,cow," + b"x," * 1_000_000 + b"\n" + line % 1
    yield "million cells in a row.csv", lambda: head + line % 1 + b"," * 1_000_000 + b"\n"
    yield (
        "nine thousand headings.csv",
        lambda: b"date,farm,cow," + b",".join(b"h%d" % n for n in range(9_000)) + b"\n" + line % 1,
    )
    yield "nine thousand equal headings.csv", lambda: b"date,farm,cow" + b",h" * 9_000 + b"\n" + line % 1
    yield "one line of 50 MB.csv", lambda: b"x" * 50_000_000
    yield "50 MB of line ends.csv", lambda: head + b"\n" * 50_000_000
    yield "50 MB of quotation marks.csv", lambda: head + b'"' * 50_000_000
    yield "50 MB of NUL.csv", lambda: head + bytes(50_000_000)
    yield "NULs between.csv", lambda: (head + line % 1).replace(b"E", b"\0E\0")
    yield "cell of 10 MB.csv", lambda: head + b"2026-03-14,Elm,1," + b"y" * 10_000_000 + b"\n" + line % 2
    yield "cow of 10 MB.csv", lambda: head + b"2026-03-14,Elm," + b"y" * 10_000_000 + b",ulcer\n" + line % 2
    yield "quoted cell of 10 MB.csv", lambda: head + b'2026-03-14,Elm,1,"' + b"y,\n" * 3_000_000 + b'"\n' + line % 2
    yield "heading of 10 MB.csv", lambda: b"z" * 10_000_000 + b"," + head + b"1," + line % 2
    yield "numbers of a million digits.csv", lambda: b"date,farm,cow,zone\n2026-03-14,Elm,1," + b"9" * 1_000_000 + b"\n"
    yield "dates of a million digits.csv", lambda: b"date,farm,cow,lesion\n" + b"1/" * 500_000 + b",Elm,1,ulcer\n"
    yield (
        "calvings without end.csv",
        lambda: b"farm,cow,birth_date,calvings\nElm,1,2020-01-01," + b"2022-01-05;" * 300_000 + b"\n",
    )
    yield "lesions without end.csv", lambda: b"date,farm,cow,lesion\n2026-03-14,Elm,1," + b"ulcer+" * 200_000 + b"\n"
    yield (
        "two hundred thousand farms.csv",
        lambda: head + b"".join(b"2026-03-14,F%d,1,ulcer\n" % n for n in range(200_000)),
    )
    yield "hundred thousand lesions.csv", lambda: head + b"".join(b"2026-03-14,Elm,1,l%d\n" % n for n in range(100_000))
    yield "hundred thousand dates.csv", lambda: head + b"".join(b"%d/13/2026,Elm,1,ulcer\n" % n for n in range(100_000))
    yield (
        "mixed encodings.csv",
        lambda: head + "2026-03-14,Ä,1,ulcer\n".encode() + "2026-03-14,Ä,2,ulcer\n".encode("cp1252"),
    )
    yield "utf-16 cut.csv", lambda: (head + line % 1).decode().encode("utf-16")[:-1]
    yield "utf-7.csv", lambda: b"+AGQ-ate,farm,cow\n" + line % 1
    yield "deep.json", lambda: b"[" * 5_000_000
    yield "deep objects.json", lambda: b'{"a":' * 1_000_000 + b"1" + b"}" * 1_000_000
    yield "many keys.json", lambda: b"[{" + b",".join(b'"k%d":1' % n for n in range(300_000)) + b"}]"
    yield (
        "many keys, a row each.json",
        lambda: json.dumps([{"date": "2026-03-14", f"k{n}": 1} for n in range(20_000)]).encode(),
    )
    yield "long number.json", lambda: b'[{"date":"2026-03-14","farm":"Elm","cow":' + b"9" * 3_000_000 + b"}]"
    yield "infinite.json", lambda: b'[{"date":"2026-03-14","farm":"Elm","cow":1e999999,"zone":-Infinity}]'
    yield "zip bomb.xlsx", lambda: packed(parts | {tab: open_row + b"<row/>" * 200_000_000 + shut})
    yield "zip bomb beside.xlsx", lambda: packed(parts | {"xl/media/big.bin": bytes(1_500_000_000)})
    yield (
        "archive in itself.xlsx",
        lambda: packed(parts | {"a.zip": packed({"b.zip": packed({"c": bytes(10_000_000)})})}),
    )
    yield "twenty thousand parts.xlsx", lambda: packed(parts | {f"xl/p{n}.xml": b"<a/>" for n in range(20_000)})
    yield (
        "entities.xlsx",
        lambda: packed(parts | {tab: laughs + b"]><worksheet><sheetData><row><c><v>&a11;</v></c></row>" + shut}),
    )
    yield (
        "entities in strings.xlsx",
        lambda: packed(parts | {"xl/sharedStrings.xml": laughs + b"]><sst><si><t>&a11;</t></si></sst>"}),
    )
    yield (
        "entity from a file.xlsx",
        lambda: packed(
            parts
            | {
                tab: b'<!DOCTYPE l [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
                + open_row
                + b"<row><c><v>&x;</v></c></row>"
                + shut
            }
        ),
    )
    yield (
        "far corner.xlsx",
        lambda: packed(
            parts
            | {
                tab: open_row
                + b'<row r="1">'
                + cell % (b"A1", b"date")
                + b'</row><row r="1048576">'
                + cell % (b"XFD1048576", b"x")
                + b"</row>"
                + shut
            }
        ),
    )
    yield (
        "cell of 10 MB.xlsx",
        lambda: packed(parts | {tab: open_row + b"<row>" + cell % (b"A1", b"y" * 10_000_000) + b"</row>" + shut}),
    )
    yield "tags without end.xlsx", lambda: packed(parts | {tab: open_row + b"<row>" * 3_000_000})
    yield (
        "cells that do not say where.xlsx",
        lambda: packed(parts | {tab: open_row + _numbered_cells(21_000_000) + shut}),
    )
    yield (
        "string number that is not there.xlsx",
        lambda: packed(parts | {tab: open_row + b'<row><c r="A1" t="s"><v>99999999999</v></c></row>' + shut}),
    )
    yield (
        "date beyond the calendar.xlsx",
        lambda: packed(parts | {tab: open_row + b'<row><c r="A1" s="1"><v>1e300</v></c></row>' + shut}),
    )
    yield (
        "a million tabs named.xlsx",
        lambda: packed(
            parts
            | {
                "xl/workbook.xml": b"<workbook><sheets>"
                + b'<sheet name="a" sheetId="1" r:id="rId1"/>' * 1_000_000
                + b"</sheets></workbook>"
            }
        ),
    )
    yield (
        "formula cells.xlsx",
        lambda: packed(
            parts | {tab: open_row + b"<row>" + b"<c><f>1/0</f><v>#DIV/0!</v></c>" * 1000 + b"</row>" + shut}
        ),
    )
    yield (
        "rows repeated.ods",
        lambda: packed(
            ods_parts
            | {
                "content.xml": body.replace(
                    b"<table:table-row>", b'<table:table-row table:number-rows-repeated="1000000000">', 2
                )
            }
        ),
    )
    yield (
        "cells repeated.ods",
        lambda: packed(
            ods_parts
            | {
                "content.xml": body.replace(
                    b"<table:table-cell ", b'<table:table-cell table:number-columns-repeated="100000000" ', 3
                )
            }
        ),
    )
    yield "entities.ods", lambda: packed(ods_parts | {"content.xml": laughs + b"]>" + body.replace(b"ulcer", b"&a11;")})
    yield (
        "spaces repeated.ods",
        lambda: packed(ods_parts | {"content.xml": body.replace(b"ulcer", b'<text:s text:c="2000000000"/>ulcer')}),
    )
    yield (
        "nested cells.ods",
        lambda: packed(
            ods_parts | {"content.xml": body.replace(b"ulcer", b"<text:span>" * 500_000 + b"</text:span>" * 500_000)}
        ),
    )


def _numbered_cells(cells: int) -> bytes:
    """Cells with numbers that differ, so that they do not pack as what repeats does."""
    line = b"".join(b"<c><v>%d</v></c>" % (n * 7919 % 1_000_003) for n in range(100_000))
    return b"<row>" + (line + b"</row><row>") * (cells // 100_000) + b"</row>"
