"""The rows set aside, mended by a person and read again."""

import csv
import io
import json
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfoot.analytics.intake import write_set_aside
from evenfoot.analytics.intake.rejected_rows import bare_text, safe_text
from evenfoot.sample_data import truths
from evenfoot.sample_data.messy import write_notebook
from tests.intake.books import check, only, trims


def messy() -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "notebook.csv"
        write_notebook(path)
        return path.read_bytes()


def test_mended_rows_are_read_again() -> None:
    sheet = trims("foot|lesion|Note", "LH|squishy|=SUM(A1)", "RH|ulcer|", "nose|blob|-")
    assert len(sheet.records) == 1
    text = write_set_aside(sheet.set_aside)
    lines = list(csv.reader(io.StringIO(text)))
    assert lines[0] == [
        "date",
        "farm",
        "cow",
        "foot",
        "lesion",
        "Note",
        "evenfoot_row",
        "evenfoot_problem",
        "evenfoot_remedy",
    ]
    assert lines[1][:7] == ["2026-03-14", "Elm End", "7", "LH", "squishy", "'=SUM(A1)", "2"]
    assert lines[2][5:7] == ["'-", "4"]
    assert "foot: " in lines[2][7] and "lesion: " in lines[2][7]
    again = only(text.encode())
    assert again.rows_read == 2 and again.records.empty
    assert [json.loads(o) for o in again.set_aside["original"]] == [json.loads(o) for o in sheet.set_aside["original"]]
    mended = only(text.replace("squishy", "wart").replace("nose", "LH").replace("blob", "foul").encode())
    assert mended.set_aside.empty and mended.records["lesion"].to_list() == ["DD", "IP"]
    assert mended.records["note"].to_list() == ["=SUM(A1)", "-"]
    assert not any("evenfoot" in note for note in mended.notes)


def test_rows_of_an_unfolded_sheet_are_mended_under_headings_that_say_it_all() -> None:
    sheet = only(
        b"date;farm;cow;lesion;Leg;Toe;Score;Comment\n2026-03-14;Elm;1;squishy;LH;7,6;2;lame\n"
        b"2026-03-14;Elm;2;SU + WL;LH;8,0;4;\n;Elm;3;SU + WL;RH;8,2;1;slow\n2026-03-14;Elm;4;ok;;;2;\n"
    )
    assert len(sheet.records) == 3 and (sheet.held, sheet.sheet_rows) == (3, 4)
    text = write_set_aside(sheet.set_aside)
    # "Toe" alone does not say that it is a length in cm.
    assert text.splitlines()[0] == (
        "date,farm,cow,Leg,lesion,toe_length_cm,Score,Comment,evenfoot_row,evenfoot_problem,evenfoot_remedy"
    )
    assert [line.split(",")[4] for line in text.splitlines()[1:]] == ["squishy", "SU", "WL"]
    mended = only(text.replace("squishy", "wart").replace("\n,Elm", "\n2026-03-14,Elm").encode())
    assert mended.set_aside.empty
    frame = mended.records.fillna({"note": ""})
    assert frame[["cow", "foot", "lesion", "toe_length_mm", "locomotion_score", "note"]].to_numpy().tolist() == [
        ["1", "LH", "DD", 76.0, 2, "lame"], ["3", "RH", "SU", 82.0, 1, "slow"], ["3", "RH", "WL", 82.0, 1, "slow"],
    ]  # fmt: skip


def test_sheets_of_several_kinds_stand_one_under_the_other() -> None:
    book = trims("lesion", "squishy", "ok")
    scores = only(b"date,farm,cow,score\n2026-03-14,Elm,1,9\n2026-03-14,Elm,2,3\n")
    # As the ledger keeps them: the row under row_no, with the import and the file.
    kept = pd.concat([book.set_aside.assign(source="a.csv"), scores.set_aside.assign(source="b.csv")])
    kept = kept.rename(columns={"row": "row_no"}).assign(import_no=3)
    text = write_set_aside(kept)
    first, second = check(text.encode())
    assert (first.kind, second.kind) == ("trims", "locomotion")
    assert (first.rows_read, second.rows_read) == (1, 1)
    assert not set(first.set_aside["row"]) & set(second.set_aside["row"])
    mended = check(text.replace("squishy", "ok").replace(",9,", ",2,").encode())
    assert [len(sheet.records) for sheet in mended] == [1, 1]


