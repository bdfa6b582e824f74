"""A visit typed from paper: how a row reads, what becomes of it as a sheet, and what is refused in a sentence."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.domain.feet import FEET, understand_foot
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from evenfoot.dashboard.i18n.translation import FOOT_CODES, Words, speaking
from evenfoot.dashboard.pages.typed_reading import row_words
from evenfoot.dashboard.pages.typed_sheet import MOST_ROWS, typed_csv
from tests.hostile import TEXTS

HERD = {"1042", "1043", "2042"}
DAY = "2026-03-02"


def row(cow: str = "1042", **cells: str) -> list[str]:
    return [cow, *(cells.get(name, "") for name in ("LF", "RF", "LH", "RH", "score", "note"))]


def typed(*rows: list[str], **head: str) -> dict[str, Any]:
    return {
        "farm": "Elm End",
        "day": DAY,
        "trimmer": "KV",
        "kind": "whole-herd",
        "scale": "1-5",
        **head,
        "rows": list(rows),
    }


@pytest.mark.parametrize(
    ("cells", "reads", "asks"),
    [
        (row(RH="SU out z4 ++"), "Right hind: sole ulcer, outer claw, zone 4, moderate.", ""),
        (row(LH="DD M2", LF="ok", RF="ok"),
         "Left hind: digital dermatitis, M2; left front and right front: nothing found.", ""),
        (row(), "Nothing written of the feet: nothing found.", ""),
        (row(RH="WL block", score="3"), "Right hind: white line disease, block put on; score 3.", ""),
        (row(LH="block"), "Left hind: block put on.", ""),
        (row("1943", RF="ok"), "Right front: nothing found.", "No cow 1943 is known here; near it: 1043."),
        (row("77", RF="ok"), "Right front: nothing found.", "No cow 77 is known here; she would be new."),
        (row("", RF="ok"), "Right front: nothing found.", "The number of the cow is missing."),
        (row(RH="SUX"), "", "RH: 'SUX' is asked about."),
        (row(RF="ok", score="lots"), "Right front: nothing found.", "The score 'lots' is not understood."),
        (row(RF="ok", note="warts both hind"), "Right front: nothing found.",
         "The remark names a lesion; whether it is a finding is asked."),
        (["", "", "", "", "", "", ""], "", ""),
    ],
)  # fmt: skip
def test_how_a_row_reads(cells: list[str], reads: str, asks: str) -> None:
    assert row_words(cells, HERD) == (reads, asks)


def test_a_cow_that_stands_twice_is_told_and_spanish_is_whole() -> None:
    assert row_words(row(RF="ok"), HERD, 7)[1] == "Row 7 has the same cow."
    with speaking(Words("es")):
        reads, asks = row_words(row("1943", RH="SU out z4 ++", score="3"), HERD, 7)
    assert "úlcera de suela" in reads and "zona 4" in reads
    assert not re.search(r"\b(known|near|same|claw|score)\b", reads + asks), (reads, asks)


CELLS_READ_ALIKE = (
    "SU out z4 ++", "DD M2", "WL 3", "ok", "block", "SU, DD M2", "WLA inner z3 +++ block", "HHE", "heel erosion ++",
    "SU wrap", "TS", "trimmed", "-", "x", "SUX", "LH SU",
)  # fmt: skip


@pytest.mark.parametrize("cell", CELLS_READ_ALIKE)
def test_what_is_said_of_a_cell_is_what_goes_in(cell: str) -> None:
    """The reading beside the row and the records of the sheet name the same lesions, zones and what was done."""
    name, data = typed_csv(typed(row(RH=cell)))
    found = understand_file(data, name, today=dt.date(2026, 11, 30), answers=Answers())
    reads, asks = row_words(row(RH=cell), HERD)
    [sheet] = found.sheets
    is_open = bool(found.answers.blocking()) or bool(len(sheet.set_aside))
    assert bool(asks) == is_open or "remarks" in asks, (asks, [one.id for one in found.answers.blocking()])
    for record in sheet.records.to_dict("records"):
        if pd.notna(record.get("lesion")):
            assert Words("en").lesion(record["lesion"], inside=True).split()[0] in reads
        if pd.notna(record.get("zone")):
            assert f"zone {record['zone']}" in reads
        if pd.notna(record.get("action")) and record["action"] != "trim":
            assert record["action"] in reads


@pytest.mark.parametrize("language", FOOT_CODES)
def test_a_sheet_with_the_letters_of_another_language_gives_the_same_records(language: str) -> None:
    assert [understand_foot(letters) for letters in FOOT_CODES[language].values()] == list(FEET)
    rows = typed(row(LH="SU ext z4 ++, block", LF="ok"), row("1043", RH="DD M2", score="2"))
    plain = understand_file(*reversed(typed_csv(rows)))
    with speaking(Words(language)):
        name, data = typed_csv(rows)
        assert "PI: se preguntará por 'squish'" in row_words(row(LH="squish"), ())[1]
    assert b",AI,AD,PI,PD," in data
    [theirs], [ours] = understand_file(data, name).sheets, plain.sheets
    pd.testing.assert_frame_equal(theirs.records, ours.records)


def brought(ledger: Ledger, data: bytes, name: str) -> pd.DataFrame:
    prepared = prepare_import(ledger, data, name, accept=True)
    run_import(ledger, prepared, hashlib.sha256(data).hexdigest())
    return ledger.frame("SELECT * FROM trim_rows ORDER BY cow, foot, lesion")


def test_rows_have_the_numbers_of_the_table_and_what_is_set_aside_says_which(tmp_path: Path) -> None:
    name, data = typed_csv(typed(row("1", RH="SU"), [""] * 7, row("", LH="DD"), row("4", LF="ok")))
    prepared = prepare_import(open_ledger(str(tmp_path / "l.duckdb")), data, name, accept=True)
    assert name == f"typed-elm-end-{DAY}.csv"
    assert sorted(prepared.sheets[0].records["row"]) == [2, 5]
    assert [(line["row"], line["reason"]) for line in prepared.listed.to_dict("records")] == [(4, "There is no cow.")]


@pytest.mark.parametrize("farm", ["Total, Ltd", "=1+1", "Date", 'The "Old" Farm', "Día; Ñandú"])
def test_any_name_of_a_farm_goes_through(tmp_path: Path, farm: str) -> None:
    name, data = typed_csv(typed(row("1", RH="SU out z4 ++"), row("2", LF="ok"), farm=farm))
    records = brought(open_ledger(str(tmp_path / "l.duckdb")), data, name)
    assert set(records["farm"]) == {farm} and list(records["cow"]) == ["1", "2"]


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (typed(row(), farm=" "), "Say which farm it is"),
        (typed(row(), day=""), "Say which day it was"),
        (typed(row(), day="soon"), "day"),
        (typed(), "Nothing has been typed yet"),
        (typed([" "] * 7), "Nothing has been typed yet"),
        (typed(row(RH="SU " * 300)), "Row 2, RH: 899 letters are too many; shorten it to 600."),
        (typed(*[row()] * (MOST_ROWS + 1)), "1001 rows are too many to type"),
        ({**typed(), "rows": [["1"]]}, "did not arrive whole"),
        ({**typed(), "rows": None}, "did not arrive whole"),
    ],
)
def test_what_cannot_be_a_sheet_is_refused_in_a_sentence(given: dict[str, Any], sentence: str) -> None:
    with pytest.raises(UserError, match=re.escape(sentence)):
        typed_csv(given)


@pytest.mark.parametrize("text", [*TEXTS, "=1+1", "@SUM(A1)", "a\nb", "\t", "x" * 5000])
def test_no_cell_breaks_the_reading_or_the_sheet(tmp_path: Path, text: str) -> None:
    for place in range(7):
        cells = row("1", RH="SU")
        cells[place] = text
        reads, asks = row_words(cells, HERD)
        assert len(reads) + len(asks) < 2500
        try:
            name, data = typed_csv(typed(cells, row("2", LF="ok")))
            prepared = prepare_import(open_ledger(str(tmp_path / f"{place}.duckdb")), data, name, accept=True)
        except UserError:
            continue
        sheet = prepared.sheets[0]
        assert set(sheet.records["row"]) | set(sheet.set_aside["row"]) >= {3}
