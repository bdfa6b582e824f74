"""Better, worse, no clear change, too few: counts by hand, like with like, and herds whose truth is known."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts.verdicts import verdict_sentences, verdicts_of_farms
from evenfoot.dashboard.i18n.translation import Words
from tests.effort import tries
from tests.scale.worlds_summary import World, any_verdict, found_share, spread
from tests.sheets import checked, ledger_of


def visit(
    day: str, cows: int, ill: int, kind: str = "whole-herd", farm: str = "Ash", **more: Any
) -> list[dict[str, Any]]:
    """Cows 1 to *cows*; *ill* of them, others at every visit, have a sole ulcer."""
    start = int(day.replace("-", "")) % 17
    return [
        {
            "visit_date": day, "farm": farm, "cow": str(cow + 1), "visit_kind": kind,
            **({"foot": "LH", "claw": "lateral", "lesion": "SU"} if (cow + start) % cows < ill else {}),
        }
        for cow in range(cows)
    ]  # fmt: skip


def of(path: Path, *visits: list[dict[str, Any]]) -> Ledger:
    return ledger_of(path / "ledger.duckdb", checked("trims", [row for each in visits for row in each]))


DAYS = ("2023-09-04", "2024-03-04", "2024-09-02", "2025-03-03", "2025-09-01", "2026-03-02")


def test_counts_of_cows_and_a_rise_that_is_there(tmp_path: Path) -> None:
    ledger = of(tmp_path, *(visit(day, 100, 10) for day in DAYS[:-1]), visit(DAYS[-1], 100, 45))
    row = summary(ledger, Selection()).table.set_index("what").loc["SU"]
    assert (row["now_cases"], row["now_at_risk"], row["now"]) == (45, 100, 0.45)
    assert (row["before"], row["last_year"]) == (pytest.approx(0.10), pytest.approx(0.10))
    assert row["expected"] == pytest.approx(0.10, abs=0.02)
    assert row["verdict"] == "worse"
    assert 0 < row["low"] < row["difference"] < row["high"]
    assert row["reason"].startswith("45 of 100 cows, where 1")
    assert row["reason"].endswith(" would be usual for this herd and season.")


def test_the_difference_is_of_the_recent_visits_and_the_sentence_says_so(tmp_path: Path) -> None:
    """Three newest visits are judged together: their share, not that of the last one, is held against the usual."""
    newest = [visit(day, 100, ill) for day, ill in (("2026-01-05", 12), ("2026-02-02", 14), ("2026-03-02", 25))]
    ledger = of(tmp_path, *(visit(day, 100, 15) for day in DAYS[:-1]), *newest)
    row = summary(ledger, Selection()).table.set_index("what").loc["SU"]
    assert (row["now"], row["visits"], row["verdict"]) == (0.25, 3, "no-clear-change")
    assert row["recent"] == pytest.approx(0.17, abs=0.01)
    assert row["difference"] == pytest.approx(row["recent"] - row["expected"])
    assert row["reason"].startswith("Over the last 3 visits 17 of 100, where 1")
    assert "more of 100 cows would look like chance here" in row["reason"]


def test_months_never_seen_before_are_said(tmp_path: Path) -> None:
    julys = (f"{year}-07-06" for year in (2023, 2024, 2025))
    first_winter = of(tmp_path / "a", *(visit(day, 100, 10) for day in julys), visit("2026-01-05", 100, 45))
    row = summary(first_winter, Selection()).table.set_index("what").loc["SU"]
    assert row["reason"].endswith("No earlier visit fell in these months of the year, and lesions have a season.")
    calm = of(
        tmp_path / "c", *(visit(day, 100, 10) for day in ("2023-07-06", "2024-07-06", "2025-07-06", "2026-01-05"))
    )
    assert not any("fell in these months" in reason for reason in summary(calm, Selection()).table["reason"])
    seen_before = of(tmp_path / "b", *(visit(day, 100, 10) for day in DAYS))
    assert not any("fell in these months" in reason for reason in summary(seen_before, Selection()).table["reason"])


def test_a_farm_with_scorings_alone_rests_on_them(tmp_path: Path) -> None:
    rows = [
        {"date": day, "farm": "Ash", "cow": str(cow), "score": 3 if cow < 10 else 1, "scale": "1-5"}
        for day in DAYS
        for cow in range(50)
    ]
    answer = summary(ledger_of(tmp_path / "ledger.duckdb", checked("locomotion", rows)), Selection())
    assert (answer.basis.cows, answer.basis.visits) == (50, len(DAYS))
    assert not any("Nothing was recorded" in caution for caution in answer.cautions)


def test_part_of_the_herd_is_said_beside_the_verdict(tmp_path: Path) -> None:
    rows = summary(of(tmp_path, *(visit(day, 30, 10, kind="part-herd") for day in DAYS)), Selection()).table
    assert all("Only part of the herd was looked at" in reason for reason in rows["reason"])


def test_a_fall_is_better_and_an_even_herd_has_no_clear_change(tmp_path: Path) -> None:
    ledger = of(
        tmp_path,
        *(visit(day, 120, 50) for day in DAYS[:-1]),
        visit(DAYS[-1], 120, 12),
        *(visit(day, 120, 30, farm="Birch") for day in DAYS),
    )
    table = summary(ledger, Selection()).table.set_index(["farm", "what"])
    assert table.loc[("Ash", "SU"), "verdict"] == "better"
    even = table.loc[("Birch", "SU")]
    assert even["verdict"] == "no-clear-change"
    more = int(np.ceil(100 * even["detectable"]))
    assert even["reason"] == f"Fewer than {more} more of 100 cows would look like chance here."


def test_lame_cow_calls_are_never_compared_with_the_herd(tmp_path: Path) -> None:
    ledger = of(tmp_path, *(visit(day, 60, 6) for day in DAYS), visit("2026-04-01", 20, 18, "lame-cow"))
    row = summary(ledger, Selection()).table.set_index("what").loc["SU"]
    assert (row["now_cases"], row["now_at_risk"], row["kind"]) == (6, 60, "whole-herd")


def test_part_herd_visits_are_compared_with_each_other_and_never_with_whole_herds(tmp_path: Path) -> None:
    ledger = of(tmp_path, *(visit(day, 60, 30, "part-herd") for day in DAYS))
    table = summary(ledger, Selection()).table
    assert set(table["kind"]) == {"part-herd"}
    assert set(table["verdict"]) == {"no-clear-change"}


def score(day: str, cows: int, lame: int, scale: str, scorer: str = "KV") -> list[dict[str, Any]]:
    worst = {"1-5": 3, "0-3": 2}[scale]
    return [
        {
            "date": day,
            "farm": "Ash",
            "cow": str(cow),
            "score": worst if cow < lame else 1,
            "scale": scale,
            "scorer": scorer,
        }
        for cow in range(cows)
    ]


MONTHS = [str(day.date()) for day in pd.date_range("2025-01-10", "2026-03-10", freq="MS") + pd.Timedelta(days=9)]


def test_lists_of_lame_cows_alone_are_too_few_to_say(tmp_path: Path) -> None:
    """Every list is 100 of 100 lame, whatever becomes of the herd."""
    days = [f"2026-{month:02}-10" for month in range(1, 9)]
    rows = [row | {"herd_size": 120} for day in days for row in score(day, 20, 20, "1-5")]
    table = summary(ledger_of(tmp_path / "l.duckdb", checked("locomotion", rows)), Selection()).table
    assert set(table["verdict"]) == {"too-few"} and set(table["what"]) == {"lame", "severe"}
    assert table["reason"].iloc[0].startswith("Nearly all cows written down are lame")
    assert table[["low", "high", "detectable"]].isna().all(axis=None)


def test_scores_of_another_scale_are_left_out_and_it_is_said(tmp_path: Path) -> None:
    """Scores on the old scale show half the herd lame; against them the newest would be far better."""
    rows = [*(row for day in MONTHS[:6] for row in score(day, 80, 40, "1-5"))]
    rows += [row for day in MONTHS[6:] for row in score(day, 80, 16, "0-3")]
    ledger = ledger_of(tmp_path / "scales.duckdb", checked("locomotion", rows))
    row = summary(ledger, Selection()).table.set_index("what").loc["lame"]
    assert row["verdict"] == "no-clear-change"
    assert row["reason"].endswith("Scores on another scale are left out.")


def test_another_scorer_is_said(tmp_path: Path) -> None:
    rows = [row for day in MONTHS[:-3] for row in score(day, 80, 10, "1-5")]
    rows += [row for day in MONTHS[-3:] for row in score(day, 80, 40, "1-5", "PB")]
    row = (
        summary(ledger_of(tmp_path / "s.duckdb", checked("locomotion", rows)), Selection())
        .table.set_index("what")
        .loc["lame"]
    )
    assert row["verdict"] == "worse"
    assert row["reason"].endswith("Somebody else looked at the earlier visits, which alone can move the figure.")


def test_too_few_is_an_answer(tmp_path: Path) -> None:
    cases = {
        "one visit": ([visit("2026-03-02", 60, 6)], "There is no earlier visit of the same kind to compare with."),
        "few now": ([visit("2025-03-03", 60, 6), visit("2026-03-02", 8, 2)], "Only 8 cows were looked at; it takes 20"),
        "few before": ([visit("2025-03-03", 8, 2), visit("2026-03-02", 60, 6)], "Only 8 cows were looked at before;"),
    }
    for name, (visits, said) in cases.items():
        (tmp_path / name).mkdir()
        table = summary(of(tmp_path / name, *visits), Selection()).table
        assert set(table["verdict"]) == {"too-few"}
        assert all(reason.startswith(said) for reason in table["reason"]), name
        assert table[["low", "high", "difference"]].isna().all(axis=None)


def test_until_says_what_now_is_and_lesions_narrow_the_rows(tmp_path: Path) -> None:
    ledger = of(tmp_path, *(visit(day, 60, 6) for day in DAYS))
    answer = summary(ledger, Selection(until=dt.date(2025, 4, 1), lesions=("SU",)))
    assert answer.table["last"].tolist() == [pd.Timestamp("2025-03-03")]
    assert answer.table["what"].tolist() == ["SU"]


def test_farms_that_may_not_be_seen_are_not_there(demo_ledger: Ledger) -> None:
    answer = summary(demo_ledger, Selection(allowed=("Larkmoor",)))
    assert set(answer.table["farm"]) == {"Larkmoor"}
    alone = summary(demo_ledger, Selection(farms=("Larkmoor",)))
    pd.testing.assert_frame_equal(answer.table, alone.table)


def test_days_too_far_back_leave_neither_looks_nor_cases(tmp_path: Path) -> None:
    """The oldest visit began on a day that no longer counts: what its cows had then is nobody's now."""
    ill = {"farm": "Ash", "visit_kind": "whole-herd", "foot": "LH", "claw": "lateral", "lesion": "SU"}
    gone = [{**ill, "visit_date": "2022-12-17", "cow": cow} for cow in ("3", "gone")]
    rest = [row for row in visit("2022-12-18", 50, 0) if row["cow"] != "3"]
    answer = summary(of(tmp_path, gone, rest, visit(DAYS[-1], 50, 5)), Selection())
    visits = answer.extra["visits"].set_index("what").loc["SU"]
    assert visits[["cases", "at_risk"]].to_numpy().tolist() == [[0, 49], [5, 50]]