def test_the_messy_notebook_lists_its_planted_cells_and_no_others() -> None:
    sheet = only(messy(), "notebook.csv")
    # Two findings in one cell are two records.
    two = next(bad for bad in truths.MESSY_BAD_ROWS if bad.value == "ulcer + wart")
    assert sheet.records.loc[sheet.records["row"] == two.row, "lesion"].to_list() == ["SU", "DD"]
    bad_rows = [bad for bad in truths.MESSY_BAD_ROWS if bad is not two]
    said = {"14/03/2062": "2062-03-14", "inner": "medial"}
    assert sheet.set_aside["row"].to_list() == [bad.row for bad in bad_rows]
    assert sheet.set_aside["value"].to_list() == [said.get(bad.value, bad.value) for bad in bad_rows]
    lost = [bad.row for bad in bad_rows if bad.field in ("visit_date", "lesion", "cow")]
    assert (sheet.held, sheet.blanked) == (len(lost), len(bad_rows) - len(lost)) == (3, 4)
    assert not set(sheet.records["row"]) & set(lost)
    for bad in bad_rows:
        if bad.row not in lost:
            assert sheet.records.loc[sheet.records["row"] == bad.row, bad.field].isna().all()
    assert sheet.records["farm"].nunique() == 1
    assert "Columns that are no part of a trim were not read: mood." in map(str, sheet.notes)
    again = only(write_set_aside(sheet.set_aside).encode())
    assert (again.rows_read, again.held, again.blanked) == (len(bad_rows), 3, 4)


def test_nothing_set_aside_is_an_empty_text() -> None:
    assert write_set_aside(trims("lesion", "ok").set_aside) == ""


@given(st.text(max_size=20))
def test_cells_come_back_and_none_is_a_formula(text: str) -> None:
    safe = safe_text(text)
    assert bare_text(safe) == text or text[:1] == "'"
    if safe[:1] in ("=", "@", "\t", "\r"):
        raise AssertionError(safe)
    if safe[:1] in ("+", "-"):
        assert safe[1:].replace(",", "").replace(".", "").isdecimal()
    # What a sheet holds after reading is already bare, and then it is exact.
    assert bare_text(safe_text(bare_text(text))) == bare_text(text)


BAD_CELLS = ("zone", "severity", "dd_stage", "claw", "foot", "recheck_on", "parity", "lesion_detail", "action")


@pytest.mark.parametrize("cell", BAD_CELLS)
@pytest.mark.parametrize("word", ["none", "ok"])
@pytest.mark.parametrize("unfolded", [False, True])
def test_a_bad_optional_cell_of_a_sound_cow_never_loses_the_row(cell: str, word: str, unfolded: bool) -> None:
    """The sheet says that nothing was found, so that no lesion is missing."""
    more = "2026-03-14,Elm,x,,#8,\n" if unfolded else ""
    sheet = f"visit_date,farm,trimmer,{cell},cow,lesion\n2026-03-14,Elm,x,99,7,{word}\n{more}"
    read = only(sheet.encode())
    assert len(read.records) == read.rows_read
    assert (read.blanked, read.records.loc[0, "cow"]) == (len(read.set_aside), "7")
    assert pd.isna(read.records.loc[0, cell]) or read.records.loc[0, cell] == "other"


def test_a_bad_zone_beside_no_word_on_the_lesion_sets_the_row_aside() -> None:
    """It may be the lesion that is missing."""
    read = only(b"visit_date,farm,cow,zone,lesion\n2026-03-14,Elm,7,99,\n2026-03-14,Elm,8,4,SU\n")
    assert read.records["cow"].tolist() == ["8"]
