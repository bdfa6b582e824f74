"""Did a change on the farm go with fewer lesions: before against after, season and trend held alike."""

from __future__ import annotations

import datetime as dt
import math

import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import FEW_COWS
from analytics.measures.kept import keep
from analytics.measures.limits import limits_of
from analytics.measures.outcome import LESION, series_basis
from analytics.measures.part_of_farms import part_of_farms
from analytics.methods.change import LEAST_TIMES, HeldChange, held_change
from analytics.methods.cluster import cluster_sums
from analytics.methods.did import DifferenceInDifferences, difference_in_differences
from analytics.mistake import Mistake
from analytics.tally.before_after import before_after, changes
from analytics.tally.farm_sample import farm_sample
from analytics.tally.selection import Selection
from analytics.words import Said, say

LEAST_MONTHS = LEAST_TIMES
"""Months with records needed on either side of the change. [common practice, no source]"""
LEAST_COWS = FEW_COWS
"""Cows needed on either side of the change. [common practice, no source]"""

OTHER_VISITS = ("whole-herd", "part-herd", "lame-cow", "unknown")
"""Visits used, each kind held alike, where whole-herd visits are too seldom to fit months. Rechecks are left
out: they are of cows known to have a lesion. [common practice, no source]"""

DAYS_OF_A_MONTH = 30.0

COLUMNS = ("term", "estimate", "low", "high", "p_value")
_TERMS = {
    "step": say("odds ratio, after against before"),
    "level": say("odds ratio, level at the change"),
    "slope": say("odds ratio a month, slope after over before"),
    "before": say("odds ratio a month before the change"),
}
_METHOD = (
    say("Segmented logistic regression on months, season and kind of visit held alike")
    + "; "
    + say("limits scaled for over-dispersion, or Newey-West where that is wider")
)


@keep
def change_impact(
    ledger: Ledger,
    selection: Selection,
    *,
    change: dt.date | None = None,
    against: str | None = None,
    level: float = 0.95,
) -> Answer:
    """What a dated change on a farm went with.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``lesions`` says what a case is; any lesion by default. Counted are trims.
    change : date, optional
        First day of "after"; the newest change recorded for the farm by default.
    against : str, optional
        A farm that did not change, followed over the same time.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: term, estimate, low, high, p_value. Terms: ``share before`` and ``share after`` (cows as
        clusters); ``odds ratio, after against before`` (season and kind of visit held alike, no trend);
        ``odds ratio, level at the change`` (just after, against what the trend before led one to expect);
        ``odds ratio a month, slope after over before`` (with a year or more of months on either side);
        ``odds ratio a month before the change``; ``percentage points at the end`` (fitted less expected
        without the change); with ``against`` also ``percentage points more than the other farm`` and
        ``odds ratio over that of the other farm`` (difference in differences). ``extra["series"]``: month,
        cases, at_risk, prevalence, fitted, counterfactual, cf_low, cf_high, after; fitted and counterfactual at the
        mean mix of visit kinds. ``extra["curve"]``: the same lines every half month (month, after, fitted,
        counterfactual, cf_low, cf_high). ``extra["changes"]``: the changes recorded.

    Raises
    ------
    Mistake
        No change given or recorded, or a comparison farm that is not in the ledger or is the farm itself.

    References
    ----------
    Wagner AK et al. (2002) J Clin Pharm Ther 27:299-309. Lopez Bernal J, Cummins S, Gasparrini A (2017) Int J
    Epidemiol 46:348-355. Bertrand M, Duflo E, Mullainathan S (2004) Q J Econ 119:249-275 (two farms).
    """
    farms = ledger.farms(selection.allowed)
    known = changes(ledger, selection)
    chosen = selection.farms or (tuple(farms) if len(farms) == 1 else ())
    day, what, of = _day(known, chosen, change)
    if against is not None and (against not in farms or against in chosen):
        others = [farm for farm in farms if farm not in chosen]
        raise Mistake(
            say(
                "'{against}' cannot be the comparison farm; use one of {listed}.",
                against=against,
                listed=", ".join(others) or say("none here"),
            )
        )
    sample = farm_sample(ledger, selection.with_(visits=("all",)), first=of)
    asked = selection = selection.with_(farms=sample.selection.farms)
    selection, widened = _enough_visits(ledger, selection, day)
    months, cows = before_after(ledger, selection, day, LESION.name)
    found = held_change(_timed(months, day), float(day.year * 12 + day.month), level=level)
    few = _few_cows(cows)
    notes = (*part_of_farms(sample), *_notes(found, few, day, what, widened, level))
    basis, cautions = series_basis(ledger, selection, LESION, level, _METHOD, notes)
    cautions += part_of_farms(sample)
    table = pd.DataFrame([*_shares(cows, level), *_rows(found, few)], columns=list(COLUMNS))
    if against is not None:
        compared = _against(ledger, asked, day, against, level)
        table = pd.concat([table, pd.DataFrame(_did_rows(compared), columns=list(COLUMNS))], ignore_index=True)
        cautions += _did_words(compared, against)
    cautions += _cautions(found, few, months, of)
    extra = {"series": _series(months, found), "curve": _curve(found), "changes": known}
    return Answer("change-impact", table if len(months) else table.iloc[:0], basis, cautions, ("term",), extra)


