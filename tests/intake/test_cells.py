"""Dates, numbers and words in cells; and rows that cannot be so."""

import datetime as dt
import json

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.checks.records import LEFT_BLANK
from evenfoot.analytics.intake.headings import match_heading
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.dates import DateOrder, decide_order, read_day
from evenfoot.analytics.intake.parsing.numbers import read_decimal, read_length, read_whole
from evenfoot.analytics.intake.pipeline import understand_file
from tests.intake.books import TODAY, only, reasons, trims

DAY_FIRST, MONTH_FIRST = DateOrder(True, "option"), DateOrder(False, "option")


@pytest.mark.parametrize(
    "text",
    ["2026-04-03", "2026/4/3", "2026.04.03", "20260403", "3/4/2026", "03.04.2026", "3-4-26", "3/4/26", "3 Apr 2026",
     "3rd April 2026", "Apr 3, 2026", "April 3rd 2026", "3-Apr-26", "3.Apr.2026", "Fri 3 April 2026", "3Apr2026",
     "2026-04-03T08:30:00Z", "3/4/2026 8:30 am", "2026-04-03 00:00:00", " 3/4/2026 ", "3. 4. 2026"],
)  # fmt: skip
def test_dates(text: str) -> None:
    assert read_day(text, DAY_FIRST, TODAY) == dt.date(2026, 4, 3)


@pytest.mark.parametrize(
    "text",
    ["12. März 2026", "12 de marzo de 2026", "12 de marzo del 2026", "12 mars 2026", "jeudi 12 mars 2026",
     "12 maart 2026", "Do. 12.03.2026", "quinta-feira, 12 de março de 2026", "12 mrt 26",
     "12-Mär-2026", "12º de março de 2026",
     "mar 12, 2026", "jue 12 mar 2026", "12.03.2026"],
)  # fmt: skip
def test_dates_in_six_languages(text: str) -> None:
    assert read_day(text, DAY_FIRST, TODAY) == dt.date(2026, 3, 12)


def test_a_first_of_the_month_in_french_and_a_weekday_that_is_a_month() -> None:
    assert read_day("1er avril 2026", DAY_FIRST, TODAY) == dt.date(2026, 4, 1)
    assert read_day("mar. 3 mars 2026", DAY_FIRST, TODAY) == dt.date(2026, 3, 3)
    assert read_day("mar 3/4/2026", DAY_FIRST, TODAY) == dt.date(2026, 4, 3)


@pytest.mark.parametrize(
    "text", ["30/2/2026", "2026-13-01", "14/14/2026", "yesterday", "12", "46095", "3 Foo 2026", "0/0/0", "3/4"]
)
def test_no_dates(text: str) -> None:
    with pytest.raises(Unreadable):
        read_day(text, DAY_FIRST, TODAY)


def test_month_first_two_digit_years_and_day_numbers() -> None:
    assert read_day("3/4/26", MONTH_FIRST, TODAY) == dt.date(2026, 3, 4)
    assert read_day("1/2/99", DAY_FIRST, TODAY) == dt.date(1999, 2, 1)
    assert read_day("46095", DAY_FIRST, TODAY, from_workbook=True) == dt.date(2026, 3, 14)


def test_the_rows_decide_the_order_and_those_that_do_not_fit_are_set_aside() -> None:
    order = decide_order([("14/3/2026", 3), ("3/14/2026", 1), ("1/2/2026", 9)], "x")
    assert (order.day_first, order.deciding, order.against) == (True, 3, 1)
    sheet = only(
        b"date,farm,cow,lesion\n14/3/2026,Elm,1,ok\n15/3/2026,Elm,2,ok\n3/16/2026,Elm,3,ok\n4/3/2026,Elm,4,ok\n"
    )
    assert reasons(sheet) == [(4, "date", "3/16/2026")]
    assert "day first" in sheet.set_aside.loc[0, "reason"]
    assert sheet.records["visit_date"].iloc[2] == pd.Timestamp("2026-03-04")
    assert any("day first" in note for note in sheet.notes)


@pytest.mark.parametrize(
    ("text", "number"),
    [("75", 75), ("29,5", 29.5), (" 3.25", 3.25), ("1.234,5", 1234.5), ("1,234.5", 1234.5), (",5", 0.5), ("-2", -2)],
)
def test_decimals(text: str, number: float) -> None:
    assert read_decimal(text) == number


