"""How often do new cases come up: new cases per 100 cow-months at risk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import parent_of
from evenfoot.analytics.domain.seasons import SEASONS
from evenfoot.analytics.domain.units import DAYS_PER_MONTH
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_confounding import refusal, shared_farms
from evenfoot.analytics.measures.lesions.comparison_models import NAMED
from evenfoot.analytics.measures.limits import FEW_CLUSTERS
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.cow_time import OF_CALENDAR, OF_COW, CowTime, cow_time
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.episodes import GAP_DAYS, checked_gap, new_cases_question
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster_rates import cluster_rate_ratios, cluster_rates

COLUMNS = ("new_cases", "cow_months", "rate_per_100", "low", "high")
RATIOS = ("rate_ratio", "rr_low", "rr_high")

PER_MONTHS = 100.0
"""Rates are per 100 cow-months. [common practice, no source]"""

FEW_MONTHS = 60.0
"""Below this many cow-months (some 20 cows for a quarter) there is not enough to say. [common practice, no source]"""

OF_LESION = ("lesion", "family")
OF_PLACE = ("foot", "limb", "claw")


@memoize
def incidence(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("lesion",),
    per: str = "cow",
    gap_days: int = GAP_DAYS,
    reference: str | None = None,
    level: float = 0.95,
) -> Answer:
    """New cases per 100 cow-months at risk, with limits that allow for cows and farms falling ill again and again.

    Where a group was met on several farms, farms are the clusters, and the limits speak of farms like these in general;
    where it was met on one, cows are. Groups of cows (housing, floor, ...) and of time are compared with the
    reference within farms, by Mantel and Haenszel's rate ratio, so that what farms differ in does not come in; a
    group that cannot be told from its farms (:func:`evenfoot.analytics.measures.farm_confounding.shared_farms`) is not
    compared, and a caution says so.

    A lesion is a new case when the same lesion was not recorded on that cow (``per="cow"``) or that claw
    (``per="claw"``; a lesion of the skin on that foot) on any of the *gap_days* days before, at any kind of
    visit; seen again exactly *gap_days* later it is new. Different lesions are different cases, so cases of
    groups add up. A cow stays at risk while she has a lesion, because she can get another. Cow time is that
    of :func:`evenfoot.analytics.queries.cow_time.cow_time`.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Only cases recorded at the kinds of visit asked for count; whole-herd visits by default.
    by : tuple of str
        Any of lesion, family, month, quarter, season, year, farm, housing, floor, bedding, wetness, group,
        parity, breed, sire; with ``per="claw"`` also foot, limb and claw.
    per : {"cow", "claw"}
        Where a lesion has to be the same one. The time at risk is the cow's in both.
    gap_days : int
        Days without the lesion before it counts as new.
    reference : str, optional
        With one grouping: the group the others are compared with; the one with the most time (for lesions
        and places: the most cases) by default.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, new_cases, cow_months (of 30.4375 days), rate_per_100, low, high (new
        cases per 100 cow-months), cows (with a new case); with one grouping also rate_ratio, rr_low, rr_high
        against the reference, which has 1 (missing where a group cannot be compared). Groups without time at risk
        have a missing rate.

    Raises
    ------
    UserError
        A grouping that cow time does not have, a gap below a day, or a reference that is not there.

    References
    ----------
    Cochran WG (1977) Sampling Techniques, 3rd ed., section 6.17; Rao JNK, Scott AJ (1999) Stat Med 18:1373-1385 (limits
    over clusters). Greenland S, Robins JM (1985) Biometrics 41:55-68 (ratios within farms). Dohoo I, Martin W, Stryhn H
    (2009) Veterinary Epidemiologic Research, 2nd ed., chapter 4 (true rates, from memory of it).
    """
    by = tuple(dict.fromkeys(by))
    gap_days = checked_gap(gap_days)
    known = (*OF_LESION, *OF_CALENDAR, *OF_COW, *(OF_PLACE if per == "claw" else ()))
    for name in by:
        if name not in known:
            raise UserError(
                say(
                    "New cases per cow-month cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(known),
                )
            )
    if reference is not None and len(by) != 1:
        raise UserError(say("A reference group needs exactly one grouping with --by."))
    of_time = tuple(name for name in by if name in (*OF_CALENDAR, *OF_COW))
    counted = _counted(ledger, selection, by, of_time, per, gap_days)
    cases, time = counted.cases, counted.time
    summed = cases.groupby(list(by), dropna=False)[["new_cases", "cows"]].sum().reset_index() if by else cases
    of_group = pd.DataFrame({"cow_days": [float(time.table["cow_days"].sum())]})
    if of_time:
        of_group = time.table.groupby(list(of_time), dropna=False)["cow_days"].sum().reset_index()
    table = _joined(summed, of_group, by, of_time, selection)
    short = time.days < gap_days
    if short or not len(table):
        table = table.assign(rate_per_100=np.nan, low=np.nan, high=np.nan, clusters=0)
    else:
        table = _with_rates(ledger, selection, table, counted, by, of_time, (per, gap_days), level)
    notes = _notes(per, gap_days, time, of_time)
    cautions: tuple[Message, ...] = ()
    columns = [*by, *COLUMNS]
    if len(by) == 1:
        table, more, cautions = _against(table, counted, by[0], of_time, reference, level, short)
        notes += more
        columns += RATIOS
    basis, shared = basis_of(
        ledger,
        selection,
        unit=per,
        level=level,
        method=_method(table, counted),
        notes=notes,
    )
    early = int(cases["early"].sum()) if len(cases) else 0
    cautions = shared + cautions + _words(selection, table, time, early, gap_days, short)
    if set(of_time) & set(OF_CALENDAR) and time.cows:
        cautions += (_WHEN_FOUND,)
    return Answer("incidence", table[[*columns, "cows"]], basis, cautions, by)


@dataclass(frozen=True)
class _Counted:
    """Cases and time by group and cluster; ``cluster`` says what that is."""

    cases: pd.DataFrame
    time: CowTime
    cluster: tuple[str, ...]

    @property
    def keys(self) -> list[str]:
        return [f"{name}_key" for name in self.cluster]


def _counted(
    ledger: Ledger, selection: Selection, by: tuple[str, ...], of_time: tuple[str, ...], per: str, gap_days: int
) -> _Counted:
    """Cases and time by farm; by cow where there is one farm alone, or where each farm is a group."""
    cow, farm = ("farm", "cow"), ("farm",)
    lists = ledger.dialect == "duckdb"

    def counted(cluster: tuple[str, ...]) -> _Counted:
        cases = fetch(ledger, new_cases_question(selection, by, per, gap_days, lists, cluster))
        return _Counted(cases, cow_time(ledger, selection, of_time, cluster), cluster)

    if len(selection.farms) == 1 or "farm" in by:
        return counted(cow)
    found = counted(farm)
    return counted(cow) if found.time.met["farm_key"].nunique() == 1 else found


def _by_cluster(counted: _Counted, by: tuple[str, ...], of_time: tuple[str, ...], kinds: pd.DataFrame) -> pd.DataFrame:
    """One row a group and cluster: the ``by`` columns, the keys of the cluster, cluster, events, time (100
    cow-months)."""
    time = counted.time.table
    cases = counted.cases[[*by, *counted.keys, "new_cases"]]
    for name in set(of_time) & {"month", "quarter"}:
        cases = cases.assign(**{name: pd.to_datetime(cases[name]).astype("datetime64[us]")})
        time = time.assign(**{name: pd.to_datetime(time[name]).astype("datetime64[us]")})
    if len(kinds.columns):
        time = time.merge(kinds, how="cross")
    frame = time.merge(cases, on=[*by, *counted.keys], how="outer")
    frame = frame.assign(
        events=frame["new_cases"].fillna(0.0).astype("float64"),
        time=frame["cow_days"].fillna(0.0) / DAYS_PER_MONTH / PER_MONTHS,
    )
    return frame.assign(cluster=frame.groupby(counted.keys, dropna=False).ngroup())


def _with_rates(
    ledger: Ledger,
    selection: Selection,
    table: pd.DataFrame,
    counted: _Counted,
    by: tuple[str, ...],
    of_time: tuple[str, ...],
    options: tuple[str, int],
    level: float,
) -> pd.DataFrame:
    """The table with rates and limits; a group met on one farm of several has its cows as clusters."""
    kinds = table[[name for name in by if name not in of_time]].drop_duplicates()
    frame = _by_cluster(counted, by, of_time, kinds)
    rates = cluster_rates(frame, by, "cluster", level)
    if counted.cluster == ("farm",) and by:
        alone = rates.loc[rates["clusters"] == 1, list(by)]
        if len(alone):
            farms = frame.merge(alone, on=list(by))
            names = tuple(sorted(farms.loc[farms["time"] > 0, "farm_key"].unique()))
            narrow = selection.with_(farms=names)
            lists = ledger.dialect == "duckdb"
            cases = fetch(ledger, new_cases_question(narrow, by, *options, lists, ("farm", "cow")))
            cows = _Counted(cases, cow_time(ledger, narrow, of_time, ("farm", "cow")), ("farm", "cow"))
            own = cluster_rates(_by_cluster(cows, by, of_time, kinds), by, "cluster", level)
            own = own.merge(alone, on=list(by)).assign(clusters=1)
            both = rates.merge(alone, on=list(by), how="left", indicator=True)
            rates = pd.concat([rates[(both["_merge"] == "left_only").to_numpy()], own], ignore_index=True)
    rates = rates[[*by, "rate", "low", "high", "clusters"]].rename(columns={"rate": "rate_per_100"})
    if not by:
        return table.assign(**{str(name): rates[name].to_numpy() for name in rates})
    return table.merge(rates, on=list(by), how="left")


def _method(table: pd.DataFrame, counted: _Counted) -> Message:
    several = counted.cluster == ("farm",) and bool((table["clusters"] > 1).any())
    return (
        say("rates with cluster-robust limits, farms as clusters")
        if several
        else say("rates with cluster-robust limits, cows as clusters")
    )


EARLY_CASES = N_(
    "{n} of the cases were recorded in the first {gap} days of a farm's records and may have been there for long; the "
    "first visits make too many cases look new."
)
ONLY_THESE_VISITS = say(
    "Cases found only between these visits, at lame-cow calls, are not counted; with all visits there are more."
)

_WHEN_FOUND: Message = say(
    "A case counts on the day it was found, not the day it began: months with more visits have more new cases."
)


def _joined(
    cases: pd.DataFrame, time: pd.DataFrame, by: tuple[str, ...], of_time: tuple[str, ...], selection: Selection
) -> pd.DataFrame:
    """Cases beside the time of their group: every group with time, crossed with every kind of case met."""
    of_case = [name for name in by if name not in of_time]
    for name in of_time:
        if name in ("month", "quarter"):
            cases[name] = pd.to_datetime(cases[name]).astype("datetime64[us]")
            time = time.assign(**{name: pd.to_datetime(time[name]).astype("datetime64[us]")})
    kinds = cases[of_case].dropna().drop_duplicates()
    if of_case == ["lesion"]:
        asked = [parent_of(code) for code in selection.lesions]
        kinds = pd.DataFrame({"lesion": list(dict.fromkeys([*kinds["lesion"], *asked]))}, dtype="str")
    if of_time:
        # A case of a cow without time at risk (seen once, not in the register) still has to be shown.
        groups = pd.concat([time[[*of_time]], cases[[*of_time]]]).drop_duplicates()
        frame = groups.merge(time, on=list(of_time), how="left")
    else:
        frame = time.copy()
    if of_case:
        frame = frame.merge(kinds, how="cross")
    if by:
        frame = frame.merge(cases, on=list(by), how="left")
    else:
        frame = frame.assign(new_cases=int(cases["new_cases"].sum()), cows=int(cases["cows"].sum()))
    frame = frame.assign(
        new_cases=frame["new_cases"].fillna(0).astype("int64"),
        cows=frame["cows"].fillna(0).astype("int64"),
        cow_months=frame["cow_days"].fillna(0.0) / DAYS_PER_MONTH,
    )
    return frame.sort_values(list(by), key=_in_order, kind="stable").reset_index(drop=True) if by else frame


def _in_order(column: pd.Series) -> pd.Series:
    """Seasons in the order of the year, anything else as it sorts."""
    return column.map({name: place for place, name in enumerate(SEASONS)}) if column.name == "season" else column


_DAYS = {"month": 30.4, "quarter": 91.3, "season": 91.3, "year": 365.25}
"""Days of a period: its cow-days over these are how many cows it had."""


def _against(
    table: pd.DataFrame,
    counted: _Counted,
    name: str,
    of_time: tuple[str, ...],
    reference: str | None,
    level: float,
    short: bool,
) -> tuple[pd.DataFrame, tuple[Message, ...], tuple[Message, ...]]:
    """The table with ratios, a note on how they were made, and a caution on groups that are not compared."""
    if table.empty:
        return table.assign(**dict.fromkeys(RATIOS, np.nan)), (), ()
    labels = [period_label(name, value) for value in table[name]]
    if reference is None:
        order = ["new_cases", "cow_months"] if name in (*OF_LESION, *OF_PLACE) else ["cow_months", "new_cases"]
        place = int(table.sort_values(order, ascending=False, kind="stable").index[0])
    elif reference in labels:
        place = labels.index(reference)
    else:
        raise UserError(
            say(
                "The reference '{reference}' is not among the groups of {name} here; use one of {listed}.",
                reference=reference,
                name=name,
                listed=", ".join(labels),
            )
        )
    own = table[name].iloc[place]
    is_base = np.arange(len(table)) == place
    kinds = table[[name] if name not in of_time else []].drop_duplicates()
    frame = _by_cluster(counted, (name,), of_time, kinds)
    if short:
        frame = frame.assign(time=0.0)
    notes: tuple[Message, ...] = ()
    cautions: tuple[Message, ...] = ()
    if not (frame[name] == own).any():
        found = pd.DataFrame(columns=["ratio", "low", "high"], index=table[name], dtype=float)
    elif name not in of_time or name == "farm":
        found = cluster_rate_ratios(frame, name, own, "cluster", level)
    else:
        met = _met(counted, name).rename(columns={name: "group", "farm_key": "farm"})
        shared = shared_farms(met, own)
        several = counted.cluster == ("farm",)
        found = cluster_rate_ratios(frame, name, own, "cluster", level)
        if several:
            found.loc[found.index != own, ["ratio", "low", "high"]] = np.nan
            for group, farms in shared.within.items():
                both = frame[frame["farm_key"].isin(farms) & frame[name].isin([group, own])]
                found.loc[group] = cluster_rate_ratios(both, name, own, "cluster", level, within=True).loc[group]
            if shared.between:
                kept = frame[frame[name].isin([*shared.between, own])]
                crude = cluster_rate_ratios(kept, name, own, "cluster", level)
                found.loc[list(shared.between)] = crude.loc[list(shared.between)]
            if shared.within:
                notes += (
                    say(
                        "Ratios compare {what} within farms (Mantel and Haenszel), farms as clusters.",
                        what=_named(name),
                    ),
                )
            if shared.between:
                notes += (
                    say(
                        "Farms are the units of evidence in the ratios of {groups}.",
                        groups=", ".join(period_label(name, group) for group in shared.between),
                    ),
                )
        if shared.refused and not (name in OF_CALENDAR and not several):
            found.loc[list(shared.refused), ["ratio", "low", "high"]] = np.nan
            groups = [period_label(name, group) for group in shared.refused if group != NOT_RECORDED]
            if groups:
                cautions += (refusal(groups, labels[place], _named(name), shared.one_farm),)
    found = found.reindex(table[name])
    for column, values in zip(RATIOS, (found["ratio"], found["low"], found["high"]), strict=True):
        table = table.assign(**{column: np.where(is_base, 1.0, values.to_numpy(dtype=float))})
    return table, notes, cautions


def _named(name: str) -> str:
    return NAMED.get(name, name)


def _met(counted: _Counted, name: str) -> pd.DataFrame:
    """How many cows were met in each group on each farm: the group, farm_key, cows."""
    if name not in OF_CALENDAR:
        return counted.time.met
    each: pd.DataFrame = counted.time.table.groupby([name, "farm_key"])["cow_days"].sum().reset_index()
    if name in ("month", "quarter"):
        each[name] = pd.to_datetime(each[name]).astype("datetime64[us]")
    return each.assign(cows=each["cow_days"] / _DAYS[name])


def _notes(per: str, gap_days: int, time: CowTime, of_time: tuple[str, ...]) -> tuple[Message, ...]:
    where = say("on that claw") if per == "claw" else say("on that cow")
    notes = [
        say(
            "A lesion counts as new when it was not recorded {where} in the {gap} days before, at any kind of visit.",
            where=where,
            gap=gap_days,
        ),
        say(
            "Time at risk is that of {cows} cows, from entry or first calving to leaving as the register has it.",
            cows=time.cows,
        ),
    ]
    if set(of_time) - {"farm", "breed", "sire", *OF_CALENDAR}:
        notes.append(
            say(
                "Time between two records of a cow (trims and scorings) is told as the later record tells it; time "
                "after the last as the last does."
            )
        )
    return tuple(notes)


def _words(
    selection: Selection, table: pd.DataFrame, time: CowTime, early: int, gap_days: int, short: bool
) -> tuple[Message, ...]:
    out: list[Message] = []
    farms: set[str] = set(time.met["farm_key"]) if len(time.met) else set()
    if not time.cows:
        out.append(say("Not enough to say: no cow was in the herd long enough for a rate."))
    elif short:
        out.append(
            say(
                "Not enough to say: the visits cover {n} days, fewer than the {gap} that tell a new case from an old "
                "one.",
                n=time.days,
                gap=gap_days,
            )
        )
    elif float(table["cow_months"].max() if len(table) else 0.0) < FEW_MONTHS:
        out.append(say("Not enough to say: fewer than {n} cow-months at risk in every group.", n=int(FEW_MONTHS)))
    if time.unregistered:
        out.append(
            say(
                "{n} of {cows} cows have no entry or calving date in the register; their time runs from first to last "
                "trim and is too short, so the rate is too high.",
                n=time.unregistered,
                cows=time.cows,
            )
        )
    if early:
        out.append(say(EARLY_CASES, n=early, gap=gap_days))
    if time.cows:
        if not selection.all_visits and "lame-cow" not in selection.visits:
            out.append(say(ONLY_THESE_VISITS))
        few = table["clusters"].between(2, FEW_CLUSTERS - 1)
        if few.any() and "farm" not in table and len(farms) > 1:
            out.append(
                say(
                    "Cows of one farm are alike, and there are only {n} farms to judge their likeness by: these wide "
                    "intervals speak of farms like these in general. One farm at a time is known better.",
                    n=int(table.loc[few, "clusters"].max()),
                )
            )
    if selection.trimmers:
        out.append(
            say("The time at risk is the whole herd's, whoever trimmed; the cases are only those of these trimmers.")
        )
    return tuple(out)
