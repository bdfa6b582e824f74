"""Another scorer, another scale, other farms: every series over time says so."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.control_chart import control_chart
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.measures.lameness.trend import trend
from evenfoot.analytics.measures.recording_changes import recording_changes
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.herd_sections import signal_said
from tests.measures.herds import herd, scoring, trim

Measure = Callable[[Ledger, Selection], Answer]

COWS = 40


def months(
    year: int, lame: int, farm: str = "Ash", first: int = 1, last: int = 12, **more: Any
) -> list[dict[str, Any]]:
    """Scorings of 40 cows each month, of whom so many are lame, not always the same."""
    return [
        {**scoring(cow, 3 if (cow + 7 * month) % COWS < lame else 1, f"{year}-{month:02d}-10", farm), **more}
        for month in range(first, last + 1)
        for cow in range(COWS)
    ]


@pytest.mark.parametrize("measure", [locomotion, trend, control_chart])
def test_another_scorer_is_said_wherever_months_are_compared(tmp_path: Path, measure: Measure) -> None:
    ledger = herd(tmp_path, scorings=months(2024, 4) + months(2025, 14, scorer="CD"))
    said = "Since 2025-01-10 somebody else scores the cows, which alone can move the figure."
    assert said in [str(caution) for caution in measure(ledger, Selection()).cautions]


@pytest.mark.parametrize("measure", [locomotion, trend, control_chart])
def test_another_scale_is_said_wherever_months_are_compared(tmp_path: Path, measure: Measure) -> None:
    on_the_other = [row | {"score": 2 if row["score"] == 3 else 0, "scale": "0-3"} for row in months(2025, 14)]
    ledger = herd(tmp_path, scorings=months(2024, 4) + on_the_other)
    cautions = [str(caution) for caution in measure(ledger, Selection()).cautions]
    assert any(
        line.startswith("Since 2025-01-10 cows are scored on the 0-3 scale, before on the 1-5") for line in cautions
    )


def test_a_second_scorer_beside_the_first_is_no_change(tmp_path: Path) -> None:
    both = months(2024, 4, last=6) + months(2024, 4, first=6, scorer="CD")
    assert recording_changes(herd(tmp_path, scorings=both), Selection(), "scores") == ()


def test_the_newest_change_counts_and_several_farms_are_counted(tmp_path: Path) -> None:
    rows = [
        *months(2024, 4, last=3),
        *months(2024, 4, first=4, last=6, scorer="CD"),
        *months(2024, 4, first=7, scorer="EF"),
        *months(2024, 4, "Birch"),
    ]
    ledger = herd(tmp_path, scorings=rows)
    assert [str(line) for line in recording_changes(ledger, Selection(farms=("Ash",)), "scores")] == [
        "Since 2024-07-10 somebody else scores the cows, which alone can move the figure."
    ]
    [said] = recording_changes(ledger, Selection(), "scores")
    assert said.startswith("Somebody else scores the cows on 1 of the farms, such as on Ash since 2024-07-10;")


def test_another_trimmer_is_said(tmp_path: Path) -> None:
    rows = [
        trim(cow, "DD", "LH", on, trimmer=who)
        for on, who in (("2024-03-04", "AB"), ("2025-03-03", "CD"))
        for cow in range(30)
    ]
    answer = trend(herd(tmp_path, rows), Selection(lesions=("DD",)))
    assert any(line.startswith("Since 2025-03-03 somebody else trims the cows") for line in answer.cautions)


def test_a_signal_in_the_report_says_who_scored(tmp_path: Path) -> None:
    ledger = herd(tmp_path, scorings=months(2024, 4) + months(2025, 20, scorer="CD"))
    said = signal_said(control_chart(ledger, Selection()), "Lameness", Words())
    assert "above the limits" in said and said.endswith("which alone can move the figure.")


def test_other_farms_in_other_months_are_said_and_the_pooled_trend_has_no_crude_rows(tmp_path: Path) -> None:
    """Neither farm changes; one is scored in the first half year, the lamer one in the second."""
    ledger = herd(tmp_path, scorings=months(2024, 4, last=6) + months(2024, 16, "Birch", first=7))
    pooled = locomotion(ledger, Selection())
    assert any(line.startswith("In 12 of 12 periods some of the 2 farms have no records") for line in pooled.cautions)
    for alone in (locomotion(ledger, Selection(), by=("month", "farm")), locomotion(ledger, Selection(farms=("Ash",)))):
        assert not any("have no records" in line for line in alone.cautions)
    terms = [str(term) for term in trend(ledger, Selection()).table["term"]]
    assert terms == ["odds ratio a year", "share at the start", "share at the end"]
    assert len(trend(ledger, Selection(farms=("Ash",))).table) == 4


def test_without_scores_the_lesions_are_offered(tmp_path: Path) -> None:
    ledger = herd(tmp_path, [trim(cow, "DD", "LH") for cow in range(30)])
    assert "No cow was scored here. To see a lesion over time, choose it." in trend(ledger, Selection()).cautions
