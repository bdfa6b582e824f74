"""New cases and cow time: worked by hand, against a plain count day by day, and on the demonstration herds."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenfoot.analytics.domain.units import DAYS_PER_MONTH
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.incidence import incidence
from evenfoot.analytics.queries.cow_time import cow_time
from evenfoot.analytics.queries.selection import Selection
from tests.effort import tries
from tests.sheets import checked, ledger_of

EVERY = Selection(visits=("all",))


def trim(cow: str, day: str, lesion: str | None = None, **more: Any) -> dict[str, Any]:
    row = {"farm": "Ash", "cow": cow, "visit_date": day, "visit_kind": "whole-herd", "lesion": lesion}
    return row | ({"foot": "RH", "claw": "lateral"} if lesion else {}) | more


def cow(name: str, entered: str | None = None, left: str | None = None, **more: Any) -> dict[str, Any]:
    return {"farm": "Ash", "cow": name, "entered_on": entered, "left_on": left} | more


def test_worked_by_hand(tmp_path: Path) -> None:
    trims = [
        trim("1", "2025-01-01", "SU"),
        trim("1", "2025-03-01", "SU"),  # 59 days later: the same case
        trim("1", "2025-05-30", "SU"),  # 90 days later: new
        trim("2", "2025-01-01"),
        trim("2", "2025-03-01", "SU"),
        trim("2", "2025-12-31"),
    ]
    ledger = ledger_of(
        tmp_path / "l.duckdb",
        checked("trims", trims),
        checked("register", [cow("1", "2024-06-01", "2025-07-01"), cow("2", "2025-02-01")]),
    )
    asked = EVERY.with_(since=dt.date(2025, 1, 1), until=dt.date(2025, 12, 31))
    answer = incidence(ledger, asked)
    row = answer.table.iloc[0]
    # Cow 1: 181 days of January to June. Cow 2 was trimmed before she is said to have come: from 1 January.
    months = (181 + 365) / DAYS_PER_MONTH
    assert (row["lesion"], row["new_cases"], row["cows"]) == ("SU", 3, 2)
    assert row["cow_months"] == pytest.approx(months)
    assert row["rate_per_100"] == pytest.approx(300 / months)
    # Two cows only: wider than Garwood's limits of 3 independent events, 0.6187 and 8.7673 in the handbooks' table.
    assert row["low"] < 61.87 / months and row["high"] > 876.73 / months
    assert any("fewer than 60 cow-months" in caution for caution in answer.cautions)
    assert incidence(ledger, asked, gap_days=59).table["new_cases"].tolist() == [4]
    assert incidence(ledger, asked, gap_days=91).table["new_cases"].tolist() == [2]


def test_what_came_before_the_period_is_remembered(tmp_path: Path) -> None:
    trims = [trim("1", "2024-12-20", "SU"), trim("1", "2025-02-01", "SU"), trim("1", "2025-12-31")]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", trims))
    answer = incidence(ledger, EVERY.with_(since=dt.date(2025, 1, 1), lesions=("SU",)))
    assert answer.table["new_cases"].tolist() == [0]
    assert answer.table["low"].tolist() == [0.0] and answer.table["high"].iloc[0] > 0


def test_a_lesion_seen_at_another_kind_of_visit_is_not_new(tmp_path: Path) -> None:
    trims = [
        trim("1", "2025-01-01"),
        trim("1", "2025-05-10", "SU", visit_kind="lame-cow"),
        trim("1", "2025-06-01", "SU"),
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", trims))
    assert incidence(ledger, Selection(), by=()).table["new_cases"].tolist() == [0]
    assert incidence(ledger, EVERY, by=()).table["new_cases"].tolist() == [1]


def test_a_case_on_another_claw_is_new_per_claw_only(tmp_path: Path) -> None:
    trims = [
        trim("1", "2025-01-01", "SU"),
        trim("1", "2025-02-01", "SU", claw="medial"),
        trim("1", "2025-02-15", "DD", claw=None),
        trim("1", "2025-03-15", "DD", claw=None, foot="LH"),
        trim("1", "2025-03-20", "DD", claw=None, foot="LH"),
        trim("1", "2025-06-20"),
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", trims))
    per_cow = incidence(ledger, EVERY).table.set_index("lesion")["new_cases"].to_dict()
    per_claw = incidence(ledger, EVERY, per="claw").table.set_index("lesion")["new_cases"].to_dict()
    assert (per_cow, per_claw) == ({"DD": 1, "SU": 1}, {"DD": 2, "SU": 2})
    feet = incidence(ledger, EVERY, per="claw", by=("foot",)).table.set_index("foot")["new_cases"].to_dict()
    assert feet == {"LH": 1, "RH": 3}


def test_cow_time_takes_the_housing_the_later_record_tells(tmp_path: Path) -> None:
    trims = [
        trim("1", "2025-01-01", housing="freestall"),
        trim("1", "2025-04-01", housing="freestall"),
        trim("1", "2025-07-01", housing="pasture"),
        trim("2", "2025-12-31", housing="pasture"),
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", trims), checked("register", [cow("1", "2025-01-01")]))
    time = cow_time(ledger, EVERY, ("housing",))
    assert time.table.set_index("housing")["cow_days"].to_dict() == {"freestall": 90.0, "pasture": 275.0}
    assert (time.cows, time.unregistered) == (1, 0)
    only = cow_time(ledger, EVERY.with_(housing=("pasture",)))
    assert only.table["cow_days"].tolist() == [275.0]


DAYS = [dt.date(2025, 1, 10), dt.date(2025, 2, 28), dt.date(2025, 4, 15), dt.date(2025, 9, 3), dt.date(2026, 1, 20)]
CASE = {"DD": "infectious", "SU": "horn", "WL": "horn"}


@st.composite
def herds(draw: st.DrawFn) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    trims, register = [], []
    for name in draw(st.lists(st.sampled_from("1234"), min_size=1, unique=True)):
        for day in draw(st.lists(st.sampled_from(DAYS), min_size=1, unique=True)):
            lesion = draw(st.sampled_from([None, "DD", "SU", "WL"]))
            kind = draw(st.sampled_from(["whole-herd", "lame-cow"]))
            # A herd of one: whoever is looked at is enough of it, so that a visit is what its sheet calls it.
            trims.append(trim(name, str(day), lesion, visit_kind=kind, herd_size=1))
        if draw(st.booleans()):
            entered = draw(st.sampled_from(["2024-05-01", "2025-03-07", None]))
            left = draw(st.sampled_from([None, "2026-02-01", "2025-11-11"]))
            register.append(cow(name, entered, left))
    return trims, register


def plain(
    trims: list[dict[str, Any]], register: list[dict[str, Any]], kinds: tuple[str, ...], gap: int
) -> tuple[dict[str, int], dict[tuple[int, int], int]]:
    """New cases by lesion, and cow-days by year and month, one cow and day at a time."""
    visits = sorted(pd.Timestamp(t["visit_date"]).date() for t in trims if t["visit_kind"] in kinds)
    new: dict[str, int] = {}
    time: dict[tuple[int, int], int] = {}
    for name in sorted({t["cow"] for t in trims}):
        own = sorted(
            ((pd.Timestamp(t["visit_date"]).date(), t["lesion"], t["visit_kind"]) for t in trims if t["cow"] == name),
            key=lambda item: item[0],
        )
        for day, lesion, kind in own:
            earlier = [d for d, other, _ in own if other == lesion and d < day]
            if lesion and kind in kinds and (not earlier or (day - max(earlier)).days >= gap):
                new[lesion] = new.get(lesion, 0) + 1
        if not visits:
            continue
        first, last = own[0][0], own[-1][0]
        entry = next((r for r in register if r["cow"] == name and r["entered_on"]), None)
        day = visits[0]
        while day <= visits[-1]:
            if entry:
                left = pd.Timestamp(entry["left_on"]).date() if entry["left_on"] else dt.date(2100, 1, 1)
                here = min(first, pd.Timestamp(entry["entered_on"]).date()) <= day < left
            else:
                here = first <= day < last
            if here:
                time[day.year, day.month] = time.get((day.year, day.month), 0) + 1
            day += dt.timedelta(days=1)
    return new, time


@settings(max_examples=tries(8), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(herds())
def test_equals_a_plain_count_and_groups_add_up(herd: tuple[list[dict[str, Any]], list[dict[str, Any]]]) -> None:
    trims, register = herd
    with tempfile.TemporaryDirectory() as folder:
        ledger = ledger_of(Path(folder) / "l.duckdb", checked("trims", trims), checked("register", register))
        for selection, kinds in ((EVERY, ("whole-herd", "lame-cow")), (Selection(), ("whole-herd",))):
            new, time = plain(trims, register, kinds, 90)
            lesions = incidence(ledger, selection).table
            assert {r["lesion"]: r["new_cases"] for r in lesions.to_dict("records")} == new
            months = cow_time(ledger, selection, ("month",)).table
            got = {(m.year, m.month): days for m, days in zip(months["month"], months["cow_days"], strict=True)}
            assert got == time
            whole = incidence(ledger, selection, by=()).table
            assert int(whole["new_cases"].sum()) == sum(new.values())
            for by in (("family",), ("year",), ("season",), ("month", "lesion")):
                split = incidence(ledger, selection, by=by).table
                assert split["new_cases"].sum() == sum(new.values())
                if len(by) == 1 and by[0] != "family":
                    assert split["cow_months"].sum() * DAYS_PER_MONTH == pytest.approx(sum(time.values()))
        ledger.lease.drop_if_idle()


def test_names_do_not_matter(tmp_path: Path) -> None:
    trims = [trim("1", "2025-01-01", "SU"), trim("2", "2025-06-01", "DD"), trim("1", "2025-08-01", "SU"),
             trim("2", "2025-08-01")]  # fmt: skip
    one = ledger_of(tmp_path / "a.duckdb", checked("trims", trims))
    other = ledger_of(
        tmp_path / "b.duckdb", checked("trims", [t | {"cow": "Z" + t["cow"], "farm": "Oak"} for t in trims][::-1])
    )
    pd.testing.assert_frame_equal(incidence(one, EVERY).table, incidence(other, EVERY).table)


def said(ledger: Ledger, selection: Selection = EVERY) -> str:
    return " ".join(incidence(ledger, selection).cautions)


def test_too_little_is_an_answer(tmp_path: Path) -> None:
    empty = ledger_of(tmp_path / "a.duckdb")
    assert incidence(empty, EVERY).empty
    assert "Not enough to say" in said(empty)
    once = ledger_of(tmp_path / "b.duckdb", checked("trims", [trim("1", "2025-01-01", "SU")]))
    assert "Not enough to say" in said(once)
    one_day = ledger_of(
        tmp_path / "c.duckdb",
        checked("trims", [trim("1", "2025-01-01", "SU")]),
        checked("register", [cow("1", "2024-01-01")]),
    )
    assert incidence(one_day, EVERY).table["rate_per_100"].isna().all()
    assert "cover 1 days" in said(one_day)
    none = ledger_of(tmp_path / "d.duckdb", checked("trims", [trim("1", "2025-01-01"), trim("1", "2025-09-01")]))
    table = incidence(none, EVERY, by=()).table
    assert table["new_cases"].tolist() == [0] and table["high"].iloc[0] > 0
    assert incidence(none, EVERY.with_(groups=("no such group",))).table["cow_months"].sum() == 0
    assert incidence(once, EVERY.with_(allowed=())).table["new_cases"].sum() == 0


def test_cows_outside_the_register_are_told(tmp_path: Path) -> None:
    trims = [trim("1", "2025-01-01", "SU"), trim("1", "2025-09-01")]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", trims))
    assert "1 of 1 cows have no entry or calving date" in said(ledger)
    assert incidence(ledger, EVERY).table["cow_months"].iloc[0] == pytest.approx(243 / DAYS_PER_MONTH)


@pytest.mark.parametrize(
    "options",
    [{"by": ("trimmer",)}, {"by": ("foot",)}, {"per": "trim"}, {"gap_days": 0}, {"reference": "SU", "by": ()},
     {"reference": "nothing of the sort"}],
)  # fmt: skip
def test_what_cannot_be_asked_is_said(demo_ledger: Ledger, options: dict[str, Any]) -> None:
    with pytest.raises(UserError):
        incidence(demo_ledger, Selection(), **options)


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """Digital dermatitis comes up more often in freestalls than at grass, but on other farms, so the two are not
    compared; sole ulcer comes up more on concrete than on rubber under one roof; the change at Withy Flat that did
    nothing shows nothing."""
    answer = incidence(demo_ledger, Selection(lesions=("DD",)), by=("housing",), reference="pasture")
    dd = answer.table.set_index("housing")
    assert dd.loc["freestall", "low"] > dd.loc["pasture", "high"]
    assert dd.drop(index="pasture")["rate_ratio"].isna().all()
    [why] = [each for each in answer.cautions if "cannot be told from what the farms do" in each]
    assert "freestall" in why and "not recorded" not in why
    roof = Selection(farms=("Osier End",), lesions=("SU", "WL", "SH"), visits=("all",))
    floors = incidence(demo_ledger, roof, by=("floor",), reference="rubber").table.set_index("floor")
    assert floors.loc["concrete", "rr_low"] > 1
    flat = Selection(farms=("Withy Flat",), lesions=("DD",), since=dt.date(2024, 1, 20), until=dt.date(2026, 1, 19))
    before = incidence(demo_ledger, flat.with_(until=dt.date(2025, 1, 19)), by=()).table.iloc[0]
    after = incidence(demo_ledger, flat.with_(since=dt.date(2025, 1, 20)), by=()).table.iloc[0]
    assert before["low"] < after["high"] and after["low"] < before["high"]
    seasons = incidence(demo_ledger, Selection(), by=("season",))
    assert seasons.table["cow_months"].sum() == pytest.approx(
        incidence(demo_ledger, Selection(), by=()).table["cow_months"].iloc[0]
    )


def test_time_far_from_any_visit_does_not_count(tmp_path: Path) -> None:
    """A visit speaks for the half year before it: of two years asked for, only that much lies before the first
    visit and after the last."""
    trims = [trim("1", "2025-01-01"), trim("1", "2025-07-01", "SU")]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", trims), checked("register", [cow("1", "2020-01-01")]))
    wide = EVERY.with_(since=dt.date(2023, 1, 1), until=dt.date(2027, 1, 1))
    assert cow_time(ledger, wide).table["cow_days"].tolist() == [183 + 181 + 183]
    assert cow_time(ledger, EVERY).table["cow_days"].tolist() == [182]
    year = EVERY.with_(since=dt.date(2025, 1, 1), until=dt.date(2025, 12, 30))
    assert cow_time(ledger, year).table["cow_days"].tolist() == [364]


def two_kinds(kinds: dict[str, list[str]], times: int = 3, slip: str | None = None) -> list[dict[str, Any]]:
    """Trims of farms: farm -> the housing of each of its cows; every third cow has a lesion at her last trim."""
    rows = []
    for farm, housings in kinds.items():
        for n, housing in enumerate(housings):
            for visit in range(times):
                day = str(dt.date(2024, 1, 10) + dt.timedelta(days=180 * visit))
                lesion = "SU" if visit == times - 1 and n % 3 == 0 else None
                where = slip if slip and n == 0 and farm == "B" else housing
                rows.append(trim(f"{n}", day, lesion, farm=farm, housing=where))
    return rows


@pytest.mark.parametrize("slip", [None, "freestall"])
def test_housing_that_is_the_farm_is_not_compared(tmp_path: Path, slip: str | None) -> None:
    """Not even when one cow of sixty is mistyped."""
    rows = two_kinds({"A": ["freestall"] * 60, "B": ["pasture"] * 60, "C": ["freestall"] * 60}, slip=slip)
    answer = incidence(ledger_of(tmp_path / "l.duckdb", checked("trims", rows)), EVERY, by=("housing",))
    table = answer.table.set_index("housing")
    assert table.loc["pasture", ["rate_ratio", "rr_low", "rr_high"]].isna().all()
    assert table["rate_per_100"].notna().all()
    assert sum("No two farms here have 10 cows or more in freestall" in each for each in answer.cautions) == 1


def test_groups_on_several_farms_are_compared_within_them(tmp_path: Path) -> None:
    """Each farm has twice as many cases indoors; what farms differ in does not come in."""
    rows = []
    herds = {"A": (150, 30, 5), "B": (50, 4, 6), "C": (50, 2, 3), "D": (150, 36, 6)}
    for farm, (inside, cases_inside, cases_outside) in herds.items():
        for n in range(200):
            kind = "freestall" if n < inside else "pasture"
            cases = cases_inside if kind == "freestall" else cases_outside
            place = n if kind == "freestall" else n - inside
            for visit, day in enumerate(("2024-01-10", "2024-06-10", "2024-12-10")):
                lesion = "SU" if visit == 1 and place < cases else None
                rows.append(trim(str(n), day, lesion, farm=farm, housing=kind))
    made = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    answer = incidence(made, EVERY, by=("housing",), reference="pasture")
    row = answer.table.set_index("housing").loc["freestall"]
    crude = row["rate_per_100"] / answer.table.set_index("housing").loc["pasture", "rate_per_100"]
    assert row["rate_ratio"] == pytest.approx(2.0) and crude == pytest.approx(3.6)
    assert row["rr_low"] < row["rate_ratio"] < row["rr_high"]
    assert any("within farms (Mantel and Haenszel)" in note for note in answer.basis.notes)
    assert "farms as clusters" in answer.basis.method
    one = incidence(made, EVERY.with_(farms=("A",)), by=("housing",), reference="pasture")
    assert "cows as clusters" in one.basis.method and one.table["rate_ratio"].notna().all()


def test_farms_are_the_clusters_of_a_pooled_rate(tmp_path: Path) -> None:
    """One farm has all the cases: the rate of farms like these is hardly known, whatever the number of cases."""
    rows = []
    for farm in "ABCDE":
        for n in range(40):
            rows += [
                trim(str(n), "2024-01-10", farm=farm),
                trim(str(n), "2024-07-10", "SU" if farm == "A" else None, farm=farm),
                trim(str(n), "2025-01-10", farm=farm),
            ]
    made = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    row = incidence(made, EVERY, by=()).table.iloc[0]
    assert row["new_cases"] == 40 and row["high"] / row["low"] > 20
    own = incidence(made, EVERY.with_(farms=("A",)), by=()).table.iloc[0]
    assert own["high"] / own["low"] < 2.2
    by_farm = incidence(made, EVERY, by=("farm",)).table.set_index("farm")
    assert by_farm.loc["A", ["low", "high"]].tolist() == pytest.approx(own[["low", "high"]].tolist())
    assert by_farm.loc["B", "low"] == 0 and by_farm.loc["B", "high"] > 0
