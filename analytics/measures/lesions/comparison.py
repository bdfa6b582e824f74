"""Do groups differ: housing, floor, season, parity, trimmer and the rest, one against another."""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lesions.comparison_models import (
    ADJUSTED,
    ENOUGH_FARMS,
    ENOUGH_HERDS,
    MOST_STRATA,
    NAMED,
    RATIOS,
    STANDARDISED,
    STRATIFIED,
    TO_ADJUSTED,
    Question,
    adjusted,
    by_lesion,
    compare,
    each_stratum,
    group_farms,
    herd_model,
    pool_strata,
)
from evenfoot.analytics.measures.lesions.counting_unit import ENOUGH_COWS, fair_unit
from evenfoot.analytics.measures.lesions.prevalence import counted_with_clusters
from evenfoot.analytics.measures.limits import limits_of
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.examinations import looks
from evenfoot.analytics.queries.filters import NOT_RECORDED, OF_TRIM
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg

COLUMNS = (
    "group", "cases", "at_risk", "prevalence", "low", "high", *RATIOS, "crude_risk_ratio", "crude_odds_ratio",
)  # fmt: skip


@memoize
def comparison(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("housing",),
    reference: str | None = None,
    per: str | None = None,
    adjust: tuple[str, ...] = (),
    stratify: str | None = None,
    each_lesion: bool = False,
    level: float = 0.95,
) -> Answer:
    """Compare the groups of one property of cows, trims or time with a reference group.

    Ratios, differences and p-values allow for clusters: cows, whose trims, feet and claws are alike, or farms. Farms
    differ in more than the property compared. Where several are chosen, groups are compared within farms, on those
    that have ``ENOUGH_COWS`` cows of both; with ``FEW_CLUSTERS`` such farms and more, the farms are the clusters. A
    group that has no ``ENOUGH_FARMS`` such farms, nor one with ``FEW_COWS`` of both, is not compared (its ratios are
    missing and a caution says why), unless it and the reference were each met on ``FEW_CLUSTERS`` farms or more; then
    farms are compared with farms.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``lesions`` says what a case is; any lesion by default.
    by : tuple of str
        One grouping that is a property of the trim, such as housing or season.
    reference : str, optional
        The group the others are compared with; the one with the most looked at by default.
    per : {"cow", "trim", "foot", "claw"}, optional
        Cows by default; trims where the groups were looked at unequally often
        (:func:`evenfoot.analytics.measures.lesions.counting_unit.fair_unit`).
    adjust : tuple of str
        Properties of the trim held alike in the adjusted figures.
    stratify : str, optional
        Property of the trim within whose strata the groups are compared too.
    each_lesion : bool
        Whether the comparison is also made lesion by lesion.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: group, cases, at_risk, prevalence, low, high (as recorded); risk_ratio, rr_low, rr_high,
        odds_ratio, or_low, or_high, p_value, difference, diff_low, diff_high (within farms, allowing for clusters;
        with fewer than five cows that are cases, or are not, exact); crude_risk_ratio, crude_odds_ratio (of the
        counts as they are, farms mixed); adj_odds_ratio, adj_or_low, adj_or_high, adj_p_value (missing without
        ``adjust``); std_risk, std_low, std_high (what all the compared groups together would show if all were in
        that one; missing without ``adjust`` on one farm); q_value (Benjamini-Hochberg over the groups, of the
        adjusted p-value where there is one); with ``stratify`` also mh_odds_ratio, mh_low, mh_high, homogeneity_p.
        The reference group comes first and its ratios are 1. ``extra["strata"]`` with ``stratify``: stratum, group,
        and the columns from cases to diff_high within it. ``extra["by_lesion"]`` with ``each_lesion``, unless one
        lesion was chosen: the same lesion by lesion with q_value over all of them. ``extra["herd_model"]`` with
        ``adjust`` and five farms or more: term, estimate, low, high, p_value of a logistic model with a random farm.

    Raises
    ------
    UserError
        Not one grouping of trims, a reference that is not among the groups, or a property to adjust for or
        stratify by that does not exist or is the one compared.

    References
    ----------
    Liang KY, Zeger SL (1986) Biometrika 73:13-22; Kauermann G, Carroll RJ (2001) J Am Stat Assoc 96:1387-1396 (model
    and limits). Neuhaus JM, Kalbfleisch JD (1998) Biometrics 54:638-645 (within and between clusters). Gart JJ (1970)
    Biometrika 57:471-475 (exact). Newcombe RG (1998) Statistics in Medicine 17:857-872 (prevalence). Mantel N,
    Haenszel W (1959) J Natl Cancer Inst 22:719-748 (strata). Benjamini Y, Hochberg Y (1995) J R Stat Soc B
    57:289-300 (many at once).
    """
    if len(by) != 1 or by[0] not in OF_TRIM:
        raise UserError(
            say("A comparison needs one grouping with --by; use one of {listed}.", listed=", ".join(OF_TRIM))
        )
    name = by[0]
    for other in (*adjust, *([stratify] if stratify else [])):
        if other not in OF_TRIM or other == name:
            raise UserError(
                say(
                    "A comparison of {name} cannot be adjusted for or stratified by '{other}'; use any other of "
                    "{listed}.",
                    name=name,
                    other=other,
                    listed=", ".join(OF_TRIM),
                )
            )
    per, notes, unfair = fair_unit(ledger, selection, by, per)
    table, kinds, _ = counted_with_clusters(ledger, selection, by, per)
    table = table.rename(columns={name: "group"})
    table = table.assign(group=[period_label(name, value) for value in table["group"]])
    limits = limits_of(table, kinds, level)
    method = listed(
        (limits.method, say("ratios and p from logistic regression with cluster-robust errors (Kauermann-Carroll)")),
        ";",
    )
    columns = [*COLUMNS, *ADJUSTED, "q_value", *(STRATIFIED if stratify else ())]
    if table.empty:
        basis, cautions = basis_of(ledger, selection, unit=per, level=level, method=method)
        return Answer("comparison", table.reindex(columns=columns), basis, cautions, ("group",))
    chosen = _reference(table, name, reference)
    question = group_farms(
        Question(ledger, selection, name, chosen, per, level, adjust, (), (), (), (), 1),
        _cows_of_farms(ledger, selection, name),
    )
    found, more = compare(question)
    notes += more
    table = _crude(table, chosen).assign(
        prevalence=table["cases"] / table["at_risk"], low=limits.table["low"], high=limits.table["high"]
    )
    table = table.merge(found.astype({"group": "str"}), on="group", how="left")
    own = table["group"] == chosen
    table.loc[own, ["risk_ratio", "rr_low", "rr_high", "odds_ratio", "or_low", "or_high"]] = 1.0
    table.loc[own, ["difference", "diff_low", "diff_high"]] = 0.0
    extra: dict[str, pd.DataFrame] = {}
    cautions = limits.cautions + _words(table, question) + unfair
    if adjust and question.parts:
        if question.held_alike:
            held, more, unsure = adjusted(question)
            notes, cautions = notes + more, cautions + unsure
        else:
            held = found.rename(columns=TO_ADJUSTED).reindex(columns=["group", *ADJUSTED])
        table = table.drop(columns=list(STANDARDISED)).merge(held.astype({"group": "str"}), on="group", how="left")
        if question.all_farms >= ENOUGH_HERDS and name != "farm":
            extra["herd_model"], unsure = herd_model(question)
            cautions += unsure
    elif not question.farms:
        table = table.drop(columns=list(STANDARDISED))
    if stratify:
        extra["strata"], disagree = each_stratum(question, stratify)
        for part in (pool_strata(question, stratify), disagree):
            table = table.merge(part.astype({"group": "str"}), on="group", how="left")
        cautions += _strata_differ(table, stratify, level) + _strata_alone(
            extra["strata"], stratify, bool(question.parts)
        )
    if each_lesion and len(selection.lesions) != 1:
        extra["by_lesion"] = by_lesion(question)
    basis, shared = basis_of(ledger, selection, unit=per, level=level, method=method, notes=notes)
    table = table.reindex(columns=columns)
    table = table.assign(
        q_value=benjamini_hochberg(table["adj_p_value"].astype(float).fillna(table["p_value"].astype(float)))[0]
    )
    first = (table["group"] != chosen).to_numpy().argsort(kind="stable")
    table = table.iloc[first].reset_index(drop=True)
    return Answer("comparison", table, basis, shared + cautions, ("group",), extra)


