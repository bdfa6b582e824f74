"""A lesion in its own column whose remark says that it is healed, and feet of a side and an end that says both."""

from __future__ import annotations

import datetime as dt

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from tests.intake.reading import read, said

TODAY = dt.date(2026, 11, 1)
HEALED = (
    "Date,Farm,Cow,Foot,Lesion,Remark\n2026-06-03,Ash,19,RH,SU,healed\n2026-06-03,Ash,24,LF,WL,\"old, grown out\"\n"
    "2026-06-03,Ash,25,LF,WL,\n2026-06-03,Ash,26,LH,SU,not healed yet\n2026-06-03,Ash,27,LH,SU,old DD healed\n"
)  # fmt: skip


def lesions(text: str, **given: str) -> tuple[list[str], Answers]:
    answers = Answers({key.replace("_", "-", 1): value for key, value in given.items()}, accept=True)
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=answers).sheets
    return [f"{row.foot} {row.lesion}" for row in sheet.records.astype(object).fillna("").itertuples()], answers


def test_a_remark_that_a_lesion_is_healed_is_asked_about() -> None:
    """The healed lesion counted as one of that visit, and nothing was asked."""
    found, answers = lesions(HEALED)
    assert found == ["RH ", "LF ", "LF WL", "LH SU", "LH SU"]
    asked = [answers.met[key] for key in answers.met if key.startswith("healed-remark")]
    assert [question.id for question in asked] == ["healed-remark:healed", "healed-remark:old grown out"]
    assert not any(question.safe for question in asked) and "row 2" in str(asked[0].text)
    found, _ = lesions(HEALED, **{"healed_remark:healed": "stays"})
    assert found[:2] == ["RH SU", "LF "]


@pytest.mark.parametrize(
    ("side", "end", "feet"), [("both", "hind", ["LH", "RH"]), ("left", "both", ["LF", "LH"]), ("L", "H", ["LH"])]
)
def test_both_beside_a_side_or_an_end_is_two_feet(side: str, end: str, feet: list[str]) -> None:
    text = f"Date,Farm,Cow,Side,End,Lesion\n2026-05-12,Ash,203,{side},{end},HHE\n2026-05-12,Ash,204,L,hind,DD\n"
    found, _ = lesions(text)
    assert found == [*(f"{foot} HHE" for foot in feet), "LH DD"]


def test_a_lesion_of_a_remark_stands_on_the_foot_of_its_row() -> None:
    """It stood on no foot, and beside it the foot of the row counted as sound."""
    rows = (
        "3,RH,outer,,sole ulcer", "6,LH,inner,SU,also DD", "8,RH,,ok,", "9,,,,DD", "10,LH,,,RF DD", "11,LH+RH,,,DD",
        "12,RH,,,white line outer",
    )  # fmt: skip
    sheet = "Date,Farm,Cow,Foot,Claw,Problem,Remark\n" + "".join(f"2026-04-14,Ash,{row}\n" for row in rows)
    assert said(read(sheet, remarks="read"), "cow", "foot", "claw", "lesion") == [
        ("3", "RH", "lateral", "SU"), ("6", "LH", "medial", "SU"), ("6", "LH", None, "DD"), ("8", "RH", None, None),
        ("9", None, None, "DD"), ("10", "LH", None, None), ("10", "RF", None, "DD"), ("11", None, None, "DD"),
        ("12", "RH", "lateral", "WL"),
    ]  # fmt: skip
