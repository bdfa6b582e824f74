"""The models behind a comparison: within farms, adjusted for other things, within strata, lesion by lesion."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.basis import FEW_COWS
from analytics.measures.fair_count import ENOUGH_COWS
from analytics.measures.limits import FEW_CLUSTERS, limits_of
from analytics.measures.periods import period_label
from analytics.measures.prevalence import counted_with_clusters
from analytics.methods.multiple import benjamini_hochberg
from analytics.methods.ratios import SMALL_CELL, exact_odds_ratio
from analytics.methods.stratified import homogeneity_p, mantel_haenszel
from analytics.tally.counts import count
from analytics.tally.patterns import add_cases, patterns
from analytics.tally.selection import Selection
from analytics.words import Said, listed, say

if TYPE_CHECKING:
    from analytics.methods.models import AdjustedComparison

RATIOS = (
    "risk_ratio", "rr_low", "rr_high", "odds_ratio", "or_low", "or_high", "p_value", "difference", "diff_low",
    "diff_high",
)  # fmt: skip
STANDARDISED = ("std_risk", "std_low", "std_high")
ADJUSTED = ("adj_odds_ratio", "adj_or_low", "adj_or_high", "adj_p_value", *STANDARDISED)
STRATIFIED = ("mh_odds_ratio", "mh_low", "mh_high", "homogeneity_p")
STRATA = ("stratum", "group", "cases", "at_risk", "prevalence", "low", "high", *RATIOS)

ENOUGH_FARMS = 2
"""Farms that must have both groups, ``ENOUGH_COWS`` of each, where several farms are compared within themselves.
One farm does if it has ``FEW_COWS`` of each. [common practice, no source]"""

ENOUGH_HERDS = 5
"""Farms from which on a model with a random farm is fitted. [common practice, no source]"""

MANY_HERDS = 40
"""Farms from which on 5 quadrature points a farm do instead of 15: with so many the points change nothing to the
digits shown, and the limits of the spread take a third of the time. [common practice, no source]"""

MOST_STRATA = 60
"""Strata above which they are not shown one by one. [common practice, no source]"""

_MOST_OF_A_COW = 8  # units of one cow that can be a case at one trimming: her claws

_FROM_MODEL = {
    "level": "group",
    "ratio": "risk_ratio",
    "ratio_low": "rr_low",
    "ratio_high": "rr_high",
    "odds_ratio_low": "or_low",
    "odds_ratio_high": "or_high",
    "difference_low": "diff_low",
    "difference_high": "diff_high",
    "risk": "std_risk",
    "risk_low": "std_low",
    "risk_high": "std_high",
}
TO_ADJUSTED = {
    "odds_ratio": "adj_odds_ratio",
    "or_low": "adj_or_low",
    "or_high": "adj_or_high",
    "p_value": "adj_p_value",
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

    Attributes
    ----------
    within : tuple of str
        Groups compared with the reference within farms; ``farms`` are those that have both (empty where there is
        one farm, or farms themselves are compared).
    between : tuple of str
        Groups that share no farm with the reference and were met, as it was, on many: farms are compared.
    refused : tuple of str
        Groups that cannot be told from the farms they are on.
    all_farms : int
        Farms in the selection.
    """

    ledger: Ledger
    selection: Selection
    name: str
    reference: str
    per: str
    level: float
    adjust: tuple[str, ...]
    within: tuple[str, ...]
    between: tuple[str, ...]
    refused: tuple[str, ...]
    farms: tuple[str, ...]
    all_farms: int

    @property
    def held_alike(self) -> tuple[str, ...]:
        """What is adjusted for, besides the farm."""
        return tuple(name for name in self.adjust if name != "farm")

    @property
    def cluster(self) -> str:
        """What the clusters of the comparison within farms are: farms where there are enough of them, else cows."""
        return "farm" if len(self.farms) >= FEW_CLUSTERS else "cow"

    @property
    def parts(self) -> tuple[Part, ...]:
        """The comparisons to fit: within farms, and between them."""
        out = []
        if self.within:
            out.append(Part(self.within, self.cluster, "of_farm" if self.farms else None, self.farms))
        if self.between:
            out.append(Part(self.between, "farm", None, ()))
        return tuple(out)


@dataclass(frozen=True)
class Part:
    """Groups fitted together, what their clusters and strata are, and the farms they rest on (all where empty)."""

    groups: tuple[str, ...]
    cluster: str
    strata: str | None
    farms: tuple[str, ...]


