"""Single cows: the list of those a selection finds, and everything recorded of one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, fetch_many, question_of, table, together
from evenfoot.analytics.queries.filters import findings, of_animals, of_farm_and_period
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


def cows_found(ledger: Ledger, selection: Selection, most: int | None = None) -> pd.DataFrame:
    """Cows that are a case in the selection, those with most findings first.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    most : int, optional
        Only so many, the first.

    Returns
    -------
    pandas.DataFrame
        farm, cow, findings (rows), visits (days with a finding), worst (highest severity), last
        (newest finding), lesions and feet (distinct, comma between).
    """
    frame = fetch(ledger, _found(selection, most))
    for name, words in _NAMED.items():
        bits = frame[name].fillna(0).astype("int64")
        said = {each: ", ".join(sorted(word for place, word in enumerate(words) if each >> place & 1))
                for each in bits.unique().tolist()}  # fmt: skip
        frame[name] = bits.map(said).astype("str")
    return frame.sort_values(["findings", "last", "farm", "cow"], ascending=[False, False, True, True]).reset_index(
        drop=True
    )


_NAMED = {"lesions": tuple(LESIONS), "feet": FEET}


@built_once
def _found(selection: Selection, most: int | None) -> Question:
    found = findings(selection)
    if most is not None:
        # Who comes first is known from two figures; the rest is worked out for those alone.
        each = found.group_by(["farm", "cow"]).agg(findings=found.count(), last=found.visit_date.max())
        order = [each.findings.desc(), each["last"].desc(), each.farm.asc(), each.cow.asc()]
        found = found.semi_join(each.order_by(order).limit(most), ["farm", "cow"])

    def met(column: ir.Value, words: tuple[str, ...]) -> ir.IntegerValue:
        return together(column.cases(*((word, place) for place, word in enumerate(words))))

    # By day first: many times quicker than counting the distinct days of every cow.
    days = found.group_by(["farm", "cow", "visit_date"]).agg(
        findings=found.count(),
        worst=found.severity.max(),
        lesions=met(found.lesion, _NAMED["lesions"]),
        feet=met(found.foot, _NAMED["feet"]),
    )
    out = days.group_by(["farm", "cow"]).agg(
        findings=days.findings.sum().cast("int64"),
        visits=days.count(),
        worst=days.worst.max(),
        last=days.visit_date.max(),
        lesions=days.lesions.bit_or(),
        feet=days.feet.bit_or(),
    )
    return question_of(out)


def findings_each(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """The findings of a selection one by one, for the list of a visit.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        One farm and the days of one visit.

    Returns
    -------
    pandas.DataFrame
        farm, cow, visit_date, foot, claw, lesion, severity, action, recheck_on; one row a finding.
    """
    frame = fetch(ledger, _each(selection))
    return frame.assign(**{name: pd.to_datetime(frame[name]) for name in ("visit_date", "recheck_on")})


@built_once
def _each(selection: Selection) -> Question:
    names = ("farm", "cow", "visit_date", "foot", "claw", "lesion", "severity", "action", "recheck_on")
    return question_of(findings(selection).select(*names))


MOST_FOUND = 12
"""Cows offered where a number fits several."""


def find_cows(ledger: Ledger, number: str, allowed: tuple[str, ...] | None = None) -> list[tuple[str, str]]:
    """Find a cow by her number, or by its last digits where no cow has the number itself.

    Parameters
    ----------
    ledger : Ledger
    number : str
        As somebody types it: letter case, spaces around it and a leading ``#`` do not matter.
    allowed : tuple of str, optional
        The farms that may be seen; all unless given.

    Returns
    -------
    list of tuple of str
        (farm, cow), at most MOST_FOUND, by farm and number.
    """
    asked = number.strip().lstrip("#").casefold()
    cows = table("cows")
    if allowed is not None:
        cows = cows.filter(cows.farm.isin(allowed) if allowed else False)
    same = cows.filter(cows.cow.lower() == asked)
    ending = cows.filter(cows.cow.lower().endswith(asked))
    for expression in (same, ending) if asked else ():
        found = fetch(ledger, expression.select("farm", "cow").distinct().order_by("farm", "cow").limit(MOST_FOUND))
        if len(found):
            return list(found.itertuples(index=False, name=None))
    return []


def one_cow(ledger: Ledger, farm: str, cow: str, allowed: tuple[str, ...] | None = None) -> dict[str, pd.DataFrame]:
    """Everything recorded of one cow, newest first.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``trims``, ``findings``, ``scores``, ``horn_readings``, ``calvings``, ``moves``, ``cows`` and
        ``trim_rows`` (the rows as the sheets said them), each narrowed to the cow.
    """
    selection = Selection(farms=(farm,), cows=(cow,), visits=("all",), allowed=allowed)
    undated = allowed is None or farm in allowed
    frames = fetch_many(ledger, _everything_of(selection) | (_undated_of(selection) if undated else {}))
    for name, column in (("calvings", "calved_on"), ("moves", "moved_on")):
        if name in frames:
            frames[name] = frames[name].sort_values(column, ascending=False).reset_index(drop=True)
    for name in ("trims", "findings", "scores", "horn_readings", "trim_rows"):
        if name in frames:
            frames[name] = frames[name].sort_values("visit_date", ascending=False).reset_index(drop=True)
    return frames


@built_once
def _everything_of(selection: Selection) -> dict[str, Question]:
    dated = ("trims", "findings", "scores", "horn_readings")
    return {name: question_of(of_farm_and_period(name, selection)) for name in dated}


@built_once
def _undated_of(selection: Selection) -> dict[str, Question]:
    bases = {name: table(name) for name in ("calvings", "moves", "cows")}
    bases["trim_rows"] = of_animals(table("trim_rows"))
    return {
        name: question_of(base.filter(base.farm.isin(selection.farms), base.cow.isin(selection.cows)))
        for name, base in bases.items()
    }


def cow_names(ledger: Ledger, farm: str, allowed: tuple[str, ...] | None = None) -> list[str]:
    """The cows of a farm, in the order a person counts (2 before 10)."""
    if allowed is not None and farm not in allowed:
        return []
    names = fetch(ledger, _names(Selection(farms=(farm,))))["cow"].tolist()
    return sorted(names, key=lambda name: (0, int(name), name) if name.isdigit() else (1, 0, name))


@built_once
def _names(selection: Selection) -> Question:
    base = table("cows")
    return question_of(base.filter(base.farm.isin(selection.farms)).select("cow").distinct())
