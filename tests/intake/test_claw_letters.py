"""Letters that stand for a claw behind a foot or a lesion, in the language of the sheet."""

from __future__ import annotations

import datetime as dt

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)
KEY = "\n".join(
    ["Legende:", "RG = Rusterholzsches Sohlengeschwür", "WLD = Weiße-Linie-Defekt", "SG = Sohlenblutung", ""]
)


@pytest.mark.parametrize(
    ("text", "claw", "asked"),
    [
        ("SU a", "lateral", "a"), ("SU i", "medial", "i"), ("SU o", "lateral", "o"), ("RH SU o", "lateral", "o"),
        ("SU i HR", "medial", "i"), ("HR a DD", "lateral", "a"), ("HR i SU", "medial", ""), ("SU I", None, "I"),
        ("SU a bit", None, ""), ("SU II", None, ""),
    ],
)  # fmt: skip
def test_a_letter_behind_a_lesion_is_its_claw_and_asked(text: str, claw: str | None, asked: str) -> None:
    """The small i was a degree, and the other letters stayed unread."""
    reading = read_findings(text)
    assert [finding.claw for finding in reading.findings] == [claw]
    assert "".join(doubt.word for doubt in reading.doubts) == asked
    if asked:
        [doubt] = reading.doubts
        other = next(one for one in doubt.choices if one != doubt.default)
        taught = read_findings(text, taught={asked.casefold(): other})
        assert not taught.doubts and taught.findings[0].claw == {"claw:medial": "medial"}.get(other)


@pytest.mark.parametrize("text", ["HR a", "HR i", "RH o"])
def test_a_letter_behind_a_foot_is_its_claw(text: str) -> None:
    reading = read_findings(text)
    assert reading.feet == ("RH",) and len(reading.claws) == 1 and not reading.doubts


def test_in_a_german_sheet_the_letters_are_claws_and_nothing_is_asked() -> None:
    text = (
        "Datum;Betrieb;Kuh-Nr.;VL;VR;HL;HR\n21.05.2026;Esch;1;WLD a;;;RG a\n21.05.2026;Esch;2;;;SG a;WLD i\n"
        "21.05.2026;Esch;3;;;SG i;\n" + KEY
    )
    answers = Answers()
    [sheet] = understand_file(text.encode(), "buch.csv", today=TODAY, answers=answers).sheets
    assert list(zip(sheet.records["lesion"], sheet.records["claw"], strict=True)) == [
        ("WL", "lateral"), ("SU", "lateral"), ("SH", "lateral"), ("WL", "medial"), ("SH", "medial"),
    ]  # fmt: skip
    assert sheet.records["severity"].isna().all()
    assert not any(question.id.startswith(("claw:", "number:")) for question in answers.met.values())


def test_in_an_english_sheet_the_letter_is_asked_with_the_words_of_the_sheet() -> None:
    text = "Date,Farm,Cow,LH,RH\n2026-05-21,Ash,1,,SU i\n2026-05-21,Ash,2,DD,\n"
    answers = Answers()
    understand_file(text.encode(), "book.csv", today=TODAY, answers=answers)
    assert "'SU i'" in str(answers.met["claw:i"].text) and not answers.met["claw:i"].safe
