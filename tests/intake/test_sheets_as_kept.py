"""Sheets as people keep them: every record of every sheet is read, or asked about, and none is wrong in silence.

The sheets and what a person of the trade reads in them stand in ``tests/sheets`` [common practice, no source].
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, prepare_import, run_import
from tests.effort import some

SHEETS = Path(__file__).parent.parent / "sheets"
FILES = sorted((SHEETS / "files").iterdir())
TODAY = dt.date(2026, 11, 28)

AFTER = {"40b": "40a", "42b": "42a", "60b": "60a", "t87b": "t87a", "t88b": "t88a", "g16": "g15",
         "kb14b": "kb14a", "kb24b": "kb24a", "kb25b": "kb25a", "mc27b": "mc27a",
         "qe07": "qe04", "qe26": "qe25", "vg31": "vg30",
         "wh41": "wh02", "wh61b": "wh61a", "wh62": "wh03"}  # fmt: skip
"""A sheet that comes to a ledger that holds another."""

ANSWERS: dict[str, dict[str, str]] = {
    "56b": {"word:u": "SU", "word:m": "DD", "word:w": "WL"},
    "t80": {"word:k": "SU", "word:p": "DD", "word:q": "WL"},
    "b29": {"word:p9": "DS"},
    "t75": {"word:noen": "nothing", "zone:heel": "note"},
    **{
        key: {"farm": "Elm End"}
        for key in (
            "c08",
            "c10",
            "c20",
            "c24",
            "de2",
            "de3",
            "e07",
            "f10",
            "f23",
            "g10",
            "a24",
            "t93",
            "h130",
            "kb28",
            "mc11",
            "nd24",
            "wh57",
        )
    },
}
"""What a person answers where no answer is likeliest."""

KNOWN_ALREADY = {"60b": 4, "g16": 7, "kb25b": 4, "wh62": 11}
"""Records of a sheet that are in the ledger already, and that the expected ones leave out."""

NO_RECORDS = {"t84", "qe24", "wh36"}
"""Sheets that are none of a trim: they are refused with a sentence."""


def key_of(path: Path) -> str:
    return path.name.split("_")[0]


def prepared(path: Path, folder: Path, *, accept: bool, given: dict[str, str] | None = None) -> PreparedImport:
    ledger = open_ledger(str(folder / "kept.duckdb"))
    earlier = AFTER.get(key_of(path))
    if earlier is not None and not ledger.exists:
        [before] = [one for one in FILES if key_of(one) == earlier]
        run_import(ledger, prepare_import(ledger, before, before.name, accept=True, today=TODAY), "0" * 64)
    return prepare_import(ledger, path, path.name, today=TODAY, given=given, accept=accept)


def records_of(sheets: list[CheckedSheet]) -> list[dict[str, Any]]:
    out = []
    names = {"date": "visit_date", "score": "locomotion_score", "scale": "locomotion_scale", "scorer": "trimmer"}
    for sheet in sheets:
        if sheet.kind not in ("trims", "locomotion"):
            continue
        frame = sheet.records.rename(columns=names if sheet.kind == "locomotion" else {})
        frame = frame.astype(object).where(frame.notna(), None)
        out += frame.to_dict("records")
    return out


def is_same(expected: dict[str, Any], got: dict[str, Any]) -> bool:
    """Whether a record says what is expected; what has to be asked is expected to be null and may be anything."""
    for name, value in expected.items():
        found = got.get(name)
        if name.endswith(("_date", "_on")) and found is not None:
            found = str(found)[: len(value) if value else 10]
        if value is None and name in ("visit_date", "farm"):
            continue
        if isinstance(value, int | float) and found is not None:
            found = float(found)
        if found != value:
            return False
    return True


def compare(path: Path, sheets: list[CheckedSheet]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Expected records that were not read, and records that were not expected."""
    expected = json.loads((SHEETS / "expected" / f"{path.name}.json").read_text("utf-8"))
    rest = records_of(sheets)
    missing = []
    for one in expected:
        place = next((place for place, got in enumerate(rest) if is_same(one, got)), None)
        if place is None:
            missing.append(one)
        else:
            del rest[place]
    return missing, rest


KNOWN = [path for path in FILES if key_of(path)[0].isdigit()]
OTHERS = [path for path in FILES if not key_of(path)[0].isdigit() and key_of(path) not in NO_RECORDS]


