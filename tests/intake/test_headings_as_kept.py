"""Headings as people write them: glued, in three rows, in two languages, of cows not seen, in inches."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.layouts.roles import read_heading
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


def read(text: str, **answers: str) -> tuple[list[dict[str, Any]], Answers]:
    """The records, each with the fields that are filled; the questions that were met."""
    given = Answers(answers)
    [sheet] = understand_file(text.encode(), "kept.csv", today=TODAY, answers=given).sheets
    fields = ("cow", "farm", "foot", "claw", "lesion", "zone", "toe_length_mm", "score", "scale", "action")
    rows = sheet.records.reindex(columns=list(fields)).astype(object).to_dict("records")
    return [
        {str(name): value for name, value in row.items() if value == value and value is not None} for row in rows
    ], (given)


def places(rows: list[dict[str, Any]]) -> list[tuple[Any, ...]]:
    return [(row["cow"], row.get("foot"), row.get("claw"), row.get("lesion")) for row in rows]


@pytest.mark.parametrize(
    ("heading", "code"),
    [
        ("LHo", "claw LH lateral"), ("RFi", "claw RF medial"), ("HRA", "claw RH lateral"),
        ("Posteriores Der", "foot RH"), ("Hind left inner", "claw LH medial"), ("Kuh/Cow", "cow"),
        ("Klotz / Block", "action block"), ("toe_in", "toe_length_mm"), ("after (mm)", "toe_length_after_mm"),
    ],
)  # fmt: skip
def test_headings(heading: str, code: str) -> None:
    role = read_heading(heading)
    assert role is not None and role.code == code


def test_claws_glued_to_feet() -> None:
    rows, _ = read("Visit,Farm,Cow,LFo,LFi,LHo,RHo\n2026-01-20,Ash,701,,,SH,SU\n2026-01-20,Ash,710,,WL,,\n")
    assert places(rows) == [
        ("701", "LH", "lateral", "SH"), ("701", "RH", "lateral", "SU"), ("710", "LF", "medial", "WL"),
    ]  # fmt: skip


def test_one_word_that_looks_like_a_claw_is_some_other_word() -> None:
    rows, _ = read("Dat,Frm,Cow Nr,Foot,Lesion\n2026-05-11,Ash,7,RH,SU\n2026-05-11,Ash,8,LH,DD\n")
    assert places(rows) == [("7", "RH", None, "SU"), ("8", "LH", None, "DD")]


def test_three_rows_of_headings() -> None:
    rows, _ = read(
        "Hollin,,,,,\nCow,Date,HIND,,FRONT,\n,,Left,,Left,\n,,Lat,Med,Lat,Med\n21,2026-02-09,SU z4,,,\n"
        "29,2026-02-09,,DS,,\n30,2026-02-09,TS,TS,,\n33,2026-02-09,,,,WL z2\n",
        farm="Hollin",
    )
    assert places(rows) == [
        ("21", "LH", "lateral", "SU"), ("29", "LH", "medial", "DS"), ("30", "LH", "lateral", "TS"),
        ("30", "LH", "medial", "TS"), ("33", "LF", "medial", "WL"),
    ]  # fmt: skip


def test_every_column_told_to_hold_lesions_is_read() -> None:
    text = "Visit,Farm,Cow,Aa,Bb,Cc\n2026-01-20,Ash,1,SH LH,,SU RH\n2026-01-20,Ash,2,DD LH,WL RH,\n"
    rows, asked = read(text)
    assert {"column:aa", "column:bb", "column:cc"} <= set(asked.met)
    assert sorted(map(str, places(rows))) == sorted(
        map(str, [("1", "LH", None, "SH"), ("1", "RH", None, "SU"), ("2", "LH", None, "DD"), ("2", "RH", None, "WL")])
    )


def test_cows_not_seen_are_no_sound_cows() -> None:
    text = "Date,Farm,Cow,Done,Foot,Finding\n2026-03-30,Ash,1,y,RH,SU\n2026-03-30,Ash,2,y,,\n2026-03-30,Ash,3,n,,\n"
    text += "2026-03-30,Ash,4,,,\nnot seen,2,,,,\n"
    rows, asked = read(text)
    assert [row["cow"] for row in rows] == ["1", "2"] and "unseen" in asked.met
    assert all("action" not in row for row in rows)
    rows, _ = read(text, unseen="sound")
    assert [row["cow"] for row in rows] == ["1", "2", "3", "4"]


def test_marks_of_several_sorts_and_a_blank_farm() -> None:
    rows, _ = read(
        'Date,Farm,Cow,Foot,Lesion\n2026-04-07,Wren Hill,15,RH,SU\n"""",,16,LH,""""\ndo.,do.,18,LH,DD\n'
        "\N{DITTO MARK},\N{DITTO MARK},22,RH,WL\n"
    )
    assert {row["farm"] for row in rows} == {"Wren Hill"}
    assert places(rows) == [
        ("15", "RH", None, "SU"), ("16", "LH", None, "SU"), ("18", "LH", None, "DD"), ("22", "RH", None, "WL"),
    ]  # fmt: skip


def test_headings_in_two_languages() -> None:
    rows, _ = read(
        "Datum/Date;Betrieb/Farm;Kuh/Cow;Bein/Foot;Klaue/Claw;Befund/Finding\n14.07.2026;Ash;55;HL;außen;SU\n"
        "14.07.2026;Ash;60;;;ohne Befund / nothing\n"
    )
    assert places(rows) == [("55", "LH", "lateral", "SU"), ("60", None, None, None)]


def test_toes_in_inches_are_asked_about() -> None:
    rows, asked = read(
        "date,farm,cow,foot,claw,toe_in,lesion\n2026-05-19,Ash,7,RH,L,3.5,SU\n2026-05-19,Ash,8,RH,L,3.0,\n"
    )
    assert [row["toe_length_mm"] for row in rows] == pytest.approx([88.9, 76.2])
    assert "column:toe in" in asked.met


def test_the_scale_in_a_title_is_no_part_of_the_farm() -> None:
    rows, _ = read("Locomotion 0-3  Fern Croft\n2 March 2026\nCow,Score\n14,1\n27,2\n33,0\n", farm="line")
    assert {(row["farm"], row["scale"]) for row in rows} == {("Fern Croft", "0-3")}


def test_a_place_that_never_changes_is_asked_to_be_the_farm() -> None:
    rows, asked = read("When,Place,Cow,Leg,Finding\n2026-02-02,Grange,1,RH,SU\n2026-02-02,Grange,2,LH,DD\n")
    assert {row["farm"] for row in rows} == {"Grange"} and "column:place" in asked.met


def test_feet_under_heel_are_asked_about() -> None:
    rows, asked = read("Date,Farm,Cow,DD,Heel\n2026-02-17,Ash,88,LH,\n2026-02-17,Ash,110,,all four\n")
    assert asked.met["column:heel"].default == "lesion HHE"
    assert [row["foot"] for row in rows if row.get("lesion") == "HHE"] == ["LF", "RF", "LH", "RH"]