def group_farms(question: Question, homes: pd.DataFrame) -> Question:
    """The question with its groups told apart: compared within farms, between farms, or refused.

    Parameters
    ----------
    question : Question
    homes : pandas.DataFrame
        farm, group and at_risk: cows of each group on each farm.
    """
    cows = homes.pivot_table(index="farm", columns="group", values="at_risk", aggfunc="sum", fill_value=0)
    others = [str(group) for group in cows.columns if group != question.reference]
    if len(cows) == 1 or question.name == "farm":
        return replace(question, within=tuple(others), all_farms=len(cows))
    met = cows >= ENOUGH_COWS
    own = met[question.reference]
    within, between, refused, farms = [], [], [], pd.Series(False, index=cows.index)
    for group in others:
        both = own & met[group]
        plenty = (cows[[question.reference, group]] >= FEW_COWS).all(axis=1)
        if both.sum() >= ENOUGH_FARMS or plenty.any():
            within.append(group)
            farms |= both
        elif min(own.sum(), met[group].sum()) >= FEW_CLUSTERS:
            between.append(group)
        else:
            refused.append(group)
    return replace(
        question,
        within=tuple(within),
        between=tuple(between),
        refused=tuple(refused),
        farms=tuple(map(str, farms.index[farms])),
        all_farms=len(cows),
    )


def _looked(question: Question, part: Part, by: Iterable[str], *, lesions: bool = False, per: str | None = None):
    """Patterns of the groups and farms of a part, with the column group; and cases by lesion, where asked for."""
    by = (question.name, *by)
    looked, cases = patterns(
        question.ledger, question.selection, by, per or question.per, part.cluster, lesions=lesions
    )
    names = [name for name in by if name != question.name]

    def kept(frame: pd.DataFrame) -> pd.DataFrame:
        labels = {value: period_label(question.name, value) for value in frame[question.name].unique()}
        frame = frame.assign(group=frame[question.name].map(labels))
        frame = frame[frame["group"].isin([question.reference, *part.groups])]
        if part.farms:
            frame = frame[frame["of_farm"].isin(part.farms)]
        named = {name: [period_label(name, value) for value in frame[name]] for name in names}
        return frame.assign(**named) if named else frame

    return kept(looked), kept(cases) if lesions else cases


def compare(question: Question) -> tuple[pd.DataFrame, tuple[Said, ...]]:
    """Ratios of the groups to the reference, and the difference, with farms held alike.

    Returns
    -------
    pandas.DataFrame
        group, ``RATIOS`` and ``STANDARDISED``; a group without an answer is missing.
    notes : tuple of Said
    """
    found, few = [], []
    for part in question.parts:
        frame, _ = _looked(question, part, ())
        table, exact = _fit_groups(frame, question, part)
        found.append(table)
        few += exact
    table = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=["group", *RATIOS, *STANDARDISED])
    return table.drop_duplicates("group"), _notes(question, few)


def _notes(question: Question, few: list[str]) -> tuple[Said, ...]:
    out = []
    if question.farms:
        out.append(
            say(
                "Ratios, differences and p compare groups of one farm with each other; they rest on the farms that "
                "have enough cows of both ({n}).",
                n=len(question.farms),
            )
        )
    if question.between:
        out.append(
            say("Farms are the units of evidence in the ratios of {groups}.", groups=", ".join(question.between))
        )
    if few:
        out.append(
            say(
                "Few cases: the limits and p of {groups} are exact (mid-p), each cow taken once.",
                groups=", ".join(few),
            )
        )
    return tuple(out)


def _fit_groups(frame: pd.DataFrame, question: Question, part: Part) -> tuple[pd.DataFrame, list[str]]:
    """group, ``RATIOS`` and ``STANDARDISED`` of the groups of a part, and those with exact limits.

    Groups with fewer than ``SMALL_CELL`` cows that are cases, or that are not, are compared exactly: a sandwich
    needs some of both. Where the reference has too few, all are.
    """
    whole = _of_cows(frame, question, part)
    sizes = whole.groupby("group")[["m", "n"]].sum()
    least = np.minimum(sizes["m"], sizes["n"] - sizes["m"])
    columns = ["group", *RATIOS, *STANDARDISED]
    if question.reference not in sizes.index:
        return pd.DataFrame(columns=columns), []
    plenty = [group for group in part.groups if group in least and least[group] >= SMALL_CELL]
    out = pd.DataFrame(columns=columns)
    if plenty and least[question.reference] >= SMALL_CELL:
        model = _gee(frame[frame["group"].isin([question.reference, *plenty])], question, part, ())
        if model.converged:
            out = _named(model)[columns]
    rest = [group for group in part.groups if group in sizes.index and group not in set(out["group"])]
    rows = [_exact(whole, frame, group, question.reference, part, question.level) for group in rest]
    exact = pd.DataFrame(rows, columns=["group", *RATIOS])
    if not len(out):
        own = dict.fromkeys(columns, math.nan) | {"group": question.reference, "difference": 0.0}
        own |= {"risk_ratio": 1.0, "odds_ratio": 1.0}
        out = pd.DataFrame([own])
    return (pd.concat([out, exact], ignore_index=True) if len(exact) else out), rest


