"""Titles say what a table holds, in counts of a hundred, and nothing where it holds too little."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.dashboard.charts import findings


def answer(*rows: dict[str, Any]) -> Answer:
    return Answer("made up", pd.DataFrame(list(rows)), Basis(farms=1, visits=2, cows=90, trims=90))


MONTHS = [{"month": pd.Timestamp(year, 6, 1), "prevalence": share} for year, share in ((2025, 0.2), (2026, 0.31))]
CASES: list[tuple[Callable[[Answer], str], Answer, str]] = [
    (
        findings.claws_of_most,
        answer({"foot": "LH", "claw": "lateral", "cases": 3}, {"foot": "RH", "claw": "lateral", "cases": 2},
               {"foot": "LF", "claw": "medial", "cases": 4}, {"foot": "RH", "claw": "not recorded", "cases": 40}),
        "Most on the outer claws of the hind feet",
    ),
    (findings.newest_stretch, answer(*MONTHS), "Twelve months to Jun 2026: 31 of 100, a year before 20"),
    (
        findings.this_year,
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
        "Worse: lame, sole ulcer; Better: digital dermatitis",
    ),
    (findings.called, answer({"what": "lame", "verdict": "no-clear-change"}), "No clear change in anything"),
    (findings.called, answer({"what": "lame", "verdict": "too-few"}), "Too few to say"),
    (findings.farms_called, answer({"farm": "A", "verdict": "worse"}, {"farm": "B", "verdict": "better"}),
     "1 of 2 farms is worse"),
    (findings.order_of_farms, answer({"farm": "A", "shrunken": 0.2}, {"farm": "B", "shrunken": 0.5}),
     "B has most: 50 of 100; A least: 20"),
    (findings.shedding, answer({"shed_stage": 0, "feet": 85}, {"shed_stage": 1, "feet": 15}),
     "15 of 100 feet have begun to shed"),
    (findings.cows_due, answer({"cow": "1", "who": "veterinarian"}, {"cow": "2", "who": "trimmer"}),
     "2 cows due, 1 for the veterinarian"),
    (findings.least_complete,
     answer({"field": "claw", "share": 0.5, "n": 10}, {"field": "foot", "share": 0.9, "n": 10}),
     "Least filled in: claw, 50 of 100 records"),
]  # fmt: skip


@pytest.mark.parametrize(("title", "found", "said"), CASES, ids=lambda value: getattr(value, "__name__", ""))
def test_a_title_says_what_was_found(title: Callable[[Answer], str], found: Answer, said: str) -> None:
    assert title(found) == said


@pytest.mark.parametrize(
    "title", sorted({case[0] for case in CASES}, key=lambda each: each.__name__), ids=lambda each: each.__name__
)
def test_an_empty_table_has_no_title(title: Callable[[Answer], str]) -> None:
    assert title(answer()) == ""
