"""Is lameness, or a lesion, becoming more or less common over the months?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import FEW_COWS
from analytics.measures.kept import keep
from analytics.measures.limits import FEW_CLUSTERS
from analytics.measures.outcome import Outcome, months_of, outcome_of, series_basis
from analytics.measures.part_of_farms import part_of_farms
from analytics.methods.slope import LogisticSlope, logistic_slope
from analytics.methods.trend import cochran_armitage
from analytics.tally.farm_sample import farm_sample
from analytics.tally.selection import Selection
from analytics.tally.series import monthly
from analytics.words import Said, say

COLUMNS = ("term", "estimate", "low", "high", "p_value")

SEASON_MONTHS = 24
"""From this many months on, the trend is fitted with a yearly wave beside it, so that a series which begins
in a good season and ends in a bad one does not pass for a trend. [common practice, no source]"""

METHOD = "; ".join((say("Logistic regression on time (GEE)"), say("Cochran-Armitage test across the months")))


@keep
def trend(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Trend over the months of the share of cows lame, or with the lesions of the selection.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Without lesions (or families, zones, severities) the series is of lameness; with them, of trims that
        show them.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: term, estimate, low, high, p_value. Terms: ``odds ratio a year`` (1 = no trend), ``share at
        the start`` and ``share at the end`` (fitted, farms and seasons as they are in the whole),
        ``percentage points a year`` (straight line through the months) and ``Cochran-Armitage z``, which
        takes every scoring for independent and is there for comparison. ``extra["series"]``: month, cases,
        at_risk, prevalence, cows. ``extra["by_farm"]``, where several are pooled: farm and the slope of each.

    References
    ----------
    Liang KY, Zeger SL (1986) Biometrika 73:13-22. Armitage P (1955) Biometrics 11:375-386.
    Agresti A (2002) Categorical Data Analysis, 2nd ed., section 5.3.5.
    """
    outcome = outcome_of(selection)
    sample = farm_sample(ledger, selection, outcome.source)
    months = months_of(ledger, selection, outcome)
    by_farms = sample.partial and months["farm"].nunique() >= FEW_CLUSTERS
    if sample.partial and not by_farms:
        selection = sample.selection
        months = months_of(ledger, selection, outcome)
    rows = _with_time(monthly(ledger, sample.selection, outcome.name, ("farm", "cow")))
    # Where farms are the clusters, sums by farm and month say of the slope all that the rows of their cows do.
    slope, notes = _slope(_with_time(months.assign(cow="")) if by_farms else rows, level)
    if rows["animal"].nunique() < FEW_COWS:
        slope = replace(slope, converged=False)
    notes += () if by_farms else part_of_farms(sample)
    series = months.groupby("month", as_index=False)[["cases", "at_risk", "cows"]].sum()
    series = series.assign(prevalence=series["cases"] / series["at_risk"])
    notes += _words(slope, outcome, level)
    basis, cautions = series_basis(ledger, selection, outcome, level, METHOD, notes)
    extra = {"series": series[["month", "cases", "at_risk", "prevalence", "cows"]]}
    if rows["farm"].nunique() > 1:
        extra["by_farm"] = _by_farm(rows, level)
        cautions += _farms_differ(extra["by_farm"])
    for part in part_of_farms(sample):
        cautions += (say("Farm by farm: {part}", part=part),) if by_farms else (part,)
    cautions += _too_little(slope, basis.cows)
    return Answer("trend", _table(slope, series), basis, cautions, ("term",), extra)


def _with_time(rows: pd.DataFrame) -> pd.DataFrame:
    """Years since the first month, the place in the year, and one name a cow."""
    months = rows["month"].dt.year * 12 + rows["month"].dt.month
    years = (months - (months.min() if len(months) else 0)) / 12.0
    angle = 2 * math.pi * (rows["month"].dt.month - 0.5) / 12.0
    return rows.assign(
        years=years.astype(float),
        cos=np.cos(angle),
        sin=np.sin(angle),
        animal=rows["farm"] + "|" + rows["cow"],
    )


