"""Do cases come back: time until the same lesion on the same claw, and on the same cow."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_confounding import refusal, shared_farms
from evenfoot.analytics.measures.farm_sample import part_of_farms
from evenfoot.analytics.measures.lesions.comparison_models import NAMED
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.episodes import (
    GAP_DAYS,
    OF_EPISODE,
    PLACES,
    checked_gap,
    recurrence_question,
    repeat_cows_question,
)
from evenfoot.analytics.queries.farm_sample import farm_sample
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster_rates import lowest_all_free
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg
from evenfoot.analytics.stats.survival import LogRank, kaplan_meier, log_rank

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


@memoize
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
    ``cases`` but not in ``at_risk``. A cow that came to the herd after her case was seen elsewhere is followed
    from the day she came (delayed entry): had it come back before, nobody here would have seen it. Every kind of
    visit counts, because cases are treated, and come back, at lame-cow calls and rechecks too.

    Limits and tests take farms for clusters where the cases of a group are of several farms, else cows.
    Groups other than farms and lesions are tested within farms; those that cannot be told from their farms
    (:func:`evenfoot.analytics.measures.farm_confounding.shared_farms`) are not tested, and a caution says so.

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
        ``extra["log_rank"]``: level, lesion, chi2 (Hotelling's statistic over clusters), df, p_value (by F), p_adjusted
        (Benjamini-Hochberg).
        ``extra["repeat_cows"]``: farm, cow, foot, claw, lesion, times (cases), last (day last seen).

    Raises
    ------
    UserError
        A grouping, level or gap that does not exist.

    References
    ----------
    Kaplan EL, Meier P (1958) J Am Stat Assoc 53:457-481. Williams RL (1995) Biometrics 51:1107-1112 (clusters).
    Mantel N (1966) Cancer Chemother Rep 50:163-170; Lin DY, Wei LJ (1989) J Am Stat Assoc 84:1074-1078 (clusters).
    """
    others = tuple(name for name in dict.fromkeys(by) if name != "lesion")
    for name in others:
        if name not in OF_EPISODE:
            raise UserError(
                say(
                    "Recurrence cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(OF_EPISODE),
                )
            )
    if per is not None and per not in PLACES:
        raise UserError(say("Recurrence is on the same cow or the same claw, not per '{per}'.", per=per))
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
    notes: list[Message] = []
    refused: tuple[Message, ...] = ()
    for place in places:
        cases = frames[place]
        rows += _table_rows(cases, place, others, level, curves)
        tested, why = _tested(cases, others)
        refused = refused or why
        ranked += _ranks(tested, place, others)
        notes += _overall(tested, place, others, level)
    table = pd.DataFrame(rows, columns=[*COLUMNS, *others, "cases"])
    ranks = pd.DataFrame(ranked, columns=list(RANKED[:-1]))
    ranks["p_adjusted"] = benjamini_hochberg(ranks["p_value"].to_numpy(dtype=float))[0] if len(ranks) else np.nan
    basis, cautions = basis_of(
        ledger,
        selection.with_(visits=("all",)),
        unit=per or say("cow and claw"),
        level=level,
        method=say("Kaplan-Meier, log-minus-log limits with farms, or the cows of one farm, as clusters"),
        notes=(_definition(gap_days), *part_of_farms(sample), *notes),
    )
    # Whether cases come back is not made too high by lame cows being brought first; that caution is not for here.
    cautions = tuple(c for c in cautions if not c.startswith("These figures include"))
    cautions += part_of_farms(sample) + refused + _words(table, places)
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
        followed = followed.assign(cluster=_clusters(followed))
        fitted = kaplan_meier(
            followed["days"],
            followed["recurred"],
            level,
            entry=_entry(followed),
            cluster=followed["cluster"],
        )
        row = named | {
            "level": place,
            "cases": int(group["cases"].sum()),
            "at_risk": fitted.n,
            "recurred": fitted.events,
            "median_days": fitted.median if math.isfinite(fitted.median) else math.nan,
        }
        read = fitted.at(FREE_AT)
        # Where nothing came back there is no spread: how unlike clusters are is assumed, for those still followed.
        exact = lowest_all_free(read["at_risk"], max(followed["cluster"].nunique(), 1), level)
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
    kept = group[group["days"] > group["entered"]]
    return kept.loc[kept.index.repeat(kept["cases"])].reset_index(drop=True)


