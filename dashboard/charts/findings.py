"""What a figure found, in one sentence: the title of its panel. Counts are of a hundred, as people say them."""

from __future__ import annotations

from typing import Any

import pandas as pd
from scipy.stats import norm

from evenfoot.analytics.domain.feet import CLAWS, FEET, limb_of
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.findings_in_time import of_100
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import VERDICTS, column_label, date_label, small, value_label
from evenfoot.dashboard.charts.theme import number, plural
from evenfoot.dashboard.i18n.translation import _, _n, told, words

SURE = 0.05
"""A difference with a p-value below this is called likely real. [common practice, no source]"""

LIKELY, CHANCE = say("likely real"), say("chance could do that")
TURNED = say("the other way round, held alike")
NOT_TESTED = say("too few to say")
HALF_YEAR = 180


def commonest_lesion(answer: Answer) -> str:
    """Which lesion most cows have; nothing where none was found."""
    row = _highest(answer, "prevalence")
    if row is None or not row["cases"]:
        return ""
    said = _("{lesion}: {share} of 100 {units}", lesion=words().lesion(str(row["lesion"])), **_of_100(row, answer))
    if answer.basis.first is None:
        return _("{said}, the most of all lesions", said=said)
    since = value_label("month", pd.Timestamp(answer.basis.first))
    return _("{said} since {month}, the most of all lesions", said=said, month=since)


def place_of_most(answer: Answer) -> str:
    """On which feet and in which zone most is found; nothing where no place is recorded."""
    most = _place_of_most(answer)
    if most is None:
        return ""
    limb, zone = most
    place = value_label("zone", zone)
    if limb == "hind":
        return _("Most on the hind feet: {place}", place=place)
    return _("Most on the front feet: {place}", place=place)


def place_of_difference(answer: Answer, names: tuple[str, str]) -> str:
    """The place where two groups differ most, or that none clearly does.

    The interval of each place is made wider for the number of places (Bonferroni; normal approximation). A place
    differs clearly when its wider interval does not include 0. Where trims are counted the interval is wider still, as
    if all trims of a cow told the same.
    """
    table = answer.table
    if table.empty:
        return ""
    width = (table["high"] - table["low"]) / 2
    wider = norm.isf(0.025 / len(table)) / norm.isf(0.025)
    if answer.basis.unit != "cow" and answer.basis.cows:
        wider *= max(1.0, answer.basis.trims / answer.basis.cows) ** 0.5
    clear = table[table["difference"].abs() > width * wider]
    if clear.empty:
        return _("No place clearly differs between the groups")
    row = records(clear.loc[[clear["difference"].abs().idxmax()]])[0]
    place = ", ".join(
        value_label(name, row[name]) for name in ("foot", "claw", "zone") if not pd.isna(row[name]) and row[name] != ""
    )
    points = number(round(100 * abs(row["difference"]), 1))
    if row["difference"] < 0:
        return _("{place}: {points} points less in {group}", place=place, points=points, group=small(names[0]))
    return _("{place}: {points} points more in {group}", place=place, points=points, group=small(names[0]))


def _place_of_most(answer: Answer) -> tuple[str, int] | None:
    """Limb and zone with most cases."""
    table = answer.table
    if table.empty or "zone" not in table:
        return None
    table = table[table["zone"].notna() & table["foot"].notna() & (table["cases"] > 0)]
    if table.empty:
        return None
    limbs = table["foot"].map(limb_of)
    sums = table.groupby([limbs, "zone"])["cases"].sum().sort_values(ascending=False, kind="stable")
    limb, zone = sums.index[0]
    return str(limb), int(zone)


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


def difference_of_lesions(table: pd.DataFrame, by: str, reference: str) -> str:
    """The lesion and group that differ most surely from the reference, or that none does."""
    sure = table[table["q_value"] < SURE].sort_values("q_value", kind="stable") if len(table) else table
    if sure.empty:
        return _("No lesion clearly differs between the groups")
    row = records(sure.head(1))[0]
    said = _("{lesion}: {a} {x} of 100, {b} {y}", lesion=words().lesion(str(row["lesion"])),
             a=value_label(by, row["group"]), x=of_100(row["prevalence"]), b=value_label(by, reference),
             y=of_100(row["reference_share"]))  # fmt: skip
    if row["real"] == TURNED:
        return _("{said}; held alike it is the other way round", said=said)
    return _("{said}; likely real", said=said)


