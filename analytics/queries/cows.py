"""Single cows: the list of those a selection finds, and everything recorded of one."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.filters import findings, of_animals, of_farm_and_period
from evenfoot.analytics.queries.selection import Selection


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


def _found(selection: Selection, most: int | None) -> str:
    """A question: the columns of :func:`cows_found`; lesions and feet are bits, at their places in ``_NAMED``."""
    found = findings(selection)
    if most is not None:
        # Who comes first is known from two figures; the rest is worked out for those alone.
        first = f"""
            SELECT farm, cow
            FROM ({found}) AS every_finding
            GROUP BY farm, cow
            ORDER BY COUNT(*) DESC, MAX(visit_date) DESC, farm, cow
            LIMIT {sql.literal(most)}"""
        found = f"SELECT * FROM ({found}) AS f SEMI JOIN ({first}) AS c ON f.farm = c.farm AND f.cow = c.cow"
    bits = {
        "lesions": sql.cases("lesion", {word: place for place, word in enumerate(_NAMED["lesions"])}),
        "feet": sql.cases("foot", {word: place for place, word in enumerate(_NAMED["feet"])}),
    }
    met = sql.listed({name: f"BIT_OR({sql.bit(place)})" for name, place in bits.items()})
    # By day first: many times quicker than counting the distinct days of every cow.
    return f"""
        SELECT farm, cow, {sql.total("findings")} AS findings, COUNT(*) AS visits, MAX(worst) AS worst,
            MAX(visit_date) AS last, BIT_OR(lesions) AS lesions, BIT_OR(feet) AS feet
        FROM (
            SELECT farm, cow, visit_date, COUNT(*) AS findings, MAX(severity) AS worst, {met}
            FROM ({found}) AS found
            GROUP BY farm, cow, visit_date
        ) AS days
        GROUP BY farm, cow"""


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


def _each(selection: Selection) -> str:
    """A question: the columns of :func:`findings_each`."""
    return f"""
        SELECT farm, cow, visit_date, foot, claw, lesion, severity, action, recheck_on
        FROM ({findings(selection)}) AS each_finding"""


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
    if not asked:
        return []
    may_see = "" if allowed is None else sql.among("farm", allowed)
    same = f"LOWER(cow) = {sql.literal(asked)}"
    ending = f"RIGHT(LOWER(cow), {sql.literal(len(asked))}) = {sql.literal(asked)}"
    for fits in (same, ending):
        question = f"""
            SELECT DISTINCT farm, cow
            FROM cows
            {sql.where(may_see, fits)}
            ORDER BY farm, cow
            LIMIT {sql.literal(MOST_FOUND)}"""
        found = fetch(ledger, question)
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


def _everything_of(selection: Selection) -> dict[str, str]:
    """Questions for the dated tables of :func:`one_cow`: all their columns."""
    return {name: of_farm_and_period(name, selection) for name in ("trims", "findings", "scores", "horn_readings")}


def _undated_of(selection: Selection) -> dict[str, str]:
    """Questions for the other tables of :func:`one_cow`: all their columns."""
    narrowed = sql.where(sql.among("farm", selection.farms), sql.among("cow", selection.cows))
    out = {name: f"SELECT * FROM {name}{narrowed}" for name in ("calvings", "moves", "cows")}
    out["trim_rows"] = f"SELECT * FROM ({of_animals('SELECT * FROM trim_rows')}) AS rows_of_animals{narrowed}"
    return out


def cow_names(ledger: Ledger, farm: str, allowed: tuple[str, ...] | None = None) -> list[str]:
    """The cows of a farm, in the order a person counts (2 before 10)."""
    if allowed is not None and farm not in allowed:
        return []
    names = fetch(ledger, _names(Selection(farms=(farm,))))["cow"].tolist()
    return sorted(names, key=lambda name: (0, int(name), name) if name.isdigit() else (1, 0, name))


def _names(selection: Selection) -> str:
    """A question: cow, each name once."""
    return f"SELECT DISTINCT cow FROM cows{sql.where(sql.among('farm', selection.farms))}"
