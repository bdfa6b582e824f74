"""Small hoof books for the tests, in every shape a file comes in."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Sequence

from analytics.intake import CheckedSheet, check_file

TODAY = dt.date(2026, 11, 1)
HEADINGS = ("date", "farm", "cow", "foot", "claw", "zone", "lesion", "severity")


def delimited(
    rows: Sequence[Sequence[object]], headings: Sequence[str] = HEADINGS, delimiter: str = ",", encoding: str = "utf-8"
) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows([headings, *rows])
    return out.getvalue().encode(encoding)


def check(data: bytes, name: str = "book.csv", **options: object) -> list[CheckedSheet]:
    sheets = check_file(data, name, **{"today": TODAY, **options})  # type: ignore[arg-type]
    for sheet in sheets:
        assert sheet.rows_read == len(sheet.records) + sheet.set_aside["row"].nunique()
        assert not set(sheet.records["row"]) & set(sheet.set_aside["row"])
    return sheets


def only(data: bytes, name: str = "book.csv", **options: object) -> CheckedSheet:
    (sheet,) = check(data, name, **options)
    return sheet


def trims(headings: str, *rows: str, **options: object) -> CheckedSheet:
    """A sheet typed with bars between the cells; date, farm and cow are put before."""
    table = ["date|farm|cow|" + headings, *("2026-03-14|Elm End|7|" + row for row in rows)]
    return only("\n".join(table).encode(), **options)


def reasons(sheet: CheckedSheet) -> list[tuple[int, str, str]]:
    return [(int(line.row), str(line.column), str(line.value)) for line in sheet.set_aside.itertuples()]