def _named(model: AdjustedComparison) -> pd.DataFrame:
    return model.table.rename(columns=_FROM_MODEL).astype({"group": "str"})


def _of_cows(frame: pd.DataFrame, question: Question, part: Part) -> pd.DataFrame:
    """group, stratum, m and n with every cow a case once at most, or once no case where those are the fewer."""
    frame = frame.assign(stratum=frame[part.strata] if part.strata else "", rest=frame["n"] - frame["m"])
    keys = ["stratum", "group"]
    if part.cluster == "cow":
        frame = frame.assign(m=frame["m"].clip(upper=1), rest=frame["rest"].clip(upper=1))
    whole = frame.groupby(keys, as_index=False, observed=True)[["m", "rest", "n"]].sum()
    sizes = whole.groupby("group")["m"].sum()
    if part.cluster == "farm" and question.per != "cow" and sizes.min() < SMALL_CELL * _MOST_OF_A_COW:
        cows, _ = _looked(question, part, (), per="cow")
        cows = cows.assign(stratum=cows[part.strata] if part.strata else "")
        cases = cows.groupby(keys, as_index=False, observed=True)["m"].sum()
        whole = whole.drop(columns="m").merge(cases, on=keys, how="left").fillna({"m": 0})
    fewer = whole["rest"].sum() < whole["m"].sum()
    return whole.assign(m=whole["n"] - whole["rest"]) if fewer else whole


def _exact(
    whole: pd.DataFrame, frame: pd.DataFrame, group: str, reference: str, part: Part, level: float
) -> dict[str, object]:
    """One row of ``RATIOS`` with exact limits; the risk ratio and difference follow from the reference's risk."""
    wide = whole[whole["group"].isin([group, reference])][["stratum", "group", "m", "n"]]
    wide = wide.set_index(["stratum", "group"]).unstack("group").fillna(0)
    counts = [wide[name][each].to_numpy() for each in (group, reference) for name in ("m", "n")]
    odds, low, high, p = exact_odds_ratio(*counts, level)
    told = wide.index[(counts[1] > 0) & (counts[3] > 0)]
    own = frame[frame["group"] == reference]
    own = own[own[part.strata].isin(told)] if part.strata else own
    base = float(own["m"].sum() / own["n"].sum()) if len(own) else math.nan
    risks = [_moved(base, ratio) for ratio in (odds, low, high)]
    ratios = [ratio if base == 0 else risk / base for ratio, risk in zip((odds, low, high), risks, strict=True)]
    gaps = [risk - base for risk in risks]
    values = dict(zip(RATIOS, (*ratios, odds, low, high, p, *gaps), strict=True))
    return {"group": group, **values}


def _moved(risk: float, odds_ratio: float) -> float:
    """The risk with so many times the odds."""
    if risk in (0.0, 1.0) or math.isnan(odds_ratio):
        return risk if not math.isnan(odds_ratio) else math.nan
    if math.isinf(odds_ratio):
        return 1.0
    return odds_ratio * risk / (1.0 - risk + odds_ratio * risk)


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
    found, notes, cautions = [], [], []
    for part in question.parts:
        frame, _ = _looked(question, part, question.held_alike)
        model = _fit(frame, question, part)
        if not model.converged:
            cautions.append(say("Not enough to adjust: {reason}", reason=model.reason))
            continue
        found.append(_named(model).rename(columns=TO_ADJUSTED)[["group", *ADJUSTED]])
        alike = [*question.held_alike, *(("farm",) if part.strata else ())]
        notes.append(
            say(
                "Adjusted odds ratios hold {things} alike (GEE logistic regression, {k} {clusters} as clusters). "
                "Standardised risks are what the whole would show if all were in that group.",
                things=listed([NAMED.get(name, name) for name in alike]),
                k=model.clusters,
                clusters="farms" if part.cluster == "farm" else "cows",
            )
        )
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
    table = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=["group", *ADJUSTED])
    return table.drop_duplicates("group"), tuple(notes), tuple(cautions)


