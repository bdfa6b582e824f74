"""What is wrong above the foot is no lesion of it: it stays in the note. In the place of a lesion it is asked."""

from __future__ import annotations

import datetime as dt

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


@pytest.mark.parametrize(
    "text", ["swollen hock", "hock sore", "stifle", "nothing found in foot - stifle", "dickes Knie", "jarret enflé"]
)
def test_what_is_above_the_foot_is_no_finding(text: str) -> None:
    assert read_findings(text).findings == ()


@pytest.mark.parametrize("heads", ["Foot,Lesion", "LH,RH"])
def test_a_hock_in_the_place_of_a_lesion_is_asked_and_kept_with_its_words(heads: str) -> None:
    rows = ["LH,swollen hock", "RH,SU"] if "Foot" in heads else ["swollen hock,", ",SU"]
    text = f"Date,Farm,Cow,{heads}\n2026-05-19,Ash,7,{rows[0]}\n2026-05-19,Ash,8,{rows[1]}\n"
    answers = Answers()
    understand_file(text.encode(), "sheet.csv", today=TODAY, answers=answers)
    assert [question.id for question in answers.blocking()] == ["word:swollen hock"]
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    assert sheet.records["lesion"].fillna("").to_list() == ["other", "SU"]
    assert "swollen hock" in sheet.records["note"].fillna("").iloc[0]


def test_a_remark_about_the_hock_is_no_lesion() -> None:
    text = (
        "Date,Farm,Cow,Remark\n2026-01-08,Ash,12,nothing found in foot - stifle\n2026-01-08,Ash,13,swollen hock LH\n"
        '2026-01-08,Ash,14,"DD LH, hock sore"\n'
    )
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    assert sheet.records["lesion"].fillna("").to_list() == ["", "", "DD"]
    assert "hock sore" in sheet.records["note"].iloc[2]
