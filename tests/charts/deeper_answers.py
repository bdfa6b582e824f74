"""Invented answers of the deeper measures, with the columns those measures give."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.change_impact import HEADLINE
from evenfoot.analytics.stats.intervals import wilson
from tests.charts.answers import BASIS, with_shares

MONTHS = pd.date_range("2024-01-01", periods=18, freq="MS")


def control() -> Answer:
    cases = np.array([20, 22, 18, 21, 19, 20, 23, 18, 20, 21, 19, 20, 22, 45, 21, 20, 4, 20])
    table = pd.DataFrame({"month": MONTHS, "cases": cases, "at_risk": 110})
    table = table.assign(prevalence=table["cases"] / 110, centre=0.18, lower=0.07, upper=0.30, signal="")
    table.loc[13, "signal"] = "above the upper limit"
    table.loc[16, "signal"] = "below the lower limit"
    table = table.assign(baseline=table.index < 12)
    return Answer("control-chart", table, BASIS, (), ("month",))


def season() -> Answer:
    table = pd.DataFrame({"calendar_month": range(1, 13), "cases": range(10, 34, 2), "at_risk": 200, "years": 2})
    table = with_shares(table).assign(fitted=0.11)
    terms = pd.DataFrame(
        [("peak-to-trough odds ratio", 1.8, 1.2, 2.7, 0.01, ""), ("month of peak", 9.2, 8.0, 10.1, math.nan, "")],
        columns=["term", "estimate", "low", "high", "p_value", "words"],
    )
    return Answer("season", terms, BASIS, (), ("term",), {"by_month": table})


def trend() -> Answer:
    table = pd.DataFrame(
        [("odds ratio a year", 1.2, 1.05, 1.37, 0.008), ("share at the start", 0.15, 0.12, 0.18, math.nan)],
        columns=["term", "estimate", "low", "high", "p_value"],
    )
    farms = pd.DataFrame({"farm": ["North", "South"], "estimate": [0.9, 1.6], "low": [0.7, 1.2], "high": [1.1, 2.1]})
    return Answer("trend", table, BASIS, (), ("term",), {"by_farm": farms})


def steps() -> Answer:
    rows = [
        ("sound", "sound", 450, 500, "sound"),
        ("sound", "lame", 50, 500, "new"),
        ("lame", "sound", 60, 100, "recovered"),
        ("lame", "lame", 40, 100, "chronic"),
    ]
    table = pd.DataFrame(rows, columns=["from_state", "to_state", "cows", "of", "transition"])
    low, high = wilson(table["cows"], table["of"], 0.95)
    return Answer("transitions", table.assign(share=table["cows"] / table["of"], low=low, high=high), BASIS)


def change(enough: bool = True) -> Answer:
    rows = [
        ("share before", 0.26, 0.23, 0.30, math.nan),
        (HEADLINE, 0.59, 0.47, 0.75, 0.0001),
        ("odds ratio, level at the change", 0.46, 0.28, 0.77, 0.004),
        ("percentage points, first 12 months after the change", -24.3, -51.7, 3.1, math.nan),
    ]
    table = pd.DataFrame(rows, columns=["term", "estimate", "low", "high", "p_value"])
    table = table.assign(headline=(table["term"] == HEADLINE) & enough)
    if not enough:
        table.loc[1:, ["estimate", "low", "high", "p_value"]] = math.nan
    after = np.arange(18) >= 9
    series = pd.DataFrame({"month": MONTHS, "cases": np.where(after, 12, 24), "at_risk": 100})
    series = series.assign(
        prevalence=series["cases"] / 100,
        fitted=np.where(after, 0.12, 0.24),
        counterfactual=np.where(after, 0.24, math.nan),
        cf_low=np.where(after, 0.18, math.nan),
        cf_high=np.where(after, 0.31, math.nan),
        after=after,
    )
    return Answer("change-impact", table, BASIS, (), ("term",), {"series": series})


def incidence(by: str = "lesion") -> Answer:
    groups = list(MONTHS[:5]) if by == "month" else ["SU", "DD", "WL", "TU", "HHE"]
    table = pd.DataFrame({by: groups, "new_cases": [10, 40, 0, 2, 25], "cow_months": [500.0, 500.0, 500.0, 0.0, 500.0]})
    per_100 = table["cow_months"].replace(0, math.nan) / 100
    low, high = table["new_cases"] / per_100 * 0.7, (table["new_cases"] + 2) / per_100 * 1.4
    rate = table["new_cases"] / per_100
    return Answer("incidence", table.assign(rate_per_100=rate, low=low, high=high), BASIS, (), (by,))


def recurrence() -> Answer:
    parts = []
    for lesion, start in (("SU", 60), ("DD", 200), ("WL", 90), ("HHE", 30), ("TU", 8)):
        at_risk = np.linspace(start, 2, 12).round()
        survival = np.linspace(1, 0.4, 12)
        parts.append(
            pd.DataFrame(
                {
                    "level": "cow",
                    "lesion": lesion,
                    "time": np.arange(0, 1200, 100),
                    "survival": survival,
                    "low": np.clip(survival - 0.1, 0, 1),
                    "high": np.clip(survival + 0.1, 0, 1),
                    "at_risk": at_risk,
                    "events": 1,
                }
            )
        )
    curve = pd.concat(parts, ignore_index=True)
    table = pd.DataFrame({"lesion": ["SU", "DD", "WL", "HHE", "TU"], "level": "cow", "at_risk": [60, 200, 90, 30, 8]})
    table = table.assign(recurred=[20, 90, 30, 9, 0], median_days=400.0)
    for days, share in ((180, 0.8), (365, 0.6)):
        table = table.assign(
            **{f"free_{days}": share, f"free_{days}_low": share - 0.1, f"free_{days}_high": share + 0.1}
        )
    return Answer("recurrence", table, BASIS, (), ("lesion", "level"), {"curve": curve})


def farms() -> Answer:
    table = pd.DataFrame(
        {"farm": ["North", "South", "East", "West"], "cases": [30, 80, 55, 12], "at_risk": [60, 200, 180, 70]}
    )
    table = with_shares(table)
    half = 0.9 / np.sqrt(table["at_risk"])
    table = table.assign(
        shrunken=0.7 * table["prevalence"] + 0.1,
        funnel_low=0.347 - half,
        funnel_high=0.347 + half,
        outside=["above", "", "", "below"],
        rank=[4, 3, 2, 1],
        rank_low=[3, 2, 1, 1],
        rank_high=[4, 4, 3, 1],
    )
    table = table.assign(shrunken_low=table["shrunken"] - 0.06, shrunken_high=table["shrunken"] + 0.06)
    return Answer("benchmark", table, BASIS, (), ("farm",))


def families() -> Answer:
    table = pd.DataFrame({"sire": ["B1", "B2", "B3"], "daughters": [40, 25, 60], "cases": [20, 5, 24]})
    rate = table["cases"] / table["daughters"]
    table = table.assign(rate=rate, shrunken=[0.45, 0.33, 0.40], low=[0.35, 0.22, 0.31], high=[0.55, 0.45, 0.49])
    return Answer("family", table, BASIS, (), ("sire",))


def costs() -> Answer:
    table = pd.DataFrame(
        {
            "lesion": ["DD", "SU", "TS"],
            "cases": [100, 40, 3],
            "cost": [13700.0, 10080.0, math.nan],
            "low": [7000.0, 7100.0, math.nan],
            "high": [22100.0, 14300.0, math.nan],
            "currency": ["USD 2018", "USD 2018", None],
        }
    )
    return Answer("cost", table, BASIS, (), ("lesion",))


def agreements() -> Answer:
    rows = [
        ("AB", "CD", 90, 0.6, 0.3, 0.1, 0.5, "unweighted", "locomotion 1-5"),
        ("AB", "CD", 90, 0.6, 0.5, 0.3, 0.7, "quadratic", "locomotion 1-5"),
        ("AB", "CD", 90, 0.9, 0.4, 0.2, 0.6, "unweighted", "lame"),
        ("AB", "EF", 1, 1.0, math.nan, math.nan, math.nan, "unweighted", "lame"),
    ]
    names = ["a", "b", "pairs", "agreement", "kappa", "low", "high", "weights", "what"]
    return Answer("agreement", pd.DataFrame(rows, columns=names), BASIS, (), ("a", "b"))


def quality() -> Answer:
    month = pd.Timestamp("2026-01-01")
    rows = [
        ("completeness", "AB", pd.NaT, "zone", 100, 0.80, 0.71, 0.87),
        ("completeness", "AB", month, "zone", 40, 0.10, 0.04, 0.23),
        ("completeness", "CD", pd.NaT, "zone", 50, 0.40, 0.28, 0.54),
        ("completeness", "CD", pd.NaT, "dd_stage", 50, 1.00, 0.93, 1.0),
        ("scores", "AB", pd.NaT, "1 (1-5)", 100, 0.60, 0.50, 0.69),
        ("scores", "AB", pd.NaT, "2 (1-5)", 100, 0.40, 0.31, 0.50),
        ("scores", "CD", pd.NaT, "1 (1-5)", 80, 0.50, 0.39, 0.61),
        ("scores", "CD", pd.NaT, "2 (1-5)", 80, 0.50, 0.39, 0.61),
    ]
    table = pd.DataFrame(rows, columns=["check", "trimmer", "month", "field", "n", "share", "low", "high"])
    table = table.assign(p_value=0.2, p_adjusted=0.3, sentence="AB gave score 1 at 60% of 100 scorings.")
    return Answer("quality", table, BASIS, (), ("check",))


def how_many() -> Answer:
    rows = [
        (0.05, "fall", 900),
        (0.05, "rise", 1000),
        (0.10, "fall", 200),
        (0.10, "rise", 260),
        (0.15, "fall", math.nan),
    ]
    table = pd.DataFrame(rows, columns=["points", "direction", "needed"])
    table = table.assign(prevalence=0.12, at_hand=263, enough=table["needed"] <= 263)
    sign = table["direction"].map({"fall": -1, "rise": 1})
    return Answer("how-many", table.assign(prevalence_then=0.12 + sign * table["points"]), BASIS)