@pytest.mark.parametrize("text", ["abc", "1e5", "7 5", "--3", "1,2,3", "5 kg", "\N{SUPERSCRIPT TWO}"])
def test_no_numbers(text: str) -> None:
    with pytest.raises(Unreadable):
        read_decimal(text)


def test_whole_numbers_and_lengths() -> None:
    assert [read_whole(text) for text in ("4", "4.0", "4,0", "1,200", "1 200", "-0")] == [4, 4, 4, 1200, 1200, 0]
    for text in ("4.5", "1e9", "9" * 5000):
        with pytest.raises(Unreadable):
            read_whole(text)
    assert (
        read_length("3 1/4", "in")
        == read_length('3.25"', "mm")
        == read_length("3\N{VULGAR FRACTION ONE QUARTER}", "in")
    )
    assert read_length("82,5 mm", "in") == 82.5
    assert read_length("3 1/4", "in") == pytest.approx(82.55)


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [("Toe length_in", "toe_length_mm", "in"), ("toe length (in)", "toe_length_mm", "in"),
     ("TOE-LENGTH [mm]", "toe_length_mm", "mm"),
     ("toe_length_mm", "toe_length_mm", "mm"), ("sole thickness cm", "sole_thickness_mm", "cm"),
     ("Toe Angle (deg)", "toe_angle_deg", "deg"),
     ("heel_depth_in", "heel_depth_mm", "in"), ("Cow No.", "cow", None),
     ("COW_ID", "cow", None), ("Ear tag", "cow", None),
     ("claw (outer/inner)", "claw", None), ("Leg", "foot", None), ("Lesion found", "lesion", None),
     ("loco score", "locomotion_score", None),
     ("cows in herd", "herd_size", None)],
)  # fmt: skip
def test_headings(heading: str, field: str, unit: str | None) -> None:
    found = match_heading(heading, "trims")
    assert found is not None and (found[0].name, found[1]) == (field, unit)


@pytest.mark.parametrize(
    ("headings", "cells", "column", "value"),
    [
        ("zone|lesion", "4|", "zone", "4"),
        ("severity|lesion", "2|ok", "severity", "2"),
        ("lesion|dd_stage", "|M2", "dd_stage", "M2"),
        ("foot|claw|lesion", "LH|blue|", "claw", "blue"),
        ("lesion|foot", "squishy|LH", "lesion", "squishy"),
        ("lesion|lesion_detail", "|XYZ", "lesion_detail", "XYZ"),
    ],
)
def test_a_row_that_may_lack_its_lesion_is_set_aside(headings: str, cells: str, column: str, value: str) -> None:
    # The first row is sound, so that the rule is shown to pass what it should.
    sheet = trims(headings, "|" * headings.count("|"), cells)
    assert reasons(sheet) == [(3, column, value)]
    line = sheet.set_aside.iloc[0]
    assert line["reason"].endswith(".") and line["remedy"].endswith(".") and line["remedy"] != LEFT_BLANK
    assert json.loads(line["original"])[column] == value
    assert len(sheet.records) == 1 and (sheet.held, sheet.blanked) == (1, 0)