def _fit(frame: pd.DataFrame, question: Question, part: Part) -> AdjustedComparison:
    """The model; where it does not settle, once more without what can tell nothing of the groups."""
    model = _gee(frame, question, part, question.held_alike)
    if model.converged:
        return model
    telling = pd.Series(True, index=frame.index)
    for name in ("group", *question.held_alike):
        sums = frame.groupby(name)[["m", "n"]].transform("sum")
        telling &= (sums["m"] > 0) & (sums["m"] < sums["n"])
    if telling.all() or question.reference not in set(frame.loc[telling, "group"]):
        return model
    return _gee(frame[telling], question, part, question.held_alike)


def _gee(frame: pd.DataFrame, question: Question, part: Part, held: tuple[str, ...]) -> AdjustedComparison:
    coded, columns = _without_aliases(frame, held, part.strata)
    from analytics.methods.models import gee_logistic

    return gee_logistic(
        coded, "m", "group", question.reference, columns, "cluster", strata=part.strata, n="n", level=question.level
    )


def _without_aliases(frame: pd.DataFrame, names: tuple[str, ...], strata: str | None) -> tuple[pd.DataFrame, list[str]]:
    """The factors as columns of 0 and 1, less those that others, or the strata, already say.

    Farms visited in months of their own make farm and month overlap: a farm is then the sum of its months.
    Leaving the repetition out changes no comparison of the groups.
    """
    if not names:
        return frame, []
    on = [*names, *([strata] if strata else [])]
    keys = frame[on].drop_duplicates().reset_index(drop=True)
    dummies = pd.get_dummies(keys[list(names)], prefix_sep="=", drop_first=True, dtype=float)
    apart = dummies - (dummies.groupby(keys[strata]).transform("mean") if strata else dummies.mean())
    basis, kept = np.empty((len(keys), 0)), []
    for column in dummies.columns:
        wider = np.column_stack([basis, apart[column]])
        if np.linalg.matrix_rank(wider) > basis.shape[1]:
            basis = wider
            kept.append(str(column))
    return frame.merge(keys.join(dummies[kept]), on=on, how="left"), kept


def pool_strata(question: Question, stratify: str) -> pd.DataFrame:
    """Mantel-Haenszel odds ratio of each group against the reference within the strata of one property, and farms.

    Returns
    -------
    pandas.DataFrame
        group and the first three of ``STRATIFIED``.
    """
    out: list[tuple[str, float, float, float]] = [(question.reference, 1.0, math.nan, math.nan)]
    for part in question.parts:
        frame, _ = _looked(question, part, (stratify,) if stratify != "farm" else ())
        strata = frame["of_farm"] if part.strata or stratify == "farm" else frame["group"].map(lambda _: "")
        if stratify != "farm":
            strata = strata + "|" + frame[stratify].astype(str)
        frame = frame.assign(stratum=strata)
        wide = frame.groupby(["stratum", "cluster", "group"], observed=True)[["m", "n"]].sum().unstack("group")
        wide = wide.fillna(0)
        keys = [wide.index.get_level_values(name) for name in ("stratum", "cluster")]
        for group in part.groups:
            if group not in wide["n"] or question.reference not in wide["n"]:
                continue
            counts = [wide[name][each] for each in (group, question.reference) for name in ("m", "n")]
            found = mantel_haenszel(*counts, *keys, question.level)
            out.append((group, found.odds_ratio, found.low, found.high))
    return pd.DataFrame(out, columns=["group", *STRATIFIED[:3]])


