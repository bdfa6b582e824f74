"""Titles say what a table holds, in counts of a hundred, and nothing where it holds too little."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import findings, findings_in_time
from evenfoot.dashboard.charts.labels import value_label


def answer(*rows: dict[str, Any]) -> Answer:
    return Answer("made up", pd.DataFrame(list(rows)), Basis(farms=1, visits=2, cows=90, trims=90))


MONTHS = [
    {
        "month": pd.Timestamp(year, 6, 1),
        "from_month": pd.Timestamp(year, 6, 1) - pd.DateOffset(months=5),
        "prevalence": share,
    }
    for year, share in ((2025, 0.2), (2026, 0.31))
]
QUARTER = pd.Timestamp(2026, 7, 1)
CONTROL = {"month": pd.Timestamp(2026, 5, 1), "prevalence": 0.4, "centre": 0.2, "upper": 0.3, "baseline": False}


def line(odds: tuple[float, float], start: float, end: float) -> Answer:
    rows = [("odds ratio a year", sum(odds) / 2, *odds), ("start", start, 0.0, 1.0), ("end", end, 0.0, 1.0)]
    return answer(*(dict(zip(("term", "estimate", "low", "high"), row, strict=True)) for row in rows))


def lesions(*, p: float, adjusted: float = math.nan) -> pd.DataFrame:
    """Sole ulcers: 30 of 100 on pasture, 10 of 100 in the reference."""
    row = {"lesion": "SU", "group": "pasture", "prevalence": 0.3, "reference_cases": 10, "reference_at_risk": 100,
           "q_value": p, "adj_odds_ratio": adjusted}  # fmt: skip
    return findings.with_words(pd.DataFrame([row]))


CASES: list[tuple[Callable[[Answer], str], Answer, str]] = [
    (
        findings.claws_of_most,
        answer({"foot": "LH", "claw": "lateral", "cases": 3}, {"foot": "RH", "claw": "lateral", "cases": 2},
               {"foot": "LF", "claw": "medial", "cases": 4}, {"foot": "RH", "claw": "not recorded", "cases": 40}),
        "On claws, most on the outer ones of the hind feet",
    ),
    (findings_in_time.newest_stretch, answer(*MONTHS), "6 months to Jun 2026: 31 of 100, a year before 20"),
    (findings_in_time.newest_month, answer(*MONTHS), "Jun 2026: 31 of 100, a year before 20"),
    (
        findings_in_time.newest_quarter,
        answer({"quarter": QUARTER, "lesion": "SU", "prevalence": 0.1, "cases": 3},
               {"quarter": QUARTER, "lesion": "DD", "prevalence": 0.2, "cases": 6}),
        "Jul to Sep 2026: digital dermatitis most, 20 of 100",
    ),
    (
        findings_in_time.farms_in_newest_quarter,
        answer({"quarter": QUARTER, "farm": "A", "prevalence": 0.1},
               {"quarter": QUARTER - pd.DateOffset(months=3), "farm": "B", "prevalence": 0.32},
               {"quarter": QUARTER - pd.DateOffset(months=9), "farm": "B", "prevalence": 0.6}),
        "Newest quarter of each farm: 10 to 32 of 100",
    ),
    (findings_in_time.rising_or_falling, line((1.1, 1.9), 0.1, 0.3), "Rising: 10 of 100 at the start, 30 at the end"),
    (findings_in_time.rising_or_falling, line((0.4, 0.8), 0.3, 0.1), "Falling: 30 of 100 at the start, 10 at the end"),
    (findings_in_time.rising_or_falling, line((0.9, 1.9), 0.1, 0.3), "No clear trend"),
    (findings_in_time.rising_or_falling, line((math.nan, math.nan), 0.1, 0.3), "Too few to say"),
    (findings_in_time.time_of_most,
     answer({"estimate": 1.8, "words": ""}, {"estimate": 9.2, "words": say("early {name}", name=say("September"))}),
     "Most of it in early September"),
    (findings_in_time.time_of_most, answer({"estimate": 1.1, "words": ""}, {"estimate": math.nan, "words": ""}),
     "No season can be told from chance"),
    (findings.come_back,
     answer({"lesion": "SU", "free_180": 0.4, "at_risk": 12}, {"lesion": "DD", "free_180": 0.6, "at_risk": 80}),
     "Of 10 cases of digital dermatitis 4 are back within half a year"),
    (
        findings_in_time.this_year,
        answer({"year": 2026, "prevalence": 0.25, "direction": None},
               {"year": 2025, "prevalence": 0.4, "direction": "fall"}),
        "2026: 25 of 100, 2025 in the same months: 40; likely real",
    ),
    (findings.sound_again, answer({"cases": 30, "at_risk": 50}, {"cases": 10, "at_risk": 50}),
     "Of 10 lame cows 4 are sound at the next scoring"),
    (findings.becoming_lame, answer({"from_state": "sound", "to_state": "lame", "share": 0.123}),
     "Of 100 sound cows 12 are lame at the next scoring"),
    (findings.new_cases, answer({"lesion": "SU", "rate_per_100": 0.51}, {"lesion": "DD", "rate_per_100": 1.74}),
     "Digital dermatitis: 1.7 new cases in 100 cows a month, the most"),
    (
        findings.called,
        answer({"what": "lame", "verdict": "worse"}, {"what": "SU", "verdict": "worse"},
               {"what": "DD", "verdict": "better"}),
        "Worse: lameness, sole ulcer; Better: digital dermatitis",
    ),
    (findings.called, answer({"what": "lame", "verdict": "no-clear-change"}), "No clear change in anything"),
    (findings.called, answer({"what": "lame", "verdict": "too-few"}), "Too few to say"),
    (findings.farms_called, answer({"farm": "A", "verdict": "worse"}, {"farm": "B", "verdict": "better"}),
     "1 of 2 farms is worse"),
    (findings.order_of_farms, answer({"farm": "A", "shrunken": 0.2, "outside": ""},
                                     {"farm": "B", "shrunken": 0.5, "outside": ""}),
     "No farm lies outside the usual spread. B 50 of 100, A 20"),
    (findings.order_of_farms, answer({"farm": "A", "shrunken": 0.2, "outside": ""},
                                     {"farm": "B", "shrunken": 0.5, "outside": "above"}),
     "Outside the usual spread: B. B 50 of 100, A 20"),
    (findings.shedding, answer({"shed_stage": 0, "feet": 85}, {"shed_stage": 1, "feet": 15}),
     "15 of 100 feet have begun to shed"),
    (findings.cows_due, answer({"cow": "1", "who": "veterinarian"}, {"cow": "2", "who": "trimmer"}),
     "2 cows due, 1 for the veterinarian"),
    (findings.least_complete,
     answer({"field": "claw", "share": 0.5, "n": 10}, {"field": "foot", "share": 0.9, "n": 10}),
     "Least filled in: claw, 50 of 100 records"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (lesions(p=0.001), "Sole ulcer: Pasture 30 of 100, Tie stall 10; likely real"),
        (lesions(p=0.001, adjusted=3.0), "Sole ulcer: Pasture 30 of 100, Tie stall 10; likely real"),
        (lesions(p=0.001, adjusted=0.5),
         "Sole ulcer: Pasture 30 of 100, Tie stall 10; held alike it is the other way round"),
        (lesions(p=0.3), "No lesion clearly differs between the groups"),
    ],
)  # fmt: skip
def test_a_difference_that_turns_round_is_not_called_real(table: pd.DataFrame, said: str) -> None:
    assert findings.difference_of_lesions(table, "housing", "tie-stall") == said


def test_the_place_where_two_groups_differ_allows_for_how_many_places_there_are() -> None:
    place = {"foot": "LH", "claw": None, "zone": 10}
    clear, not_clear = {"difference": -0.2, "low": -0.26, "high": -0.14}, {"difference": 0.3, "low": 0.02, "high": 0.58}
    rows = [{**place, **clear}, {**place, "foot": "RH", **not_clear}]
    said = findings.place_of_difference(answer(*rows), ("Pasture", "Tie stall"))
    assert said == f"LH, left hind, {value_label('zone', 10)}: 20 points less in pasture"
    of_trims = dataclasses.replace(answer(*rows), basis=Basis(farms=1, visits=9, cows=90, trims=900, unit="trim"))
    assert findings.place_of_difference(of_trims, ("A", "B")) == "No place clearly differs between the groups"
    none = findings.place_of_difference(answer(rows[1], rows[1]), ("Pasture", "Tie stall"))
    assert none == "No place clearly differs between the groups"
    assert findings.place_of_difference(answer(), ("A", "B")) == ""


def test_months_out_of_the_ordinary_are_counted() -> None:
    once = answer({**CONTROL, "signal": "above the limit"})
    assert findings_in_time.months_out_of_the_ordinary(once, "lameness") == (
        "Lameness: 1 month out of the ordinary, May 2026"
    )
    quiet, learning = answer({**CONTROL, "signal": ""}), answer({**CONTROL, "signal": "", "baseline": True})
    assert findings_in_time.months_out_of_the_ordinary(quiet, "lameness") == ""
    assert findings_in_time.months_out_of_the_ordinary(learning, "lameness") == "Too few months to say"


def test_the_verdict_on_a_change_is_a_title() -> None:
    values = {"months": "12", "seen": 12.4, "expected": 20.0, "lesions": "SU", "ratio": 0.5, "low": 0.3, "high": 0.8}
    better = say(VERDICTS["better"], **values)
    assert findings_in_time.after_the_change(better) == "Better: 12 of 100 after it, 20 had it gone on as before"
    few = say(VERDICTS["too-few"], lesions="SU", reason="few cows")
    assert findings_in_time.after_the_change(few) == "Too few to say"


@pytest.mark.parametrize(("title", "found", "said"), CASES, ids=lambda value: getattr(value, "__name__", ""))
def test_a_title_says_what_was_found(title: Callable[[Answer], str], found: Answer, said: str) -> None:
    assert title(found) == said


@pytest.mark.parametrize(
    "title", sorted({case[0] for case in CASES}, key=lambda each: each.__name__), ids=lambda each: each.__name__
)
def test_an_empty_table_has_no_title(title: Callable[[Answer], str]) -> None:
    assert title(answer()) == ""
