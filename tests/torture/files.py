"""Files to try the intake with: sound ones of every sort, ways to spoil them, and files made to do harm."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import random
import zipfile
from collections.abc import Iterator

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
    b"\x00", b'"', b"'", b"\n", b"\r", b",", b";", b"\t", b"=1+1", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80",
    b"{", b"[", b"]", b"}", b"<", b">", b"&x;", b"-", b"9" * 40, b"1e999", b"NaN", b"\x1f", b"\xe2\x80\xae", b"\x85",
    b"PK\x03\x04",
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


def formulas() -> bytes:
    """Text that a spreadsheet would run, in every cell that takes text."""
    risks = ("=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0")
    out = io.StringIO(newline="")
    rows = [["2026-03-14", risk, risk, "ulcer", "LH", "", "", "", "", risk] for risk in risks]
    csv.writer(out).writerows([HEADS, *rows])
    return out.getvalue().encode()