def each_stratum(question: Question, stratify: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The comparison within every stratum of one property, and whether the strata disagree.

    Returns
    -------
    strata : pandas.DataFrame
        Columns ``STRATA``; the reference first in each stratum. Empty where there are more than ``MOST_STRATA``.
    disagree : pandas.DataFrame
        group and homogeneity_p, small where the odds ratio is not the same in all strata.
    """
    counted, kinds, _ = counted_with_clusters(
        question.ledger, question.selection, (question.name, stratify), question.per
    )
    counted = counted.assign(
        group=[period_label(question.name, value) for value in counted[question.name]],
        stratum=[period_label(stratify, value) for value in counted[stratify]],
    )
    nothing = pd.DataFrame(columns=list(STRATA)), pd.DataFrame(columns=["group", "homogeneity_p"])
    if counted["stratum"].nunique() > MOST_STRATA:
        return nothing
    limits = limits_of(counted, kinds, question.level).table
    counted = counted.assign(
        prevalence=counted["cases"] / counted["at_risk"], low=limits["low"], high=limits["high"]
    )
    tables, models = [], []
    for part in question.parts:
        # Within one farm its cows are the clusters.
        alone = replace(part, cluster="cow", strata=None) if stratify == "farm" and part.strata else part
        frame, _ = _looked(question, alone, (stratify,) if stratify != "farm" else ())
        values = frame["of_farm"] if stratify == "farm" else frame[stratify].astype(str)
        for value, rows in frame.groupby(values, sort=True):
            found, few = _fit_groups(rows, question, alone)
            tables.append(found.assign(stratum=value))
            sound = [group for group in alone.groups if group in set(rows["group"]) and group not in few]
            if sound:
                model = _gee(rows[rows["group"].isin([question.reference, *sound])], question, alone, ())
                models.append((model, sound))
    if not tables:
        return nothing
    both = pd.concat(tables, ignore_index=True).drop_duplicates(["stratum", "group"])
    strata = counted.merge(both[["stratum", "group", *RATIOS]], on=["stratum", "group"], how="left")
    strata = strata.assign(other=strata["group"] != question.reference)
    strata = strata.sort_values(["stratum", "other"], key=_as_met(counted["stratum"]), kind="stable")
    return strata[list(STRATA)].reset_index(drop=True), _disagreement(question, models)


def _as_met(order: pd.Series):
    places = {value: at for at, value in enumerate(dict.fromkeys(order))}
    return lambda column: column.map(places) if column.name == "stratum" else column


def _disagreement(question: Question, models: list[tuple[AdjustedComparison, list[str]]]) -> pd.DataFrame:
    out = []
    for group in (*question.within, *question.between):
        told = [model for model, groups in models if group in groups and model.converged]
        if len(told) < 2:
            continue
        estimates = [float(np.log(model.table.set_index("level").loc[group, "odds_ratio"])) for model in told]
        moves = pd.concat([model.influence[group] for model in told], axis=1).fillna(0.0)
        df = float(len(moves) - 2 * len(told))
        out.append((group, homogeneity_p(estimates, moves.to_numpy(dtype=float), df)))
    return pd.DataFrame(out, columns=["group", "homogeneity_p"])


def by_lesion(question: Question) -> pd.DataFrame:
    """The comparison lesion by lesion, with what may be luck among so many.

    Returns
    -------
    pandas.DataFrame
        lesion, group (without the reference), cases, at_risk, prevalence, reference_cases, reference_at_risk,
        ``RATIOS`` (by the same model as the whole, exact where cases are few), adj_odds_ratio, adj_or_low,
        adj_or_high, adj_p_value (missing without ``adjust``, or where cases are few) and q_value:
        Benjamini-Hochberg over all rows, on the adjusted p-value where there is one.

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
        *RATIOS, *TO_ADJUSTED.values(), "q_value",
    ]  # fmt: skip
    if others.empty:
        return pd.DataFrame(columns=columns)
    table = others.assign(prevalence=others["cases"] / others["at_risk"])
    table = table.merge(_lesion_models(question, tuple(references.index), ()), on=["lesion", "group"], how="left")
    if question.held_alike:
        more = _lesion_models(question, tuple(references.index), question.held_alike).rename(columns=TO_ADJUSTED)
        table = table.merge(more[["lesion", "group", *TO_ADJUSTED.values()]], on=["lesion", "group"], how="left")
    table = table.reindex(columns=columns)
    decisive = table["adj_p_value"].astype(float).fillna(table["p_value"].astype(float))
    return table.assign(q_value=benjamini_hochberg(decisive)[0])


def _lesion_models(question: Question, lesions: tuple[str, ...], held: tuple[str, ...]) -> pd.DataFrame:
    """lesion, group and ``RATIOS``; with things held alike only where the model settles."""
    out = [pd.DataFrame(columns=["lesion", "group", *RATIOS])]
    for part in question.parts:
        looked, cases = _looked(question, part, held, lesions=True)
        for lesion in lesions:
            frame = add_cases(looked, cases, lesion)
            if not held:
                of_lesion = replace(question, selection=question.selection.with_(lesions=(lesion,)))
                table, _ = _fit_groups(frame, of_lesion, part)
            else:
                model = _fit(frame, question, part)
                if not model.converged:
                    continue
                table = _named(model)
            out.append(table[table["group"] != question.reference].assign(lesion=lesion)[["lesion", "group", *RATIOS]])
    return pd.concat(out[1:], ignore_index=True) if len(out) > 1 else out[0]


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
    covariates = question.held_alike
    groups = (*question.within, *question.between)
    frame, _ = _looked(question, Part(groups, "farm", None, ()), covariates)
    from analytics.methods.random_herd import NODES, random_herd_logit

    found = random_herd_logit(
        frame,
        "m",
        ["group", *covariates],
        "cluster",
        n="n",
        references={"group": question.reference},
        nodes=NODES if question.all_farms < MANY_HERDS else 5,
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