def with_words(by_lesion: pd.DataFrame) -> pd.DataFrame:
    """The comparison lesion by lesion, the surest first.

    ``reference_share`` is the share in the reference; ``real`` says in words how sure the difference is.
    """
    table = by_lesion.assign(reference_share=by_lesion["reference_cases"] / by_lesion["reference_at_risk"])
    return table.assign(real=[_real(row) for row in records(table)]).sort_values("q_value", kind="stable")


def _real(row: dict[str, Any]) -> str:
    if pd.isna(row["q_value"]):
        return NOT_TESTED
    if row["q_value"] >= SURE:
        return CHANCE
    return TURNED if turns_round(row["prevalence"] - row["reference_share"], row["adj_odds_ratio"]) else LIKELY


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
    said = _("{a}: {x} of 100, {b}: {y} of 100", a=value_label(by, group["group"]), x=of_100(group["prevalence"]),
             b=value_label(by, other["group"]), y=of_100(other["prevalence"]))  # fmt: skip
    if not sure.min() < SURE:
        return _("{said}; chance could do that", said=said)
    if turns_round(group["prevalence"] - other["prevalence"], group["adj_odds_ratio"]):
        return _("{said}; held alike it is the other way round", said=said)
    return _("{said}; likely real", said=said)


def turns_round(difference: float, adjusted_odds_ratio: float) -> bool:
    """Whether a group has more as counted and less with the rest held alike, or less and more."""
    return bool((adjusted_odds_ratio - 1) * difference < 0)


def _highest(answer: Answer, column: str) -> dict[str, Any] | None:
    if answer.table.empty:
        return None
    return records(answer.table.sort_values(column, ascending=False, kind="stable").head(1))[0]


def _of_100(row: dict[str, Any], answer: Answer) -> dict[str, str]:
    return {"share": of_100(row["prevalence"]), "units": plural(answer.basis.unit, 100)}


def _tenths(value: float) -> str:
    return number(round(float(value), 1))


def claws_of_most(answer: Answer) -> str:
    """The claw and the end of the cow with most cows that have it; nothing where no claw is recorded."""
    table = answer.table
    if table.empty or not {"foot", "claw", "cases"} <= set(table.columns):
        return ""
    table = table[table["foot"].isin(FEET) & table["claw"].isin(CLAWS)]
    if not table["cases"].sum():
        return ""
    sums = (
        table.groupby([table["foot"].map(limb_of), "claw"])["cases"].sum().sort_values(ascending=False, kind="stable")
    )
    [(limb, claw)] = sums.index[:1].tolist()
    return told(_CLAWS[str(limb), str(claw)])


_CLAWS = {
    ("hind", "lateral"): say("On claws, most on the outer ones of the hind feet"),
    ("hind", "medial"): say("On claws, most on the inner ones of the hind feet"),
    ("front", "lateral"): say("On claws, most on the outer ones of the front feet"),
    ("front", "medial"): say("On claws, most on the inner ones of the front feet"),
}


def sound_again(answer: Answer) -> str:
    """Of ten lame cows, how many are sound at the next scoring."""
    if answer.empty or not answer.table["at_risk"].sum():
        return ""
    back = round(10 * answer.table["cases"].sum() / answer.table["at_risk"].sum())
    return _n(
        "Of 10 lame cows {n} is sound at the next scoring", "Of 10 lame cows {n} are sound at the next scoring", back
    )


def becoming_lame(answer: Answer) -> str:
    """Of a hundred sound cows, how many are lame at the next scoring."""
    table = answer.table
    if table.empty:
        return ""
    row = table[(table["from_state"] == "sound") & (table["to_state"] == "lame")]
    if row.empty:
        return ""
    return _("Of 100 sound cows {share} are lame at the next scoring", share=of_100(row["share"].iloc[0]))


def new_cases(answer: Answer, column: str = "lesion") -> str:
    """The lesion with most new cases, or the newest year beside the one before."""
    table = answer.table
    if table.empty:
        return ""
    if column == "lesion":
        row = records(table.sort_values("rate_per_100", ascending=False).head(1))[0]
        return _("{lesion}: {rate} new cases in 100 cows a month, the most", lesion=words().lesion(str(row["lesion"])),
                 rate=_tenths(row["rate_per_100"]))  # fmt: skip
    rows = records(table.sort_values("year").tail(2))
    if len(rows) < 2:
        return ""
    was, now = (_tenths(row["rate_per_100"]) for row in rows)
    return _("{year}: {rate} new cases in 100 cows a month, {before}: {was}", year=str(rows[1]["year"]), rate=now,
             before=str(rows[0]["year"]), was=was)  # fmt: skip