def test_figures_stay_figures_beside_a_farm_without_visits_to_judge(tmp_path: Path) -> None:
    calls = visit(DAYS[-1], 8, 4, kind="lame-cow", farm="Birch")
    table = summary(of(tmp_path, *(visit(day, 60, 6) for day in DAYS), calls), Selection()).table
    assert set(table["farm"]) == {"Ash"} and table["low"].dtype == "float64" and table["now_cases"].dtype == "int64"


def test_the_demo_herd_that_goes_lame_is_called_and_no_other(demo_ledger: Ledger) -> None:
    table = summary(demo_ledger, Selection()).table
    called = table[table["verdict"].isin(["worse", "better"])]
    assert called[["farm", "what", "verdict"]].to_numpy().tolist() == [["Osier End", "lame", "worse"]]
    said = verdicts_of_farms(table, Words("en"))
    assert len(said) == 1 and said[0].startswith("Osier End. Lame: 34 of 93 cows scored, ")
    assert ". Worse. " in said[0]


def test_what_is_said_of_a_farm_counts_cows(demo_ledger: Ledger) -> None:
    said = verdict_sentences(summary(demo_ledger, Selection(farms=("Larkmoor",))).table, Words("en"))
    assert len(said) == 2
    assert " cows scored, " in said[0] and " cows trimmed, " in said[1]
    assert not any("scorings" in sentence for sentence in said)


def test_stable_farms_are_left_in_peace() -> None:
    """A small draw of the worlds of the guide, whose table has 400 farms a world: 5 %, and two standard errors."""
    farms = tries(108)
    assert any_verdict(spread(0.25, 2.0), farms, seed=5) <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / farms)


def test_what_is_there_is_found() -> None:
    """The same for changes: monthly visits, a tripling in 100 cows and a doubling in 250."""
    assert found_share([World(100, 12, 2, 0.25)], "DD", 3.0, 8, seed=5) >= 0.6
    assert found_share([World(250, 12, 2)], "DD", 2.0, 8, seed=5) >= 0.6
    assert found_share([World(100, 12, 2)], "lame", 2.0, 8, seed=5) >= 0.5
