"""The models behind a comparison: adjusted for other things, within strata, lesion by lesion, herd by herd."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.limits import FEW_CLUSTERS
from analytics.measures.periods import period_label
from analytics.methods.multiple import benjamini_hochberg
from analytics.methods.ratios import odds_ratio, risk_ratio, two_group_p
from analytics.methods.stratified import mantel_haenszel
from analytics.tally.counts import count
from analytics.tally.patterns import add_cases, patterns
from analytics.tally.selection import Selection
from analytics.words import Said, listed, say

if TYPE_CHECKING:
    from analytics.methods.models import AdjustedComparison

ADJUSTED = (
    "adj_odds_ratio", "adj_or_low", "adj_or_high", "adj_p_value", "std_risk", "std_low", "std_high",
)  # fmt: skip
STRATIFIED = ("mh_odds_ratio", "mh_low", "mh_high", "homogeneity_p")

ENOUGH_HERDS = 5
"""Farms from which on a model with a random farm is fitted. [common practice, no source]"""

MANY_HERDS = 40
"""Farms from which on 5 quadrature points a farm do instead of 15: with so many the points change nothing to the
digits shown, and the limits of the spread take a third of the time. [common practice, no source]"""

ENOUGH_CASES = 10
"""Cases of a lesion below which it is not modelled by itself. [common practice, no source]"""

_FROM_MODEL = {
    "adj_odds_ratio": "odds_ratio",
    "adj_or_low": "odds_ratio_low",
    "adj_or_high": "odds_ratio_high",
    "adj_p_value": "p_value",
    "std_risk": "risk",
    "std_low": "risk_low",
    "std_high": "risk_high",
}

NAMED = {
    "housing": say("housing"), "floor": say("flooring"), "wetness": say("how wet the floor is"),
    "season": say("season"),
    "group": say("group"), "parity": say("lactation"), "breed": say("breed"), "trimmer": say("trimmer"),
    "farm": say("farm"), "year": say("year"),
}  # fmt: skip
"""What is compared, as it stands in a sentence."""


@dataclass(frozen=True)
class Question:
    """One comparison: groups of ``name`` against ``reference``, ``adjust`` held alike.

    ``refused`` are the groups that share no farm with the reference, ``farms`` how many there are.
    """

    ledger: Ledger
    selection: Selection
    name: str
    reference: str
    per: str
    level: float
    adjust: tuple[str, ...]
    farms: int
    refused: tuple[str, ...]

    @property
    def cluster(self) -> str:
        """Farms where there are enough of them, else cows."""
        return "farm" if self.farms >= FEW_CLUSTERS else "cow"

    @property
    def held_alike(self) -> tuple[str, ...]:
        """What is adjusted for; few farms are held alike too, because they cannot be clusters."""
        farm = ("farm",) if 1 < self.farms < FEW_CLUSTERS and self.name != "farm" else ()
        return tuple(dict.fromkeys([*self.adjust, *farm]))


def adjusted(question: Question) -> tuple[pd.DataFrame, tuple[Said, ...], tuple[Said, ...]]:
    """Odds ratios with other things held alike, and marginal standardised risks.

    Returns
    -------
    pandas.DataFrame
        group and ``ADJUSTED``; missing where there is no answer.
    notes, cautions : tuple of Said

    References
    ----------
    Liang KY, Zeger SL (1986) Biometrika 73:13-22. Localio AR et al. (2007) J Clin Epidemiol 60:874-882.
    """
    looked, _ = patterns(
        question.ledger,
        question.selection,
        (question.name, *question.held_alike),
        question.per,
        question.cluster,
    )
    frame = _labelled(looked, question)
    model = _fit(frame, question)
    table = model.table.rename(columns={"level": "group", **{old: new for new, old in _FROM_MODEL.items()}})
    table = table[["group", *ADJUSTED]]
    if not model.converged:
        return table, (), (say("Not enough to adjust: {reason}", reason=model.reason),)
    notes = [
        say(
            "Adjusted odds ratios hold {things} alike (GEE logistic regression, {k} {clusters} as clusters). "
            "Standardised risks are what the whole would show if all were in that group.",
            things=listed([NAMED.get(name, name) for name in question.held_alike]),
            k=model.clusters,
            clusters="farms" if question.cluster == "farm" else "cows",
        )
    ]
    cautions = []
    if "farm" in question.held_alike and "farm" not in question.adjust:
        notes.append(say("Farm was held alike too: {n} farms are too few to be clusters.", n=question.farms))
    if model.table["n"].sum() < frame["n"].sum():
        notes.append(
            say(
                "{n} of {all} records are left out of the adjusted figures: where nobody, or everybody, is a case "
                "in a month, farm or other thing held alike, it tells nothing of the groups.",
                n=int(frame["n"].sum() - model.table["n"].sum()),
                all=int(frame["n"].sum()),
            )
        )
    if model.clusters < FEW_CLUSTERS:
        cautions.append(say("The adjusted figures rest on {n} clusters only.", n=model.clusters))
    return table, tuple(notes), tuple(cautions)


def _labelled(frame: pd.DataFrame, question: Question) -> pd.DataFrame:
    out = frame.assign(group=[period_label(question.name, value) for value in frame[question.name]])
    named = {name: [period_label(name, value) for value in frame[name]] for name in question.held_alike}
    out = out.assign(**named) if named else out
    return out[~out["group"].isin(question.refused)]


def _fit(frame: pd.DataFrame, question: Question) -> AdjustedComparison:
    """The model; where it does not settle, once more without what can tell nothing of the groups."""
    model = _gee(frame, question)
    if model.converged:
        return model
    telling = pd.Series(True, index=frame.index)
    for name in question.held_alike:
        sums = frame.groupby(name)[["m", "n"]].transform("sum")
        telling &= (sums["m"] > 0) & (sums["m"] < sums["n"])
    if telling.all() or question.reference not in set(frame.loc[telling, "group"]):
        return model
    return _gee(frame[telling], question)


def _gee(frame: pd.DataFrame, question: Question) -> AdjustedComparison:
    coded, columns = _without_aliases(frame, question.held_alike)
    from analytics.methods.models import gee_logistic

    return gee_logistic(coded, "m", "group", question.reference, columns, "cluster", n="n", level=question.level)


def _without_aliases(frame: pd.DataFrame, names: tuple[str, ...]) -> tuple[pd.DataFrame, list[str]]:
    """The factors as columns of 0 and 1, less those that others already say.

    Farms visited in months of their own make farm and month overlap: a farm is then the sum of its months.
    Leaving the repetition out changes no comparison of the groups.
    """
    if not names:
        return frame, []
    keys = frame[list(names)].drop_duplicates().reset_index(drop=True)
    dummies = pd.get_dummies(keys, prefix_sep="=", drop_first=True, dtype=float)
    basis, kept = np.ones((len(keys), 1)), []
    for column in dummies.columns:
        wider = np.column_stack([basis, dummies[column]])
        if np.linalg.matrix_rank(wider) > basis.shape[1]:
            basis = wider
            kept.append(str(column))
    return frame.merge(keys.join(dummies[kept]), on=list(names), how="left"), kept


def within_strata(question: Question, stratify: str) -> pd.DataFrame:
    """Mantel-Haenszel odds ratio of each group against the reference within the strata of one property.

    Returns
    -------
    pandas.DataFrame
        group and ``STRATIFIED``; homogeneity_p (Breslow-Day-Tarone) is small where the strata disagree.
    """
    split = count(question.ledger, question.selection, (question.name, stratify), question.per).table
    split = split.assign(group=[period_label(question.name, value) for value in split[question.name]])
    wide = split.set_index([stratify, "group"])[["cases", "at_risk"]].unstack("group").fillna(0)
    out = []
    for group in split["group"].unique():
        if group == question.reference or group in question.refused:
            continue
        found = mantel_haenszel(
            wide["cases"][group],
            wide["at_risk"][group],
            wide["cases"][question.reference],
            wide["at_risk"][question.reference],
            question.level,
        )
        out.append((group, found.odds_ratio, found.odds_ratio_low, found.odds_ratio_high, found.homogeneity_p))
    out.append((question.reference, 1.0, math.nan, math.nan, math.nan))
    return pd.DataFrame(out, columns=["group", *STRATIFIED])


def crude(table: pd.DataFrame, base: Mapping[str, Any], level: float) -> pd.DataFrame:
    """Ratios of each row to ``cases`` and ``at_risk`` of a reference, or of its own, cows taken as independent."""
    cases, at_risk = table["cases"].to_numpy(), table["at_risk"].to_numpy()
    rr = risk_ratio(cases, at_risk, base["cases"], base["at_risk"], level)
    odds = odds_ratio(cases, at_risk, base["cases"], base["at_risk"], level)
    names = ("risk_ratio", "rr_low", "rr_high", "odds_ratio", "or_low", "or_high")
    out = table.assign(**dict(zip(names, (*rr, *odds), strict=True)))
    return out.assign(p_value=np.asarray(two_group_p(cases, at_risk, base["cases"], base["at_risk"])))


def by_lesion(question: Question) -> pd.DataFrame:
    """The comparison lesion by lesion, with what may be luck among so many.

    Returns
    -------
    pandas.DataFrame
        lesion, group (without the reference), cases, at_risk, prevalence, reference_cases,
        reference_at_risk, risk_ratio, rr_low, rr_high, odds_ratio, or_low, or_high, p_value,
        adj_odds_ratio, adj_or_low, adj_or_high, adj_p_value (missing without ``adjust``, or below
        ``ENOUGH_CASES``) and q_value: Benjamini-Hochberg over all rows, on the adjusted p-value where there
        is one.

    References
    ----------
    Benjamini Y, Hochberg Y (1995) J R Stat Soc B 57:289-300.
    """
    counted = count(question.ledger, question.selection, (question.name, "lesion"), question.per).table
    counted = counted.assign(group=[period_label(question.name, value) for value in counted[question.name]])
    is_reference = counted["group"] == question.reference
    references = counted[is_reference].set_index("lesion")[["cases", "at_risk"]].add_prefix("reference_")
    others = counted[~is_reference & ~counted["group"].isin(question.refused)].sort_values("lesion", kind="stable")
    others = others.join(references, on="lesion", how="inner")
    columns = [
        "lesion", "group", "cases", "at_risk", "prevalence", "reference_cases", "reference_at_risk",
        "risk_ratio", "rr_low", "rr_high", "odds_ratio", "or_low", "or_high", "p_value",
        "adj_odds_ratio", "adj_or_low", "adj_or_high", "adj_p_value", "q_value",
    ]  # fmt: skip
    if others.empty:
        return pd.DataFrame(columns=columns)
    base = {name: others[f"reference_{name}"].to_numpy() for name in ("cases", "at_risk")}
    table = crude(others.reset_index(drop=True), base, question.level)
    table = table.assign(prevalence=table["cases"] / table["at_risk"])
    table = table.merge(_lesion_models(question, counted), on=["lesion", "group"], how="left")
    decisive = table["adj_p_value"].fillna(table["p_value"])
    return table.assign(q_value=benjamini_hochberg(decisive)[0])[columns]


def _lesion_models(question: Question, counted: pd.DataFrame) -> pd.DataFrame:
    names = ["lesion", "group", "adj_odds_ratio", "adj_or_low", "adj_or_high", "adj_p_value"]
    out = [pd.DataFrame(columns=names).astype(dict.fromkeys(names[2:], float) | dict.fromkeys(names[:2], "str"))]
    if question.adjust:
        by = (question.name, *question.held_alike)
        looked, cases = patterns(question.ledger, question.selection, by, question.per, question.cluster, lesions=True)
        totals = counted.groupby("lesion")["cases"].sum()
        for lesion in totals.index[totals >= ENOUGH_CASES]:
            model = _fit(_labelled(add_cases(looked, cases, lesion), question), question)
            if model.converged:
                table = model.table.rename(columns={"level": "group", **{old: new for new, old in _FROM_MODEL.items()}})
                out.append(table.assign(lesion=lesion)[names].astype({"group": "str"}))
    return pd.concat(out, ignore_index=True) if len(out) > 1 else out[0]


def herd_model(question: Question) -> tuple[pd.DataFrame, tuple[Said, ...]]:
    """Random-herd logistic model of the groups: what holds within a herd, and how unlike herds are.

    Returns
    -------
    pandas.DataFrame
        term, estimate, low, high, p_value. Groups and covariates as odds ratios; ``spread of farms`` is
        their standard deviation on the log-odds scale, ``share of variance between farms`` the ICC.
    cautions : tuple of Said

    References
    ----------
    Pinheiro JC, Bates DM (1995) J Comput Graph Stat 4:12-35.
    """
    covariates = tuple(name for name in question.adjust if name != "farm")
    looked, _ = patterns(question.ledger, question.selection, (question.name, *covariates), question.per, "farm")
    frame = _labelled(looked, Question(**{**question.__dict__, "adjust": covariates, "farms": 1}))
    from analytics.methods.random_herd import NODES, random_herd_logit

    found = random_herd_logit(
        frame,
        "m",
        ["group", *covariates],
        "cluster",
        n="n",
        references={"group": question.reference},
        nodes=NODES if question.farms < MANY_HERDS else 5,
        level=question.level,
    )
    columns = ["term", "estimate", "low", "high", "p_value"]
    if not found.converged:
        caution = say("Not enough to say how unlike the herds are: {reason}", reason=found.reason)
        return pd.DataFrame(columns=columns), (caution,)
    table = found.coefficients[found.coefficients["term"] != "intercept"]
    table = table.assign(**{name: np.exp(table[name]) for name in ("estimate", "low", "high")})
    spread = [
        (say("spread of farms"), found.sd, found.sd_low, found.sd_high, found.sd_p_value),
        (say("share of variance between farms"), found.icc, found.icc_low, found.icc_high, math.nan),
    ]
    return pd.concat([table[columns], pd.DataFrame(spread, columns=columns)], ignore_index=True), ()