def called(answer: Answer) -> str:
    """What is worse and what is better in a herd, or that nothing clearly is."""
    table = answer.table
    if table.empty or "verdict" not in table:
        return ""
    said = []
    for verdict in ("worse", "better"):
        what = [_what(str(name)) for name in table.loc[table["verdict"] == verdict, "what"]]
        if what:
            said.append(f"{told(VERDICTS[verdict])}: {', '.join(what)}")
    if said:
        return "; ".join(said)
    return _("No clear change in anything") if (table["verdict"] == "no-clear-change").any() else _("Too few to say")


_WORSE_IN = {"lame": say("lameness"), "severe": say("severe lameness"), "any": say("any lesion")}


def _what(name: str) -> str:
    return told(_WORSE_IN[name]) if name in _WORSE_IN else words().lesion(name, inside=True)


def farms_called(answer: Answer) -> str:
    """How many farms are worse."""
    table = answer.table
    if table.empty or "verdict" not in table:
        return ""
    worse = int((table["verdict"] == "worse").sum())
    return _n("{n} of {all} farms is worse", "{n} of {all} farms are worse", worse, all=len(table))


def herds_called(answer: Answer) -> str:
    """How many farms are worse in anything, from the table of ``summary`` of several farms."""
    farms = answer.table["farm"]
    worse = farms[answer.table["verdict"] == "worse"].nunique()
    return _n("{n} of {all} farms is worse", "{n} of {all} farms are worse", worse, all=farms.nunique())


def farms_with_signal(answer: Answer) -> str:
    """How many farms had a month out of the ordinary in the newest half year."""
    table = answer.table
    if table.empty or "signals_half_year" not in table:
        return ""
    farms = table.groupby("farm")["signals_half_year"].max()
    return _("Farms with a month out of the ordinary in half a year: {n} of {all}", n=int((farms > 0).sum()),
             all=len(farms))  # fmt: skip


def order_of_farms(answer: Answer) -> str:
    """The farms outside their usual spread, or that none is; and the farms with most and with least."""
    table = answer.table
    if len(table) < 2:
        return ""
    table = table.dropna(subset=["shrunken"]).sort_values("shrunken", kind="stable")
    if len(table) < 2:
        return ""
    most, least = table.iloc[-1], table.iloc[0]
    said = _("{a} {x} of 100, {b} {y}", a=most["farm"], x=of_100(most["shrunken"]), b=least["farm"],
             y=of_100(least["shrunken"]))  # fmt: skip
    outside = [str(farm) for farm in table.loc[table["outside"].isin(["above", "below"]), "farm"]]
    if outside:
        return _("Outside the usual spread: {farms}. {said}", farms=", ".join(outside), said=said)
    return _("No farm lies outside the usual spread. {said}", said=said)


def mean_of_horn(answer: Answer, mean: str) -> str:
    """The mean of a measure of horn over all groups, weighted by what was measured."""
    table = answer.table
    if table.empty or mean not in table or table[mean].isna().all():
        return ""
    values = table[mean].dropna()
    if mean == "mm_per_month":
        return _("Toes grow {low} to {high} mm a month", low=_tenths(values.min()), high=_tenths(values.max()))
    weight = table.loc[values.index, "n"]
    unit = str(table["unit"].iloc[0]) if "unit" in table else "mm"
    return _("{mean} {unit} on average", mean=number(round((values * weight).sum() / weight.sum())), unit=unit)


def shedding(answer: Answer) -> str:
    """How many feet of a hundred have begun to shed."""
    table = answer.table
    if table.empty or not table["feet"].sum():
        return ""
    begun = table.loc[table["shed_stage"] > 0, "feet"].sum() / table["feet"].sum()
    return _("{share} of 100 feet have begun to shed", share=of_100(begun))


