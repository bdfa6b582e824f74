"""Did a change on the farm go with fewer lesions: the first year after it against going on as before."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_sample import part_of_farms
from evenfoot.analytics.measures.limits import FEW_CLUSTERS, limits_of
from evenfoot.analytics.measures.outcome import LESION, series_basis
from evenfoot.analytics.messages import N_, Message, listed, say
from evenfoot.analytics.queries.change_windows import before_after, changes
from evenfoot.analytics.queries.farm_sample import farm_sample
from evenfoot.analytics.queries.monthly_series import narrows_lesions
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.change import (
    LEAST_TIMES,
    SLOPE_TIMES,
    ComparedChange,
    HeldChange,
    compared_change,
    held_change,
)
from evenfoot.analytics.stats.cluster import cluster_sums

LEAST_MONTHS = LEAST_TIMES
"""Months with records needed on either side of the change. [common practice, no source]"""
LEAST_COWS = FEW_COWS
"""Cows needed on either side of the change. [common practice, no source]"""

OTHER_VISITS = ("whole-herd", "part-herd", "lame-cow", "unknown")
"""Visits used, each kind held alike, where whole-herd visits are too seldom to fit months. Rechecks are left
out: they are of cows known to have a lesion. [common practice, no source]"""

DAYS_OF_A_MONTH = 30.0

HEADLINE = say("odds ratio, first 12 months after the change against going on as before")
"""The term that page, report and summary say."""

COLUMNS = ("term", "estimate", "low", "high", "p_value", "headline")
_TERMS = {
    "effect": HEADLINE,
    "level": say("odds ratio, level at the change"),
    "slope": say("odds ratio a month, slope after over before"),
    "before": say("odds ratio a month before the change"),
}
_FITTED_LATER = ("level", "slope")
"""Terms of the model with a change of slope; without it the first says the same as the headline."""
_METHOD = listed(
    (
        say("Segmented logistic regression on months or visits, with trend, season and kind of visit held alike"),
        say("spread and autocorrelation of months estimated, limits averaged over what they may be"),
    ),
    ";",
)

VERDICTS = {
    "better": N_(
        "Better: in the first {months} months after the change about {seen:.0f} of 100 cows looked at had {lesions}, "
        "against {expected:.0f} of 100 had it gone on as before (odds ratio {ratio:.2f}, {low:.2f} to {high:.2f})."
    ),
    "worse": N_(
        "Worse: in the first {months} months after the change about {seen:.0f} of 100 cows looked at had {lesions}, "
        "against {expected:.0f} of 100 had it gone on as before (odds ratio {ratio:.2f}, {low:.2f} to {high:.2f})."
    ),
    "no-clear-change": N_(
        "No clear change: in the first {months} months after the change about {seen:.0f} of 100 cows looked at had "
        "{lesions}, against {expected:.0f} of 100 had it gone on as before; chance could do that (odds ratio "
        "{ratio:.2f}, {low:.2f} to {high:.2f})."
    ),
    "too-few": N_("Too few to say whether {lesions} changed: {reason}"),
}
"""Verdict -> the sentence of it."""

_AIMED = {
    "selection": N_("Counted is {lesions}, as chosen."),
    "stated": N_("Counted is {lesions}: what the change was written down to aim at."),
    "usual": N_(
        "Counted is {lesions}: what changes of this kind usually aim at (common practice); write down with the change "
        "what it aims at to count something else."
    ),
    "": N_("Counted is {lesions}: it was not written down what the change aims at."),
}


@memoize
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
        ``lesions`` (or families) say what a case is; else what the change aims at, as it was written down or as changes
        of its kind usually do; else any lesion. Counted are trims.
    change : date, optional
        First day of "after"; the newest change recorded for the farm by default.
    against : str, optional
        A farm that did not change, followed over the same time.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: term, estimate, low, high, p_value, headline. Terms: ``share before`` and ``share after`` (as seen,
        cows as clusters); the headline, ``odds ratio, first 12 months after the change against going on as before``
        (mean over 12 months or as many as there are; what the model with trend, season and kind of visit says, months
        wandering together); with three years of months on either side ``odds ratio, level at the change`` and ``odds
        ratio a month, slope after over before``; ``odds ratio a month before the change``; ``percentage points, first
        12 months after the change``; with ``against`` also ``odds ratio over that of the other farm``. ``headline`` is
        true once where there is an answer, else never.
        ``extra["verdict"]``: one row: verdict (better, worse, no-clear-change, too-few), months, seen, expected
        (shares), lesions (codes), aimed (selection, stated, usual or "").
        ``extra["series"]``: month, cases, at_risk, prevalence, fitted, counterfactual, cf_low, cf_high, after; fitted
        and counterfactual at the mean mix of visit kinds. ``extra["curve"]``: the same lines every half month (month,
        after, fitted, counterfactual, cf_low, cf_high). ``extra["changes"]``: the changes recorded.

    Raises
    ------
    UserError
        No change given or recorded, or a comparison farm that is not in the ledger or is the farm itself.

    References
    ----------
    Wagner AK et al. (2002) J Clin Pharm Ther 27:299-309. Lopez Bernal J, Cummins S, Gasparrini A (2017) Int J
    Epidemiol 46:348-355. Linden A (2015) Stata J 15:480-500 (two farms).
    """
    farms = ledger.farms(selection.allowed)
    known = changes(ledger, selection)
    chosen = selection.farms or (tuple(farms) if len(farms) == 1 else ())
    day, made = _made(known, chosen, change)
    of = tuple(made["farm"].unique())
    if against is not None and (against not in farms or against in chosen):
        others = [farm for farm in farms if farm not in chosen]
        raise UserError(
            say(
                "'{against}' cannot be the comparison farm; use one of {listed}.",
                against=against,
                listed=", ".join(others) or say("none here"),
            )
        )
    selection, aimed = _aimed_at(selection, made)
    sample = farm_sample(ledger, selection, first=of)
    selection = selection.with_(farms=sample.selection.farms)
    selection, widened = _enough_visits(ledger, selection, day, against)
    months, cows = before_after(ledger, selection, day, LESION.name)
    at = float(day.year * 12 + day.month)
    cells = _timed(months, day)
    found = held_change(cells, at, level=level)
    few = _few_cows(cows)
    verdict = _verdict(found, few, level)
    said = {"lesions": _named(selection), "aimed": aimed, "day": f"{day:%Y-%m-%d}", "what": _what(made)}
    notes = (*part_of_farms(sample), *_notes(found, verdict, said, widened))
    basis, cautions = series_basis(ledger, selection, LESION, level, _METHOD, notes)
    cautions += part_of_farms(sample)
    rows = [*_shares(cows, level), *_rows(found, few)]
    if against is not None:
        other, _ = before_after(ledger, selection.with_(farms=(against,)), day, LESION.name)
        compared = compared_change(cells, _timed(other, day), at, level=level)
        rows.append(_compared_row(compared))
        cautions += _compared_words(compared, against)
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    cautions += _cautions(found, few, verdict, said, months, of)
    extra = {
        "verdict": _verdict_row(found, verdict, selection, aimed),
        "series": _series(months, found),
        "curve": _curve(found),
        "changes": known,
    }
    return Answer("change-impact", table if len(months) else table.iloc[:0], basis, cautions, ("term",), extra)


