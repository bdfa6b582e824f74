"""Is lameness, or a lesion, becoming more or less common over the months?"""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_sample import part_of_farms
from evenfoot.analytics.measures.limits import FEW_CLUSTERS
from evenfoot.analytics.measures.outcome import Outcome, months_of, outcome_of, series_basis
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.farm_sample import farm_sample
from evenfoot.analytics.queries.monthly_series import monthly
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.autoregression import wave
from evenfoot.analytics.stats.slope import YEAR, LogisticSlope, logistic_slope, monthly_slope
from evenfoot.analytics.stats.trend import cochran_armitage

COLUMNS = ("term", "estimate", "low", "high", "p_value")

METHOD = say(
    "Logistic regression on months or visits with the season beside it, spread and autocorrelation of months estimated "
    "and limits averaged over what they may be (over many farms: GEE with farms as clusters)"
)


@memoize
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
        the start`` and ``share at the end`` (fitted, farms and seasons as they are in the whole); of one farm also
        ``percentage points a year``, the slope of a straight line through the months. Of several farms it would follow
        which farm was scored when, so it is left out.
        ``extra["series"]``: month, cases, at_risk, prevalence, cows. ``extra["by_farm"]``, where several are
        pooled: farm and the slope of each.

    References
    ----------
    Harville DA (1974) Biometrika 61:383-385. Liang KY, Zeger SL (1986) Biometrika 73:13-22 (many farms).
    Armitage P (1955) Biometrics 11:375-386 (straight line).
    """
    outcome = outcome_of(selection)
    months = months_of(ledger, selection, outcome)
    slope, notes = _slope(months, level)
    if len(months) and _cows_at_least(ledger, selection, outcome, months) < FEW_COWS:
        slope = replace(slope, converged=False)
    series = months.groupby("month", as_index=False)[["cases", "at_risk", "cows"]].sum()
    series = series.assign(prevalence=series["cases"] / series["at_risk"])
    notes += _words(slope, outcome, level)
    basis, cautions = series_basis(ledger, selection, outcome, level, METHOD, notes)
    extra = {"series": series[["month", "cases", "at_risk", "prevalence", "cows"]]}
    if months["farm"].nunique() > 1:
        sample = farm_sample(ledger, selection, outcome.source)
        taken = months[months["farm"].isin(sample.selection.farms)] if sample.partial else months
        extra["by_farm"] = _by_farm(taken, level)
        cautions += _farms_differ(extra["by_farm"])
        cautions += tuple(say("Farm by farm: {part}", part=part) for part in part_of_farms(sample))
    cautions += _too_little(slope, basis.cows)
    return Answer(
        "trend", _table(slope, series, one_farm=months["farm"].nunique() < 2), basis, cautions, ("term",), extra
    )


def _cows_at_least(ledger: Ledger, selection: Selection, outcome: Outcome, months: pd.DataFrame) -> int:
    """How many cows there are, or how many were there in the fullest month where those are enough."""
    fullest = int(months.groupby("month")["cows"].sum().max())
    if fullest >= FEW_COWS:
        return fullest
    cows = monthly(ledger, selection, outcome.name, ("farm", "cow"))
    return len(cows.drop_duplicates(["farm", "cow"]))


def _slope(months: pd.DataFrame, level: float) -> tuple[LogisticSlope, tuple[Message, ...]]:
    number = (months["month"].dt.year * 12 + months["month"].dt.month).astype(float)
    rows = months.assign(time=number, n=months["at_risk"])
    farms = int(rows["farm"].nunique())
    if farms < FEW_CLUSTERS:
        notes = (say("The trend is the one within farms."),) if farms > 1 else ()
        return monthly_slope(rows[rows["n"] > 0], level=level), notes
    return (
        logistic_slope(_with_wave(rows), "cases", "n", "years", "farm", columns=["cos", "sin"], level=level),
        (say("A yearly wave was fitted beside the trend."), say("Cows of one farm are taken as alike.")),
    )


def _with_wave(rows: pd.DataFrame) -> pd.DataFrame:
    """Years since the first month, and the place in the year."""
    season = wave(rows["time"], YEAR)
    return rows.assign(years=(rows["time"] - rows["time"].min()) / YEAR, cos=season[:, 0], sin=season[:, 1])


def _table(slope: LogisticSlope, series: pd.DataFrame, *, one_farm: bool) -> pd.DataFrame:
    nan = math.nan
    rows = [
        (say("odds ratio a year"), slope.odds_ratio, slope.low, slope.high, slope.p_value),
        (say("share at the start"), slope.start, slope.start_low, slope.start_high, nan),
        (say("share at the end"), slope.end, slope.end_low, slope.end_high, nan),
    ]
    if not slope.converged:
        rows = [(term, nan, nan, nan, nan) for term, *_ in rows]
    if one_farm:
        months = series["month"].dt.year * 12 + series["month"].dt.month
        plain = cochran_armitage(series["cases"], series["at_risk"], months / 12.0)
        rows.append((say("percentage points a year"), 100 * plain.slope, nan, nan, nan))
    return pd.DataFrame(rows if len(series) else [], columns=list(COLUMNS))


def _by_farm(months: pd.DataFrame, level: float) -> pd.DataFrame:
    out = []
    for farm, part in months.groupby("farm"):
        slope, _ = _slope(part, level)
        out.append((farm, slope.odds_ratio, slope.low, slope.high, slope.p_value, slope.start, slope.end))
    return pd.DataFrame(out, columns=["farm", "estimate", "low", "high", "p_value", "start", "end"])


def _farms_differ(by_farm: pd.DataFrame) -> tuple[Message, ...]:
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


def _too_little(slope: LogisticSlope, cows: int) -> tuple[Message, ...]:
    if 0 < cows < FEW_COWS:
        return (say("Not enough to say: fewer than {n} cows.", n=FEW_COWS),)
    if cows and not slope.converged:
        return (say("Not enough to say: {reason}", reason=slope.reason),)
    return ()


def _words(slope: LogisticSlope, outcome: Outcome, level: float) -> tuple[Message, ...]:
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