@pytest.mark.parametrize(
    ("headings", "cells", "column", "value", "left"),
    [
        ("zone|lesion", "40|ulcer", "zone", "40", "lesion=SU"),
        ("zone|lesion", "-1|ulcer", "zone", "-1", "lesion=SU"),
        ("zone|lesion", "4.5|ulcer", "zone", "4.5", "lesion=SU"),
        ("severity|lesion", "4|ulcer", "severity", "4", "lesion=SU"),
        ("severity|lesion", "0|ulcer", "severity", "0", "lesion=SU"),
        ("severity|lesion", "2-3|ulcer", "severity", "2-3", "lesion=SU"),
        ("claw|lesion", "inner|ulcer", "claw", "inner", "lesion=SU"),
        ("foot|claw|lesion", "LH|blue|ulcer", "claw", "blue", "foot=LH lesion=SU"),
        ("foot|claw|lesion", "fifth|outer|ulcer", "foot", "fifth", "claw=lateral lesion=SU"),
        ("lesion|dd_stage", "SU|M2", "dd_stage", "M2", "lesion=SU"),
        ("lesion|dd_stage", "DD M1|M2", "dd_stage", "M2", "lesion=DD"),
        ("lesion|dd_stage", "DD|M7", "dd_stage", "M7", "lesion=DD"),
        ("lesion|lesion_detail", "WL|HFV", "lesion_detail", "HFV", "lesion=WL"),
        ("lesion|lesion_detail", "WLA|WLF", "lesion_detail", "WLF", "lesion=WL"),
        ("toe length|foot", "750|LH", "toe length", "750", "foot=LH"),
        ("toe_length_in|foot", "29,5|LH", "toe_length_in", "29,5", "foot=LH"),
        ("toe length|foot", "long|LH", "toe length", "long", "foot=LH"),
        ("toe length|toe length after", "75|80", "toe length after", "80", "toe_length_mm=75.0"),
        ("angle|foot", "12|LH", "angle", "12", "foot=LH"),
        ("heel depth|foot", "121|LH", "heel depth", "121", "foot=LH"),
        ("sole thickness|foot", "31|LH", "sole thickness", "31", "foot=LH"),
        ("toe break|foot", "61|LH", "toe break", "61", "foot=LH"),
        ("shed stage|foot", "6|LH", "shed stage", "6", "foot=LH"),
        ("herd size|lesion", "0|ok", "herd size", "0", ""),
        ("parity|lesion", "21|ok", "parity", "21", ""),
        ("calved|lesion", "2026-03-15|ok", "calved", "2026-03-15", ""),
        ("recheck|lesion", "2026-03-13|ok", "recheck", "2026-03-13", ""),
        ("recheck|lesion", "2062-03-13|ok", "recheck", "2062-03-13", ""),
        ("loco score|lesion", "7|ok", "loco score", "7", ""),
        ("loco score|scale|lesion", "4|0-3|ok", "loco score", "4", ""),
        ("loco score|scale|lesion", "0|1-5|ok", "loco score", "0", ""),
        ("loco score|lesion", "2.5|ok", "loco score", "2.5", ""),
        ("housing|lesion", "tent|ok", "housing", "tent", ""),
        ("feet seen|lesion", "nose|ok", "feet seen", "nose", ""),
    ],
)
def test_an_impossible_cell_is_left_blank_and_its_row_kept(
    headings: str, cells: str, column: str, value: str, left: str
) -> None:
    sheet = trims(headings, "|" * headings.count("|"), cells)
    assert reasons(sheet) == [(3, column, value)]
    line = sheet.set_aside.iloc[0]
    assert line["reason"].endswith(".") and line["remedy"] == LEFT_BLANK
    assert json.loads(line["original"])[column] == value
    assert len(sheet.records) == 2 and (sheet.held, sheet.blanked) == (0, 1)
    said = sheet.records.iloc[1].drop(["visit_date", "farm", "cow", "row", "locomotion_scale"]).dropna()
    assert " ".join(f"{name}={text}" for name, text in said.items()) == left


def test_a_word_under_a_heading_of_another_kind_stays_in_the_note() -> None:
    sheet = trims("visit type|lesion", "|", "party|ok")
    assert sheet.set_aside.empty
    assert sheet.records["note"].fillna("").to_list() == ["", "visit type: party"]


def test_a_number_of_a_shed_is_no_stage_of_shedding() -> None:
    sheet = trims("shed|foot", "2|LH", "6|LH")
    assert sheet.set_aside.empty and sheet.records["shed_stage"].isna().all()
    assert sheet.records["group"].to_list() == ["2", "6"]


def test_dates_that_cannot_be_and_missing_keys() -> None:
    sheet = only(
        b"date,farm,cow,lesion\n2026-11-01,Elm,1,ok\n2026-11-02,Elm,2,ok\n1979-12-31,Elm,3,ok\nlater,Elm,4,ok\n"
        b",Elm,5,ok\n2026-03-14,,6,ok\n2026-03-14,Elm,,ok\n2026-03-14,,-,blob\n"
    )
    assert sheet.records["cow"].to_list() == ["1"]
    lines = reasons(sheet)
    assert [line[:2] for line in lines[:6]] == [
        (3, "date"), (4, "date"), (5, "date"), (6, "date"), (7, "farm"), (8, "cow"),
    ]  # fmt: skip
    assert sorted(line[1] for line in lines[6:]) == ["cow", "farm", "lesion"]
    assert {line[0] for line in lines[6:]} == {9}