def _slope(rows: pd.DataFrame, level: float) -> tuple[LogisticSlope, tuple[Said, ...]]:
    farms = int(rows["farm"].nunique())
    notes, columns = [], []
    if len(rows) and rows["years"].max() * 12 >= SEASON_MONTHS - 1:
        columns += ["cos", "sin"]
        notes.append(say("A yearly wave was fitted beside the trend."))
    cluster = "animal"
    if farms >= FEW_CLUSTERS:
        cluster = "farm"
        notes.append(say("Cows of one farm are taken as alike."))
    elif farms > 1:
        columns.append("farm")
        notes.append(say("The trend is the one within farms; scorings of one cow are taken as alike."))
    else:
        notes.append(say("Records of one cow are taken as alike."))
    return logistic_slope(rows, "cases", "at_risk", "years", cluster, columns=columns, level=level), tuple(notes)


def _table(slope: LogisticSlope, series: pd.DataFrame) -> pd.DataFrame:
    nan = math.nan
    months = series["month"].dt.year * 12 + series["month"].dt.month
    plain = cochran_armitage(series["cases"], series["at_risk"], months / 12.0)
    rows = [
        (say("odds ratio a year"), slope.odds_ratio, slope.low, slope.high, slope.p_value),
        (say("share at the start"), slope.start, slope.start_low, slope.start_high, nan),
        (say("share at the end"), slope.end, slope.end_low, slope.end_high, nan),
    ]
    if not slope.converged:
        rows = [(term, nan, nan, nan, nan) for term, *_ in rows]
    rows += [
        (say("percentage points a year"), 100 * plain.slope, nan, nan, nan),
        (say("Cochran-Armitage z"), plain.z, nan, nan, plain.p_value),
    ]
    return pd.DataFrame(rows if len(series) else [], columns=list(COLUMNS))


def _by_farm(rows: pd.DataFrame, level: float) -> pd.DataFrame:
    out = []
    for farm, part in rows.groupby("farm"):
        slope, _ = _slope(part, level)
        out.append((farm, slope.odds_ratio, slope.low, slope.high, slope.p_value, slope.start, slope.end))
    return pd.DataFrame(out, columns=["farm", "estimate", "low", "high", "p_value", "start", "end"])


def _farms_differ(by_farm: pd.DataFrame) -> tuple[Said, ...]:
    rising, falling = by_farm[by_farm["low"] > 1]["farm"], by_farm[by_farm["high"] < 1]["farm"]
    others = len(by_farm) - max(len(rising), len(falling))
    if not len(rising) + len(falling) or not others:
        return ()
    up, down = ", ".join(rising), ", ".join(falling)
    if not down:
        return (say("Farms differ: the share rises on {farms}. Read the farms one by one.", farms=up),)
    if not up:
        return (say("Farms differ: the share falls on {farms}. Read the farms one by one.", farms=down),)
    return (
        say(
            "Farms differ: the share rises on {farms} and falls on {others}. Read the farms one by one.",
            farms=up,
            others=down,
        ),
    )


def _too_little(slope: LogisticSlope, cows: int) -> tuple[Said, ...]:
    if 0 < cows < FEW_COWS:
        return (say("Not enough to say: fewer than {n} cows.", n=FEW_COWS),)
    if cows and not slope.converged:
        return (say("Not enough to say: {reason}", reason=slope.reason),)
    if slope.errors == "times":
        return (
            say(
                "Months differ among themselves more than the cows looked at explain; the interval was widened for it."
            ),
        )
    return ()


def _words(slope: LogisticSlope, outcome: Outcome, level: float) -> tuple[Said, ...]:
    if not slope.converged:
        return ()
    shares = {"start": slope.start, "end": slope.end, "what": outcome.words}
    if slope.p_value < 1 - level:
        return (
            say(
                "The {what} {way} from about {start:.0%} to {end:.0%}, more than chance explains. What else "
                "changed in that time is for those who know the herd to say.",
                way=say("rises") if slope.odds_ratio > 1 else say("falls"),
                **shares,
            ),
        )
    return (
        say(
            "No trend can be told from chance: the {what} is fitted at {start:.0%} at the start and {end:.0%} "
            "at the end.",
            **shares,
        ),
    )
