"""The chart from records: which months, which limits, what is said."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from analytics.ledger import Ledger
from analytics.measures.control_chart import control_chart
from analytics.mistake import Mistake
from analytics.tally.selection import Selection
from sample_data import truths
from tests.measures.herds import herd, scoring, trim

DAYS = [f"{2024 + m // 12}-{m % 12 + 1:02d}-10" for m in range(15)]


def _ledger(tmp_path: Path, lame: list[int], cows: int = 50) -> Ledger:
    rows = [scoring(c, 4 if c < k else 1, on=d) for d, k in zip(DAYS, lame, strict=False) for c in range(cows)]
    return herd(tmp_path, scorings=rows)


def test_a_bad_month_is_named(tmp_path: Path) -> None:
    answer = control_chart(_ledger(tmp_path, [10, 11, 9, 10, 10, 11, 9, 10, 11, 9, 10, 10, 10, 27, 10]), Selection())
    table = answer.table
    assert table["cases"].tolist()[13] == 27
    assert table["baseline"].tolist() == [True] * 12 + [False] * 3
    assert table["centre"].iloc[0] == pytest.approx(0.2)
    assert table["signal"].iloc[13].startswith("above the upper limit")
    assert any("2025-02: above the upper limit" in note for note in answer.basis.notes)
    assert answer.basis.method.startswith("p-chart")
    assert any("not what" in caution for caution in answer.cautions)


def test_the_baseline_may_be_chosen(tmp_path: Path) -> None:
    ledger = _ledger(tmp_path, [27, 27, 27, 10, 11, 9, 10, 10, 11, 9, 10, 11, 9, 10, 10])
    answer = control_chart(ledger, Selection(), baseline=(dt.date(2024, 4, 15), dt.date(2024, 12, 31)))
    assert answer.table["baseline"].sum() == 9
    assert answer.table["ewma"].isna().sum() == 3
    assert answer.table["signal"].iloc[0] == "above the upper limit"
    assert any("9 months" in caution for caution in answer.cautions)
    with pytest.raises(Mistake, match="swap the two dates"):
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
            assert len(above) >= 3
        elif farm == truths.AUTUMN_FARM:
            assert set(above["month"].dt.month) <= {8, 9, 10}
        else:
            assert above.empty
