"""The engine's counts against an independent count in plain Python sets, every level and grouping."""

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
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.selection import Selection
from tests.effort import tries
from tests.sheets import checked, ledger_of

FEET = ("LF", "RF", "LH", "RH")
DAYS = [dt.date(2025, 1, 10), dt.date(2025, 1, 11), dt.date(2025, 6, 3), dt.date(2026, 1, 20)]
PARENT = {"WLA": "WL", "SHD": "SH"}
FAMILY = {"DD": "infectious", "SU": "horn", "WL": "horn", "IH": "skin growth"}
SEASON = {1: "winter", 6: "summer"}

TRIM = st.fixed_dictionaries(
    {
        "farm": st.sampled_from(["Ash", "Birch"]),
        "cow": st.sampled_from(["1", "2", "3", "4"]),
        "visit_date": st.sampled_from(DAYS),
        "visit_kind": st.sampled_from(["whole-herd", "whole-herd", "lame-cow"]),
        # A herd of one, so that whoever is looked at is enough of it.
        "herd_size": st.just(1),
        "housing": st.sampled_from(["freestall", "pasture", None]),
        "parity": st.sampled_from([1, 2, 3, 5, None]),
        "trimmer": st.sampled_from(["KV", None]),
        "feet_seen": st.sampled_from([None, None, "RH", "LH RH"]),
    }
)
FINDING = st.fixed_dictionaries(
    {
        "foot": st.sampled_from([*FEET, None]),
        "claw": st.sampled_from(["lateral", "medial", None]),
        "zone": st.sampled_from([0, 3, 4, 10, None]),
        "lesion": st.sampled_from(["DD", "SU", "WL", "IH", None]),
        "severity": st.sampled_from([1, 2, 3]),
        "dd_stage": st.sampled_from(["M0", "M2", None]),
    }
)


