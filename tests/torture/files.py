"""Files to try the intake with: sound ones of every sort, ways to spoil them, and files made to do harm."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import random
import zipfile
from collections.abc import Callable, Iterator

HEADS = ["date", "farm", "cow", "lesion", "foot", "claw", "zone", "severity", "toe_length_mm", "note"]
ROWS: list[list[object]] = [
    [dt.date(2026, 3, 14), "Elm", 1, "ulcer", "LH", "outer", 4, 2, 84.5, "walks well"],
    [dt.date(2026, 3, 14), "Elm", 2, "none", None, None, None, None, None, None],
    [dt.date(2026, 3, 15), "Elm", "3 b", "wart", "RH", None, 10, 1, 79, '=HYPERLINK("x")'],
    [dt.date(2026, 3, 15), "Ängelholm & Co", 4, "squishy", "RF", "inner", 40, 9, -1, "ü" * 30],
]


def sound() -> dict[str, bytes]:
    """One small file of every sort that is read."""
    import openpyxl
    import pyarrow as pa
    import pyarrow.parquet as pq
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    text = io.StringIO(newline="")
    csv.writer(text).writerows([HEADS, *ROWS])
    plain = text.getvalue()
    files = {
        "sheet.csv": plain.encode(),
        "semicolon.csv": plain.replace(",", ";").encode("cp1252"),
        "tab.csv": plain.replace(",", "\t").encode("utf-16"),
        "scores.csv": b"date,farm,cow,score,scale\n2026-03-14,Elm,1,3,1-5\n2026-03-14,Elm,2,9,1-5\n",
        "register.csv": b"farm,cow,birth_date,calvings\nElm,1,2020-01-01,2022-01-05; 2023-02-07\n",
    }
    objects = [dict(zip(HEADS, [str(cell) if cell is not None else None for cell in row], strict=True)) for row in ROWS]
    files["rows.json"] = json.dumps(objects).encode()
    files["kinds.json"] = json.dumps({"trims": objects, "changes": [{"farm": "Elm", "date": "2026-01-01"}]}).encode()
    book = openpyxl.Workbook()
    for row in [HEADS, *ROWS]:
        book.active.append(row)
    book.create_sheet("scores").append(["date", "farm", "cow", "score"])
    out = io.BytesIO()
    book.save(out)
    files["book.xlsx"] = out.getvalue()
    document = OpenDocumentSpreadsheet()
    table = Table(name="trims")
    for cells in [HEADS, *ROWS]:
        line = TableRow()
        for cell in cells:
            made = TableCell(valuetype="string")
            made.addElement(P(text="" if cell is None else str(cell)))
            line.addElement(made)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    out = io.BytesIO()
    document.save(out)
    files["book.ods"] = out.getvalue()
    out = io.BytesIO()
    pq.write_table(pa.table({name: [str(row[n]) for row in ROWS] for n, name in enumerate(HEADS)}), out)
    files["rows.parquet"] = out.getvalue()
    return files


BITS = (
    b"\x00", b'"', b"'", b"\n", b"\r", b",", b";", b"\t", b"=1+1", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"{", b"[",
    b"]", b"}", b"<", b">", b"&x;", b"-", b"9" * 40, b"1e999", b"NaN", b"\x1f", b"\xe2\x80\xae", b"\x85", b"PK\x03\x04",
)  # fmt: skip


def spoiled(content: bytes, chance: random.Random) -> bytes:
    """The bytes with a few of them changed, cut, doubled, swapped or put in."""
    data = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 3, 8, 40))):
        if not data:
            break
        where = chance.randrange(len(data))
        how = chance.randrange(6)
        if how == 0:
            data[where] = chance.randrange(256)
        elif how == 1:
            del data[where : where + chance.randrange(1, 60)]
        elif how == 2:
            data[where:where] = chance.choice(BITS)
        elif how == 3:
            end = where + chance.randrange(1, 200)
            data[where:where] = data[where:end] * chance.choice((1, 2, 50))
        elif how == 4:
            data[where : where + 4] = chance.randbytes(4)
        else:
            other = chance.randrange(len(data))
            data[where : where + 8], data[other : other + 8] = data[other : other + 8], data[where : where + 8]
    return bytes(data)


def spoiled_within(content: bytes, chance: random.Random) -> bytes:
    """A workbook in which one part is spoiled and packed again, so that the reader gets to it."""
    try:
        source = zipfile.ZipFile(io.BytesIO(content))
        parts = {name: source.read(name) for name in source.namelist()}
    except zipfile.BadZipFile:
        return spoiled(content, chance)
    name = chance.choice(list(parts))
    parts[name] = spoiled(parts[name], chance)
    return packed(parts)


def packed(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        for name, part in parts.items():
            book.writestr(name, part)
    return out.getvalue()


def random_table(chance: random.Random) -> bytes:
    """Cells of every sort under headings of every sort, with any separator, ending and encoding."""
    cells = [
        "", " ", "1", "-3", "LH", "outer", "SU", "DD M2", "ulcer", "???", "=1+1", "+1", "@x", "2026-03-14", "14/3/2026",
        "2026-02-30", "1/2/3", "99999999999999999999", "1e400", "nan", "x" * 500, "a\nb", 'q"q', "ÄÖ", "\u202e", "yes",
        "4.5", "4,5", "2022-01-01; 2023-01-01", "2022-01-01 dry", "0-3", "\x0b", "true", "1.7976931348623157e308", "٣",
    ]  # fmt: skip
    heads = [
        *HEADS,
        "score",
        "scale",
        "calvings",
        "group_moves",
        "starts_on",
        "housing",
        "what",
        "",
        "mood",
        "date",
        "herd size",
    ]
    chosen = ["date", "farm", "cow"] * (chance.random() < 0.8) + [
        chance.choice(heads) for _ in range(chance.randrange(8))
    ]
    rows = [
        chosen,
        *(
            [chance.choice(cells) for _ in range(chance.randrange(len(chosen) + 3))]
            for _ in range(chance.randrange(12))
        ),
    ]
    out = io.StringIO(newline="")
    writer = csv.writer(
        out,
        delimiter=chance.choice(",;\t|"),
        lineterminator=chance.choice(("\n", "\r\n", "\r")),
        quoting=chance.choice((csv.QUOTE_MINIMAL, csv.QUOTE_ALL)),
    )
    writer.writerows(rows)
    return out.getvalue().encode(chance.choice(("utf-8", "utf-16", "cp1252", "latin-1", "utf-8-sig")), "replace")


def mutants(times: int, chance: random.Random) -> Iterator[tuple[str, bytes]]:
    """So many spoiled and random files, named by what they are."""
    files = sound()
    for _ in range(times):
        way = chance.random()
        name = chance.choice(list(files))
        if way < 0.15:
            yield "table.csv", random_table(chance)
        elif way < 0.2:
            yield chance.choice(("any", "any.csv", "any.json")), chance.randbytes(chance.randrange(2000))
        elif way < 0.55 and name.endswith(("xlsx", "ods")):
            yield name, spoiled_within(files[name], chance)
        elif way < 0.6:
            yield chance.choice(list(files)), spoiled(files[name], chance)
        else:
            yield name, spoiled(files[name], chance)


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


def formulas() -> bytes:
    """Text that a spreadsheet would run, in every cell that takes text."""
    out = io.StringIO(newline="")
    csv.writer(out).writerows(
        [HEADS, *[["2026-03-14", risk, risk, "ulcer", "LH", "", "", "", "", risk] for risk in ("=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0")]]
    )  # fmt: skip
    return out.getvalue().encode()