def _day(known: pd.DataFrame, farms: tuple[str, ...], change: dt.date | None) -> tuple[dt.date, str, tuple[str, ...]]:
    """The day, what changed, and the farms it is recorded for."""
    if change is not None:
        same = known[known["date"] == pd.Timestamp(change)]
        return change, str(same["what"].iloc[0]) if len(same) else "", tuple(same["farm"].unique())
    if len(farms) != 1:
        raise Mistake(
            say("Say which change with --change, such as --change 2025-02-03, or choose one farm with --farm.")
        )
    if known.empty:
        raise Mistake(
            say("No change is recorded for {farms}; say when it was with --change, such as 2025-02-03.", farms=farms[0])
        )
    return known["date"].iloc[0].date(), str(known["what"].iloc[0]), farms


def _enough_visits(ledger: Ledger, selection: Selection, day: dt.date) -> tuple[Selection, bool]:
    """The selection, widened to other visits where whole-herd ones alone are too few months."""
    if selection.visits != ("whole-herd",):
        return selection, False
    months, _ = before_after(ledger, selection, day, LESION.name)
    each = months.groupby("after")["month"].nunique()
    if len(months) and min(int(each.get(False, 0)), int(each.get(True, 0))) >= LEAST_MONTHS:
        return selection, False
    return selection.with_(visits=OTHER_VISITS), True


def _timed(months: pd.DataFrame, day: dt.date) -> pd.DataFrame:
    """Months numbered; what came before the day in its own month stands half a month before it."""
    number = (months["month"].dt.year * 12 + months["month"].dt.month).astype(float)
    split = (number == day.year * 12 + day.month) & ~months["after"]
    frame = months.assign(time=number - 0.5 * split, n=months["at_risk"])
    if frame["farm"].nunique() > 1:
        frame = frame.assign(kind=frame["farm"] + "|" + frame["kind"])
    return frame


def _few_cows(cows: pd.DataFrame) -> bool:
    each = cows.groupby("after")["cow"].size()
    return min(int(each.get(False, 0)), int(each.get(True, 0))) < LEAST_COWS


def _shares(cows: pd.DataFrame, level: float) -> list[tuple[str, float, float, float, float]]:
    out: list[tuple[str, float, float, float, float]] = []
    for side, term in ((False, say("share before")), (True, say("share after"))):
        part = cows[cows["after"] == side]
        if part.empty:
            out.append((term, math.nan, math.nan, math.nan, math.nan))
            continue
        names = ["sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters"]
        sums = pd.DataFrame([cluster_sums(part["cases"], part["at_risk"])], columns=names)
        limits = limits_of(sums, "cow", level).table.iloc[0]
        share = part["cases"].sum() / part["at_risk"].sum()
        out.append((term, float(share), float(limits["low"]), float(limits["high"]), math.nan))
    return out


def _term(found: HeldChange, term: str) -> tuple[float, float, float, float]:
    """Ratio, limits and p-value of a term."""
    row = found.terms[found.terms["term"] == term]
    ratio, low, high, p_value = (float(row[name].to_numpy()[0]) for name in ("ratio", "low", "high", "p_value"))
    return ratio, low, high, p_value


def _rows(found: HeldChange, few: bool) -> list[tuple[str, float, float, float, float]]:
    nan = math.nan
    rows: list[tuple[str, float, float, float, float]] = []
    for term, words in _TERMS.items():
        ratio, low, high, p_value = (nan,) * 4 if few else _term(found, term)
        rows.append((words, ratio, low, high, p_value))
    end, low, high = (nan,) * 3 if few else (found.end_difference, found.end_low, found.end_high)
    rows.append((say("percentage points at the end"), 100 * end, 100 * low, 100 * high, nan))
    return rows


_WITHOUT = {"without": "counterfactual", "without_low": "cf_low", "without_high": "cf_high"}