def shed_most(answer: Answer, by: str) -> str:
    """The group in which most feet have begun to shed, and the one in which fewest have."""
    table = answer.table
    if table.empty or by not in table:
        return ""
    kept = table[(table["shed_stage"] == 0) & (table["seen"] > 0)].sort_values("share", kind="stable")
    rows = records(kept)
    if len(rows) < 2:
        return ""
    (a, x), (b, y) = ((value_label(by, row[by]), of_100(1 - row["share"])) for row in (rows[0], rows[-1]))
    return _("Begun to shed: {a} {x} of 100 feet, {b} {y}", a=a, x=x, b=b, y=y)


def groups_lately(answer: Answer, by: str) -> str:
    """The share of lame cows in each group in the newest quarter, the highest first."""
    table = answer.table
    if table.empty or by not in table:
        return ""
    newest = table[table["period"] == table["period"].max()].dropna(subset=["lame_prevalence"])
    rows = records(newest.sort_values("lame_prevalence", ascending=False, kind="stable"))
    if len(rows) < 2:
        return ""
    when = value_label("quarter", rows[0]["period"])
    (a, x), (b, y) = ((value_label(by, row[by]), of_100(row["lame_prevalence"])) for row in (rows[0], rows[-1]))
    return _("{when}: {a} {x} of 100 lame, {b} {y}", when=when, a=a, x=x, b=b, y=y)


def dearest(answer: Answer) -> str:
    """The lesion that costs most."""
    table = answer.table
    if table.empty:
        return ""
    row = records(table.sort_values("cost", ascending=False).head(1))[0]
    return _("{lesion} costs most: {cost} {currency}", lesion=words().lesion(str(row["lesion"])),
             cost=number(row["cost"]), currency=row["currency"])  # fmt: skip


def cows_needed(answer: Answer) -> str:
    """How many cows it takes to see the smallest difference asked for, and how many are at hand."""
    rows = records(answer.table.head(1))
    if not rows or pd.isna(rows[0]["needed"]):
        return ""
    needed, have = number(rows[0]["needed"]), number(rows[0]["at_hand"])
    return _("To show {points} points fewer takes {n} cows; {have} are at hand", points=number(100 * rows[0]["points"]),
             n=needed, have=have)  # fmt: skip


def next_visit(answer: Answer) -> str:
    """The day of the next visit and its cows."""
    table = answer.table
    if table.empty or "date" not in table:
        return ""
    row = records(table.head(1))[0]
    return _n("Next: {day}, {farm}, {n} cow", "Next: {day}, {farm}, {n} cows", int(row["cows"]),
              day=date_label(row["date"]), farm=row["farm"])  # fmt: skip


def cows_due(answer: Answer) -> str:
    """How many cows are due, and how many of them are for the veterinarian."""
    table = answer.table
    if table.empty or "who" not in table:
        return ""
    vet = int((table["who"] == "veterinarian").sum())
    due = len(table)
    return _n("{n} cow due, {vet} for the veterinarian", "{n} cows due, {vet} for the veterinarian", due, vet=vet)


def cows_pressing(answer: Answer) -> str:
    """How many cows need someone now, and how many of them the veterinarian."""
    table = answer.table
    if table.empty or "who" not in table:
        return ""
    vet = int((table["who"] == "veterinarian").sum())
    return _n("{n} cow cannot wait, {vet} for the veterinarian", "{n} cows cannot wait, {vet} for the veterinarian",
              len(table), vet=vet)  # fmt: skip


def agreement_of_two(answer: Answer) -> str:
    """How often two people wrote down the same."""
    rows = records(answer.table.head(1))
    if not rows or pd.isna(rows[0]["agreement"]):
        return ""
    return _("{a} and {b} wrote down the same in {share} of 100", a=rows[0]["a"], b=rows[0]["b"],
             share=of_100(rows[0]["agreement"]))  # fmt: skip


def least_complete(answer: Answer) -> str:
    """The field that is filled in least."""
    table = answer.table
    if table.empty or "share" not in table:
        return ""
    filled = (table["share"] * table["n"]).groupby(table["field"]).sum() / table.groupby("field")["n"].sum()
    field = small(column_label(str(filled.idxmin())))
    return _("Least filled in: {field}, {share} of 100 records", field=field, share=of_100(filled.min()))


def most_daughters(answer: Answer) -> str:
    """The sire whose daughters have it most, drawn towards the mean."""
    table = answer.table
    if len(table) < 2:
        return ""
    row = records(table.sort_values("shrunken", ascending=False).head(1))[0]
    return _("Daughters of {sire} have it most: {share} of 100", sire=row["sire"], share=of_100(row["shrunken"]))