@st.composite
def herds(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Sheet rows: trims of cows, each with one to three rows of findings."""
    rows: list[dict[str, Any]] = []
    seen = set()
    for trim in draw(st.lists(TRIM, min_size=1, max_size=12)):
        key = (trim["farm"], trim["cow"], trim["visit_date"])
        if key in seen:
            continue
        seen.add(key)
        for finding in draw(st.lists(FINDING, min_size=1, max_size=3)):
            row = {**trim, **finding}
            if row["foot"] is None:
                row["claw"] = None
            if row["lesion"] is None:
                row |= {"severity": None, "zone": None}
            if row["lesion"] != "DD":
                row["dd_stage"] = None
            rows.append(row)
    return rows


def value(row: dict[str, Any], name: str) -> Any:
    """The group of a sheet row, worked out without the program."""
    day = row["visit_date"]
    return {
        "farm": row["farm"],
        "month": pd.Timestamp(day.year, day.month, 1),
        "year": day.year,
        "season": SEASON[day.month],
        "housing": row["housing"] or "not recorded",
        "trimmer": row["trimmer"] or "not recorded",
        "parity": "not recorded" if row["parity"] is None else "3+" if row["parity"] >= 3 else str(row["parity"]),
        "foot": row["foot"],
        "limb": None if row["foot"] is None else "front" if row["foot"][1] == "F" else "hind",
        "claw": row["claw"],
        "side": "between" if row["zone"] in (0, 10) else row["claw"],
        "lesion": row["lesion"],
        "family": FAMILY.get(row["lesion"] or ""),
        "zone": row["zone"],
        "severity": row["severity"],
    }[name]


TRIM_GROUPS = ("farm", "month", "year", "season", "housing", "trimmer", "parity")
SITES = ("foot", "limb", "claw", "side")


def plain_count(rows: list[dict[str, Any]], by: tuple[str, ...], per: str) -> dict[tuple[Any, ...], tuple[int, int]]:
    """Cases and units at risk by group, from sets of units."""
    trims: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for row in rows:
        trims.setdefault((row["farm"], row["cow"], row["visit_date"]), []).append(row)

    def unit(row: dict[str, Any], foot: Any, claw: Any) -> Any:
        cow = (row["farm"], row["cow"])
        return {
            "cow": cow,
            "trim": (*cow, row["visit_date"]),
            "foot": (*cow, foot),
            "claw": (*cow, foot, claw),
        }[per]

    risk: dict[tuple[Any, ...], set[Any]] = {}
    for trim in trims.values():
        said = {f for row in trim if row["feet_seen"] for f in row["feet_seen"].split()}
        feet = (said or set(FEET)) | {row["foot"] for row in trim if row["foot"]}
        for foot, claw, between in itertools.product(feet, ("lateral", "medial"), (False, True)):
            place = {"foot": foot, "limb": "front" if foot[1] == "F" else "hind", "claw": claw}
            place["side"] = "between" if between else claw
            group = tuple(place[n] if n in SITES else value(trim[0], n) for n in by if n in (*SITES, *TRIM_GROUPS))
            risk.setdefault(group, set()).add(unit(trim[0], foot, claw))
    needs = {"foot": ("foot",), "claw": ("foot", "claw")}.get(per, ())
    cases: dict[tuple[Any, ...], set[Any]] = {}
    kinds = set()
    of_finding = [n for n in by if n not in (*SITES, *TRIM_GROUPS)]
    for row in rows:
        if row["lesion"] is None or row["dd_stage"] == "M0":
            continue
        if any(row[n] is None for n in needs):
            continue
        if any(value(row, n) is None for n in by):
            continue
        group = tuple(value(row, n) for n in by)
        kinds.add(tuple(value(row, n) for n in of_finding))
        cases.setdefault(group, set()).add(unit(row, row["foot"], row["claw"]))
    out = {}
    for place_group, units in risk.items():
        at = dict(zip([n for n in by if n in (*SITES, *TRIM_GROUPS)], place_group, strict=True))
        for kind in kinds if of_finding else [()]:
            full = at | dict(zip(of_finding, kind, strict=True))
            group = tuple(full[n] for n in by)
            out[group] = (len(cases.get(group, ())), len(units))
    return out


GROUPINGS: list[tuple[str, ...]] = [
    (),
    *((name,) for name in (*TRIM_GROUPS, *SITES, "lesion", "family", "zone", "severity")),
    ("farm", "lesion"),
    ("foot", "claw", "zone"),
    ("foot", "side", "zone"),
    ("housing", "zone", "side"),
    ("limb", "lesion"),
    ("lesion", "zone"),
    ("season", "limb"),
    ("month", "lesion", "claw"),
]


EVERY = list(itertools.product(GROUPINGS, ("cow", "trim", "foot", "claw")))


@settings(max_examples=tries(20), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(herds(), st.integers(0, len(EVERY) - 1))
def test_counts_equal_a_plain_count(rows: list[dict[str, Any]], start: int) -> None:
    """Each random herd is asked some of all questions, beginning anywhere, so that all get asked."""
    with tempfile.TemporaryDirectory() as folder:
        ledger = ledger_of(Path(folder) / "l.duckdb", checked("trims", rows))
        for selection in (Selection(visits=("all",)), Selection(), Selection(farms=("Ash",))):
            kept = [
                row
                for row in rows
                if (selection.all_visits or row["visit_kind"] == "whole-herd")
                and (not selection.farms or row["farm"] in selection.farms)
            ]
            for by, per in (EVERY[start:] + EVERY[:start])[::23]:
                table = count(ledger, selection, by, per).table
                got = {
                    tuple(row[name] for name in by): (row["cases"], row["at_risk"]) for row in table.to_dict("records")
                }
                assert got == plain_count(kept, by, per), (by, per, selection)
                assert (table["cases"] <= table["at_risk"]).all()
        ledger.lease.drop_if_idle()


@settings(max_examples=tries(10), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(herds())
def test_cluster_sums_add_up(rows: list[dict[str, Any]]) -> None:
    """The sums over clusters are those of the clusters' own counts."""
    with tempfile.TemporaryDirectory() as folder:
        ledger = ledger_of(Path(folder) / "l.duckdb", checked("trims", rows))
        for per in ("cow", "trim", "foot", "claw"):
            counted = count(ledger, Selection(visits=("all",)), ("housing",), per)
            several = len({row["farm"] for row in rows}) > 1
            assert counted.cluster == ("farm" if several else "cow")
            for row in counted.table.to_dict("records"):
                here = [r for r in rows if value(r, "housing") == row["housing"]]
                clusters = {(r["farm"],) if several else (r["farm"], r["cow"]) for r in here}
                sums = []
                for cluster in clusters:
                    own = [r for r in here if (r["farm"], r["cow"])[: len(cluster)] == cluster]
                    sums.append(plain_count(own, (), per)[()])
                m, n = [s[0] for s in sums], [s[1] for s in sums]
                assert row["clusters"] == len(clusters)
                assert (row["sum_m"], row["sum_n"]) == (sum(m), sum(n))
                assert row["sum_mm"] == sum(x * x for x in m)
                assert row["sum_mn"] == sum(x * y for x, y in zip(m, n, strict=True))
                assert row["sum_nn"] == sum(y * y for y in n)
        ledger.lease.drop_if_idle()


def test_a_lesion_asked_for_and_never_found_is_an_answer(tmp_path: Path) -> None:
    row = {"farm": "Ash", "cow": "1", "visit_date": DAYS[0], "visit_kind": "whole-herd"}
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row]))
    table = count(ledger, Selection(lesions=("SU",)), ("lesion",)).table
    assert table[["lesion", "cases", "at_risk"]].values.tolist() == [["SU", 0, 1]]


@pytest.mark.parametrize(("by", "per"), [(("colour",), "cow"), (("farm",), "herd")])
def test_what_cannot_be_counted_is_said(tmp_path: Path, by: tuple[str, ...], per: str) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb")
    with pytest.raises(UserError):
        count(ledger, Selection(), by, per)


def test_a_viewer_sees_only_the_farms_allowed(tmp_path: Path) -> None:
    rows = [{"farm": farm, "cow": "1", "visit_date": DAYS[0], "visit_kind": "whole-herd"} for farm in ("Ash", "Birch")]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    for asked in ((), ("Ash", "Birch"), ("Birch",)):
        table = count(ledger, Selection(farms=asked, allowed=("Ash",)), ("farm",)).table
        assert set(table["farm"]) <= {"Ash"}
    assert count(ledger, Selection(allowed=()), ()).table["at_risk"].sum() == 0


@pytest.mark.parametrize(
    "farm", ["O'Hara's", "x' OR '1'='1", "'; DROP TABLE trims; --", "Birch\\", "the one farm of this question"]
)
def test_any_name_of_a_farm_is_only_a_name(tmp_path: Path, farm: str) -> None:
    """One SQL text serves every farm; whatever a farm is called, it cannot become SQL."""
    rows = [
        {"farm": name, "cow": str(i), "visit_date": DAYS[0], "visit_kind": "whole-herd", "lesion": "SU"}
        for name in (farm, "Ash")
        for i in range(3 if name == farm else 5)
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    for asked, cows in ((farm, 3), ("Ash", 5), ("Nowhere", 0)):
        assert count(ledger, Selection(farms=(asked,)), ()).table["at_risk"].sum() == cows
    assert count(ledger, Selection(), ()).table["at_risk"].sum() == 8
