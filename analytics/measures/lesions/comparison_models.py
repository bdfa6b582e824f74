"""The models behind a comparison: within farms, adjusted for other things, within strata, lesion by lesion."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.basis import FEW_COWS
from evenfoot.analytics.measures.lesions.counting_unit import ENOUGH_COWS
from evenfoot.analytics.measures.lesions.prevalence import counted_with_clusters
from evenfoot.analytics.measures.limits import FEW_CLUSTERS, limits_of
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.covariate_patterns import patterns
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg
from evenfoot.analytics.stats.ratios import SMALL_CELL, exact_odds_ratio
from evenfoot.analytics.stats.stratified_comparison import homogeneity_p, mantel_haenszel

if TYPE_CHECKING:
    from evenfoot.analytics.stats.cluster_logistic import AdjustedComparison

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


@dataclass(frozen=True)
class Cases:
    """Cases by lesion of a frame's rows: ``row`` is the place of the row, ``m`` how many."""

    lesion: npt.NDArray[np.object_]
    row: npt.NDArray[np.intp]
    m: npt.NDArray[np.int64]


def _looked(
    question: Question, part: Part, by: tuple[str, ...] = (), *, lesions: bool = False, per: str | None = None
) -> tuple[pd.DataFrame, Cases | None]:
    """Patterns of the groups and farms of a part.

    Returns
    -------
    frame : pandas.DataFrame
        group, at (its number, 0 for the reference), of_farm, stratum and cluster (numbers), n, the *by* columns as
        text and, without *lesions*, m.
    cases : Cases, optional
        With *lesions*.
    """
    properties = tuple(dict.fromkeys((question.name, *by)))
    unit = per or question.per
    looked, found = patterns(question.ledger, question.selection, properties, unit, part.cluster, lesions=lesions)
    row = None
    if lesions:
        keys = [*properties, "of_farm", "cluster"]
        placed = found.merge(looked[keys].assign(row=np.arange(len(looked))), on=keys, how="inner")
        row = placed["row"].to_numpy()
    names = {value: period_label(question.name, value) for value in looked[question.name].unique()}
    group = looked[question.name].map(names)
    at = group.map({name: place for place, name in enumerate((question.reference, *part.groups))})
    frame = looked.assign(group=group, at=at)
    for name in by:
        labels = {value: period_label(name, value) for value in frame[name].unique()}
        frame = frame.assign(**{name: frame[name].map(labels)})
    kept = frame["at"].notna()
    if part.farms:
        kept &= frame["of_farm"].isin(part.farms)
    frame = frame[kept]
    farms = {farm: place for place, farm in enumerate(part.farms)}
    frame = frame.assign(
        at=frame["at"].astype("int64"),
        stratum=frame["of_farm"].map(farms).astype("int64") if part.strata else 0,
        cluster=pd.factorize(frame["cluster"])[0],
    ).reset_index(drop=True)
    if row is None:
        return frame, None
    place = np.full(len(looked), -1, dtype=np.intp)
    place[kept.to_numpy()] = np.arange(len(frame))
    inside = place[row] >= 0
    lesion, m = placed["lesion"].to_numpy(dtype=object), placed["m"].to_numpy()
    return frame, Cases(lesion[inside], place[row][inside], m[inside])


def _with_cases(frame: pd.DataFrame, cases: Cases | None, lesion: str) -> pd.DataFrame:
    """The frame with the cases of one lesion as m."""
    assert cases is not None
    asked = cases.lesion == lesion
    return frame.assign(m=np.bincount(cases.row[asked], cases.m[asked], len(frame)).astype("int64"))


def compare(question: Question) -> tuple[pd.DataFrame, tuple[Message, ...]]:
    """Ratios of the groups to the reference, and the difference, with farms held alike.

    Returns
    -------
    pandas.DataFrame
        group, ``RATIOS`` and ``STANDARDISED``; a group without an answer is missing.
    notes : tuple of Message
    """
    found, few = [], []
    for part in question.parts:
        table, exact = _fit_groups(_looked(question, part)[0], _cows(question, part)[0], question, part)
        found.append(table)
        few += exact
    table = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=["group", *RATIOS, *STANDARDISED])
    return table.drop_duplicates("group"), _notes(question, few)


def _notes(question: Question, few: list[str]) -> tuple[Message, ...]:
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


