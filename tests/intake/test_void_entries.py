"""Entries that are marked as void, and cows that were not there, make no records in silence."""

from __future__ import annotations

import json

import pytest

from tests.intake.reading import asked, read, said

HEAD = "Date,Farm,Cow,Foot,Lesion,Remarks\n2026-03-04,Elm End,11,LH,SU,block\n"


@pytest.mark.parametrize(
    "mark",
    ["VOID - wrong cow", "deleted", "Cancelled.", "anulada", "storniert", "doorgehaald", "annulé", "vaca errada"],
)
def test_a_row_marked_void_is_asked_about_and_left_out(mark: str) -> None:
    sheet = f"{HEAD}2026-03-04,Elm End,12,LH,SU,{mark}\n"
    found = read(sheet)
    assert asked(found) >= {"void"}
    assert said(found, "cow") == [("11",)]
    assert said(read(sheet, void="keep"), "cow", "lesion") == [("11", "SU"), ("12", "SU")]


def test_a_column_that_marks_void_entries() -> None:
    rows = "2026-03-04,Elm End,12,LH,SU,\n2026-03-04,Elm End,13,RH,DD,yes\n2026-03-04,Elm End,14,RH,WL,no\n"
    found = read(f"Date,Farm,Cow,Foot,Lesion,Deleted\n{rows}")
    assert asked(found) >= {"void"}
    assert said(found, "cow", "note") == [("12", None), ("14", None)]


@pytest.mark.parametrize("key", ["deleted", "isDeleted", "void", "deletedAt"])
def test_a_void_finding_within_a_visit_leaves_the_cow_as_looked_at(key: str) -> None:
    cows = [
        {"tag": "12", "feet": {"LH": [{"lesion": "sole ulcer"}], "RH": [{"lesion": "foul", key: "2026-03-05"}]}},
        {"tag": "13", "feet": {"LH": [], "RH": [{"lesion": "foul", key: True}, {"lesion": "foul", key: True}]}},
        {"tag": "14", "feet": {"LH": [{"lesion": "sole ulcer", key: False}]}},
    ]
    found = read(json.dumps({"visits": [{"farm": "Elm End", "date": "2026-03-04", "cows": cows}]}), "app.json")
    assert asked(found) >= {"void-finding"}
    assert said(found, "cow", "foot", "lesion") == [("12", "LH", "SU"), ("13", None, None), ("14", "LH", "SU")]


def test_a_void_score_is_no_score() -> None:
    rows = "2026-03-04,Elm End,12,2,\n2026-03-04,Elm End,13,4,void\n2026-03-04,Elm End,14,1,\n"
    found = read(f"Date,Farm,Cow,Locomotion score (1-5),Remarks\n{rows}")
    assert [cow for (cow,) in said(found, "cow")] == ["12", "14"]


@pytest.mark.parametrize(
    "remark",
    ["n.v.", "no la encontramos", "couldn't find her", "niet gevonden", "non présentée", "não apareceu", "abs."],
)
def test_a_cow_that_was_not_there_is_asked_about(remark: str) -> None:
    found = read(f"Date,Farm,Cow,LH,RH,Remarks\n2026-03-04,Elm End,11,SU,,\n2026-03-04,Elm End,12,,,{remark}\n")
    assert asked(found) >= {"unseen"}
    assert said(found, "cow") == [("11",)]


def test_an_abbreviation_that_is_not_known_is_asked_about() -> None:
    """It may say that the cow was away."""
    sheet = "Date,Farm,Cow,LH,RH,Remarks\n2026-03-04,Elm End,11,SU,,\n2026-03-04,Elm End,12,,,q.w.\n"
    found = read(sheet)
    assert asked(found) >= {"mark:q w"}
    assert said(found, "cow") == [("11",)]
    answers = {"mark:q w": "sound"}
    assert said(read(sheet, **answers), "cow", "lesion") == [("11", "SU"), ("12", None)]


@pytest.mark.parametrize(
    ("heading", "yes", "no"),
    [("Trimmed", "yes", "No - calving"), ("Parage", "oui", "non"), ("Bekapt", "ja", "nee (droog)"),
     ("Bekapt", "ja", "nee"), ("Geschnitten", "ja", "nein - trocken"), ("Klauenpflege", "ja", "nein"),
     ("Recorte", "sí", "no, parida"), ("Casqueamento", "sim", "não"), ("Recortada", "sí", "no")],
)  # fmt: skip
def test_a_cow_that_was_not_trimmed_is_asked_about(heading: str, yes: str, no: str) -> None:
    """Only a bare English no was asked about; else the cow counted as looked at and sound."""
    rows = "".join(f"2026-04-14,Ash,{cow},{yes},{foot}\n" for cow, foot in ((3, "DD"), (6, ""), (7, ""), (8, "SU")))
    found = read(f'Date,Farm,Cow,{heading},RH\n{rows}2026-04-14,Ash,9,"{no}",\n')
    assert "unseen" in asked(found)
    assert said(found, "cow") == [("3",), ("6",), ("7",), ("8",)]
    assert "belongs to no finding" not in str(found.sheets[0].notes)
