"""Proposed visits: calendar rules whatever is asked of them, hand-worked plans, and the demo herds."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.plan import BROUGHT_ANYWAY, COLUMNS, plan
from evenfoot.analytics.measures.planning.visit_days import (
    FARMS_A_DAY,
    SATURDAY,
    Calendar,
    WorkingDays,
    batches,
    evenly,
)
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

TODAY = dt.date(2026, 6, 1)
FIRST = TODAY + dt.timedelta(days=1)


@given(
    st.lists(
        st.tuples(st.integers(-10, 60), st.sampled_from(["Ash", "Birch", "Cedar"]), st.integers(1, 40)), max_size=15
    ),
    st.integers(5, 30),
    st.booleans(),
    st.lists(st.integers(0, 60).map(lambda away: FIRST + dt.timedelta(days=away)), max_size=20),
)
@settings(max_examples=60, deadline=None)
def test_no_weekend_no_day_off_no_day_too_full_no_cow_lost(
    asked: list[tuple[int, str, int]], most: int, weekends: bool, off: list[dt.date]
) -> None:
    calendar = Calendar(FIRST, most, WorkingDays(weekends, tuple(off)))
    for number, (away, farm, cows) in enumerate(asked):
        names = tuple(f"{number}-{cow}" for cow in range(cows))
        made = calendar.put(TODAY + dt.timedelta(days=away), farm, "due", names)
        assert [cow for visit in made for cow in visit.cows] == list(names)
        sizes = [len(visit.cows) for visit in made]
        assert max(sizes) - min(sizes) <= 1
        assert [visit.day for visit in made] == sorted(visit.day for visit in made)
    for day in {visit.day for visit in calendar.visits}:
        there = [visit for visit in calendar.visits if visit.day == day]
        assert day >= FIRST and (weekends or day.weekday() < SATURDAY) and day not in off
        assert sum(len(visit.cows) for visit in there) <= most
        assert len({visit.farm for visit in there}) <= FARMS_A_DAY


def test_a_full_day_sends_a_visit_to_the_nearest_one() -> None:
    calendar = Calendar(FIRST, 10)
    calendar.put(dt.date(2026, 6, 10), "Ash", "due", tuple("abcdefgh"))
    assert calendar.put(dt.date(2026, 6, 10), "Birch", "due", tuple("ijk"))[0].day == dt.date(2026, 6, 9)
    assert calendar.put(dt.date(2026, 6, 14), "Birch", "due", tuple("lm"))[0].day == dt.date(2026, 6, 15)  # a Sunday
    assert calendar.put(dt.date(2026, 5, 1), "Birch", "due", ("n",))[0].day == FIRST


@given(st.lists(st.integers(0, 100), max_size=30), st.integers(0, 20), st.integers(0, 10))
def test_nobody_waits_longer_than_the_slack(due: list[int], slack: int, early: int) -> None:
    days = [(TODAY + dt.timedelta(days=away), str(number)) for number, away in enumerate(due)]
    made = batches(days, slack, early, FIRST)
    when = {cow: day for day, cows in made for cow in cows}
    assert set(when) == {cow for _, cow in days}
    for day, cow in days:
        assert max(day - dt.timedelta(days=early), FIRST) <= when[cow] <= max(day + dt.timedelta(days=slack), FIRST)


def test_evenly() -> None:
    assert [len(part) for part in evenly(tuple(map(str, range(101))), 50)] == [34, 34, 33]


def trim(cow: str, ago: int, **more: Any) -> dict[str, Any]:
    day = str(TODAY - dt.timedelta(days=ago))
    return {"farm": "Ash", "visit_date": day, "visit_kind": "whole-herd", "cow": cow, **more}


def made(path: Path, rows: list[dict[str, Any]], *sheets: Any) -> Ledger:
    path.mkdir(exist_ok=True)
    return ledger_of(path / "p.duckdb", checked("trims", rows), *sheets)


def test_a_herd_trimmed_together_is_proposed_together(tmp_path: Path) -> None:
    """75 mm left, 4 mm a month: past 80 mm within 120 days, so due 120 days after the last trim."""
    answer = plan(made(tmp_path, [trim(str(n), 100) for n in range(1, 61)]), Selection(), on=TODAY, cows_a_day=40)
    table = answer.table
    assert tuple(table.columns) == COLUMNS
    assert table["kind"].tolist() == ["whole-herd"] * 2
    assert table["cows"].tolist() == [30, 30]
    assert table["date"].iloc[0] == pd.Timestamp(TODAY) + pd.Timedelta(days=21)  # the 20th day is a Sunday
    assert table["date"].iloc[1] == pd.Timestamp(TODAY) + pd.Timedelta(days=22)
    assert sorted(map(int, ", ".join(table["cow_list"]).split(", "))) == list(range(1, 61))


def test_rechecks_and_lame_cows_do_not_wait(tmp_path: Path) -> None:
    rows = [trim(str(n), 20) for n in range(1, 21)]
    rows[0] |= {"lesion": "SU", "foot": "LH", "claw": "lateral", "action": "block", "recheck_on": "2026-06-16"}
    score = {"farm": "Ash", "date": "2026-05-30", "cow": "5", "score": 3, "scale": "1-5"}
    answer = plan(made(tmp_path, rows, checked("locomotion", [score])), Selection(), on=TODAY)
    rechecks = answer.table[answer.table["kind"] == "recheck"]
    assert rechecks["cow_list"].tolist() == ["5", "1"]
    columns = ["foot", "claw", "lesion", "action", "recheck_on"]
    told = answer.extra["cows"].set_index(["cow", "kind"]).loc[("1", "recheck"), columns]
    assert told.tolist() == ["LH", "lateral", "SU", "block", pd.Timestamp("2026-06-16")]
    assert rechecks["date"].iloc[0] <= pd.Timestamp("2026-06-04")
    assert pd.Timestamp("2026-06-16") <= rechecks["date"].iloc[1] <= pd.Timestamp("2026-06-22")
    listed = answer.extra["cows"].set_index(["cow", "kind"])["reason"]
    assert listed["5", "recheck"] == "Lame when scored on 2026-05-30, not looked at since"
    assert listed["1", "recheck"] == "Recheck asked for 2026-06-16"


def test_a_recheck_joins_a_visit_that_falls_in_its_days(tmp_path: Path) -> None:
    rows = [trim(str(n), 110) for n in range(1, 21)]
    call = trim("1", 27, visit_kind="lame-cow", feet_seen="LH", lesion="SU", foot="LH", recheck_on="2026-06-10")
    answer = plan(made(tmp_path, [*rows, call]), Selection(), on=TODAY)
    assert answer.table["kind"].tolist() == ["whole-herd"]
    assert answer.table["cows"].tolist() == [20]


def test_early_cows_get_a_day_before_the_whole_herd(tmp_path: Path) -> None:
    rows = [trim(str(n), 50) for n in range(1, 21)] + [trim(name, 115) for name in ("a", "b")]
    table = plan(made(tmp_path, rows), Selection(), on=TODAY).table
    assert table["kind"].tolist() == ["due", "whole-herd"]
    assert sorted(table["cow_list"].iloc[0].split(", ")) == ["a", "b"]
    assert table["cows"].iloc[1] == 22


def test_cows_for_the_veterinarian_are_told_of_and_not_planned(tmp_path: Path) -> None:
    rows = [trim(str(n), 20) for n in range(1, 11)]
    rows[0] |= {"lesion": "IP", "foot": "LH", "zone": 0}
    answer = plan(made(tmp_path, rows), Selection(), on=TODAY, ahead_days=30)
    assert answer.table.empty
    text = " ".join(answer.cautions)
    assert "1 cows are for the veterinarian first" in text and "No cow comes due" in text


def test_a_herd_without_a_reason_has_an_empty_plan(tmp_path: Path) -> None:
    """One cow, lame when scored half a year ago: nothing is open for her and nothing falls due."""
    score = {"date": "2026-03-02", "farm": "Ash", "cow": "1", "score": 3, "scale": "1-5"}
    ledger = ledger_of(tmp_path / "l.duckdb", checked("locomotion", [score]))
    answer = plan(ledger, Selection(), on=dt.date(2026, 10, 31))
    assert answer.table.empty and any("No cow comes due" in caution for caution in answer.cautions)


def test_nobody_and_nonsense(tmp_path: Path) -> None:
    ledger = made(tmp_path, [trim("1", 20)])
    empty = plan(ledger, Selection(farms=("Birch",)))
    assert empty.empty and "Nothing was recorded" in empty.cautions[0]
    gone = plan(ledger, Selection(), on=dt.date(2025, 1, 1))
    assert gone.empty and gone.extra["cows"].empty and "Nothing was recorded" in gone.cautions[0]
    with pytest.raises(UserError, match="give 1 or more"):
        plan(ledger, Selection(), cows_a_day=0)


@pytest.fixture(scope="module")
def demo(demo_ledger: Ledger) -> Answer:
    return plan(demo_ledger, Selection(), cows_a_day=45)


def test_demo_calendar(demo: Answer) -> None:
    table = demo.table
    assert (table["date"].dt.day_of_week < SATURDAY).all()
    assert (table.groupby("date")["cows"].sum() <= 45).all()
    assert (table.groupby("date")["farm"].nunique() <= FARMS_A_DAY).all()
    assert not table.duplicated(["date", "farm"]).any()
    whole = table[table["kind"] == "whole-herd"].groupby("farm")["cows"].sum()
    assert (
        whole.to_dict().items() >= {"Larkmoor": 258, "Nether Ash": 90}.items()
    )  # two of Larkmoor came due shortly before
    assert (table["cow_list"].str.split(", ").map(len) == table["cows"]).all()


def test_demo_every_cow_listed_once_a_visit_and_with_a_reason_on_days_of_their_own(demo: Answer) -> None:
    cows = demo.extra["cows"]
    assert len(cows) == demo.table["cows"].sum()
    assert not cows.duplicated(["date", "farm", "cow"]).any()
    own = cows[cows["kind"] != "whole-herd"]
    assert (own["reason"] != "").all()


def test_demo_no_cow_is_booked_twice_within_the_month(demo: Answer) -> None:
    cows = demo.extra["cows"].sort_values(["farm", "cow", "date"])
    between = cows.groupby(["farm", "cow"])["date"].diff().dt.days
    assert between.min() > BROUGHT_ANYWAY


def test_weekends_and_days_off_are_chosen(demo_ledger: Ledger, demo: Answer) -> None:
    farm = Selection(farms=("Larkmoor",))
    days = set(plan(demo_ledger, farm, cows_a_day=45).table["date"].dt.date)
    off = tuple(sorted(days)[:3])
    without = plan(demo_ledger, farm, cows_a_day=45, day_off=off)
    assert not set(off) & set(without.table["date"].dt.date)
    assert "Days off: " in " ".join(without.basis.notes) and "Monday to Friday" in " ".join(without.basis.notes)
    every_day = plan(demo_ledger, Selection(), cows_a_day=45, weekends=True).table
    assert (every_day["date"].dt.day_of_week >= SATURDAY).any()
    assert not (demo.table["date"].dt.day_of_week >= SATURDAY).any()


def test_the_cows_of_a_visit_stand_as_the_list_has_them(demo_ledger: Ledger, demo: Answer) -> None:
    place = worklist(demo_ledger, Selection()).table.set_index(["farm", "cow"])["rank"]
    visits = demo.table[(demo.table["kind"] == "recheck") & (demo.table["date"] < "2026-12-10")]
    assert len(visits) > 1
    for visit in visits.to_dict("records"):
        cows = [(visit["farm"], cow) for cow in visit["cow_list"].split(", ")]
        ranks = [place[cow] for cow in cows if cow in place.index]
        assert ranks == sorted(ranks)


def test_a_visit_keeps_its_number_when_it_moves_and_when_one_before_it_is_made(tmp_path: Path) -> None:
    """The early cows are seen and recorded; the whole herd's visit is still the second of its kind."""
    rows = [trim(str(n), 50) for n in range(1, 21)] + [trim(name, 115) for name in ("a", "b")]
    first = plan(made(tmp_path, rows), Selection(), on=TODAY).table.set_index("kind")
    later = [trim(name, -14, visit_kind="part-herd") for name in ("a", "b")]
    again = made(tmp_path / "again", [*rows, *later])
    then = plan(again, Selection(), on=TODAY + dt.timedelta(days=14)).table.set_index("kind")
    moved = plan(again, Selection(), on=TODAY, day_off=(first.loc["whole-herd", "date"].date(),)).table
    assert first["number"].to_dict() == {"due": 2, "whole-herd": 2}
    assert then["number"].to_dict() == {"whole-herd": 2}
    assert moved.set_index("kind")["date"]["whole-herd"] != first.loc["whole-herd", "date"]
    assert moved.set_index("kind")["number"].to_dict() == first["number"].to_dict()


def test_demo_plan_is_the_same_twice(demo: Answer, demo_ledger: Ledger) -> None:
    pd.testing.assert_frame_equal(plan(demo_ledger, Selection(), cows_a_day=45).table, demo.table)
