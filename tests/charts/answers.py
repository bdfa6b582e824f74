"""Invented answers for the charts to draw; the counts are made up, the intervals are worked out."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.intervals import wilson

BASIS = Basis(farms=1, visits=6, cows=263, trims=900, first=dt.date(2024, 1, 9), last=dt.date(2026, 3, 31), unit="cow")
NOTHING = say("Nothing was recorded for this choice of farms, dates and groups.")


def with_shares(table: pd.DataFrame, cases: str = "cases", at_risk: str = "at_risk", prefix: str = "") -> pd.DataFrame:
    """Add the share and its interval."""
    low, high = wilson(table[cases].to_numpy(), table[at_risk].to_numpy(), 0.95)
    share = table[cases] / table[at_risk]
    return table.assign(**{f"{prefix}prevalence": share, f"{prefix}low": low, f"{prefix}high": high})


def counted(by: tuple[str, ...], rows: list[tuple[Any, ...]], at_risk: int = 263, name: str = "prevalence") -> Answer:
    """An answer from rows of groups and cases."""
    table = pd.DataFrame(rows, columns=[*by, "cases"]).assign(at_risk=at_risk)
    return Answer(name, with_shares(table).assign(n_farms=1, n_visits=6), BASIS, (), by)


def lesions() -> Answer:
    return counted(("lesion",), [("SU", 23), ("DD", 60), ("WL", 31), ("TU", 2), ("HHE", 77)])


def feet() -> Answer:
    rows: list[tuple[Any, ...]] = [
        ("LH", "lateral", 4, 50),
        ("LH", "medial", 4, 19),
        ("RH", "lateral", 4, 48),
        ("RH", "lateral", 3, 30),
        ("LF", "medial", 4, 9),
        ("RF", "medial", 1, 3),
        ("LH", None, 10, 34),
        ("RH", None, 0, 6),
        ("LH", "lateral", 11, 3),
    ]
    return counted(("foot", "claw", "zone"), rows, name="foot-map")


def months(second: bool = False) -> Answer:
    days = pd.date_range("2024-01-01", periods=8, freq="MS")
    if not second:
        return counted(("month",), [(day, 20 + i) for i, day in enumerate(days)], at_risk=110)
    rows = [(day, kind, 10 + i) for i, day in enumerate(days) for kind in ("freestall", "tie-stall")]
    return counted(("month", "housing"), rows, at_risk=110)


def control_chart() -> Answer:
    table = months().table.assign(centre=0.21, lower=0.1, upper=0.235)
    table = table.assign(signal=table["prevalence"] > table["upper"])
    changes = pd.DataFrame({"date": pd.to_datetime(["2024-04-11", "2019-01-01"]), "what": ["rubber laid", "long ago"]})
    return Answer("control-chart", table, BASIS, (), ("month",), {"changes": changes})


def scorings(groups: tuple[str, ...] = ()) -> Answer:
    days = pd.to_datetime(["2024-01-01", "2024-02-01", "2024-03-01", "2025-01-01"])
    rows = [(day, group, 200, 50 + 5 * i, 12 + i) for group in groups or ("",) for i, day in enumerate(days)]
    table = pd.DataFrame(rows, columns=["period", "housing", "scored", "lame", "severe"])
    table = with_shares(table, "lame", "scored", "lame_")
    table = with_shares(table, "severe", "scored", "severe_")
    by = ("period", "housing") if groups else ("period",)
    return Answer("locomotion", table if groups else table.drop(columns="housing"), BASIS, (), by)


def transitions() -> Answer:
    rows = [(1, 1, 80, 100), (1, 3, 20, 100), (3, 1, 15, 40), (3, 3, 25, 40)]
    table = with_shares(pd.DataFrame(rows, columns=["before", "after", "cases", "at_risk"]))
    return Answer("transitions", table, BASIS, (), ("before", "after"))


def compared(adjusted: bool = False) -> Answer:
    table = with_shares(
        pd.DataFrame({"group": ["freestall", "tie-stall", "pasture"], "cases": [60, 20, 0], "at_risk": [263, 180, 25]})
    ).assign(
        risk_ratio=[1.0, 0.49, 0.0],
        rr_low=[1.0, 0.30, 0.0],
        rr_high=[1.0, 0.77, 0.59],
        odds_ratio=[1.0, 0.42, 0.0],
        or_low=[1.0, 0.24, 0.0],
        or_high=[1.0, 0.73, 0.50],
        p_value=[float("nan"), 0.001, 0.01],
    )
    if adjusted:
        table = table.assign(
            adj_odds_ratio=[1.0, 0.6, float("nan")],
            adj_or_low=[1.0, 0.3, float("nan")],
            adj_or_high=[1.0, 1.1, float("nan")],
            std_risk=[0.2, 0.14, 0.02],
            std_low=[0.15, 0.1, 0.0],
            std_high=[0.26, 0.2, 0.2],
        )
    return Answer("comparison", table, BASIS, (), ("group",))


def cow() -> dict[str, pd.DataFrame]:
    days = pd.to_datetime(["2025-03-18", "2024-09-12"])
    findings = pd.DataFrame(
        {
            "visit_date": [*days, days[0]],
            "foot": ["LH", None, "LH"],
            "claw": ["lateral", None, None],
            "zone": pd.array([4, None, 10], dtype="Int64"),
            "lesion": ["SU", "HHE", "DD"],
            "family": ["horn", "infectious", "infectious"],
            "severity": pd.array([3, None, 1], dtype="Int64"),
            "dd_stage": [None, None, "M2"],
            "action": ["block", "trim", "wrap"],
        }
    )
    return {
        "trims": pd.DataFrame({"visit_date": days, "housing": ["freestall", "pasture"]}),
        "findings": findings,
        "scores": pd.DataFrame(
            {
                "visit_date": days,
                "score": [4, 2],
                "scale": "1-5",
                "lame": [1, 0],
                "severe": [1, 0],
                "housing": ["freestall", None],
            }
        ),
        "calvings": pd.DataFrame({"calved_on": pd.to_datetime(["2024-06-01"])}),
        "moves": pd.DataFrame({"moved_on": pd.Series(dtype="datetime64[us]"), "group": pd.Series(dtype="str")}),
    }
