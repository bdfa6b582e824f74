"""Do cases come back: time until the same lesion on the same claw, and on the same cow."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import FEW_COWS, basis_of
from analytics.measures.kept import keep
from analytics.measures.part_of_farms import part_of_farms
from analytics.measures.periods import period_label
from analytics.methods.intervals import clopper_pearson
from analytics.methods.multiple import benjamini_hochberg
from analytics.methods.survival import kaplan_meier, log_rank
from analytics.mistake import Mistake
from analytics.tally.engine import fetch_many
from analytics.tally.episodes import (
    GAP_DAYS,
    OF_EPISODE,
    PLACES,
    checked_gap,
    recurrence_question,
    repeat_cows_question,
)
from analytics.tally.farm_sample import farm_sample
from analytics.tally.selection import Selection
from analytics.trade.lesions import LESIONS
from analytics.words import Said, say, unfilled

FREE_AT = (180, 365)
"""Days at which the share still free is read. [common practice, no source]"""

COLUMNS = (
    "lesion",
    "level",
    "at_risk",
    "recurred",
    "median_days",
    "free_180",
    "free_180_low",
    "free_180_high",
    "free_365",
    "free_365_low",
    "free_365_high",
)
CURVE = ("time", "survival", "low", "high", "at_risk", "events")
REPEAT = ("farm", "cow", "foot", "claw", "lesion", "times", "last")
RANKED = ("level", "lesion", "chi2", "df", "p_value", "p_adjusted")


@keep
def recurrence(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("lesion",),
    per: str | None = None,
    gap_days: int = GAP_DAYS,
    level: float = 0.95,
) -> Answer:
    """Kaplan-Meier time from the last day a case was seen to the same lesion again.

    Records of a lesion in one place less than *gap_days* apart are one case, not yet healed. It has come back
    when it is seen again *gap_days* or more after it was last seen. A cow is followed to her last trim, or to
    her leaving where that comes first; a case with nothing recorded afterwards cannot be followed and is in
    ``cases`` but not in ``at_risk``. Every kind of visit counts, because cases are treated, and come back, at
    lame-cow calls and rechecks too.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        The period says when a case was last seen, and its end is the end of the follow-up.
    by : tuple of str
        Lesion always; also severity (the worst of the case), action, housing, parity, farm and whatever else
        was so on the last day of the case.
    per : {"cow", "claw"}, optional
        Same cow, or same claw (same foot for a lesion of the skin); both by default.
    gap_days : int
        Days without the lesion before it counts as a case of its own.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: lesion, level (cow or claw), at_risk (cases followed), recurred, median_days (missing where
        half never came back while followed), free_180, free_365 (share still free, 0 to 1) each with ``_low`` and
        ``_high``, missing beyond the time anybody was followed; then the other ``by`` columns, and cases.
        ``extra["curve"]``: level, lesion, the other ``by``, time (days), survival, low, high, at_risk, events.
        ``extra["log_rank"]``: level, lesion, chi2, df, p_value, p_adjusted (Benjamini-Hochberg).
        ``extra["repeat_cows"]``: farm, cow, foot, claw, lesion, times (cases), last (day last seen).

    Raises
    ------
    Mistake
        A grouping, level or gap that does not exist.

    References
    ----------
    Kaplan EL, Meier P (1958) J Am Stat Assoc 53:457-481. Mantel N (1966) Cancer Chemother Rep 50:163-170.
    """
    others = tuple(name for name in dict.fromkeys(by) if name != "lesion")
    for name in others:
        if name not in OF_EPISODE:
            raise Mistake(
                say(
                    "Recurrence cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(OF_EPISODE),
                )
            )
    if per is not None and per not in PLACES:
        raise Mistake(say("Recurrence is on the same cow or the same claw, not per '{per}'.", per=per))
    gap_days = checked_gap(gap_days)
    places = PLACES if per is None else (per,)
    sample = farm_sample(ledger, selection.with_(visits=("all",)))
    selection = selection.with_(farms=sample.selection.farms)
    asked: dict[str, Any] = {
        place: recurrence_question(selection, ("lesion", *others), place, gap_days) for place in places
    }
    frames = fetch_many(ledger, asked | {"repeat": repeat_cows_question(selection, gap_days)})
    rows: list[dict[str, Any]] = []
    curves: list[pd.DataFrame] = []
    ranked: list[dict[str, Any]] = []
    notes: list[Said] = []
    for place in places:
        cases = frames[place]
        rows += _table_rows(cases, place, others, level, curves)
        ranked += _ranks(cases, place, others)
        notes += _overall(cases, place, others)
    table = pd.DataFrame(rows, columns=[*COLUMNS, *others, "cases"])
    ranks = pd.DataFrame(ranked, columns=list(RANKED[:-1]))
    ranks["p_adjusted"] = benjamini_hochberg(ranks["p_value"].to_numpy(dtype=float))[0] if len(ranks) else np.nan
    basis, cautions = basis_of(
        ledger,
        selection.with_(visits=("all",)),
        unit=per or say("cow and claw"),
        level=level,
        method=say("Kaplan-Meier, log-minus-log limits, exact ones where nothing came back"),
        notes=(_definition(gap_days), *part_of_farms(sample), *notes),
    )
    # Whether cases come back is not made too high by lame cows being brought first; that caution is not for here.
    cautions = tuple(c for c in cautions if not c.startswith("These figures include"))
    cautions += part_of_farms(sample) + _words(table, places)
    curve = (
        pd.concat(curves, ignore_index=True) if curves else pd.DataFrame(columns=["level", "lesion", *others, *CURVE])
    )
    order = ["times", "last", "farm", "cow", "foot", "claw", "lesion"]
    repeat = frames["repeat"].sort_values(order, ascending=[False, False, *[True] * 5])
    extra = {"curve": curve, "log_rank": ranks, "repeat_cows": repeat[list(REPEAT)].reset_index(drop=True)}
    return Answer("recurrence", table, basis, cautions, ("lesion", "level", *others), extra)


def _table_rows(
    cases: pd.DataFrame, place: str, others: tuple[str, ...], level: float, curves: list[pd.DataFrame]
) -> list[dict[str, Any]]:
    rows = []
    keys = ["lesion", *others]
    for key, group in cases.groupby(keys, dropna=False):
        named = dict(zip(keys, key, strict=True))
        for name in others:
            named[name] = period_label(name, named[name]) if name in ("month", "quarter") else named[name]
        followed = _followed(group)
        fitted = kaplan_meier(followed["days"], followed["recurred"], level)
        row = named | {
            "level": place,
            "cases": int(group["cases"].sum()),
            "at_risk": fitted.n,
            "recurred": fitted.events,
            "median_days": fitted.median if math.isfinite(fitted.median) else math.nan,
        }
        read = fitted.at(FREE_AT)
        # Where nothing came back Greenwood's formula knows no doubt: exact limits of those still followed instead.
        exact = clopper_pearson(read["at_risk"], read["at_risk"], level)[0]
        low = read["low"].where(read["survival"] < 1.0, exact).where(read["survival"].notna())
        for at, days in enumerate(FREE_AT):
            row[f"free_{days}"] = read["survival"].iloc[at]
            row[f"free_{days}_low"] = low.iloc[at]
            row[f"free_{days}_high"] = read["high"].iloc[at]
        rows.append(row)
        if fitted.n:
            labels: dict[str, Any] = {"level": place, **named}
            curves.append(fitted.curve[list(CURVE)].assign(**labels)[["level", *keys, *CURVE]])
    return rows


def _followed(group: pd.DataFrame) -> pd.DataFrame:
    """One row a case that was followed at all."""
    kept = group[group["days"] > 0]
    return kept.loc[kept.index.repeat(kept["cases"])]


def _ranks(cases: pd.DataFrame, place: str, others: tuple[str, ...]) -> list[dict[str, Any]]:
    """The log-rank test across groups, lesion by lesion."""
    if not others:
        return []
    out = []
    for lesion, group in cases.groupby("lesion"):
        followed = _followed(group)
        found = log_rank(followed["days"], followed["recurred"], _groups(followed, others))
        out.append({"level": place, "lesion": lesion, "chi2": found.chi2, "df": found.df, "p_value": found.p_value})
    return out


def _groups(followed: pd.DataFrame, others: tuple[str, ...]) -> list[str]:
    return followed[list(others)].astype("str").agg(", ".join, axis=1).tolist() if len(followed) else []


def _overall(cases: pd.DataFrame, place: str, others: tuple[str, ...]) -> list[Said]:
    """One log-rank test a level: between lesions, or between groups within lesions."""
    followed = _followed(cases)
    where = say("on the same claw") if place == "claw" else say("on the same cow")
    if others:
        found = log_rank(followed["days"], followed["recurred"], _groups(followed, others), strata=followed["lesion"])
        template = unfilled(
            "Log-rank test {where}, groups of {what} compared within lesions: chi-square {chi2} on {df}, {p}."
        )
    else:
        found = log_rank(followed["days"], followed["recurred"], followed["lesion"])
        template = unfilled("Log-rank test {where}, {what} compared: chi-square {chi2} on {df}, {p}.")
    if not math.isfinite(found.p_value):
        return []
    p = "p < 0.001" if found.p_value < 0.001 else f"p = {found.p_value:.3f}"
    what = ", ".join(others) if others else say("lesions")
    return [say(template, where=where, what=what, chi2=f"{found.chi2:.1f}", df=found.df, p=p)]


def _definition(gap_days: int) -> Said:
    return say(
        "A case has come back when the same lesion is seen {gap} days or more after it was last seen; seen sooner, "
        "it had not healed. Every kind of visit counts, and a cow is followed to her last trim or her leaving.",
        gap=gap_days,
    )


def _words(table: pd.DataFrame, places: tuple[str, ...]) -> tuple[Said, ...]:
    if table["at_risk"].sum() == 0:
        return (say("Not enough to say: no case was followed by another trim of the cow."),)
    out = []
    small = table.loc[(table["at_risk"] < FEW_COWS) & (table["level"] == places[0]), "lesion"].drop_duplicates()
    if len(small):
        out.append(
            say(
                "Not enough to say for {lesions}: fewer than {n} cases followed in a group.",
                lesions=", ".join(LESIONS[code].name for code in small),
                n=FEW_COWS,
            )
        )
    out.append(
        say(
            "A lesion is seen only when the cow is trimmed, so it comes back on the day of a visit and not on the day "
            "it began; cows trimmed more often seem to have it back sooner."
        )
    )
    out.append(say("Several cases of one cow are alike, so the true doubt is wider than these intervals."))
    out.append(say("For a case that keeps coming back, ask your veterinarian."))
    return tuple(out)