def _cows(
    question: Question, part: Part, by: tuple[str, ...] = (), *, lesions: bool = False
) -> tuple[pd.DataFrame | None, Cases | None]:
    """What `_looked` gives with cows as units, where farms are the clusters of something else than cows."""
    if part.cluster == "cow" or question.per == "cow":
        return None, None
    return _looked(question, part, by, lesions=lesions, per="cow")


def _fit_groups(
    frame: pd.DataFrame, cows: pd.DataFrame | None, question: Question, part: Part
) -> tuple[pd.DataFrame, list[str]]:
    """group, ``RATIOS`` and ``STANDARDISED`` of the groups of a part, and those with exact limits.

    Groups with fewer than ``SMALL_CELL`` cows that are cases, or that are not, are compared exactly: a sandwich
    needs some of both. Where the reference has too few, all are.
    """
    from evenfoot.analytics.stats.cluster_logistic import compare_counts

    names = (question.reference, *part.groups)
    table = _once_a_cow(frame, cows, part, len(names))
    cases, n = table
    least = np.minimum(cases.sum(axis=0), (n - cases).sum(axis=0))
    met = n.sum(axis=0) > 0
    plenty = [place for place in range(1, len(names)) if least[place] >= SMALL_CELL]
    columns = ["group", *RATIOS, *STANDARDISED]
    own = dict.fromkeys(columns, math.nan) | {"group": question.reference}
    if not met[0]:
        return pd.DataFrame([own], columns=columns), []
    found = pd.DataFrame([own], columns=columns)
    if plenty and least[0] >= SMALL_CELL:
        kept = np.isin(frame["at"], [0, *plenty])
        number = np.zeros(len(names), dtype=np.intp)
        number[plenty] = np.arange(1, len(plenty) + 1)
        m, units, at, cluster, stratum = (
            frame[name].to_numpy()[kept] for name in ("m", "n", "at", "cluster", "stratum")
        )
        levels = tuple(names[place] for place in (0, *plenty))
        model = compare_counts(m, units, number[at], levels, cluster, stratum, level=question.level)
        if model.converged:
            found = _named(model)[columns]
    done = set(found["group"])
    rest = [place for place in range(1, len(names)) if met[place] and names[place] not in done]
    rows = [_exact(names[place], place, table, frame, question.level) for place in rest]
    if rows:
        found = pd.concat([found, pd.DataFrame(rows, columns=["group", *RATIOS])], ignore_index=True)
    return found, [names[place] for place in rest]


def _named(model: AdjustedComparison) -> pd.DataFrame:
    return model.table.rename(columns=_FROM_MODEL).astype({"group": "str"})