def _made(known: pd.DataFrame, farms: tuple[str, ...], change: dt.date | None) -> tuple[dt.date, pd.DataFrame]:
    """The day, and what was changed on it."""
    if change is not None:
        return change, known[known["date"] == pd.Timestamp(change)]
    if len(farms) != 1:
        raise UserError(
            say("Say which change with --change, such as --change 2025-02-03, or choose one farm with --farm.")
        )
    if known.empty:
        raise UserError(
            say("No change is recorded for {farms}; say when it was with --change, such as 2025-02-03.", farms=farms[0])
        )
    return known["date"].iloc[0].date(), known[known["date"] == known["date"].iloc[0]]


def _what(made: pd.DataFrame) -> str:
    return "; ".join(dict.fromkeys(str(what) for what in made["what"])) or say("as given")


def _aimed_at(selection: Selection, made: pd.DataFrame) -> tuple[Selection, str]:
    """The selection of the lesions that the changes of the day aim at, unless it says some itself; and who says so."""
    if selection.lesions or selection.families:
        return selection, "selection"
    aimed = made[made["lesions"] != ""]
    if aimed.empty:
        return selection, "selection" if narrows_lesions(selection) else ""
    codes = dict.fromkeys(code for lesions in aimed["lesions"] for code in str(lesions).split())
    return selection.with_(lesions=tuple(codes)), "stated" if (aimed["aimed"] == "stated").all() else "usual"


