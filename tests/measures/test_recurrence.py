"""Cases that come back: worked by hand, against plain lists of days, and on the demonstration herds."""

from __future__ import annotations

import datetime as dt
import itertools
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.recurrence import recurrence
from evenfoot.analytics.queries.selection import Selection
from tests.effort import tries
from tests.sheets import checked, ledger_of


def trim(cow: str, day: str, lesion: str | None = None, **more: Any) -> dict[str, Any]:
    row = {"farm": "Ash", "cow": cow, "visit_date": day, "visit_kind": "whole-herd", "herd_size": 1,
           "lesion": lesion}  # fmt: skip
    return row | ({"foot": "RH", "claw": "lateral"} if lesion else {}) | more


HERD = [
    trim("1", "2024-01-01", "SU", severity=1, action="block"),
    trim("1", "2024-02-05", "SU", severity=3, action="trim"),  # 35 days on: not yet healed
    trim("1", "2024-05-05", "SU", severity=1, action="block"),  # 90 days after it was last seen: back
    trim("1", "2025-01-01"),
    trim("2", "2024-01-01", "SU", severity=2, action="block"),
    trim("2", "2024-07-01", "SU", severity=2, claw="medial", action="block"),  # same cow, other claw
    trim("2", "2025-01-01"),
    trim("3", "2024-01-01", "SU", severity=1, action="block"),  # never seen again
]


def test_worked_by_hand(tmp_path: Path) -> None:
    answer = recurrence(ledger_of(tmp_path / "l.duckdb", checked("trims", HERD)), Selection())
    rows = answer.table.set_index("level")
    # Cow: 1 back after 90 days, then free for 241; 2 back after 182, then free for 184; 3 not followed.
    assert rows.loc["cow", ["cases", "at_risk", "recurred"]].tolist() == [5, 4, 2]
    # S(90) = 3/4; at 182 three are at risk: 3/4 * 2/3 = 1/2, the median.
    assert rows.loc["cow", "median_days"] == 182
    assert rows.loc["cow", "free_180"] == pytest.approx(0.75)
    # Claw: 1 back after 90, then 241; both claws of 2 free for 366 and 184.
    assert rows.loc["claw", ["cases", "at_risk", "recurred"]].tolist() == [5, 4, 1]
    assert rows.loc["claw", "free_180"] == pytest.approx(0.75)
    assert pd.isna(rows.loc["claw", "median_days"])
    curve = answer.extra["curve"]
    assert curve[curve["level"] == "cow"][["time", "at_risk", "events"]].values.tolist() == [
        [0, 4, 0], [90, 4, 1], [182, 3, 1], [184, 2, 0], [241, 1, 0]
    ]  # fmt: skip
    repeat = answer.extra["repeat_cows"]
    assert repeat[["farm", "cow", "foot", "claw", "lesion", "times"]].values.tolist() == [
        ["Ash", "1", "RH", "lateral", "SU", 2]
    ]
    assert repeat["last"].iloc[0] == pd.Timestamp("2024-05-05")


