"""Do groups differ: housing, floor, season, parity, trimmer and the rest, one against another."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import FEW_COWS, basis_of, begin_basis
from analytics.measures.comparison_models import (
    ADJUSTED,
    ENOUGH_HERDS,
    NAMED,
    STRATIFIED,
    Question,
    adjusted,
    by_lesion,
    crude,
    herd_model,
    within_strata,
)
from analytics.measures.kept import keep
from analytics.measures.limits import FEW_CLUSTERS, limits_of
from analytics.measures.periods import period_label
from analytics.measures.prevalence import counted_with_clusters
from analytics.methods.cluster import cluster_proportion
from analytics.methods.cluster_comparison import compare_clusters
from analytics.methods.multiple import benjamini_hochberg
from analytics.mistake import Mistake
from analytics.tally.counts import count
from analytics.tally.narrow import NOT_RECORDED, OF_TRIM
from analytics.tally.selection import Selection
from analytics.words import Said, say

RATIOS = ("risk_ratio", "rr_low", "rr_high", "odds_ratio", "or_low", "or_high")
COLUMNS = ("group", "cases", "at_risk", "prevalence", "low", "high", *RATIOS, "p_value")


@keep
def comparison(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("housing",),
    reference: str | None = None,
    per: str = "cow",
    adjust: tuple[str, ...] = (),
    stratify: str | None = None,
    each_lesion: bool = False,
    level: float = 0.95,
) -> Answer:
    """Compare the groups of one property of cows, trims or time with a reference group.

    Farms differ in more than the property compared. A group that shares no farm with the reference is
    therefore not compared with it (its ratios are missing and a caution says why), unless each was met on
    ten farms or more; then the farms are the units of evidence.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``lesions`` says what a case is; any lesion by default.
    by : tuple of str
        One grouping that is a property of the trim, such as housing or season.
    reference : str, optional
        The group the others are compared with; the one with the most looked at by default.
    per : {"cow", "trim", "foot", "claw"}
    adjust : tuple of str
        Properties of the trim held alike in the adjusted figures. With two to nine farms, farm is added.
    stratify : str, optional
        Property of the trim within whose strata the Mantel-Haenszel odds ratio is pooled.
    each_lesion : bool
        Whether the comparison is also made lesion by lesion.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: group, cases, at_risk, prevalence, low, high, risk_ratio, rr_low, rr_high, odds_ratio,
        or_low, or_high, p_value (crude); adj_odds_ratio, adj_or_low, adj_or_high, adj_p_value, std_risk,
        std_low, std_high (what all the compared groups together would show if all were in that one; missing
        without ``adjust``); q_value (Benjamini-Hochberg over the groups); with
        ``stratify`` also mh_odds_ratio, mh_low, mh_high, homogeneity_p. The reference group comes first and
        its ratios are 1. ``extra["by_lesion"]`` with ``each_lesion``, unless one lesion was chosen: the same
        lesion by lesion with q_value over all of them. ``extra["herd_model"]`` with ``adjust`` and five farms
        or more: term, estimate, low, high, p_value of a logistic model with a random farm.

    Raises
    ------
    Mistake
        Not one grouping of trims, a reference that is not among the groups, or a property to adjust for or
        stratify by that does not exist or is the one compared.

    References
    ----------
    Koopman PAR (1984) Biometrics 40:513-517 (risk ratio). Woolf B (1955) Annals of Human Genetics
    19:251-253 (odds ratio). Newcombe RG (1998) Statistics in Medicine 17:857-872 (prevalence).
    Liang KY, Zeger SL (1986) Biometrika 73:13-22 (adjusted). Mantel N, Haenszel W (1959) J Natl Cancer Inst
    22:719-748 (strata). Benjamini Y, Hochberg Y (1995) J R Stat Soc B 57:289-300 (many at once).
    """
    if len(by) != 1 or by[0] not in OF_TRIM:
        raise Mistake(say("A comparison needs one grouping with --by; use one of {listed}.", listed=", ".join(OF_TRIM)))
    name = by[0]
    for other in (*adjust, *([stratify] if stratify else [])):
        if other not in OF_TRIM or other == name:
            raise Mistake(
                say(
                    "A comparison of {name} cannot be adjusted for or stratified by '{other}'; use any other of "
                    "{listed}.",
                    name=name,
                    other=other,
                    listed=", ".join(OF_TRIM),
                )
            )
    begin_basis(ledger, selection)
    table, kinds, _ = counted_with_clusters(ledger, selection, by, per)
    looked = table.set_index(name)["at_risk"]
    table = table.rename(columns={name: "group"})
    table = table.assign(group=[period_label(name, value) for value in table["group"]])
    limits = limits_of(table, kinds, level)
    method = "; ".join(
        (
            limits.method,
            say("Koopman score limits for risk ratios"),
            say("Woolf or exact limits for odds ratios"),
        )
    )
    columns = [*COLUMNS, *ADJUSTED, "q_value", *(STRATIFIED if stratify else ())]
    if table.empty:
        basis, cautions = basis_of(ledger, selection, unit=per, level=level, method=method)
        return Answer("comparison", table.reindex(columns=columns), basis, cautions, ("group",))
    chosen = _reference(table, name, reference)
    farms = _farms_of(ledger, selection, name, table["group"])
    refused, clustered = _apart(farms, name, chosen)
    question = Question(ledger, selection, name, chosen, per, level, adjust, int(farms["farm"].nunique()), refused)
    table = table.assign(
        prevalence=table["cases"] / table["at_risk"], low=limits.table["low"], high=limits.table["high"]
    )
    table = _ratios(table, question, clustered)
    extra: dict[str, pd.DataFrame] = {}
    notes: tuple[Said, ...] = ()
    cautions = limits.cautions + _words(table, question)
    if per == "cow":
        cautions += uneven_trims(ledger, selection, name, looked)
    if clustered:
        notes += (say("Farms are the units of evidence in the ratios of {groups}.", groups=", ".join(clustered)),)
    if adjust and len(table) - len(refused) > 1:
        found, more, unsure = adjusted(question)
        table = table.merge(found.astype({"group": "str"}), on="group", how="left")
        notes, cautions = notes + more, cautions + unsure
        if question.farms >= ENOUGH_HERDS and name != "farm":
            extra["herd_model"], unsure = herd_model(question)
            cautions += unsure
    if stratify:
        table = table.merge(within_strata(question, stratify), on="group", how="left")
        cautions += _strata_differ(table, stratify, level)
    if each_lesion and len(selection.lesions) != 1:
        extra["by_lesion"] = by_lesion(question)
    basis, shared = basis_of(ledger, selection, unit=per, level=level, method=method, notes=notes)
    table = table.reindex(columns=columns).assign(q_value=benjamini_hochberg(table["p_value"])[0])
    first = (table["group"] != chosen).to_numpy().argsort(kind="stable")
    table = table.iloc[first].reset_index(drop=True)
    return Answer("comparison", table, basis, shared + cautions, ("group",), extra)


def _reference(table: pd.DataFrame, name: str, reference: str | None) -> str:
    groups = table["group"].tolist()
    if reference is None:
        told = table[table["group"] != NOT_RECORDED]
        return str((told if len(told) else table).sort_values("at_risk", ascending=False)["group"].iloc[0])
    if reference not in groups:
        raise Mistake(
            say(
                "The reference '{reference}' is not among the groups of {name} here; use one of {listed}.",
                reference=reference,
                name=name,
                listed=", ".join(groups),
            )
        )
    return reference


def _farms_of(ledger: Ledger, selection: Selection, name: str, groups: pd.Series) -> pd.DataFrame:
    """Which group was met on which farm: farm, group."""
    if len(selection.farms) == 1 and name != "farm":
        return pd.DataFrame({"farm": selection.farms[0], "group": groups})
    split = count(ledger, selection, tuple(dict.fromkeys(("farm", name)))).table
    return split.assign(group=[period_label(name, value) for value in split[name]])[["farm", "group"]]


def _apart(farms: pd.DataFrame, name: str, reference: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Groups without a farm in common with the reference: refused, and those met on farms enough."""
    if name == "farm":
        return (), ()
    homes = {str(group): set(rows["farm"]) for group, rows in farms.groupby("group")}
    own = homes.get(reference, set())
    apart = [group for group, met in homes.items() if group != reference and not met & own]
    enough = [group for group in apart if min(len(own), len(homes[group])) >= FEW_CLUSTERS]
    return tuple(group for group in apart if group not in enough), tuple(enough)