def _crude(table: pd.DataFrame, reference: str) -> pd.DataFrame:
    """Ratios of the counts as they are, whatever the farms; for the record, without limits."""
    base = table[table["group"] == reference].iloc[0]
    risk = table["cases"] / table["at_risk"]
    own = base["cases"] / base["at_risk"]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = risk.to_numpy() / own
        odds = (risk / (1 - risk)).to_numpy() / (own / (1 - own))
    return table.assign(crude_risk_ratio=ratio, crude_odds_ratio=odds)


def _reference(table: pd.DataFrame, name: str, reference: str | None) -> str:
    groups = table["group"].tolist()
    if reference is None:
        told = table[table["group"] != NOT_RECORDED]
        return str((told if len(told) else table).sort_values("at_risk", ascending=False)["group"].iloc[0])
    if reference not in groups:
        raise UserError(
            say(
                "The reference '{reference}' is not among the groups of {name} here; use one of {listed}.",
                reference=reference,
                name=name,
                listed=", ".join(groups),
            )
        )
    return reference


def _cows_of_farms(ledger: Ledger, selection: Selection, name: str) -> pd.DataFrame:
    """Cows of each group on each farm: farm, group, at_risk."""
    split = looks(ledger, selection, tuple(dict.fromkeys(("farm", name))))
    return split.assign(group=[period_label(name, value) for value in split[name]], at_risk=split["cows"])