def _once_a_cow(
    frame: pd.DataFrame, cows: pd.DataFrame | None, part: Part, groups: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Cases and units, (strata, groups), with every cow a case once at most, or once no case where those are fewer."""
    size = (max(len(part.farms), 1) if part.strata else 1, groups)

    def sums(rows: pd.DataFrame, values: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
        at = rows["stratum"].to_numpy() * groups + rows["at"].to_numpy()
        return np.asarray(np.bincount(at, values, size[0] * size[1]).reshape(size), dtype=np.float64)

    n, m = frame["n"].to_numpy(), frame["m"].to_numpy()
    if part.cluster == "cow":
        cases, others = sums(frame, np.minimum(m, 1)), sums(frame, np.minimum(n - m, 1))
    else:
        cases, others = sums(frame, m), sums(frame, n - m)
        if cows is not None:
            cases = sums(cows, cows["m"].to_numpy())
    units = sums(frame, n)
    return (units - others if others.sum() < cases.sum() else cases), units


def _exact(
    group: str,
    place: int,
    table: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
    frame: pd.DataFrame,
    level: float,
) -> dict[str, object]:
    """One row of ``RATIOS`` with exact limits; the risk ratio and difference follow from the reference's risk."""
    cases, n = table
    odds, low, high, p = exact_odds_ratio(cases[:, place], n[:, place], cases[:, 0], n[:, 0], level)
    told = np.flatnonzero((n[:, place] > 0) & (n[:, 0] > 0))
    both = frame[frame["stratum"].isin(told)]
    risk, base = (
        float(np.divide(rows["m"].sum(), rows["n"].sum())) if len(rows) else math.nan
        for rows in (both[both["at"] == place], both[both["at"] == 0])
    )
    if base in (0.0, 1.0):
        # Nothing can be moved from there: the odds ratio says what is known of the ratio.
        ratios = [odds, low, high]
        gaps = [risk - base, math.nan, math.nan]
    else:
        risks = [_moved(base, ratio) for ratio in (odds, low, high)]
        ratios, gaps = [risk / base for risk in risks], [risk - base for risk in risks]
    return {"group": group, **dict(zip(RATIOS, (*ratios, odds, low, high, p, *gaps), strict=True))}


def _moved(risk: float, odds_ratio: float) -> float:
    """The risk with so many times the odds."""
    if math.isinf(odds_ratio):
        return 1.0
    return odds_ratio * risk / (1.0 - risk + odds_ratio * risk)


def adjusted(question: Question) -> tuple[pd.DataFrame, tuple[Message, ...], tuple[Message, ...]]:
    """Odds ratios with other things held alike, and marginal standardised risks.

    Returns
    -------
    pandas.DataFrame
        group and ``ADJUSTED``; missing where there is no answer.
    notes, cautions : tuple of Message

    References
    ----------
    Liang KY, Zeger SL (1986) Biometrika 73:13-22. Localio AR et al. (2007) J Clin Epidemiol 60:874-882.
    """
    found, notes, cautions = [], [], []
    for part in question.parts:
        frame, _ = _looked(question, part, question.held_alike)
        model = _fit(_without_aliases(frame, question.held_alike), question)
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


def _fit(coded: Coded, question: Question) -> AdjustedComparison:
    """The model; where it does not settle, once more without what can tell nothing of the groups."""
    model = _gee(coded.frame, coded.columns, question)
    if model.converged:
        return model
    frame = coded.frame
    telling = pd.Series(True, index=frame.index)
    for name in ("group", *question.held_alike):
        sums = frame.groupby(name)[["m", "n"]].transform("sum")
        telling &= (sums["m"] > 0) & (sums["m"] < sums["n"])
    if telling.all() or question.reference not in set(frame.loc[telling, "group"]):
        return model
    again = _without_aliases(frame.loc[telling].drop(columns=coded.columns), question.held_alike)
    return _gee(again.frame, again.columns, question)


def _gee(frame: pd.DataFrame, columns: list[str], question: Question) -> AdjustedComparison:
    from evenfoot.analytics.stats.cluster_logistic import gee_logistic

    return gee_logistic(
        frame, "m", "group", question.reference, columns, "cluster", strata="stratum", n="n", level=question.level
    )


@dataclass(frozen=True)
class Coded:
    """A frame whose factors stand as ``columns`` of 0 and 1."""

    frame: pd.DataFrame
    columns: list[str]


def _without_aliases(frame: pd.DataFrame, names: tuple[str, ...]) -> Coded:
    """The factors as columns of 0 and 1, less those that others, or the strata, already say.

    Farms visited in months of their own make farm and month overlap: a farm is then the sum of its months.
    Leaving the repetition out changes no comparison of the groups.
    """
    on = [*names, "stratum"]
    keys = frame[on].drop_duplicates().reset_index(drop=True)
    dummies = pd.get_dummies(keys[list(names)], prefix_sep="=", drop_first=True, dtype=float)
    apart = dummies - dummies.groupby(keys["stratum"]).transform("mean")
    basis, kept = np.empty((len(keys), 0)), []
    for column in dummies.columns:
        wider = np.column_stack([basis, apart[column]])
        if np.linalg.matrix_rank(wider) > basis.shape[1]:
            basis = wider
            kept.append(str(column))
    return Coded(frame.merge(keys.join(dummies[kept]), on=on, how="left"), kept)


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
            own, base = ({name: wide[name][each] for name in ("m", "n")} for each in (group, question.reference))
            found = mantel_haenszel(own["m"], own["n"], base["m"], base["n"], keys[0], keys[1], question.level)
            out.append((group, found.odds_ratio, found.low, found.high))
    return pd.DataFrame(out, columns=["group", *STRATIFIED[:3]])


def each_stratum(question: Question, stratify: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The comparison within every stratum of one property, and whether the strata disagree.

    Returns
    -------
    strata : pandas.DataFrame
        Columns ``STRATA``; the reference first in each stratum. Groups that are not compared have their counts alone.
        Empty where there are more than ``MOST_STRATA``.
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
    counted = counted.assign(prevalence=counted["cases"] / counted["at_risk"], low=limits["low"], high=limits["high"])
    tables, told = [], []
    for part in question.parts:
        # Within one farm its cows are the clusters.
        alone = replace(part, cluster="cow", strata=None) if stratify == "farm" and part.strata else part
        by = (stratify,) if stratify != "farm" else ()
        frame, cows = _looked(question, alone, by)[0], _cows(question, alone, by)[0]
        column = "of_farm" if stratify == "farm" else stratify
        for value, rows in frame.groupby(column, sort=True):
            of_cows = cows[cows[column] == value] if cows is not None else None
            found, few = _fit_groups(rows, of_cows, question, alone)
            tables.append(found.assign(stratum=value))
            told.append((rows, [group for group in found["group"].iloc[1:] if group not in few]))
    none = pd.DataFrame(columns=["stratum", "group", *RATIOS])
    both = pd.concat(tables or [none], ignore_index=True).drop_duplicates(["stratum", "group"])
    strata = counted.merge(both[["stratum", "group", *RATIOS]], on=["stratum", "group"], how="left")
    places = {value: place for place, value in enumerate(counted["stratum"].drop_duplicates())}
    strata = strata.assign(at=strata["stratum"].map(places), other=strata["group"] != question.reference)
    strata = strata.sort_values(["at", "other"], kind="stable")
    return strata[list(STRATA)].reset_index(drop=True), _disagreement(question, told)


def _disagreement(question: Question, told: list[tuple[pd.DataFrame, list[str]]]) -> pd.DataFrame:
    """group and homogeneity_p, from the models of the strata in which the group is not compared exactly."""
    from evenfoot.analytics.stats.cluster_logistic import compare_counts

    out = []
    for group in (*question.within, *question.between):
        logs, moves = [], []
        for rows, groups in told:
            if group not in groups:
                continue
            pair = rows[rows["group"].isin([question.reference, group])]
            model = compare_counts(
                pair["m"].to_numpy(),
                pair["n"].to_numpy(),
                (pair["group"] == group).to_numpy().astype(np.intp),
                (question.reference, group),
                pair["cluster"].to_numpy(),
                pair["stratum"].to_numpy(),
            )
            if model.converged:
                logs.append(math.log(float(model.table["odds_ratio"].iloc[1])))
                moves.append(model.influence[group])
        if len(logs) > 1:
            together = pd.concat(moves, axis=1).fillna(0.0)
            p = homogeneity_p(logs, together.to_numpy(dtype=float), float(len(together) - 2 * len(logs)))
            out.append((group, p))
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
        frame, cases = _looked(question, part, held, lesions=True)
        cows, cows_with = (None, None) if held else _cows(question, part, lesions=True)
        coded = _without_aliases(frame.assign(m=0), held) if held else None
        for lesion in lesions:
            if coded is None:
                of_cows = _with_cases(cows, cows_with, lesion) if cows is not None else None
                table, _ = _fit_groups(_with_cases(frame, cases, lesion), of_cows, question, part)
            else:
                model = _fit(replace(coded, frame=_with_cases(coded.frame, cases, lesion)), question)
                if not model.converged:
                    continue
                table = _named(model)
            out.append(table[table["group"] != question.reference].assign(lesion=lesion)[["lesion", "group", *RATIOS]])
    return pd.concat(out[1:], ignore_index=True) if len(out) > 1 else out[0]


def herd_model(question: Question) -> tuple[pd.DataFrame, tuple[Message, ...]]:
    """Random-herd logistic model of the groups: what holds within a herd, and how unlike herds are.

    Returns
    -------
    pandas.DataFrame
        term, estimate, low, high, p_value. Groups and covariates as odds ratios; ``spread of farms`` is
        their standard deviation on the log-odds scale, ``share of variance between farms`` the ICC.
    cautions : tuple of Message

    References
    ----------
    Pinheiro JC, Bates DM (1995) J Comput Graph Stat 4:12-35.
    """
    covariates = question.held_alike
    groups = (*question.within, *question.between)
    frame, _ = _looked(question, Part(groups, "farm", None, ()), covariates)
    from evenfoot.analytics.stats.random_herd import NODES, random_herd_logit

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