def _ratios(table: pd.DataFrame, question: Question, clustered: tuple[str, ...]) -> pd.DataFrame:
    base = table[table["group"] == question.reference].iloc[0]
    out = crude(table, {"cases": base["cases"], "at_risk": base["at_risk"]}, question.level)
    own = (out["group"] == question.reference).to_numpy()
    out.loc[own, list(RATIOS)] = 1.0
    out.loc[own, "p_value"] = math.nan
    out.loc[out["group"].isin(question.refused), [*RATIOS, "p_value"]] = math.nan
    for group in clustered:
        place = out.index[out["group"] == group][0]
        out.loc[place, [*RATIOS, "p_value"]] = _between_farms(table.loc[place], base, question.level)
    return out


def _between_farms(row: pd.Series, base: pd.Series, level: float) -> list[float]:
    """Ratios and p-value with farms as clusters."""
    first, second = (
        cluster_proportion(
            each["sum_m"],
            each["sum_n"],
            each["sum_mm"],
            each["sum_mn"],
            each["sum_nn"],
            each["clusters"],
            level,
        )
        for each in (row, base)
    )
    found = compare_clusters(first, second, level)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_odds = special.logit(first.p) - special.logit(second.p)
        parts: list[Any] = [(each.se / (each.p * (1 - each.p))) ** 2 for each in (first, second)]
        df = sum(parts) ** 2 / (parts[0] ** 2 / first.df + parts[1] ** 2 / second.df)
        half = special.stdtrit(df, 0.5 + level / 2) * math.sqrt(sum(parts))
    odds = [float(np.exp(x)) for x in (log_odds, log_odds - half, log_odds + half)]
    ratio = [float(x) for x in (found.ratio, found.ratio_low, found.ratio_high)]
    return [*ratio, *odds, float(found.p_value)]