def _words(table: pd.DataFrame, question: Question) -> tuple[Message, ...]:
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
    return tuple(out)


def _refusal(question: Question) -> Message:
    facts = {
        "reference": question.reference,
        "what": NAMED.get(question.name, question.name),
        "one": FEW_COWS,
        "farms": ENOUGH_FARMS,
        "each": ENOUGH_COWS,
    }
    if len(question.refused) == 1:
        return say(
            "No farm here has enough cows of both {group} and {reference} ({one} of each on one farm, or {each} on "
            "{farms} farms): what {what} does cannot be told from what the farms do, so no ratio is given.",
            group=question.refused[0],
            **facts,
        )
    return say(
        "No farm here has enough cows of {reference} as well as any of {groups} ({one} of each on one farm, or {each} "
        "on {farms} farms): what {what} does cannot be told from what the farms do, so no ratios are given for them.",
        groups=", ".join(question.refused),
        **facts,
    )


def _strata_differ(table: pd.DataFrame, stratify: str, level: float) -> tuple[Message, ...]:
    unlike = table.loc[table["homogeneity_p"] < 1 - level, "group"].tolist()
    if not unlike:
        return ()
    return (
        say(
            "The strata of {stratify} disagree about {groups}; the pooled odds ratio hides that.",
            stratify=NAMED.get(stratify, stratify),
            groups=", ".join(unlike),
        ),
    )


def _strata_alone(strata: pd.DataFrame, stratify: str, compared: bool) -> tuple[Message, ...]:
    """Why strata are not shown, or have no ratios."""
    named = NAMED.get(stratify, stratify)
    if strata.empty:
        return (
            say(
                "There are more than {most} strata of {stratify}; they are not shown.", most=MOST_STRATA, stratify=named
            ),
        )
    if not compared:
        return (say("Within each {stratify} counts are shown alone, for the same reason.", stratify=named),)
    return ()
