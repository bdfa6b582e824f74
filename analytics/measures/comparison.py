"""Do groups differ: housing, floor, season, parity, trimmer and the rest, one against another."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import FEW_COWS, basis_of
from analytics.methods.intervals import wilson
from analytics.methods.ratios import odds_ratio, risk_ratio, two_group_p
from analytics.measures.periods import period_label
from analytics.mistake import Mistake
from analytics.tally.counts import Counts, count
from analytics.tally.narrow import NOT_RECORDED, OF_TRIM
from analytics.tally.selection import Selection
from analytics.words import Said, say

COLUMNS = (
    "group",
    "cases",
    "at_risk",
    "prevalence",
    "low",
    "high",
    "risk_ratio",
    "rr_low",
    "rr_high",
    "odds_ratio",
    "or_low",
    "or_high",
    "p_value",
)


def comparison(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("housing",),
    reference: str | None = None,
    per: str = "cow",
    level: float = 0.95,
) -> Answer:
    """Compare the groups of one property of cows, trims or time with a reference group.

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
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: group, cases, at_risk, prevalence, low, high, risk_ratio, rr_low, rr_high, odds_ratio,
        or_low, or_high, p_value. The reference group comes first and its ratios are 1.

    Raises
    ------
    Mistake
        Not one grouping of trims, or a reference that is not among the groups.

    References
    ----------
    Koopman PAR (1984) Biometrics 40:513-517 (risk ratio). Woolf B (1955) Annals of Human Genetics
    19:251-253 (odds ratio). Newcombe RG (1998) Statistics in Medicine 17:857-872 (prevalence).
    """
    if len(by) != 1 or by[0] not in OF_TRIM:
        raise Mistake(f"A comparison needs one grouping with --by; use one of {', '.join(OF_TRIM)}.")
    name = by[0]
    counts = count(ledger, selection, by, per)
    table = counts.table.rename(columns={name: "group"})
    table = table.assign(group=[period_label(name, value) for value in table["group"]])
    basis, cautions = basis_of(
        ledger,
        selection,
        unit=per,
        level=level,
        method="Wilson score interval; Koopman score limits for risk ratios; Woolf or exact limits for odds ratios",
    )
    if table.empty:
        return Answer("comparison", table.reindex(columns=list(COLUMNS)), basis, cautions, ("group",))
    chosen = _reference(table, name, reference)
    table = _ratios(table, chosen, level)
    cautions += _words(ledger, selection, counts, table, name, chosen)
    first = (table["group"] != chosen).to_numpy().argsort(kind="stable")
    return Answer(
        "comparison", table[list(COLUMNS)].iloc[first].reset_index(drop=True), basis, cautions, ("group",)
    )


def _reference(table: pd.DataFrame, name: str, reference: str | None) -> str:
    groups = table["group"].tolist()
    if reference is None:
        told = table[table["group"] != NOT_RECORDED]
        return str((told if len(told) else table).sort_values("at_risk", ascending=False)["group"].iloc[0])
    if reference not in groups:
        raise Mistake(
            f"The reference '{reference}' is not among the groups of {name} here; use one of {', '.join(groups)}."
        )
    return reference


def _ratios(table: pd.DataFrame, reference: str, level: float) -> pd.DataFrame:
    base = table[table["group"] == reference].iloc[0]
    cases, at_risk = table["cases"].to_numpy(), table["at_risk"].to_numpy()
    low, high = wilson(cases, at_risk, level)
    rr = risk_ratio(cases, at_risk, base["cases"], base["at_risk"], level)
    odds = odds_ratio(cases, at_risk, base["cases"], base["at_risk"], level)
    p_value = np.asarray(two_group_p(cases, at_risk, base["cases"], base["at_risk"]))
    is_base = (table["group"] == reference).to_numpy()
    out = table.assign(prevalence=table["cases"] / table["at_risk"], low=low, high=high)
    named = zip(("risk_ratio", "rr_low", "rr_high", "odds_ratio", "or_low", "or_high"), (*rr, *odds), strict=True)
    out = out.assign(**{column: np.where(is_base, 1.0, values) for column, values in named})
    return out.assign(p_value=np.where(is_base, math.nan, p_value))


def _words(
    ledger: Ledger, selection: Selection, counts: Counts, table: pd.DataFrame, name: str, reference: str
) -> tuple[Said, ...]:
    out = [
        say(
            "Groups that differ in {name} differ in other things too; a difference here is an association, not "
            "its cause.",
            name=name,
        )
    ]
    small = table.loc[table["at_risk"] < FEW_COWS, "group"].tolist()
    if small:
        out.append(
            say("Too few were looked at to say much about {groups}.", groups=", ".join(small))
        )
    uneven = _uneven_trims(ledger, selection, name) if counts.per == "cow" else None
    if uneven:
        out.append(uneven)
    if len(table) < 2:
        out.append(
            say("There is only one group of {name} in this choice, so nothing can be compared.", name=name)
        )
    same = _same_as_farm(ledger, selection, name)
    if same:
        out.append(same)
    elif counts.cluster == "farm":
        out.append(
            say(
                "Cows of one farm are alike and these ratios treat every cow as independent; the true doubt is wider."
            )
        )
    return tuple(out)


UNEVEN_TRIMS = 1.25
"""Trims a cow in one group over those in another beyond which counting per cow is no longer fair: who is
looked at more often has more chances to be a case. [common practice, no source]"""


def _uneven_trims(ledger: Ledger, selection: Selection, name: str) -> Said | None:
    cows = count(ledger, selection, (name,), "cow").table.set_index(name)["at_risk"]
    trims = count(ledger, selection, (name,), "trim").table.set_index(name)["at_risk"]
    each = (trims / cows).drop(index=NOT_RECORDED, errors="ignore").sort_values()
    if len(each) < 2 or each.iloc[-1] <= UNEVEN_TRIMS * each.iloc[0]:
        return None
    return say(
        "Cows were trimmed {most:.1f} times on average in {often} but {least:.1f} times in {seldom}; more looks find "
        "more lesions. Counting per trim is fairer here.",
        most=float(each.iloc[-1]),
        often=period_label(name, each.index[-1]),
        least=float(each.iloc[0]),
        seldom=period_label(name, each.index[0]),
    )


def _same_as_farm(ledger: Ledger, selection: Selection, name: str) -> Said | None:
    """A caution where each farm has one group only, so that group and farm cannot be told apart."""
    if name in ("farm", "month", "quarter", "season", "year"):
        return None
    split = count(ledger, selection, ("farm", name)).table
    split = split[split[name] != NOT_RECORDED]
    if split["farm"].nunique() < 2 or split[name].nunique() < 2 or split["farm"].duplicated().any():
        return None
    return say(
        "Every farm here has one {name} only, so what {name} does cannot be told from what the farms do; read "
        "this as a comparison of farms.",
        name=name,
    )
