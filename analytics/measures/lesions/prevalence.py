"""How common are lesions: by type, place on the foot, kind of cow, farm and time."""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of, met
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lesions.counting_unit import fair_unit
from evenfoot.analytics.measures.limits import LIMITS, limits_of
from evenfoot.analytics.measures.recording_changes import other_farms
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.cluster_sums import SUMS
from evenfoot.analytics.queries.counts import count, count_unplaced, placeless
from evenfoot.analytics.queries.filters import OF_TRIM
from evenfoot.analytics.queries.selection import Selection

COLUMNS = (
    "cases",
    "at_risk",
    "prevalence",
    "low",
    "high",
    "n_farms",
    "n_visits",
    "clusters",
    "design_effect",
)

UNPLACED = N_("{n} findings do not say all of the foot, claw and zone they are on and are not in this table.")

PERIODS = (("month",), ("quarter",), ("year",))
"""Groupings that make a series over time."""
"""What is said of findings that are not counted by foot or claw."""


@memoize
def prevalence(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("lesion",),
    per: str | None = None,
    level: float = 0.95,
) -> Answer:
    """Lesion prevalence with its interval.

    A cow is a case in a group when any of her trims in it shows the lesion, and at risk when she was
    trimmed at least once in it; likewise for a trim, a foot and a claw. Grouping by foot, claw or zone
    keeps the denominator of what was looked at.

    Cows of one farm are independent of each other; trims, feet and claws of one cow are not, nor are
    cows of one farm where several are pooled. The interval allows for that.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Whole-herd visits only, unless it says otherwise.
    by : tuple of str
        Groupings, in the order of the columns.
    per : {"cow", "trim", "foot", "claw"}, optional
        Cows by default; trims where the groups were looked at unequally often, since a cow looked at more often
        has more chances to be a case (:func:`evenfoot.analytics.measures.lesions.counting_unit.fair_unit`).
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, then cases, at_risk (units of ``per``), prevalence, low, high
        (proportions), n_farms, n_visits (distinct farm and date), clusters (cows, or farms where several
        are pooled) and design_effect (how many times wider the variance is than that of as many
        independent units). ``basis.method`` says which interval was used. Shares are missing where
        findings may lie at the feet, claws or zones asked for and none says where it is.

    Raises
    ------
    UserError
        A grouping or level that does not exist, or no ledger.

    References
    ----------
    Newcombe RG (1998) Statistics in Medicine 17:857-872 (independent cows).
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (clusters).
    """
    by = tuple(dict.fromkeys(by))
    per, notes, unfair = fair_unit(ledger, selection, by, per)
    table, kinds, without_place = counted_with_clusters(ledger, selection, by, per)
    if without_place and per in ("cow", "trim"):
        table, kinds = _with_unplaced(ledger, selection, by, per, table, kinds)
    limits = limits_of(table, kinds, level)
    table = table.assign(prevalence=table["cases"] / table["at_risk"], **{name: limits.table[name] for name in LIMITS})
    found = bool(table["cases"].any())
    nowhere = 0 if found else without_place or placeless(ledger, selection)
    if nowhere and (per in ("foot", "claw") or not without_place):
        # Every finding may be at any of these places, so none of the shares is known.
        table = table.assign(**dict.fromkeys(("prevalence", "low", "high"), np.nan))
    basis, cautions = basis_of(
        ledger,
        selection,
        unit=per,
        level=level,
        method=limits.method,
        notes=notes + _unplaced(without_place, per),
    )
    cautions += limits.cautions + one_farm_groups(kinds) + unfair
    if by in PERIODS:
        cautions += other_farms(table["n_farms"], basis.farms)
    if basis.cows and not found:
        cautions += _nothing(basis.cows, nowhere, table.empty)
    return Answer("prevalence", table[[*by, *COLUMNS]], basis, cautions, by)


def counted_with_clusters(
    ledger: Ledger, selection: Selection, by: tuple[str, ...], per: str
) -> tuple[pd.DataFrame, list[str], int]:
    """Counts, what the clusters of each row are, and findings that could not be placed.

    Where farms are pooled they are the clusters. A group met on one farm only has no spread between farms;
    its clusters are that farm's cows.

    Returns
    -------
    table : pandas.DataFrame
        As :func:`evenfoot.analytics.queries.counts.count` gives it.
    kinds : list of str
        ``cow`` or ``farm``, one a row.
    without_place : int
    """
    of_groups = bool(set(by) & set(OF_TRIM))
    counts = count(ledger, selection, by, per, met=None if of_groups else lambda: met(ledger, selection))
    table = counts.table
    if counts.cluster == "cow" or not len(table):
        return table, ["cow"] * len(table), counts.without_place
    lonely = (table["n_farms"] == 1) & (table["sum_n"] > 0)
    if not lonely.any():
        return table, ["farm"] * len(table), counts.without_place
    by_farm = count(ledger, selection, ("farm", *by), per).table
    alone = by_farm.merge(table.loc[lonely, list(by)], on=list(by)) if by else by_farm
    alone = alone[alone["sum_n"] > 0].groupby(list(by), as_index=False, dropna=False)[list(SUMS)].sum()
    placed = table.loc[lonely, list(by)].reset_index().merge(alone, on=list(by), how="left").set_index("index")
    table = table.copy()
    table.loc[lonely, list(SUMS)] = placed[list(SUMS)].astype("int64")
    return table, np.where(lonely, "cow", "farm").tolist(), counts.without_place


def one_farm_groups(kinds: list[str]) -> tuple[Message, ...]:
    """A caution where some rows speak of several farms and others of one farm only."""
    if len(set(kinds)) < 2:
        return ()
    return (
        say(
            "Some groups were met on one farm only. Their intervals speak of that farm's cows and not of other "
            "farms, so they look narrower than those of groups met on several."
        ),
    )


def _with_unplaced(
    ledger: Ledger, selection: Selection, by: tuple[str, ...], per: str, table: pd.DataFrame, kinds: list[str]
) -> tuple[pd.DataFrame, list[str]]:
    """The rows, and under them those of findings that do not say where they are."""
    of_group = table["n_farms"].max() if len(table) else met(ledger, selection)[0]
    cluster = "farm" if of_group > 1 and "farm" not in by else "cow"
    rows = count_unplaced(ledger, selection, by, per, cluster)
    if table.empty:
        return rows, [cluster] * len(rows)
    return pd.concat([table, rows[table.columns]], ignore_index=True), [*kinds, *[cluster] * len(rows)]


def _nothing(cows: int, without_place: int, empty: bool) -> tuple[Message, ...]:
    """What is said where no case can be shown."""
    if without_place:
        return (
            say(
                "None was recorded at this place, and {n} findings of this kind do not say all of the foot, claw and "
                "zone they are on; they may be here.",
                n=without_place,
            ),
        )
    return (say("Nothing of this kind was found on any of the cows looked at: {n}.", n=cows),) if empty else ()


def _unplaced(rows: int, per: str) -> tuple[Message, ...]:
    if not rows:
        return ()
    if per in ("cow", "trim"):
        return (say("{n} findings do not say all of where they are; their cows stand in rows of their own.", n=rows),)
    return (say(UNPLACED, n=rows),)
