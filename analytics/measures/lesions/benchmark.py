"""How does a farm stand among the others, luck allowed for, and beside published figures?"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import parent_of
from evenfoot.analytics.domain.published_figures import ANY_LESION, figures_for
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, messages
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.limits import limits_of
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.funnel import funnel
from evenfoot.analytics.stats.shrinkage import ShrunkenRates, shrunken_rates

FUNNEL_LEVEL = 0.998
"""Share of farms within the funnel by luck alone; about three standard errors. [pub: Spiegelhalter 2005, Stat Med
24:1185]"""

FEW_FARMS = 10
"""Below this many farms the spread of farms, and so the pull towards their mean, is poorly known.
[common practice, no source]"""

COLUMNS = (
    "farm", "cases", "at_risk", "prevalence", "shrunken", "shrunken_low", "shrunken_high", "funnel_low",
    "funnel_high", "outside", "rank", "rank_low", "rank_high", "low", "high", "weight",
)  # fmt: skip
PUBLISHED = ("what", "lesion", "housing", "visits", "value", "source", "sample")


@memoize
def benchmark(ledger: Ledger, selection: Selection, *, per: str = "trim", level: float = 0.95) -> Answer:
    """Farms among each other: shrunken prevalence, funnel limits, ranks with their doubt.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``farms`` are the farms compared; ``lesions`` says what a case is, any lesion by default.
    per : {"trim", "cow", "foot", "claw"}
        By trim a farm that trims its cows more often does not look worse for looking more often.
    level : float
        Confidence and credible level.

    Returns
    -------
    Answer
        ``table``: farm, cases, at_risk, prevalence; shrunken, shrunken_low, shrunken_high (what the farm's
        own records and the other farms together make likely); funnel_low, funnel_high (where a farm of this size
        lies in 998 of 1000 cases, farms being as unlike as they are); outside ("above", "below" or
        ""); rank (1 = lowest), rank_low, rank_high; low, high (of the prevalence, from the farm alone);
        weight (0 to 1, how much the farm's own records count in ``shrunken``). Missing with fewer than three
        farms. ``extra["published"]``: what, lesion, housing, visits, value, source, sample: other people's
        herds, as context.

    Raises
    ------
    UserError
        A level of counting that does not exist.

    References
    ----------
    Gelman A et al. (2013) Bayesian Data Analysis, 3rd ed., section 5.3. Spiegelhalter DJ (2005) Stat Med
    24:1185-1202. Goldstein H, Spiegelhalter DJ (1996) J R Stat Soc A 159:385-443 (ranks).
    """
    if per not in ("cow", "trim", "foot", "claw"):
        raise UserError(say("'{per}' is not a level of counting; use cow, trim, foot or claw.", per=per))
    counts = count(ledger, selection, ("farm",), per).table
    counts = counts[counts["at_risk"] > 0].reset_index(drop=True)
    limits = limits_of(counts, "cow", level)
    # Feet and claws of a cow are alike: they count for as many as they tell.
    units = counts["at_risk"] / limits.table["design_effect"]
    cases = counts["cases"] / limits.table["design_effect"]
    rates = shrunken_rates(cases.to_numpy(), units.to_numpy(), level)
    table = counts[["farm", "cases", "at_risk"]].assign(
        prevalence=counts["cases"] / counts["at_risk"], low=limits.table["low"], high=limits.table["high"]
    )
    table = _with_farms(table, rates, cases, units)
    basis, cautions = basis_of(
        ledger,
        selection,
        unit=per,
        level=level,
        method=listed(
            (say("Beta-binomial shrinkage"), say("funnel limits widened for how unlike farms are"), limits.method), ";"
        ),
        notes=_notes(rates, table),
    )
    extra = {"published": _published(selection)}
    cautions += limits.cautions + _cautions(rates, table, basis.visits)
    if per == "cow" and basis.trims > basis.cows:
        cautions += (
            say(
                "Cows that were trimmed more often had more looks, and more looks find more lesions; published shares "
                "are of one trimming. Count per trim to compare farms, or with published shares."
            ),
        )
    return Answer("benchmark", table, basis, cautions, ("farm",), extra)


def _with_farms(table: pd.DataFrame, rates: ShrunkenRates, cases: pd.Series, units: pd.Series) -> pd.DataFrame:
    if rates.reason:
        missing = [name for name in COLUMNS if name not in table.columns and name != "outside"]
        return table.assign(outside="", **dict.fromkeys(missing, math.nan))[list(COLUMNS)]
    found = funnel(cases.to_numpy(), units.to_numpy(), levels=(FUNNEL_LEVEL,)).table
    name = f"{100 * FUNNEL_LEVEL:g}"
    low, high = found[f"low_{name}"].to_numpy(), found[f"high_{name}"].to_numpy()
    share = table["prevalence"].to_numpy()
    shrunken = rates.table
    out = table.assign(
        shrunken=shrunken["shrunken"],
        shrunken_low=shrunken["low"],
        shrunken_high=shrunken["high"],
        funnel_low=low,
        funnel_high=high,
        outside=np.where(share > high, "above", np.where(share < low, "below", "")),
        rank=shrunken["rank"].astype("int64"),
        rank_low=shrunken["rank_low"].astype("int64"),
        rank_high=shrunken["rank_high"].astype("int64"),
        weight=shrunken["weight"],
    )
    return out[list(COLUMNS)]


def _published(selection: Selection) -> pd.DataFrame:
    """Published prevalence of the lesions chosen, or of any lesion; limited to the housing chosen."""
    wanted = [parent_of(code) for code in selection.lesions] or [ANY_LESION]
    figures = [
        figure
        for lesion in dict.fromkeys(wanted)
        for figure in figures_for(lesion)
        if not selection.housing or figure.housing is None or figure.housing in selection.housing
    ]
    rows = [
        ("", f.lesion, f.housing, f.visits, f.value, f"{f.source.name}, {f.source.citation}", f.source.sample)
        for f in figures
    ]
    return pd.DataFrame(rows, columns=list(PUBLISHED)).assign(what=messages(figure.what for figure in figures))


def _notes(rates: ShrunkenRates, table: pd.DataFrame) -> tuple[Message, ...]:
    if rates.reason:
        return ()
    notes = [
        say(
            "Farms are pulled towards each other, those with few records most: their own records count for "
            "{least:.0f} to {most:.0f} %.",
            least=100 * float(table["weight"].min()),
            most=100 * float(table["weight"].max()),
        )
    ]
    for side in ("above", "below"):
        farms = table.loc[table["outside"] == side, "farm"].tolist()
        if farms:
            notes.append(
                say(
                    "{farms}: {side} what luck and the usual spread of farms explain.",
                    farms=", ".join(farms),
                    side=side,
                )
            )
    return tuple(notes)


def _cautions(rates: ShrunkenRates, table: pd.DataFrame, visits: int) -> tuple[Message, ...]:
    if not visits:
        return ()
    if rates.reason:
        return (say("Other farms: {n}. Too few to compare: at least three farms are needed.", n=len(table) - 1),)
    out = [
        say(
            "Farms differ in housing, season of visits, trimmer and age of cows; a place in this table is not a "
            "mark, and neither are the published figures, which are other people's herds."
        )
    ]
    if rates.farms < FEW_FARMS:
        out.append(say("With {n} farms how unlike farms are is poorly known; ranks may change.", n=rates.farms))
    small = table.loc[table["at_risk"] < FEW_COWS, "farm"].tolist()
    if small:
        out.append(say("Too few were looked at to say much about {groups}.", groups=", ".join(small)))
    return tuple(out)
