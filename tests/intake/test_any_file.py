"""Whatever the file: no row is lost, and nothing but a UserError is ever raised."""

import csv
import datetime as dt
import io
import json

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet, check_file, write_set_aside
from tests.effort import tries
from tests.intake.books import TODAY, check

# Text that survives any of the encodings, with no spaces at the ends and nothing a blank is written as.
_WORD = st.text(st.sampled_from("abcdefghxyz ABC,;|\"'éßü0123456789\n"), min_size=1, max_size=12).map(
    lambda text: "w" + " ".join(text.replace("\n", " \n ").split()) + "z"
)
_DAYS = st.dates(dt.date(1990, 1, 1), TODAY)
_RECORD = st.fixed_dictionaries(
    {
        "visit_date": _DAYS,
        "cow": st.integers(1, 9999).map(str) | _WORD,
        "foot": st.sampled_from(FEET),
        "claw": st.sampled_from([*CLAWS, None]),
        "zone": st.integers(0, 12) | st.none(),
        "lesion": st.sampled_from(PARENTS),
        "severity": st.integers(1, 3) | st.none(),
        "toe_length_mm": st.floats(30, 200).map(lambda x: round(x, 1)) | st.none(),
        "herd_size": st.integers(1, 100_000) | st.none(),
        "note": _WORD | st.none(),
    }
)
_COLUMNS = (
    "visit_date", "cow", "foot", "claw", "zone", "lesion", "severity", "toe_length_mm", "herd_size", "note",
)  # fmt: skip
_FORMATS = {
    "iso": "%Y-%m-%d",
    "day first": "%d/%m/%Y",
    "month first": "%m/%d/%Y",
    "dots": "%d.%m.%Y",
    "names": "%d %b %Y",
}


@settings(max_examples=tries(80), deadline=None)
@given(
    records=st.lists(_RECORD, min_size=1, max_size=12),
    delimiter=st.sampled_from(",;\t|"),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    dates=st.sampled_from(sorted(_FORMATS)),
    comma=st.booleans(),
    ending=st.sampled_from(["\n", "\r\n"]),
)
def test_records_survive_every_writing(
    records: list[dict[str, object]], delimiter: str, encoding: str, dates: str, comma: bool, ending: str
) -> None:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=ending)
    writer.writerow(["farm", *_COLUMNS])
    for record in records:
        cells = ["Elm", record["visit_date"].strftime(_FORMATS[dates])]  # type: ignore[attr-defined]
        for name in _COLUMNS[1:]:
            text = "" if record[name] is None else str(record[name])
            cells.append(text.replace(".", ",") if comma and name == "toe_length_mm" else text)
        writer.writerow(cells)
    told = None if dates in ("iso", "names") else dates != "month first"
    (sheet,) = check(out.getvalue().encode(encoding), day_first=told)
    assert sheet.set_aside.empty
    frame = sheet.records.astype(object).where(sheet.records.notna(), None)
    for name in _COLUMNS:
        expected = [record[name] for record in records]
        got = frame[name].to_list()
        if name == "visit_date":
            assert [pd.Timestamp(day).date() for day in got] == expected
        elif name == "note":
            assert [x and x.split() for x in got] == [x and x.split() for x in expected]  # type: ignore[attr-defined]
        else:
            assert got == expected, name


_CELL = st.sampled_from(
    ["", " ", "-", "1", "0", "7", "4.5", "12", "999", "LH", "hind", "outer", "ulcer", "DD M2", "M9",
     "SU+WL", "ok", "???", "x" * 300,
     "=1+1", "'", "''=", "2026-03-14", "14/3/2026", "3/14/2026", "1/2/3", "2062-01-01", "0-3", "1-5",
     "3\"", "\N{PILE OF POO}", "1e400",
     "9" * 400, "1/0", "cow", "date", "yes", "nan", "inf", "2022-01-01 dry", "2022-01-01; 2023-01-01"]
) | st.text(max_size=8)  # fmt: skip
_HEADING = st.sampled_from(
    ["date", "farm", "cow", "lesion", "lesion 2", "Lesion", "foot", "claw", "zone", "severity", "dd_stage",
     "detail", "toe_length_in",
     "angle", "action", "recheck", "loco score", "scale", "score", "herd size", "parity", "calved",
     "birth_date", "calvings", "moves",
     "left", "from", "to", "housing", "pasture", "wetness", "what", "note", "", "mood", "feet seen",
     "shed", "evenfoot_problem"]
)  # fmt: skip