def test_what_was_understood_is_listed() -> None:
    sheet = trims("foot|lesion|toe_length_in", "left hind|Hairy wart|3,25", "LH|wart|", "LH|nothing|")
    listed = {(r.field, r.said): (r.understood_as, r.rows) for r in sheet.understood.itertuples()}
    assert listed["foot", "left hind"] == ("LH", 1)
    assert listed["lesion", "Hairy wart"] == ("DD", 1)
    assert listed["lesion", "nothing"] == ("nothing found", 1)
    assert "25.4" in listed["toe_length_mm", ""][0]
    assert sheet.records["toe_length_mm"].iloc[0] == pytest.approx(82.55)


def test_subtypes_stages_and_m0() -> None:
    sheet = trims(
        "lesion|detail|stage", "WL|abscess|", "white line abscess||", "|SHD|", "DD||4.1", "none||M0", "DD M3||", "SU||"
    )
    assert sheet.set_aside.empty
    frame = sheet.records.astype(object).where(sheet.records.notna(), None)
    assert frame[["lesion", "lesion_detail", "dd_stage"]].to_numpy().tolist() == [
        ["WL", "WLA", None], ["WL", "WLA", None], ["SH", "SHD", None], ["DD", None, "M4.1"], ["DD", None, "M0"],
        ["DD", None, "M3"], ["SU", None, None],
    ]  # fmt: skip


def test_extra_columns_and_telling_actions_are_kept_in_the_note() -> None:
    sheet = trims("lesion|action|mood|note", "ulcer|block|calm|see again", "ulcer|block + copper paint||", "ok|||")
    assert sheet.records["action"].to_list()[:2] == ["block", "block"]
    notes = sheet.records["note"].astype(object).where(sheet.records["note"].notna(), None).to_list()
    assert notes == ["see again; mood: calm", "action: block + copper paint", None]
    assert any("mood" in note for note in sheet.notes)


def test_second_findings_in_a_row_are_not_lost() -> None:
    sheet = trims("lesion 1|lesion 2", "ulcer|", "ulcer|wart", "ok|none")
    assert sheet.set_aside.empty
    assert (sheet.rows_read, sheet.sheet_rows, sheet.held) == (4, 3, 0)
    frame = sheet.records.astype(object).where(sheet.records.notna(), None)
    assert frame[["row", "lesion"]].to_numpy().tolist() == [[2, "SU"], [3, "SU"], [3, "DD"], [4, None]]


@pytest.mark.parametrize(("cell", "lesions"), [("SU + WL", ["SU", "WL"]), ("DD, HHE", ["DD", "HHE"])])
def test_findings_in_one_cell_are_a_record_each(cell: str, lesions: list[str]) -> None:
    sheet = trims("lesion|foot|herd size|note", "|||", f"{cell}|LH|60|limps")
    assert sheet.set_aside.empty and (sheet.rows_read, sheet.sheet_rows) == (3, 2)
    found = sheet.records[sheet.records["row"] == 3]
    assert found["lesion"].to_list() == lesions
    assert set(found["foot"]) == {"LH"} and set(found["herd_size"]) == {60} and set(found["note"]) == {"limps"}


@pytest.mark.parametrize(
    ("scores", "scale", "words"),
    [("1 2 4", "1-5", "4 or 5"), ("0 1 2", "0-3", "some are 0"), ("1 2 3", "1-5", "fit both")],
)
def test_the_scale_is_told_by_the_scores(scores: str, scale: str, words: str) -> None:
    rows = "\n".join(f"2026-03-14,Elm,{cow},{score}" for cow, score in enumerate(scores.split()))
    sheet = only(f"date,farm,cow,score\n{rows}\n".encode())
    assert set(sheet.records["scale"]) == {scale} and len(sheet.records) == 3
    assert any(words in note for note in sheet.notes)


def test_scales_are_told_farm_by_farm_and_by_the_heading() -> None:
    sheet = only(b"date,farm,cow,score\n2026-03-14,Elm,1,4\n2026-03-14,Oak,1,0\n2026-03-14,Elm,2,0\n")
    assert sheet.records["scale"].to_list() == ["1-5", "0-3"]
    assert reasons(sheet) == [(4, "score", "0")]
    named = only(b"date,farm,cow,mobility score (0-3)\n2026-03-14,Elm,1,2\n")
    assert named.records["scale"].to_list() == ["0-3"]