@pytest.mark.parametrize("path", [*KNOWN, *some(OTHERS)], ids=key_of)
def test_every_record_is_read_and_none_is_wrong_in_silence(path: Path, tmp_path: Path) -> None:
    """Every record is read once questions are answered. Without answers, what is not as expected is asked about, or its
    row is set aside."""
    bare = prepared(path, tmp_path, accept=False)
    missing, more = compare(path, bare.sheets)
    right = not missing and len(more) == KNOWN_ALREADY.get(key_of(path), 0)
    assert right or bare.answers.blocking() or bare.set_aside
    if right and not bare.answers.blocking():
        return
    found = prepared(path, tmp_path, accept=True, given=ANSWERS.get(key_of(path)))
    missing, more = compare(path, found.sheets)
    assert missing == []
    assert len(more) == KNOWN_ALREADY.get(key_of(path), 0), more
    assert found.answers.blocking() == []


def test_diagnoses_outside_the_atlas_keep_their_words(tmp_path: Path) -> None:
    [path] = [one for one in FILES if key_of(one) == "t81"]
    notes = " ".join(str(one["note"]) for one in records_of(prepared(path, tmp_path, accept=True).sheets)).casefold()
    for words in ("swollen hock", "nail in the sole", "septic joint", "acute laminitis"):
        assert words in notes


def test_counts_without_cows_are_kept_as_counts(tmp_path: Path) -> None:
    [path] = [one for one in FILES if key_of(one) == "t82"]
    [sheet] = prepared(path, tmp_path, accept=True).sheets
    assert sheet.kind == "counts"
    first = sheet.records[sheet.records["lesion"] == "DD"].iloc[0]
    assert (first["looked_at"], first["cases"], first["farm"]) == (120, 18, "Pine Hollow")


def test_a_layout_told_once_is_read_the_next_time_without_asking(tmp_path: Path) -> None:
    [path] = [one for one in FILES if key_of(one) == "56b"]
    ledger = open_ledger(str(tmp_path / "kept.duckdb"))
    first = prepare_import(ledger, path, path.name, today=TODAY, given=ANSWERS["56b"])
    run_import(ledger, first, "0" * 64)
    later = path.read_bytes().replace(b"2026-08-25", b"2026-09-25")
    again = prepare_import(ledger, later, "september.csv", today=TODAY)
    assert again.answers.blocking() == []
    assert [one["lesion"] for one in records_of(again.sheets)] == ["SU", "DD", None, "WL", "WL"]


def test_a_lesion_in_a_remark_is_asked_about_even_where_its_day_is_not_certain(tmp_path: Path) -> None:
    """ "Had" may tell of another time; a cow who is clean but for that remark is not taken for sound in silence."""
    text = "Date,Farm,Cow,LF,RF,LH,RH,Remarks\n2026-03-04,Elm End,12,ok,ok,ok,SU,\n2026-03-04,Elm End,16,,,,,{}\n"
    ledger = open_ledger(str(tmp_path / "kept.duckdb"))
    for remark in ("also had WL on LH", "LH white line"):
        found = prepare_import(ledger, text.format(remark).encode(), "sheet.csv", today=TODAY)
        assert [question.id for question in found.answers.blocking()] == ["remarks"]
    assert prepare_import(ledger, text.format("walks well").encode(), "sheet.csv", today=TODAY).answers.blocking() == []


def test_a_misspelt_word_offers_each_lesion_once_and_by_its_name(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "kept.duckdb"))
    text = b"date,farm,cow,foot,lesion\n2026-03-04,Elm End,14,LH,Mortelaro\n"
    [question] = prepare_import(ledger, text, "sheet.csv", today=TODAY).answers.blocking()
    values = [choice.value for choice in question.choices]
    assert question.default == "DD" and len(values) == len(set(values))
    assert str(question.choices[0].says) == "digital dermatitis"


def test_a_number_alone_is_a_day_of_the_visit_and_none_to_look_again(tmp_path: Path) -> None:
    """Under "Recheck" 14 may be the days to wait; the cell is left blank and listed."""
    rows = "12,14,LH,SU,14\n13,27,RH,DD,28\n13,31,RH,WL,2026-04-10\n"
    text = f"Elm End trim March 2026\nDay,Cow,Foot,Lesion,Recheck\n{rows}".encode()
    ledger = open_ledger(str(tmp_path / "kept.duckdb"))
    found = prepare_import(ledger, text, "sheet.csv", today=TODAY, accept=True)
    said = [(str(one["visit_date"])[:10], one["farm"], str(one["recheck_on"])[:10]) for one in records_of(found.sheets)]
    assert said == [
        ("2026-03-12", "Elm End", "None"), ("2026-03-13", "Elm End", "None"), ("2026-03-13", "Elm End", "2026-04-10"),
    ]  # fmt: skip
    assert [sheet.blanked for sheet in found.sheets] == [2]


