"""Does lameness, or a lesion, have a season: how high is the wave, and when is it highest?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.outcome import Outcome, months_of, outcome_of, series_basis
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.harmonic import YearlyWave
from evenfoot.analytics.stats.intervals import wilson
from evenfoot.analytics.stats.yearly_wave import common_wave

COLUMNS = ("term", "estimate", "low", "high", "p_value", "words")

MONTHS = (
    say("January"), say("February"), say("March"), say("April"), say("May"), say("June"), say("July"),
    say("August"), say("September"), say("October"), say("November"), say("December"),
)  # fmt: skip

METHOD = say(
    "Logistic regression on a yearly sine wave, in which months may differ more than chance explains and go together"
)


@memoize
def season(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """The yearly wave of lameness, or of the lesions of the selection.

    Every farm has a level of its own and, over two years or more, all share a straight trend, so that neither
    whose turn it was to be trimmed nor a rise over the years passes for a season.

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
        ``table``: term, estimate, low, high, p_value, words. Terms: ``peak-to-trough odds ratio`` (1 = no
        season; its low limit is 1 where no season can be told from chance) and ``month of peak`` (1.0 = start
        of January, 12.99 = end of December; low may be above high across New Year; missing where there is no
        season). ``extra["by_month"]``: calendar_month, cases, at_risk, prevalence, low, high (Wilson),
        years, fitted (the wave at the herd's own mean). ``extra["by_farm"]`` where several are pooled.

    References
    ----------
    Stolwijk AM, Straatman H, Zielhuis GA (1999) J Epidemiol Community Health 53:235-238.
    """
    outcome = outcome_of(selection)
    rows = months_of(ledger, selection, outcome)
    wave = _wave_of(rows, level)
    found = wave.p_value < 1 - level
    basis, cautions = series_basis(ledger, selection, outcome, level, METHOD, _notes(wave, found, outcome, rows))
    if 0 < basis.cows < FEW_COWS:
        wave, found = replace(wave, reason=say("few cows")), False
        cautions += (say("Not enough to say: fewer than {n} cows.", n=FEW_COWS),)
    elif wave.reason and len(rows):
        cautions += (say("Not enough to say: {reason}", reason=wave.reason),)
    extra = {"by_month": _by_month(rows, wave, level)}
    if rows["farm"].nunique() > 1:
        extra["by_farm"] = _by_farm(rows, level)
        if found:
            cautions += (say("One wave was fitted through all farms; farms may differ, so read them one by one too."),)
    return Answer("season", _table(wave, found, rows), basis, cautions, ("term",), extra)


def _wave_of(rows: pd.DataFrame, level: float) -> YearlyWave:
    months = rows["month"].dt.year * 12 + rows["month"].dt.month
    long = len(rows) and months.max() - months.min() >= 23
    return common_wave(
        rows["month"].dt.month + 0.5,
        rows["cases"],
        rows["at_risk"],
        rows["farm"].astype(object),
        level,
        year=months / 12.0 if long else None,
        time=months,
    )


def month_words(month: float) -> str:
    """The month a figure between 1.0 and 13.0 stands for, early, middle or late in it.

    Examples
    --------
    >>> month_words(1.5), month_words(9.1), month_words(12.9)
    ('mid-January', 'early September', 'late December')
    """
    if math.isnan(month):
        return ""
    part = month % 1
    name = MONTHS[int(month - 1) % 12]
    return (
        say("early {name}", name=name)
        if part < 1 / 3
        else say("mid-{name}", name=name)
        if part < 2 / 3
        else say("late {name}", name=name)
    )


def _table(wave: YearlyWave, found: bool, rows: pd.DataFrame) -> pd.DataFrame:
    nan = math.nan
    if not len(rows):
        return pd.DataFrame(columns=list(COLUMNS))
    if wave.reason:
        out = [
            (say("peak-to-trough odds ratio"), nan, nan, nan, nan, ""),
            (say("month of peak"), nan, nan, nan, nan, ""),
        ]
    else:
        peak = wave.peak_month if found else nan
        out = [
            (
                say("peak-to-trough odds ratio"),
                wave.amplitude,
                wave.amplitude_low,
                wave.amplitude_high,
                wave.p_value,
                "" if found else say("no season can be told from chance"),
            ),
            (say("month of peak"), peak, wave.peak_low, wave.peak_high, nan, month_words(peak)),
        ]
    return pd.DataFrame(out, columns=list(COLUMNS))


def _by_month(rows: pd.DataFrame, wave: YearlyWave, level: float) -> pd.DataFrame:
    rows = rows.assign(calendar_month=rows["month"].dt.month, year=rows["month"].dt.year)
    out = rows.groupby("calendar_month", as_index=False).agg(
        cases=("cases", "sum"), at_risk=("at_risk", "sum"), years=("year", "nunique")
    )
    low, high = wilson(out["cases"], out["at_risk"], level)
    out = out.assign(prevalence=out["cases"] / out["at_risk"], low=low, high=high, fitted=math.nan)
    if len(out) and not wave.reason:
        share = out["cases"].sum() / out["at_risk"].sum()
        angle = 2 * np.pi * (out["calendar_month"] - 0.5) / 12
        cosine, sine = wave.coefficients[1:3]
        logit = math.log(share / (1 - share)) + cosine * np.cos(angle) + sine * np.sin(angle)
        out["fitted"] = 1 / (1 + np.exp(-logit))
    return out[["calendar_month", "cases", "at_risk", "prevalence", "low", "high", "years", "fitted"]]


def _by_farm(rows: pd.DataFrame, level: float) -> pd.DataFrame:
    names = ["farm", "estimate", "low", "high", "p_value", "peak_month", "peak_low", "peak_high"]
    out = []
    for farm, part in rows.groupby("farm"):
        w = _wave_of(part, level)
        peak = w.peak_month if w.p_value < 1 - level else math.nan
        out.append((farm, w.amplitude, w.amplitude_low, w.amplitude_high, w.p_value, peak, w.peak_low, w.peak_high))
    return pd.DataFrame(out, columns=names)


def _notes(wave: YearlyWave, found: bool, outcome: Outcome, rows: pd.DataFrame) -> tuple[Message, ...]:
    if wave.reason:
        return ()
    ordinals = rows["month"].dt.year * 12 + rows["month"].dt.month
    months = int(ordinals.max() - ordinals.min()) + 1
    if not found:
        return (
            say(
                "No season of the {what} can be told from chance in these {n} months.",
                what=outcome.words,
                n=months,
            ),
        )
    out = [
        say(
            "The {what} is highest in {when}: the odds at the top of the wave are {ratio:.1f} times those at the "
            "bottom.",
            what=outcome.words,
            when=month_words(wave.peak_month),
            ratio=wave.amplitude,
        )
    ]
    if months < 24:
        out.append(say("That is less than two years' records; one wet month can look like a season."))
    return tuple(out)