def test_register_rows_that_cannot_be() -> None:
    sheet = only(
        b"farm,cow,birth_date,calvings,entered_on,left_on,group_moves\n"
        b"Elm,1,2020-01-01,2022-01-02; 2023-02-03,,,2022-01-02 high\n"
        b"Elm,2,2020-01-01,2019-01-02,,,\nElm,3,,,2022-01-01,2021-01-01,\nElm,4,,soon,,,\nElm,5,,,,,2022-01-02\n"
        b"Elm,6,,2062-01-01,,,\n"
    )
    assert [line[:2] for line in reasons(sheet)] == [
        (3, "calvings"), (4, "left_on"), (5, "calvings"), (6, "group_moves"), (7, "calvings"),
    ]  # fmt: skip


def test_labels_keep_one_spelling() -> None:
    sheet = trims("group|feet seen|lesion", "High|hind|ok", "high |all|ok", "HIGH|LH, RH|ok")
    assert sheet.records["group"].to_list() == ["High"] * 3
    feet = sheet.records["feet_seen"].astype(object).where(sheet.records["feet_seen"].notna(), None).to_list()
    assert feet == ["LH RH", None, "LH RH"]


def test_a_diagnosis_outside_the_atlas_is_another_lesion_and_keeps_its_words() -> None:
    sheet = only(
        b"date,farm,cow,foot,lesion,note\n2026-03-12,Elm,1,LH,Stone in claw,limps\n2026-03-12,Elm,2,RH,Klauenrehe,\n"
        b"2026-03-12,Elm,3,RH,other,\n2026-03-12,Elm,4,RH,ulcer,\n"
    )
    assert sheet.set_aside.empty
    assert list(sheet.records["lesion"]) == ["other", "other", "other", "SU"]
    assert list(sheet.records["note"].fillna("")) == ["limps; lesion: Stone in claw", "lesion: Klauenrehe", "", ""]


def test_dates_with_dots_need_no_row_that_tells_their_order() -> None:
    assert decide_order([("12.03.2026", 4)], "x").day_first
    assert not decide_order([("12.03.2026", 1), ("3/14/2026", 2)], "x").day_first
    with pytest.raises(UserError):
        decide_order([("12.03.2026", 4), ("12/03/2026", 1)], "x")


def test_a_word_near_a_lesion_is_set_aside_where_a_person_wants_it() -> None:
    answers = {"word:ulser": "aside"}
    for text, feet in (("lesion,foot\n{},LH", 1), ("LH,RH\n{},WL", 2)):
        data = ("date,farm,cow," + text.format("ulser").replace("\n", "\n2026-03-14,Elm,1,")).encode()
        (sheet,) = understand_file(data, "book.csv", today=TODAY, answers=Answers(answers)).sheets
        assert [value for _, _, value in reasons(sheet)] == ["ulser"]
        assert (sheet.held, sheet.records["lesion"].to_list()) == (1, ["WL"] * (feet - 1))


def test_very_many_unknown_words_are_asked_about_together() -> None:
    letters = "bcdfghjklmnp"
    words = [f"qu{one}{other}zz" for one in letters for other in letters]
    rows = [f"2026-03-14,Elm,{place},LH,{word}" for place, word in enumerate([*words, words[0]])]
    data = "\n".join(["date,farm,cow,foot,lesion", *rows]).encode()
    found = understand_file(data, "book.csv", today=TODAY, answers=Answers())
    asked = {one.id: one for one in found.answers.open()}
    assert len(asked) == 101 and f"word:{words[0]}" in asked
    assert "44 more words" in str(asked["words"].text) and asked["words"].default == "aside"
    assert found.sheets[0].held == len(rows)
    (sheet,) = understand_file(data, "book.csv", today=TODAY, answers=Answers({"words": "other"}, accept=True)).sheets
    assert (len(sheet.records), sheet.held) == (44, 101) and set(sheet.records["lesion"]) == {"other"}
    assert set(sheet.records["note"]) < {f"lesion: {word}" for word in words} | set(words)