def _words(table: pd.DataFrame, question: Question) -> tuple[Said, ...]:
    name = question.name
    named = NAMED.get(name, name)
    out = [
        say(
            "Groups that differ in {what} differ in other things too; a difference here is an association, not "
            "its cause.",
            what=named,
        )
    ]
    small = table.loc[table["at_risk"] < FEW_COWS, "group"].tolist()
    if small:
        out.append(say("Too few were looked at to say much about {groups}.", groups=", ".join(small)))
    if len(table) < 2:
        out.append(say("There is only one group of {what} in this choice, so nothing can be compared.", what=named))
    if question.refused:
        out.append(_refusal(question))
    if question.per != "cow" and len(table) - len(question.refused) > 1:
        out.append(
            say(
                "The crude ratios take every {unit} for independent, but those of one cow are alike: their true "
                "doubt is wider. The adjusted figures allow for it.",
                unit=question.per,
            )
        )
    if question.farms > 1 and len(table) - len(question.refused) > 1 and name != "farm":
        out.append(
            say(
                "Several farms are pooled. The crude ratios take every cow for independent and mix differences "
                "within farms with differences between them; adjust for farm or stratify by it to compare like "
                "with like."
            )
        )
    return tuple(out)


def _refusal(question: Question) -> Said:
    if len(question.refused) == 1:
        return say(
            "No farm here has both {group} and {reference}: what {what} does cannot be told from what the farms "
            "do, so no ratio is given. The risks stand as descriptions of those farms.",
            group=question.refused[0],
            reference=question.reference,
            what=NAMED.get(question.name, question.name),
        )
    return say(
        "No farm here has {reference} as well as any of {groups}: what {what} does cannot be told from what the "
        "farms do, so no ratios are given for them. Their risks stand as descriptions of those farms.",
        groups=", ".join(question.refused),
        reference=question.reference,
        what=NAMED.get(question.name, question.name),
    )


def _strata_differ(table: pd.DataFrame, stratify: str, level: float) -> tuple[Said, ...]:
    unlike = table.loc[table["homogeneity_p"] < 1 - level, "group"].tolist()
    if not unlike:
        return ()
    return (
        say(
            "The strata of {stratify} disagree about {groups}; the pooled odds ratio hides that.",
            stratify=stratify,
            groups=", ".join(unlike),
        ),
    )


UNEVEN_TRIMS = 1.25
"""Trims a cow in one group over those in another beyond which counting per cow is no longer fair: who is
looked at more often has more chances to be a case. [common practice, no source]"""


def uneven_trims(ledger: Ledger, selection: Selection, name: str, cows: pd.Series) -> tuple[Said, ...]:
    """A caution where *cows* (how many, by group) of one group were trimmed much more often than those of another."""
    trims = count(ledger, selection, (name,), "trim").table.set_index(name)["at_risk"]
    each = (trims / cows).drop(index=NOT_RECORDED, errors="ignore").sort_values()
    if len(each) < 2 or each.iloc[-1] <= UNEVEN_TRIMS * each.iloc[0]:
        return ()
    return (
        say(
            "Cows were trimmed {most:.1f} times on average in {often} but {least:.1f} times in {seldom}; more "
            "looks find more lesions. Counting per trim is fairer here.",
            most=float(each.iloc[-1]),
            often=period_label(name, each.index[-1]),
            least=float(each.iloc[0]),
            seldom=period_label(name, each.index[0]),
        ),
    )