def _fair(sheets: list[CheckedSheet]) -> None:
    for sheet in sheets:
        kept, held = set(sheet.records["row"]), set(sheet.set_aside["row"])
        if sheet.sheet_rows is not None:
            # A row of several findings gives several records.
            assert len(kept | held) == sheet.sheet_rows
        else:
            assert sheet.rows_read == len(sheet.records) + len(held)
            assert sheet.records["row"].is_unique
            assert not kept & held
        assert sheet.set_aside[["reason", "remedy", "original"]].notna().all(axis=None)
        for name in ("farm", "cow", "visit_date", "date"):
            if name in sheet.records:
                assert sheet.records[name].notna().all()
        try:
            again = check(write_set_aside(sheet.set_aside).encode(), day_first=True)
        except UserError:
            continue
        assert sum(
            one.rows_read if one.sheet_rows is None else one.sheet_rows for one in again
        ) <= sheet.rows_read - len(sheet.records)


@settings(
    max_examples=tries(120), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(
    headings=st.lists(_HEADING, min_size=1, max_size=9),
    rows=st.lists(st.lists(_CELL, max_size=11), max_size=8),
    base=st.sampled_from([["date", "farm", "cow", "lesion"], ["date", "farm", "cow", "score"], ["farm",
     "cow", "birth_date", "calvings"],
                          ["farm", "from", "housing"], ["farm", "date", "what"], []]),
    day_first=st.sampled_from([None, True, False]),
    farm=st.sampled_from([None, "Elm"]),
)  # fmt: skip
def test_any_table(
    headings: list[str], rows: list[list[str]], base: list[str], day_first: bool | None, farm: str | None
) -> None:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([[*base, *headings], *rows])
    data = out.getvalue().encode("utf-8", "replace")
    objects = [dict(zip([*base, *headings], row, strict=False)) for row in rows]
    for content, name in ((data, "any.csv"), (json.dumps(objects).encode(), "any.json")):
        try:
            sheets = check_file(content, name, farm=farm, day_first=day_first, today=TODAY)
        except UserError as mistake:
            assert name in str(mistake)
            continue
        _fair(sheets)


def _book() -> bytes:
    book = openpyxl.Workbook()
    for row in (["date", "farm", "cow", "lesion", "zone"], [dt.date(2026, 3, 14), "Elm", 1, "ulcer", 4]):
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


_FILES = {
    "book.xlsx": _book(),
    "book.csv": b'date;farm;cow;lesion;zone\n14/3/2026;Elm;1;ulcer;4\n15/3/2026;Elm;2;"wart";10\n',
    "book.json": b'{"trims": [{"date": "2026-03-14", "farm": "Elm", "cow": 1, "lesion": "ulcer"}], "x": [{}]}',
    "wide.csv": "date\tfarm\tcow\tlesion\n2026-03-14\tElm\t1\tulcer\n".encode("utf-16"),
}


@pytest.mark.parametrize("name", sorted(_FILES))
@settings(max_examples=tries(80), deadline=None)
@given(data=st.data())
def test_a_damaged_file_is_read_or_refused_in_a_sentence(name: str, data: st.DataObject) -> None:
    content = bytearray(_FILES[name])
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(content) - 1))
        how = data.draw(st.sampled_from(["change", "cut", "insert"]))
        if how == "change":
            content[place] = data.draw(st.integers(0, 255))
        elif how == "cut":
            del content[place : place + data.draw(st.integers(1, 40))]
        else:
            content[place:place] = data.draw(st.binary(max_size=8))
        if not content:
            break
    try:
        _fair(check_file(bytes(content), name, day_first=True, today=TODAY))
    except UserError as mistake:
        assert str(mistake)


@settings(max_examples=tries(200), deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes(content: bytes) -> None:
    try:
        _fair(check_file(content, "any", farm="Elm", today=TODAY))
    except UserError as mistake:
        assert "any" in str(mistake)