def _named(selection: Selection) -> Message:
    """The lesions that count, in words."""
    if not selection.lesions:
        return say("any lesion") if not selection.families else say("a lesion of the kinds chosen")
    return listed([LESIONS[code].name if code in LESIONS else code for code in selection.lesions])


def _enough_visits(ledger: Ledger, selection: Selection, day: dt.date, against: str | None) -> tuple[Selection, bool]:
    """The selection, widened to other visits where whole-herd ones alone are too few months on any farm asked for."""
    if selection.visits != ("whole-herd",):
        return selection, False
    for farms in (selection.farms, *(((against,),) if against else ())):
        months, _ = before_after(ledger, selection.with_(farms=farms), day, LESION.name)
        each = months.groupby("after")["month"].nunique()
        if not len(months) or min(int(each.get(False, 0)), int(each.get(True, 0))) < LEAST_MONTHS:
            wide = selection.with_(visits=OTHER_VISITS)
            more, _ = before_after(ledger, wide.with_(farms=farms), day, LESION.name)
            if len(more) and (not len(months) or more["at_risk"].sum() > months["at_risk"].sum()):
                return wide, True
    return selection, False


def _timed(months: pd.DataFrame, day: dt.date) -> pd.DataFrame:
    """Months numbered; what came before the day in its own month stands half a month before it.

    Few farms have a level each. Many are taken together, with the share that each month's mix of farms would have as an
    offset.
    """
    number = (months["month"].dt.year * 12 + months["month"].dt.month).astype(float)
    split = (number == day.year * 12 + day.month) & ~months["after"]
    frame = months.assign(time=number - 0.5 * split, n=months["at_risk"])
    if frame["farm"].nunique() < FEW_CLUSTERS:
        return frame
    sums = frame.groupby(["farm", "kind"])[["cases", "n"]].transform("sum")
    frame = frame.assign(expected=frame["n"] * (sums["cases"] + 0.5) / (sums["n"] + 1.0))
    frame = frame.groupby(["time", "kind"], as_index=False)[["cases", "n", "expected"]].sum()
    mean = frame.groupby("kind")[["expected", "n"]].transform("sum")
    here, usual = frame["expected"] / frame["n"], mean["expected"] / mean["n"]
    return frame.assign(offset=np.log(here / (1 - here)) - np.log(usual / (1 - usual)))


def _few_cows(cows: pd.DataFrame) -> bool:
    each = cows.groupby("after")["cow"].size()
    return min(int(each.get(False, 0)), int(each.get(True, 0))) < LEAST_COWS


Row = tuple[str, float, float, float, float, bool]


def _shares(cows: pd.DataFrame, level: float) -> list[Row]:
    out: list[Row] = []
    for side, term in ((False, say("share before")), (True, say("share after"))):
        part = cows[cows["after"] == side]
        if part.empty:
            out.append((term, math.nan, math.nan, math.nan, math.nan, False))
            continue
        names = ["sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters"]
        sums = pd.DataFrame([cluster_sums(part["cases"], part["at_risk"])], columns=names)
        limits = limits_of(sums, "cow", level).table.iloc[0]
        share = part["cases"].sum() / part["at_risk"].sum()
        out.append((term, float(share), float(limits["low"]), float(limits["high"]), math.nan, False))
    return out


def _term(found: HeldChange, term: str) -> tuple[float, float, float, float]:
    """Ratio, limits and p-value of a term."""
    row = found.terms[found.terms["term"] == term]
    ratio, low, high, p_value = (float(row[name].to_numpy()[0]) for name in ("ratio", "low", "high", "p_value"))
    return ratio, low, high, p_value