def _entry(followed: pd.DataFrame) -> pd.Series | None:
    """From which day each case was followed; none where all were from the first."""
    return followed["entered"].where(followed["entered"] > 0, -1) if (followed["entered"] > 0).any() else None


def _clusters(followed: pd.DataFrame) -> np.ndarray:
    """The farm of each case, or the cow where all are of one farm."""
    keys = ["farm_key"] if followed["farm_key"].nunique() > 1 else ["farm_key", "cow_key"]
    return followed.groupby(keys).ngroup().to_numpy()


def _tested(cases: pd.DataFrame, others: tuple[str, ...]) -> tuple[pd.DataFrame, tuple[Message, ...]]:
    """The cases followed of groups that can be compared, and why others are not."""
    followed = _followed(cases)
    followed = followed.assign(group=_groups(followed, others) if others else followed["lesion"])
    if not others or "farm" in others or followed.empty:
        return followed, ()
    met = followed.groupby(["farm_key", "group"])["cow_key"].nunique().reset_index(name="cows")
    met = met.rename(columns={"farm_key": "farm"})
    largest = str(followed["group"].value_counts().index[0])
    shared = shared_farms(met, largest)
    if not shared.refused or shared.one_farm:
        return followed, ()
    what = ", ".join(NAMED.get(name, name) for name in others)
    named = [str(group) for group in shared.refused if NOT_RECORDED not in str(group)]
    words = (refusal(named, largest, what, shared.one_farm, of_cases=True),) if named else ()
    return followed[~followed["group"].isin(shared.refused)], words


def _test(followed: pd.DataFrame, strata: list[str], *, farms_compared: bool) -> LogRank:
    """The log-rank test of the groups: within farms where there are several, farms as clusters; else cows."""
    several = followed["farm_key"].nunique() > 1 and not farms_compared
    apart = followed.groupby("farm_key")["group"].nunique().max() == 1 if several else False
    strata = [*strata, *(["farm_key"] if several and not apart else [])]
    cows = ["farm_key", "cow_key"]
    return log_rank(
        followed["days"],
        followed["recurred"],
        followed["group"],
        entry=_entry(followed),
        strata=followed.groupby(strata).ngroup() if strata else None,
        cluster=followed.groupby(["farm_key"] if several else cows).ngroup(),
    )


def _ranks(followed: pd.DataFrame, place: str, others: tuple[str, ...]) -> list[dict[str, Any]]:
    """The log-rank test across groups, lesion by lesion."""
    if not others:
        return []
    out = []
    for lesion, group in followed.groupby("lesion"):
        found = _test(group, [], farms_compared="farm" in others)
        out.append({"level": place, "lesion": lesion, "chi2": found.chi2, "df": found.df, "p_value": found.p_value})
    return out


def _groups(followed: pd.DataFrame, others: tuple[str, ...]) -> list[str]:
    return followed[list(others)].astype("str").agg(", ".join, axis=1).tolist() if len(followed) else []


def _overall(followed: pd.DataFrame, place: str, others: tuple[str, ...], level: float) -> list[Message]:
    """One log-rank test a level: between lesions, or between groups within lesions."""
    where = say("on the same claw") if place == "claw" else say("on the same cow")
    found = _test(followed, ["lesion"] if others else [], farms_compared="farm" in others)
    if not math.isfinite(found.p_value):
        return []
    p = "p < 0.001" if found.p_value < 0.001 else f"p = {found.p_value:.3f}"
    template = (
        N_("How soon a case is back {where} differs between {what}, more than chance explains (log-rank test, {p}).")
        if found.p_value < 1 - level
        else N_("How soon a case is back {where} does not differ clearly between {what} (log-rank test, {p}).")
    )
    what = say("groups of {what}, lesion by lesion", what=", ".join(others)) if others else say("lesions")
    return [say(template, where=where, what=what, p=p)]


def _definition(gap_days: int) -> Message:
    return say(
        "A case has come back when the same lesion is seen {gap} days or more after it was last seen; seen sooner, "
        "it had not healed. Every kind of visit counts, and a cow is followed from the day she came to her last trim "
        "or her leaving.",
        gap=gap_days,
    )


def _words(table: pd.DataFrame, places: tuple[str, ...]) -> tuple[Message, ...]:
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
    out.append(say("For a case that keeps coming back, ask your veterinarian."))
    return tuple(out)
