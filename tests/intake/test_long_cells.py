"""Cells that are far too long: read in time that grows as they do, and set aside with a sentence."""

from __future__ import annotations

import csv
import io
import time

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

LENGTH = 30_000
CELLS = {
    "spaces within": "1" + " " * LENGTH + "x",
    "spaces of other alphabets": "1" + "\u00a0" * LENGTH + "x",
    "line ends": "1" + "\n" * LENGTH + "x",
    "clocks": "2026-03-14" + "T," * (LENGTH // 2) + "x",
    "stars": "#1" + "* " * (LENGTH // 2) + "x",
    "brackets": "(" * LENGTH,
    "a label": "zone" + " " * LENGTH + "x",
    "numbers": "1," * (LENGTH // 2) + "x!",
    "cows": "sound: " + "#11 " * (LENGTH // 4) + "!",
    "signs": "75" + "/ " * (LENGTH // 2) + "x",
}
ROW = {"visit_date": "2026-03-14", "farm": "Elm", "cow": "7", "lesion": "ulcer", "foot": "LH"}
COLUMNS = ("visit_date", "farm", "cow", "lesion", "dd_stage", "zone", "toe_angle_deg", "toe_length_mm", "calving_date",
           "trimmer", "action")  # fmt: skip
MOST = 6.0
"""Seconds of a processor for ten such cells; a quadratic reader took 37 for one."""


def sheet(*rows: list[str]) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue().encode()


def read(data: bytes) -> list[CheckedSheet]:
    began = time.process_time()
    try:
        return understand_file(data, "book.csv", farm="Elm", known_farms=("Elm",), answers=Answers(accept=True)).sheets
    except UserError as mistake:
        assert len(str(mistake)) < 1500
        return []
    finally:
        assert time.process_time() - began < MOST


@pytest.mark.parametrize("column", COLUMNS)
def test_a_plain_sheet_with_some_is_read_in_time(column: str) -> None:
    names = [*dict.fromkeys([*ROW, column])]
    rows = [ROW | {column: text, "cow": text if column == "cow" else str(n)} for n, text in enumerate(CELLS.values())]
    read(sheet(names, [ROW.get(name, "") for name in names], *([row[name] for name in names] for row in rows)))


@pytest.mark.parametrize("place", range(5))
def test_a_sheet_of_another_layout_with_some_is_read_in_time(place: int) -> None:
    rows = [["Elm", ""], ["Date", "Cow", "Findings", "LH", "Remarks"], ["14/3/2026", "12", "LH ulcer", "DD", ""]]
    for n, text in enumerate(CELLS.values()):
        rows.append(["15/3/2026", str(n), "RH DD M2", "SU", "x"])
        rows[-1][place] = text
    read(sheet(*rows, ["sound: 2, 9"], *([text] for text in CELLS.values())))


@pytest.mark.parametrize("column", [name for name in COLUMNS if name not in ("lesion", "foot")])
def test_one_is_listed_with_a_sentence(column: str) -> None:
    row = ROW | {column: "y " * 1500}
    [checked] = read(sheet(list(row), [(ROW | {"cow": "8"}).get(name, "") for name in row], list(row.values())))
    assert len(checked.records) + checked.held == checked.rows_read == 2
    line = checked.set_aside[checked.set_aside["row"] == 3].iloc[0]
    assert line["column"] == column and line["value"].strip().startswith("y y")
    assert "characters" in line["reason"] or "Not understood" in line["reason"]


def test_a_remark_of_that_length_stays_whole() -> None:
    remark = "She stood on three legs. " * 1000
    [checked] = read(sheet([*ROW, "note"], [*ROW.values(), remark]))
    assert checked.records["note"].iloc[0] == remark.strip()