def _curve(found: HeldChange) -> pd.DataFrame:
    """The fitted lines with the days of their points instead of numbers of months."""
    curve = found.curve.rename(columns=_WITHOUT)
    whole = curve["time"].floordiv(1).astype("int64") - 1
    first = pd.to_datetime({"year": whole // 12, "month": whole % 12 + 1, "day": 1})
    days = first + pd.to_timedelta(curve["time"].mod(1) * DAYS_OF_A_MONTH, unit="D")
    for name in _WITHOUT.values():
        curve[name] = curve[name].where(curve["after"].astype(bool), math.nan)
    return curve.assign(month=days)[["month", "after", "fitted", *_WITHOUT.values()]]


def _series(months: pd.DataFrame, found: HeldChange) -> pd.DataFrame:
    names = ["month", "after"]
    seen = months.groupby(names, as_index=False)[["cases", "at_risk"]].sum().sort_values(names)
    seen = seen.assign(prevalence=seen["cases"] / seen["at_risk"])
    number = seen["month"].dt.year * 12 + seen["month"].dt.month
    twice = seen.duplicated("month", keep="last")
    fitted = found.series.rename(columns=_WITHOUT)
    # Before the change there is nothing to imagine: the expected is the fitted.
    out = seen.assign(time=number - 0.5 * twice).merge(
        fitted[["time", "fitted", "counterfactual", "cf_low", "cf_high"]], on="time", how="left"
    )
    out.loc[~out["after"], ["counterfactual", "cf_low", "cf_high"]] = math.nan
    return out[
        ["month", "cases", "at_risk", "prevalence", "fitted", "counterfactual", "cf_low", "cf_high", "after"]
    ].reset_index(drop=True)


def _against(ledger: Ledger, selection: Selection, day: dt.date, against: str, level: float) -> DifferenceInDifferences:
    """Difference in differences, cows as clusters, on the visits asked for."""
    _, own = before_after(ledger, selection, day, LESION.name)
    _, other = before_after(ledger, selection.with_(farms=(against,)), day, LESION.name)
    rows = pd.concat([own.assign(treated=True), other.assign(treated=False)], ignore_index=True)
    rows = rows.assign(animal=rows["farm"] + "|" + rows["cow"])
    return difference_in_differences(rows, "cases", "at_risk", "treated", "after", "animal", level)


def _did_rows(found: DifferenceInDifferences) -> list[tuple[str, float, float, float, float]]:
    return [
        (
            say("percentage points more than the other farm"),
            100 * found.difference,
            100 * found.low,
            100 * found.high,
            found.p_value,
        ),
        (
            say("odds ratio over that of the other farm"),
            found.odds_ratio,
            found.odds_low,
            found.odds_high,
            math.nan,
        ),
    ]


def _did_words(found: DifferenceInDifferences, against: str) -> tuple[Said, ...]:
    if found.reason:
        return (say("Not enough to compare with {farm}: {reason}", farm=against, reason=found.reason),)
    return (
        say(
            "The comparison with {farm} takes for granted that both farms would have moved alike, and knows only "
            "two farms: anything else that happened on one of them counts too.",
            farm=against,
        ),
    )


def _notes(found: HeldChange, few: bool, day: dt.date, what: str, widened: bool, level: float) -> tuple[Said, ...]:
    notes = [say("The change: {what}, from {day} on.", what=what or say("as given"), day=f"{day:%Y-%m-%d}")]
    if widened:
        notes.append(
            say(
                "Whole-herd visits alone are too few months, so part-herd and lame-cow visits are used too, each "
                "kind of visit held alike. Shares before and after are of all of them; the lines are drawn for the "
                "mean mix of visits, and a month with more lame-cow visits than usual lies above them."
            )
        )
    if found.reason or few:
        return tuple(notes)
    ratio, low, high, p_value = _term(found, "step")
    size = {"ratio": ratio, "low": low, "high": high}
    if p_value < 1 - level:
        notes.append(
            say(
                "After the change the odds of a case are {ratio:.2f} times those before ({low:.2f} to {high:.2f}), "
                "season and kind of visit held alike.",
                **size,
            )
        )
    else:
        notes.append(
            say(
                "No difference between before and after can be told from chance: odds ratio {ratio:.2f} ({low:.2f} "
                "to {high:.2f}).",
                **size,
            )
        )
    return tuple(notes)


def _cautions(found: HeldChange, few: bool, months: pd.DataFrame, of: tuple[str, ...]) -> tuple[Said, ...]:
    if months.empty:
        return ()
    if few:
        return (
            say(
                "Not enough to say: fewer than {n} cows were looked at before the change or after it.",
                n=LEAST_COWS,
            ),
        )
    if found.reason:
        return (say("Not enough to say: {reason}", reason=found.reason),)
    out = [
        say(
            "What went with the change need not have come from it: anything else that changed about then is in "
            "these figures."
        )
    ]
    others = sorted(set(months["farm"]) - set(of))
    if of and others:
        out.append(
            say(
                "The change is recorded for {of} only; {others} did not make it and are in these figures too.",
                of=", ".join(of),
                others=", ".join(others),
            )
        )
    trend_fitted, slope_fitted = (not math.isnan(_term(found, name)[0]) for name in ("before", "slope"))
    if trend_fitted and not slope_fitted:
        out.append(say("There is less than a year of months on one side, so no change of slope was fitted."))
    if not trend_fitted:
        out.append(say("There are too few months to fit a trend; a trend would pass for an effect of the change."))
    if found.dispersion > 1.5:
        out.append(say("Months differ among themselves more than cows explain; the intervals allow for it."))
    return tuple(out)
