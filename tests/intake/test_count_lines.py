"""Lines that count cows without a table come in as counts without cows, and prose does not."""

from __future__ import annotations

import datetime as dt

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


def counts(text: str, name: str = "notes.csv") -> CheckedSheet:
    found = understand_file(text.encode(), name, today=TODAY, answers=Answers({"farm": "Elm"}))
    [sheet] = found.sheets
    assert sheet.kind == "counts" and sheet.set_aside.empty
    return sheet


@pytest.mark.parametrize(
    "line",
    [
        "60 trimmed, 9 DD", "60 trimmed; 9 DD", "Trimmed 60, DD 9.", "trimmed: 60, digital dermatitis: 9",
        "60 trimmed and 9 DD", "Elm End: 60 trimmed, 9 DD",
    ],
)  # fmt: skip
def test_a_line_of_counts_is_kept_as_counts(line: str) -> None:
    sheet = counts(f"Elm End 2 March 2026\n{line}\n")
    [row] = sheet.records[["visit_date", "looked_at", "lesion", "cases", "row"]].values.tolist()
    assert [row[0].date().isoformat(), *row[1:]] == ["2026-03-02", 60, "DD", 9, 2]


def test_several_lesions_and_a_day_in_the_same_line() -> None:
    sheet = counts("Elm End, 2 March 2026: 60 trimmed, 9 DD, 4 sole ulcers\n")
    assert sheet.records[["lesion", "cases", "looked_at"]].values.tolist() == [["DD", 9, 60], ["SU", 4, 60]]


def test_lines_without_a_day_or_farm_are_asked_about() -> None:
    found = understand_file(b"60 trimmed, 9 DD\n", "notes.csv", today=TODAY, answers=Answers())
    assert {question.id for question in found.answers.blocking()} == {"farm", "visit-date"}


@pytest.mark.parametrize("text", ["We did 60 cows, 9 with warts or so.\n", "60 trimmed\n", "9 o'clock, 3 gates\n"])
def test_prose_is_no_count(text: str) -> None:
    with pytest.raises(UserError):
        understand_file(text.encode(), "notes.csv", today=TODAY, answers=Answers())
