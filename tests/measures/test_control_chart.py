"""The chart from records: which months, which limits, what is said."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.control_chart import control_chart
from evenfoot.analytics.queries.selection import Selection
from evenfoot.sample_data import truths
from tests.measures.herds import herd, scoring, trim

DAYS = [f"{2024 + m // 12}-{m % 12 + 1:02d}-10" for m in range(18)]


def _ledger(tmp_path: Path, lame: list[int], cows: int = 50) -> Ledger:
    rows = [scoring(c, 4 if c < k else 1, on=d) for d, k in zip(DAYS, lame, strict=False) for c in range(cows)]
    return herd(tmp_path, scorings=rows)


def test_a_bad_month_is_named(tmp_path: Path) -> None:
    answer = control_chart(_ledger(tmp_path, [10, 11, 9, 10, 10, 11, 9, 10, 11, 9, 10, 10, 10, 27, 10]), Selection())
    table = answer.table
    assert table["cases"].tolist()[13] == 27
    assert table["baseline"].tolist() == [True] * 12 + [False] * 3
    assert table["centre"].iloc[0] == pytest.approx(0.2, abs=0.01)
    assert table["signal"].tolist() == [""] * 13 + ["above the upper limit", ""]
    assert any("2025-02: above the upper limit" in note for note in answer.basis.notes)
    assert any(note == "1 of the last 6 months with records lies above the limits." for note in answer.basis.notes)
    assert any("about one herd in ten" in caution for caution in answer.cautions)


def test_several_signals_in_half_a_year_are_not_told_as_one(tmp_path: Path) -> None:
    answer = control_chart(_ledger(tmp_path, [10, 11, 9, 10, 10, 11, 9, 10, 11, 9, 10, 10, 30, 31, 30]), Selection())
    assert any(note == "3 of the last 6 months with records lie above the limits." for note in answer.basis.notes)
    assert not any("about one herd in ten" in caution for caution in answer.cautions)
    assert any(caution.startswith("3 months within half a year") for caution in answer.cautions)


def test_farms_together_are_a_list_of_farms_and_never_one_chart(tmp_path: Path) -> None:
    """Four loud months of a small farm are lost in the sum with a large one, and stand first in the list."""
    steady = [10, 11, 9, 10, 10, 11, 9, 10, 11, 9, 10, 10]
    rows = [
        scoring(f"{farm}{c}", 4 if c < k else 1, on=d, farm=farm)
        for farm, times, last in (("Big", 4, [10, 9, 11, 10, 9, 10]), ("Small", 1, [10, 30, 9, 31, 30, 32]))
        for d, k in zip(DAYS, [*steady, *last], strict=True)
        for c, k in [(c, k * times) for c in range(50 * times)]
    ]
    ledger = herd(tmp_path, scorings=rows)
    answer = control_chart(ledger, Selection())
    assert answer.name == "control-chart"
    assert answer.by == ("farm",)
    assert answer.table["farm"].tolist() == ["Small", "Big"]
    assert answer.table["signals_half_year"].tolist() == [4, 0]
    assert answer.table["limit_ratio"].iloc[0] > 1
    assert answer.table["signal"].iloc[1] == ""


def test_the_baseline_may_be_chosen(tmp_path: Path) -> None:
    ledger = _ledger(tmp_path, [33, 33, 33, 10, 11, 9, 10, 10, 11, 9, 10, 11, 9, 10, 10])
    answer = control_chart(ledger, Selection(), baseline=(dt.date(2024, 4, 15), dt.date(2024, 12, 31)))
    assert answer.table["baseline"].sum() == 9
    assert answer.table["signal"].iloc[0] == "above the upper limit"
    assert any("9 months" in caution for caution in answer.cautions)
    with pytest.raises(UserError, match="swap the two dates"):
        control_chart(ledger, Selection(), baseline=(dt.date(2025, 1, 1), dt.date(2024, 1, 1)))


def test_a_lesion_is_counted_per_trim(tmp_path: Path) -> None:
    rows = [
        trim(c, "DD" if c < 5 else None, "LH" if c < 5 else None, on=d, visit_kind="lame-cow")
        for d in DAYS[:8]
        for c in range(30)
    ]
    answer = control_chart(herd(tmp_path, rows), Selection(lesions=("DD",), visits=("all",)))
    assert answer.table["cases"].tolist() == [5] * 8
    assert answer.table["at_risk"].tolist() == [30] * 8
    assert any("All months are in the baseline" in caution for caution in answer.cautions)
    assert control_chart(herd(tmp_path / "b", rows), Selection(lesions=("DD",))).empty


@pytest.mark.parametrize("lame", [[0] * 14, [50] * 14, [5, 6, 7]])
def test_too_little_is_said(tmp_path: Path, lame: list[int]) -> None:
    # All visits: where every cow scored is lame it is a list of lame cows, and no herd.
    answer = control_chart(_ledger(tmp_path, lame), Selection(visits=("all",)))
    assert answer.table["upper"].isna().all()
    assert (answer.table["signal"] == "").all()
    assert any("Not enough to say" in caution for caution in answer.cautions)


def test_nothing_recorded(tmp_path: Path) -> None:
    answer = control_chart(_ledger(tmp_path, [1]), Selection(farms=("Nowhere",)))
    assert answer.empty
    assert answer.cautions


def test_demo_only_the_rising_farm_signals_a_rise(demo_ledger: Ledger) -> None:
    for farm in demo_ledger.farms():
        signals = control_chart(demo_ledger, Selection(farms=(farm,))).table
        above = signals[signals["signal"].str.contains("above")]
        if farm == truths.RISING_FARM:
            assert above["month"].min().date() > truths.RISING_FROM
            assert len(above)
        else:
            assert above.empty
