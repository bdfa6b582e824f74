"""How many cows it takes to see a change, and what change the cows at hand could show."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.cluster_sums import SUMS
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.coverage import months_with_records
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster import cluster_proportion
from evenfoot.analytics.stats.power import POWER, detectable, sample_size

POINTS = (0.05, 0.10, 0.15, 0.20)
"""Changes looked for: 5, 10, 15 and 20 percentage points. [common practice, no source]"""

NOW_MONTHS = 12
"""Without a period, "now" is the last twelve months with records: one round of the seasons.
[common practice, no source]"""

COLUMNS = (
    "points",
    "direction",
    "prevalence",
    "prevalence_then",
    "needed",
    "needed_independent",
    "design_effect",
    "at_hand",
    "enough",
    "detectable_fall",
    "detectable_rise",
)


@memoize
def how_many(
    ledger: Ledger,
    selection: Selection,
    *,
    per: str = "cow",
    power: float = POWER,
    level: float = 0.95,
) -> Answer:
    """Cows (trims, feet, claws) needed before and after to see prevalence change by so many points.

    The prevalence and its design effect are the herd's own: feet of one cow are alike, and so are cows of one
    farm when several are pooled, so that more of them are needed than if each stood alone.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``lesions`` says what a case is. Without a period, the last twelve months with records.
    per : {"cow", "trim", "foot", "claw"}
        What is counted.
    power : float
        Chance of seeing a change that is there.
    level : float
        Confidence level of the comparison.

    Returns
    -------
    Answer
        ``table``: points (change as a proportion), direction (``fall`` or ``rise``), prevalence (now),
        prevalence_then, needed (whole units of ``per`` in each of two groups or periods, missing where the
        change is impossible), needed_independent (before the design effect), design_effect, at_hand (units
        now), enough (whether that suffices), detectable_fall and detectable_rise (the smallest change from the
        prevalence now that ``at_hand`` units a group could show; missing where none could).

    Raises
    ------
    UserError
        *power* or a level of counting that cannot be.

    References
    ----------
    Fleiss JL, Levin B, Paik MC (2003) Statistical Methods for Rates and Proportions, 3rd ed., chapter 4.
    Donner A, Klar N (2000) Design and Analysis of Cluster Randomization Trials, chapter 5 (design effect).
    """
    if not 0 < power < 1:
        raise UserError(
            say("A power of {power} is not possible; give a share between 0 and 1, such as 0.8.", power=power)
        )
    now, notes = _now(ledger, selection)
    counts = count(ledger, now, (), per)
    basis, cautions = basis_of(
        ledger,
        now,
        unit=per,
        level=level,
        method=say("two proportions, two-sided, {power:.0%} power, times the herd's own design effect", power=power),
        notes=notes,
    )
    sums = counts.table.iloc[0] if len(counts.table) else None
    at_hand, cases = (0, 0) if sums is None else (int(sums["at_risk"]), int(sums["cases"]))
    said = _words(at_hand, cases, counts.cluster, per)
    if sums is None or not 0 < cases < at_hand:
        return Answer("how-many", pd.DataFrame(columns=list(COLUMNS)), basis, cautions + said)
    p = cases / at_hand
    m, n, mm, mn, nn, k = (float(sums[name]) for name in SUMS)
    deff = float(cluster_proportion(m, n, mm, mn, nn, k, level).deff)
    if not math.isfinite(deff) or (counts.cluster == "cow" and per == "cow"):
        deff = 1.0
    alpha = 1.0 - level
    below, above = detectable(p, at_hand, at_hand, power=power, alpha=alpha, deff=deff)
    rows = []
    for points in POINTS:
        for direction, then in (("fall", p - points), ("rise", p + points)):
            alone = math.nan
            if 0 < then < 1:
                alone = sample_size(p, then, power=power, alpha=alpha).n1
            needed = math.ceil(alone * deff - 1e-9) if math.isfinite(alone) else math.nan
            rows.append(
                {
                    "points": points,
                    "direction": direction,
                    "prevalence": p,
                    "prevalence_then": then if 0 < then < 1 else math.nan,
                    "needed": needed,
                    "needed_independent": math.ceil(alone - 1e-9) if math.isfinite(alone) else math.nan,
                    "design_effect": deff,
                    "at_hand": at_hand,
                    "enough": bool(at_hand >= needed) if math.isfinite(needed) else False,
                    "detectable_fall": p - below,
                    "detectable_rise": above - p,
                }
            )
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table = table.astype({"needed": "Int64", "needed_independent": "Int64"})
    if np.isnan(table["prevalence_then"].to_numpy(dtype=float)).any():
        said += (say("A prevalence of {p} cannot fall or rise by every number of points.", p=f"{p:.1%}"),)
    return Answer("how-many", table, basis, cautions + said, ("points", "direction"))


def _now(ledger: Ledger, selection: Selection) -> tuple[Selection, tuple[Message, ...]]:
    if selection.since is not None:
        return selection, ()
    months = months_with_records(ledger, selection)
    if not months:
        return selection, ()
    first = max(months) - pd.DateOffset(months=NOW_MONTHS - 1)
    since: dt.date = first.date()
    note = say("The prevalence now is that of the twelve months with the newest records, since {day}.", day=since)
    return selection.with_(since=since), (note,)


def _words(at_hand: int, cases: int, cluster: str, per: str) -> tuple[Message, ...]:
    if not at_hand:
        return (say("Not enough to say: nothing was looked at, so there is no prevalence to start from."),)
    if cases in (0, at_hand):
        return (
            say(
                "Not enough to say: {cases} of {n} are a case, so there is no prevalence to start from.",
                cases=cases,
                n=at_hand,
            ),
        )
    out = []
    if at_hand < FEW_COWS:
        out.append(say("Not enough to say how common it is now, so these numbers are rough."))
    if cluster == "farm":
        out.append(
            say(
                "Several farms are pooled: these numbers are for comparing some farms with others; for one farm before "
                "and after, choose that farm."
            )
        )
    elif per == "cow":
        out.append(say("The numbers are for different cows in each group; the same cows before and after need fewer."))
    return tuple(out)