def _sloped(found: HeldChange) -> bool:
    """Whether a change of slope was fitted."""
    return not math.isnan(_term(found, "slope")[0])


def _rows(found: HeldChange, few: bool) -> list[Row]:
    nan = math.nan
    rows: list[Row] = []
    for term, words in _TERMS.items():
        if term in _FITTED_LATER and not _sloped(found):
            continue
        ratio, low, high, p_value = (nan,) * 4 if few else _term(found, term)
        rows.append((words, ratio, low, high, p_value, term == "effect" and not math.isnan(ratio)))
    points = (nan,) * 3 if few else (found.difference, found.difference_low, found.difference_high)
    words = say("percentage points, first 12 months after the change")
    rows.append((words, *(100 * point for point in points), nan, False))  # type: ignore[arg-type]
    return rows


def _verdict(found: HeldChange, few: bool, level: float) -> str:
    ratio, _, _, p_value = _term(found, "effect")
    if few or math.isnan(ratio):
        return "too-few"
    if p_value >= 1 - level:
        return "no-clear-change"
    return "better" if ratio < 1 else "worse"


def _verdict_row(found: HeldChange, verdict: str, selection: Selection, aimed: str) -> pd.DataFrame:
    known = verdict != "too-few"
    return pd.DataFrame(
        {
            "verdict": [verdict],
            "months": [found.months if known else math.nan],
            "seen": [found.fitted if known else math.nan],
            "expected": [found.expected if known else math.nan],
            "lesions": [" ".join(selection.lesions)],
            "aimed": [aimed],
        }
    )


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


def _compared_row(found: ComparedChange) -> Row:
    words = say("odds ratio over that of the other farm")
    return words, found.ratio, found.low, found.high, found.p_value, False


def _compared_words(found: ComparedChange, against: str) -> tuple[Message, ...]:
    if found.reason:
        return (say("Not enough to compare with {farm}: {reason}", farm=against, reason=found.reason),)
    return (
        say(
            "The comparison with {farm} gives each farm its own trend and allows for how the months of both wander. It "
            "knows only two farms: anything else that happened on one of them counts too.",
            farm=against,
        ),
    )


def _notes(found: HeldChange, verdict: str, said: dict[str, str], widened: bool) -> tuple[Message, ...]:
    notes = [
        say("The change: {what}, from {day} on.", what=said["what"], day=said["day"]),
        say(_AIMED[said["aimed"]], lesions=said["lesions"]),
    ]
    if widened:
        notes.append(
            say(
                "Whole-herd visits alone are too few months, so part-herd and lame-cow visits are used too, each "
                "kind of visit held alike. Shares before and after are of all of them; the lines are drawn for the "
                "mean mix of visits, and a month with more lame-cow visits than usual lies above them."
            )
        )
    if verdict == "too-few":
        return tuple(notes)
    ratio, low, high, _ = _term(found, "effect")
    notes.append(
        say(
            VERDICTS[verdict],
            months=f"{found.months:.0f}",
            seen=100 * found.fitted,
            expected=100 * found.expected,
            lesions=said["lesions"],
            ratio=ratio,
            low=low,
            high=high,
        )
    )
    if not _sloped(found):
        notes.append(
            say(
                "The change is taken to have worked at once and for good: {n} months with records on either side are "
                "needed to tell how it went on.",
                n=SLOPE_TIMES,
            )
        )
    notes.append(
        say(
            "Beside chance, months are taken to differ from the line by a standard deviation of {spread:.2f} log odds, "
            "neighbouring months with a correlation of {correlation:.1f}. The limits allow for both.",
            spread=found.spread,
            correlation=found.correlation,
        )
    )
    return tuple(notes)


def _cautions(
    found: HeldChange, few: bool, verdict: str, said: dict[str, str], months: pd.DataFrame, of: tuple[str, ...]
) -> tuple[Message, ...]:
    if months.empty:
        return ()
    if verdict == "too-few":
        reason = found.reason
        if few and not reason:
            reason = say("fewer than {n} cows were looked at before the change or after it.", n=LEAST_COWS)
        return (say(VERDICTS["too-few"], lesions=said["lesions"], reason=reason),)
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
    return tuple(out)