def test_a_case_takes_its_worst_severity_and_its_last_action(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", HERD))
    table = recurrence(ledger, Selection(), by=("lesion", "severity"), per="claw").table
    assert dict(zip(table["severity"], table["cases"], strict=True)) == {1: 2, 2: 2, 3: 1}
    table = recurrence(ledger, Selection(), by=("action",), per="claw").table
    assert dict(zip(table["action"], table["cases"], strict=True)) == {"block": 4, "trim": 1}


def test_the_gap_says_what_has_healed(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", HERD))
    assert recurrence(ledger, Selection(), per="claw", gap_days=91).table["recurred"].tolist() == [0]
    assert recurrence(ledger, Selection(), per="claw", gap_days=35).table["recurred"].tolist() == [2]


def test_followed_to_leaving_and_to_the_end_of_the_period(tmp_path: Path) -> None:
    left = {"farm": "Ash", "cow": "1", "entered_on": "2023-01-01", "left_on": "2024-10-01"}
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", HERD), checked("register", [left]))
    curve = recurrence(ledger, Selection(cows=("1",)), per="cow").extra["curve"]
    assert curve["time"].tolist() == [0, 90, 149]
    early = recurrence(ledger, Selection(cows=("1",), until=dt.date(2024, 5, 1)), per="cow").table
    assert early[["cases", "at_risk", "recurred"]].values.tolist() == [[1, 0, 0]]
    late = recurrence(ledger, Selection(cows=("1",), since=dt.date(2024, 5, 1)), per="cow").table
    assert late[["cases", "at_risk", "recurred"]].values.tolist() == [[1, 1, 0]]


DAYS = [dt.date(2024, 1, 1) + dt.timedelta(days=n) for n in (0, 40, 89, 130, 180, 400)]


@settings(max_examples=tries(12), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.dictionaries(
        st.tuples(st.sampled_from("12"), st.sampled_from(DAYS)), st.sampled_from(["SU", "DD", None]), min_size=1
    )
)
def test_equals_plain_lists(herd: dict[tuple[str, dt.date], str | None]) -> None:
    rows = [trim(cow, str(day), lesion) for (cow, day), lesion in herd.items()]
    want: dict[str, list[tuple[int, int]]] = {}
    for cow in "12":
        days = sorted(day for name, day in herd if name == cow)
        for lesion in ("SU", "DD"):
            seen = [day for day in days if herd[cow, day] == lesion]
            for day, following in itertools.zip_longest(seen, seen[1:]):
                if following is None:
                    want.setdefault(lesion, []).append(((days[-1] - day).days, 0))
                elif (following - day).days >= 90:
                    want.setdefault(lesion, []).append(((following - day).days, 1))
    with tempfile.TemporaryDirectory() as folder:
        ledger = ledger_of(Path(folder) / "l.duckdb", checked("trims", rows))
        answer = recurrence(ledger, Selection(), per="cow")
        renamed = [row | {"cow": "Z" + row["cow"], "farm": "Oak"} for row in rows[::-1]]
        twin = ledger_of(Path(folder) / "m.duckdb", checked("trims", renamed))
        pd.testing.assert_frame_equal(answer.table, recurrence(twin, Selection(), per="cow").table)
        ledger.lease.drop_if_idle()
        twin.lease.drop_if_idle()
    got = {row["lesion"]: (row["cases"], row["at_risk"], row["recurred"]) for row in answer.table.to_dict("records")}
    assert got == {
        lesion: (len(times), sum(1 for days, _ in times if days > 0), sum(back for _, back in times))
        for lesion, times in want.items()
    }


def test_too_little_is_an_answer(tmp_path: Path) -> None:
    empty = recurrence(ledger_of(tmp_path / "a.duckdb"), Selection())
    assert empty.empty and "Not enough to say" in " ".join(empty.cautions)
    once = recurrence(ledger_of(tmp_path / "b.duckdb", checked("trims", HERD[-1:])), Selection(), by=("housing",))
    assert once.table["at_risk"].tolist() == [0, 0] and "Not enough to say" in " ".join(once.cautions)
    never = recurrence(
        ledger_of(tmp_path / "c.duckdb", checked("trims", [trim("1", "2024-01-01", "SU"), trim("1", "2025-06-01")])),
        Selection(),
        per="cow",
    )
    # Nothing came back of one followed: exact limits of 1 in 1, 2.5 % at the least.
    assert never.table[["free_180", "free_180_low"]].values.tolist() == [[1.0, pytest.approx(0.025)]]
    assert "Not enough to say for sole ulcer" in " ".join(never.cautions)
    always = [trim("1", day, "SU") for day in ("2024-01-01", "2024-06-01")]
    table = recurrence(ledger_of(tmp_path / "d.duckdb", checked("trims", always)), Selection(), per="cow").table
    assert table[["at_risk", "recurred"]].values.tolist() == [[1, 1]]
    shut = recurrence(ledger_of(tmp_path / "e.duckdb", checked("trims", always)), Selection(allowed=()))
    assert shut.empty and shut.extra["repeat_cows"].empty


@pytest.mark.parametrize("options", [{"by": ("colour",)}, {"per": "foot"}, {"gap_days": 0}])
def test_what_cannot_be_asked_is_said(demo_ledger: Ledger, options: dict[str, Any]) -> None:
    with pytest.raises(UserError):
        recurrence(demo_ledger, Selection(), **options)


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """What a cow had comes back more readily, three times in four at the same site; a freestall herd has more of
    it back than a herd at grass; how bad the case was plays no part."""
    answer = recurrence(demo_ledger, Selection(lesions=("SU", "WL", "SH")))
    recurred = answer.table.groupby("level")["recurred"].sum()
    assert recurred["claw"] > 0.5 * recurred["cow"]
    severity = recurrence(demo_ledger, Selection(lesions=("SU", "SH", "DD", "WL")), by=("severity",), per="claw")
    assert (severity.extra["log_rank"]["p_adjusted"] > 0.05).all()
    assert any("groups of severity, lesion by lesion" in note for note in severity.basis.notes)
    farms = recurrence(demo_ledger, Selection(lesions=("DD",)), by=("farm",), per="cow")
    assert farms.extra["log_rank"]["p_value"].iloc[0] < 0.01
    free = farms.table.set_index("farm")["free_365"]
    assert free["Larkmoor"] == free.min()
    repeat = answer.extra["repeat_cows"]
    assert (repeat["times"] >= 2).all() and repeat["times"].is_monotonic_decreasing


def followed_cows(
    farms: dict[str, str], cows: int = 30, slip: bool = False, sooner: tuple[str, ...] = ()
) -> list[dict[str, Any]]:
    """Farm -> housing; each cow has a case, and again half a year later on the farms that have it back."""
    rows = []
    for farm, housing in farms.items():
        for n in range(cows):
            again = n % 2 == 0 if farm in sooner else n % 10 == 0
            kind = "freestall" if slip and n == 0 else housing
            for day, lesion in (("2024-01-01", "SU"), ("2024-07-01", "SU" if again else None), ("2025-01-01", None)):
                rows.append(trim(f"{n}", day, lesion, farm=farm, housing=kind))
    return rows


@pytest.mark.parametrize("slip", [False, True])
def test_housing_that_is_the_farm_is_not_tested(tmp_path: Path, slip: bool) -> None:
    """Not even when one cow is mistyped."""
    rows = followed_cows({"A": "freestall", "B": "pasture", "C": "freestall"}, slip=slip, sooner=("A", "C"))
    made = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    answer = recurrence(made, Selection(), by=("housing",), per="cow")
    assert answer.extra["log_rank"]["p_value"].isna().all()
    assert not any("Log-rank" in note for note in answer.basis.notes)
    assert (
        sum(
            "No two farms here have 10 cows or more with a case that was followed in freestall" in each
            for each in answer.cautions
        )
        == 1
    )
    farms = recurrence(made, Selection(), by=("farm",), per="cow")
    assert farms.extra["log_rank"]["p_value"].iloc[0] < 0.01


def test_farms_are_the_clusters_of_pooled_cases(tmp_path: Path) -> None:
    """Half of the cases come back on one farm of four, few on the others: of farms like these little is known."""
    rows = followed_cows(dict.fromkeys("ABCD", "freestall"), cows=60, sooner=("A",))
    made = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    pooled = recurrence(made, Selection(), per="cow").table.iloc[0]
    own = recurrence(made, Selection(farms=("A",)), per="cow").table.iloc[0]
    assert pooled["free_365_high"] - pooled["free_365_low"] > 0.5
    assert 0.15 < own["free_365_high"] - own["free_365_low"] < 0.25
    assert "with farms, or the cows of one farm, as clusters" in recurrence(made, Selection()).basis.method


def test_a_cow_that_came_later_is_followed_from_then(tmp_path: Path) -> None:
    """Cow 2 brought a case of a year before: had it come back before she came, nobody here would have seen it. At 182
    days only cow 1 is at risk; S(400) rests on both."""
    rows = [
        trim("1", "2024-01-01", "SU"),
        trim("1", "2024-07-01", "SU"),
        trim("2", "2024-01-01", "SU"),
        trim("2", "2025-03-01", "SU"),
        trim("3", "2024-01-01", "SU"),
        trim("3", "2025-12-01"),
        trim("1", "2025-12-01"),
        trim("2", "2025-12-01"),
    ]
    came = {"farm": "Ash", "cow": "2", "entered_on": "2024-12-31"}
    with_entry = ledger_of(tmp_path / "l.duckdb", checked("trims", rows), checked("register", [came]))
    curve = recurrence(with_entry, Selection(), per="cow").extra["curve"].set_index("time")
    without = recurrence(ledger_of(tmp_path / "m.duckdb", checked("trims", rows)), Selection(), per="cow")
    plain = without.extra["curve"].set_index("time")
    assert plain.loc[182, ["at_risk", "survival"]].tolist() == pytest.approx([5, 0.8])
    assert curve.loc[182, ["at_risk", "survival"]].tolist() == pytest.approx([4, 0.75])
    assert curve.loc[425, "at_risk"] == plain.loc[425, "at_risk"]
    assert curve.loc[425, "survival"] == pytest.approx(0.75 * plain.loc[425, "survival"] / 0.8)
