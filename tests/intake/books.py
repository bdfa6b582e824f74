"""Small hoof books for the tests, in every shape a file comes in."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Sequence

import pandas as pd

from evenfoot.analytics.intake import CheckedSheet, check_file
from evenfoot.analytics.intake.checks.records import LEFT_BLANK
from evenfoot.analytics.intake.large_files.stream import CheckedStream

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
        add_up(sheet)
    return sheets


def add_up(sheet: CheckedSheet) -> None:
    """Every row is a record or is listed; a cell that was left blank is listed beside its record."""
    blanked = (sheet.set_aside["remedy"] == LEFT_BLANK).to_numpy(dtype=bool)
    lost = sheet.set_aside[~blanked]
    assert sheet.blanked == int(blanked.sum())
    assert set(sheet.set_aside.loc[blanked, "row"]) <= set(sheet.records["row"])
    if sheet.sheet_rows is None:
        assert sheet.rows_read == len(sheet.records) + lost["row"].nunique()
        assert not set(sheet.records["row"]) & set(lost["row"])
    else:
        # One row of the sheet may hold several findings, of which some are records.
        assert sheet.held >= lost["row"].nunique() >= (sheet.held > 0)
        assert sheet.held >= len(lost[["row", "original"]].drop_duplicates())
        assert sheet.sheet_rows >= len(set(sheet.records["row"]) | set(lost["row"]))


def whole_of(stream: CheckedStream) -> CheckedSheet:
    """The sheet that the pieces of a stream make together."""
    taken = list(stream.pieces())
    assert stream.rows_read == sum(piece.rows_read for piece in taken)
    held = [piece.set_aside for piece in taken if len(piece.set_aside)]
    aside = pd.concat(held, ignore_index=True) if held else taken[0].set_aside if taken else pd.DataFrame()
    pd.testing.assert_frame_equal(stream.first_set_aside, aside.head(len(stream.first_set_aside)))
    records = pd.concat([piece.records for piece in taken], ignore_index=True)
    sheet = CheckedSheet(
        stream.kind,
        stream.source,
        # Rows with a cell that was left blank come before the others of their piece.
        records.sort_values("row", ignore_index=True),
        aside,
        stream.rows_read,
        stream.understood,
        stream.notes,
        blanked=stream.blanked,
    )
    add_up(sheet)
    return sheet


def only(data: bytes, name: str = "book.csv", **options: object) -> CheckedSheet:
    (sheet,) = check(data, name, **options)
    return sheet


def trims(headings: str, *rows: str, **options: object) -> CheckedSheet:
    """A sheet typed with bars between the cells; date, farm and cow are put before."""
    table = ["date|farm|cow|" + headings, *("2026-03-14|Elm End|7|" + row for row in rows)]
    return only("\n".join(table).encode(), **options)


def reasons(sheet: CheckedSheet) -> list[tuple[int, str, str]]:
    return [(int(line.row), str(line.column), str(line.value)) for line in sheet.set_aside.itertuples()]
