"""How common are lesions: by type, place on the foot, kind of cow, farm and time."""

from __future__ import annotations

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import basis_of
from analytics.methods.intervals import wilson
from analytics.tally.counts import count
from analytics.tally.selection import Selection
from analytics.words import Said, say

COLUMNS = ("cases", "at_risk", "prevalence", "low", "high", "n_farms", "n_visits")


def prevalence(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("lesion",),
    per: str = "cow",
    level: float = 0.95,
) -> Answer:
    """Lesion prevalence with its interval.

    A cow is a case in a group when any of her trims in it shows the lesion, and at risk when she was
    trimmed at least once in it; likewise for a trim, a foot and a claw. Grouping by foot, claw or zone
    keeps the denominator of what was looked at.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Whole-herd visits only, unless it says otherwise.
    by : tuple of str
        Groupings, in the order of the columns.
    per : {"cow", "trim", "foot", "claw"}
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, then cases, at_risk (units of ``per``), prevalence, low, high
        (proportions), n_farms, n_visits (distinct farm and date).

    Raises
    ------
    Mistake
        A grouping or level that does not exist, or no ledger.

    References
    ----------
    Newcombe RG (1998) Statistics in Medicine 17:857-872 (the interval).
    """
    counts = count(ledger, selection, by, per)
    table = counts.table
    low, high = wilson(table["cases"].to_numpy(), table["at_risk"].to_numpy(), level)
    table = table.assign(prevalence=table["cases"] / table["at_risk"], low=low, high=high)
    basis, cautions = basis_of(
        ledger, selection, unit=per, level=level, method="Wilson score interval", notes=_unplaced(counts.without_place)
    )
    if table["at_risk"].sum() and (per != "cow" or counts.cluster == "farm"):
        cautions += (_clustered(per, counts.cluster),)
    keep = [*dict.fromkeys(by), *COLUMNS]
    return Answer("prevalence", table[keep], basis, cautions, tuple(dict.fromkeys(by)))


def _unplaced(rows: int) -> tuple[Said, ...]:
    if not rows:
        return ()
    return (
        say("{n} findings do not say which foot, claw or zone they are on and are not in this table.", n=rows),
    )


def _clustered(per: str, cluster: str) -> Said:
    if cluster == "farm":
        return say(
            "Several farms are pooled. Cows of one farm are alike, so the true doubt is wider than these intervals."
        )
    if per == "trim":
        return say("Trims of one cow are alike, so the true doubt is wider than these intervals.")
    return say(
        "Feet and claws of one cow are alike, so the true doubt is wider than these intervals; per cow avoids this."
    )
