"""A question quotes the sheet's own words and says in which row they stand."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


@pytest.mark.parametrize(
    ("heads", "cell", "asked"),
    [
        ("LH,RH", "WLD lat 1,", "number:wl 1"), ("LH,RH", "?WL outer,", "uncertain:wl"),
        ("LH,RH", "sole ulcer has gone,", "healed:sole ulcer gone"), ("Foot,Lesion", "LH,WLD lat 2", "number:wl 2"),
    ],
)  # fmt: skip
def test_what_is_quoted_stands_in_the_sheet(heads: str, cell: str, asked: str) -> None:
    """The question named words put together by the program, and no row."""
    text = f"Date,Farm,Cow,{heads}\n2026-06-03,Ash,7,\n2026-06-03,Ash,8,{cell}\n"
    answers = Answers()
    understand_file(text.encode(), "sheet.csv", today=TODAY, answers=answers)
    met = [question for key, question in answers.met.items() if key.startswith(asked)]
    assert met
    for question in met:
        quoted = re.findall(r"'([^']*)'", str(question.text))
        assert quoted and all(words in text for words in quoted)
        assert "row 3" in str(question.text)
