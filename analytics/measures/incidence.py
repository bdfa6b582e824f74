"""How often do new cases come up: new cases per 100 cow-months at risk."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import basis_of
from analytics.measures.kept import keep
from analytics.measures.periods import period_label
from analytics.methods.intervals import poisson_rate, rate_ratio
from analytics.mistake import Mistake
from analytics.tally.cow_time import OF_CALENDAR, OF_COW, CowTime, cow_time
from analytics.tally.engine import fetch
from analytics.tally.episodes import GAP_DAYS, checked_gap, new_cases_question
from analytics.tally.selection import Selection
from analytics.trade.lesions import parent_of
from analytics.trade.seasons import SEASONS
from analytics.trade.units import DAYS_PER_MONTH
from analytics.words import Said, say, unfilled

COLUMNS = ("new_cases", "cow_months", "rate_per_100", "low", "high")
RATIOS = ("rate_ratio", "rr_low", "rr_high")

PER_MONTHS = 100.0
"""Rates are per 100 cow-months. [common practice, no source]"""

FEW_MONTHS = 60.0
"""Below this many cow-months (some 20 cows for a quarter) there is not enough to say. [common practice, no source]"""

OF_LESION = ("lesion", "family")
OF_PLACE = ("foot", "limb", "claw")


@keep
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
    """New cases per 100 cow-months at risk, with exact Poisson limits.

    A lesion is a new case when the same lesion was not recorded on that cow (``per="cow"``) or that claw
    (``per="claw"``; a lesion of the skin on that foot) on any of the *gap_days* days before, at any kind of
    visit; seen again exactly *gap_days* later it is new. Different lesions are different cases, so cases of
    groups add up. A cow stays at risk while she has a lesion, because she can get another. Cow time is that
    of :func:`analytics.tally.cow_time.cow_time`.

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
        against the reference, which has 1. Groups without time at risk have a missing rate.

    Raises
    ------
    Mistake
        A grouping that cow time does not have, a gap below a day, or a reference that is not there.

    References
    ----------
    Garwood F (1936) Biometrika 28:437-442 (the limits). Rothman KJ, Boice JD (1979) Epidemiologic Analysis
    with a Programmable Calculator, NIH 79-1649 (the ratio). Dohoo I, Martin W, Stryhn H (2009) Veterinary
    Epidemiologic Research, 2nd ed., chapter 4 (true rates, from memory of it).
    """
    by = tuple(dict.fromkeys(by))
    gap_days = checked_gap(gap_days)
    known = (*OF_LESION, *OF_CALENDAR, *OF_COW, *(OF_PLACE if per == "claw" else ()))
    for name in by:
        if name not in known:
            raise Mistake(
                say(
                    "New cases per cow-month cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(known),
                )
            )
    if reference is not None and len(by) != 1:
        raise Mistake(say("A reference group needs exactly one grouping with --by."))
    of_time = tuple(name for name in by if name in (*OF_CALENDAR, *OF_COW))
    cases = fetch(ledger, new_cases_question(selection, by, per, gap_days, ledger.dialect == "duckdb"))
    time = cow_time(ledger, selection, of_time)
    table = _joined(cases, time.table, by, of_time, selection)
    basis, cautions = basis_of(
        ledger,
        selection,
        unit=per,
        level=level,
        method="; ".join((say("exact Poisson (Garwood) limits"), say("exact conditional limits of the ratio"))),
        notes=_notes(per, gap_days, time, of_time),
    )
    calendar = bool(set(of_time) & set(OF_CALENDAR))
    short = time.days < gap_days
    exposure = table["cow_months"].to_numpy(dtype=float) * (0.0 if short else 1.0)
    low, high = poisson_rate(table["new_cases"].to_numpy(), exposure / PER_MONTHS, level)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(exposure > 0, table["new_cases"] / exposure * PER_MONTHS, np.nan)
    table = table.assign(rate_per_100=rate, low=low, high=high)
    columns = [*by, *COLUMNS]
    if len(by) == 1:
        table = _against(table, by[0], reference, exposure, level)
        columns += RATIOS
    early = int(cases["early"].sum()) if len(cases) else 0
    cautions += _words(selection, table, time, early, gap_days, short)
    if calendar and time.cows:
        cautions += (_WHEN_FOUND,)
    return Answer("incidence", table[[*columns, "cows"]], basis, cautions, by)


EARLY_CASES = unfilled(
    "{n} of the cases were recorded in the first {gap} days of a farm's records and may have been there for long; the "
    "first visits make too many cases look new."
)
ONLY_THESE_VISITS = say(
    "Cases found only between these visits, at lame-cow calls, are not counted; with all visits there are more."
)

_WHEN_FOUND: Said = say(
    "A case counts on the day it was found, not the day it began: months with more visits have more new cases."
)


def _joined(
    cases: pd.DataFrame, time: pd.DataFrame, by: tuple[str, ...], of_time: tuple[str, ...], selection: Selection
) -> pd.DataFrame:
    """Cases beside the time of their group: every group with time, crossed with every kind of case met."""
    cases = cases.drop(columns="early")
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


def _against(table: pd.DataFrame, name: str, reference: str | None, exposure: np.ndarray, level: float) -> pd.DataFrame:
    if table.empty:
        return table.assign(**dict.fromkeys(RATIOS, np.nan))
    labels = [period_label(name, value) for value in table[name]]
    if reference is None:
        order = ["new_cases", "cow_months"] if name in (*OF_LESION, *OF_PLACE) else ["cow_months", "new_cases"]
        place = int(table.sort_values(order, ascending=False, kind="stable").index[0])
    elif reference in labels:
        place = labels.index(reference)
    else:
        raise Mistake(
            say(
                "The reference '{reference}' is not among the groups of {name} here; use one of {listed}.",
                reference=reference,
                name=name,
                listed=", ".join(labels),
            )
        )
    events = table["new_cases"].to_numpy(dtype=float)
    ratio = rate_ratio(events, exposure, events[place], exposure[place], level)
    is_base = np.arange(len(table)) == place
    return table.assign(
        **{column: np.where(is_base, 1.0, values) for column, values in zip(RATIOS, ratio, strict=True)}
    )


def _notes(per: str, gap_days: int, time: CowTime, of_time: tuple[str, ...]) -> tuple[Said, ...]:
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
) -> tuple[Said, ...]:
    out: list[Said] = []
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
        out.append(say("Some cows fall ill again and again, so the true doubt is wider than these intervals."))
    if selection.trimmers:
        out.append(
            say("The time at risk is the whole herd's, whoever trimmed; the cases are only those of these trimmers.")
        )
    return tuple(out)