@pytest.mark.parametrize("line", ["Elm End 3/4/2026,,,,", "Elm End,,3/4/2026,,", "Elm End,Date: 3/4/2026,,,"])
def test_a_date_in_a_line_that_can_be_read_both_ways_is_asked_about(line: str, tmp_path: Path) -> None:
    sheet = f"{line}\nCow,LF,RF,LH,RH\n12,,,SU,\n14,,,,DD\n".encode()
    ledger = open_ledger(str(tmp_path / "kept.duckdb"))
    found = prepare_import(ledger, sheet, "trim.csv", today=TODAY, accept=True, given={"date-order": "month-first"})
    assert [str(one["visit_date"])[:10] for one in records_of(found.sheets)] == ["2026-03-04"] * 2
    bare = prepare_import(ledger, sheet, "trim.csv", today=TODAY)
    assert "date-order" in {question.id for question in bare.answers.blocking()}


def test_a_degree_behind_a_lesion_is_kept_in_a_sheet_of_one_row_a_finding(tmp_path: Path) -> None:
    sheet = b"Date,Farm,Cow,Foot,Lesion\n2026-03-04,Elm End,12,LH,SU+++\n2026-03-04,Elm End,14,RH,DD ++\n"
    found = prepare_import(open_ledger(str(tmp_path / "kept.duckdb")), sheet, "trim.csv", today=TODAY, accept=True)
    assert [(one["lesion"], one["severity"]) for one in records_of(found.sheets)] == [("SU", 3), ("DD", 2)]


def of(sheet: str, folder: Path) -> list[dict[str, Any]]:
    found = prepare_import(open_ledger(str(folder / "kept.duckdb")), sheet.encode(), "a.csv", today=TODAY, accept=True)
    return records_of(found.sheets)


def test_another_number_beside_the_cow_is_kept(tmp_path: Path) -> None:
    said = of("Date,Farm,Cow,Number,Lesion\n2026-03-04,Elm,12,17,SU\n2026-03-04,Elm,13,18,DD\n", tmp_path)
    assert [(one["cow"], one["note"]) for one in said] == [("12", "Number: 17"), ("13", "Number: 18")]


def test_feet_by_the_numbers_of_the_key(tmp_path: Path) -> None:
    key = '"1 = left front, 2 = right front, 3 = left hind, 4 = right hind",,,,\n'
    rows = '2026-03-04,Elm,12,3,SU\n2026-03-04,Elm,13,"1,2",DD\n2026-03-04,Elm,14,,ok\n'
    said = of(f"{key}Date,Farm,Cow,Feet,Lesion\n{rows}", tmp_path)
    assert [(one["cow"], one["foot"]) for one in said] == [("12", "LH"), ("13", "LF"), ("13", "RF"), ("14", None)]


def test_a_farm_beside_the_number_of_its_cows_keeps_its_name(tmp_path: Path) -> None:
    [one] = of("Farm: Elm End (148 cows),,\nDate,Cow,LH\n2026-03-04,12,SU\n", tmp_path)
    assert (one["farm"], one["herd_size"]) == ("Elm End", 148)


def test_a_cow_with_a_name_below_numbered_ones_is_a_cow(tmp_path: Path) -> None:
    """What stands beside her could count the cells above by chance."""
    rows = "2026-03-04,Elm,12,1,2\n2026-03-04,Elm,13,1,2\n2026-03-04,Elm,14,1,1\n2026-03-04,Elm,Bella,3,2\n"
    said = of(f"Date,Farm,Cow,Lactation,Locomotion score (0-3)\n{rows}", tmp_path)
    assert [one["cow"] for one in said] == ["12", "13", "14", "Bella"]


def test_a_scale_of_gait_in_a_line_says_nothing_of_numbers_behind_lesions(tmp_path: Path) -> None:
    table = "Date,Farm,Cow,LH\n2026-03-04,Elm,12,WL 3\n"
    sheet = f'"Mobility: 1 mild, 2 moderate, 3 severe",,,\n{table}'.encode()
    found = prepare_import(open_ledger(str(tmp_path / "kept.duckdb")), sheet, "a.csv", today=TODAY)
    assert "number:wl 3" in {question.id for question in found.answers.open()}
