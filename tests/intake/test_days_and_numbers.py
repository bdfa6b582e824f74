"""Days and numbers of cows as people write them beside plain ones."""

from __future__ import annotations

import datetime as dt

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


def test_a_roman_month_and_a_day_of_a_spreadsheet_are_days() -> None:
    """Both rows were set aside."""
    text = (
        "When,Farm,Cow,Foot,Lesion\n3 Feb 2026,Ash,1,RH,SU\n4.II.2026,Ash,2,RH,SU\n46059,Ash,3,RH,SU\n"
        "23/02/2026,Ash,4,RH,SU\n"
    )
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    days = [f"{day:%d %m %Y}" for day in sheet.records["visit_date"]]
    assert days == ["03 02 2026", "04 02 2026", "06 02 2026", "23 02 2026"]
    assert any("46059" in str(note) for note in sheet.notes)


def test_a_cow_with_a_comma_between_thousands_is_asked() -> None:
    text = "Date,Farm,Cow,Foot,Lesion\n2026-02-03,Ash,1188,RH,SU\n2026-02-03,Ash,\"1,204\",RH,SU\n"  # fmt: skip
    answers = Answers()
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=answers).sheets
    assert sheet.records["cow"].to_list() == ["1188", "1204"]
    assert not answers.met["cow-thousands"].safe and "'1,204'" in str(answers.met["cow-thousands"].text)
    kept = Answers({"cow-thousands": "written"})
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=kept).sheets
    assert sheet.records["cow"].to_list() == ["1188", "1,204"]
