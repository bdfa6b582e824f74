"""What a figure found, in one sentence: the title of its panel. Counts are of a hundred, as people say them."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import limb_of
from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import number, plural
from evenfoot.dashboard.i18n.translation import _, _n, words

SURE = 0.05
"""A difference with a p-value below this is called likely real. [common practice, no source]"""

HALF_YEAR = 180


def commonest_lesion(answer: Answer) -> str:
    """Which lesion most cows have; nothing where none was found."""
    row = _highest(answer, "prevalence")
    if row is None or not row["cases"]:
        return ""
    return _("{lesion}: {share} of 100 {units}, the most of all lesions", lesion=words().lesion(str(row["lesion"])),
             **_of_100(row, answer))  # fmt: skip


def place_of_most(answer: Answer) -> str:
    """On which feet and in which zone most is found; nothing where no place is recorded."""
    table = answer.table
    if table.empty or "zone" not in table:
        return ""
    table = table[table["zone"].notna() & table["foot"].notna() & (table["cases"] > 0)]
    if table.empty:
        return ""
    limbs = table["foot"].map(limb_of)
    sums = table.groupby([limbs, "zone"])["cases"].sum().sort_values(ascending=False, kind="stable")
    limb, zone = sums.index[0]
    place = value_label("zone", int(zone))
    if str(limb) == "hind":
        return _("Most on the hind feet: {place}", place=place)
    return _("Most on the front feet: {place}", place=place)


def newest_month(answer: Answer, share: str = "prevalence", column: str = "month") -> str:
    """The newest month, and the same month a year before where there is one."""
    table = answer.table
    if table.empty or column not in table or table[column].duplicated().any():
        return ""
    table = table[table[share].notna()].sort_values(column)
    if table.empty:
        return ""
    last = table.iloc[-1]
    day = pd.Timestamp(last[column])
    before = table[table[column] == day - pd.DateOffset(years=1)]
    now = _("{month}: {share} of 100", month=value_label("month", day), share=_percent(last[share]))
    if before.empty:
        return now
    return _("{now}, a year before {share}", now=now, share=_percent(before[share].iloc[0]))


def come_back(answer: Answer) -> str:
    """Of ten cases of the lesion followed most, how many are back within half a year; nothing for few cases."""
    table = answer.table
    column = f"free_{HALF_YEAR}"
    if table.empty or column not in table:
        return ""
    known = table[table[column].notna() & (table["at_risk"] >= 10)].sort_values("at_risk", ascending=False)
    if known.empty:
        return ""
    row = records(known.head(1))[0]
    back = round(10 * (1 - row[column]))
    lesion = words().lesion(str(row["lesion"]), inside=True)
    return _n(
        "Of 10 cases of {lesion} {n} is back within half a year",
        "Of 10 cases of {lesion} {n} are back within half a year",
        back,
        lesion=lesion,
    )


def difference_of_groups(answer: Answer, by: str) -> str:
    """The group that differs most surely from the reference, and whether that is likely real.

    The p-value allows for the number of groups: ``q_value``, or the adjusted one times that number (Bonferroni) where
    something is held alike. Nothing where no group is tested.
    """
    table = answer.table
    if not {"group", "prevalence", "p_value"} <= set(table.columns):
        return ""
    tested = table[table["p_value"].notna() & table["prevalence"].notna()]
    reference = table[table["p_value"].isna() & table["prevalence"].notna() & (table["risk_ratio"] == 1)]
    if tested.empty or len(reference) != 1:
        return ""
    adjusted = (tested["adj_p_value"] * len(tested)).clip(upper=1)
    sure = adjusted.where(adjusted.notna(), tested["q_value"].where(tested["q_value"].notna(), tested["p_value"]))
    group, other = records(tested)[int(sure.to_numpy().argmin())], records(reference)[0]
    said = _("{a}: {x} of 100, {b}: {y} of 100", a=value_label(by, group["group"]), x=_percent(group["prevalence"]),
             b=value_label(by, other["group"]), y=_percent(other["prevalence"]))  # fmt: skip
    return _("{said}; likely real", said=said) if sure.min() < SURE else _("{said}; chance could do that", said=said)


def _highest(answer: Answer, column: str) -> dict[str, Any] | None:
    if answer.table.empty:
        return None
    return records(answer.table.sort_values(column, ascending=False, kind="stable").head(1))[0]


def _of_100(row: dict[str, Any], answer: Answer) -> dict[str, str]:
    return {"share": _percent(row["prevalence"]), "units": plural(answer.basis.unit, 100)}


def _percent(share: float) -> str:
    return number(round(100 * float(share)))
