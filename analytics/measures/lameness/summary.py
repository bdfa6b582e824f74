"""Is each farm better, worse or not clearly changed: lameness, and every lesion."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.herd_visits import HerdVisits, scoring_visits, trim_visits
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.newest_period import Comparison, Expectation, Herd, compare, cow_variance_factors, expect

PERIOD_DAYS = 75
"""Visits so shortly before the newest are judged together with it: three of a herd seen monthly, one of a herd seen
each quarter. [common practice, no source]"""

HISTORY_YEARS = 3
"""How far back the herd's own visits are looked at. [common practice, no source]"""

YEAR_DAYS = 365.25
SEASON_DAYS = 46
"""A visit so many days off a year earlier is one of the same months. [common practice, no source]"""

TOO_WIDE = 0.25
"""Where even so many more of every cow would look like chance, there are too few records to say.
[common practice, no source]"""

MANY_VISITS = 8
"""With so many earlier visits it is how they differ, and not how few they are, that hides a change.
[common practice, no source]"""

ONLY_LAME = 0.9
"""Where so large a share of the cows scored are lame, only lame cows were written down.
[common practice, no source]"""

LAME_COUNTS = 2.5
"""How many times the share of error of a lesion goes to lameness, which is what is asked first.
[common practice, no source]"""

KINDS = ("whole-herd", "part-herd", "unknown")
"""Kinds of visit that can be compared with each other, the best first. Lame-cow calls and rechecks look at chosen cows
only, so they say nothing of the herd (Solano et al. 2016, J Dairy Sci 99:6828)."""

FARMS_AT_ONCE = 50
"""Farms whose looks are held in memory together."""

VERDICTS = ("worse", "better", "no-clear-change", "too-few")

COLUMNS = (
    "farm", "what", "now_cases", "now_at_risk", "now", "before", "last_year", "recent", "expected", "difference", "low",
    "high", "verdict", "reason", "kind", "first", "last", "visits", "looks", "detectable",
)  # fmt: skip


@memoize
def summary(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Give every farm's verdicts: worse, better, no clear change, too few to say.

    The newest visit is judged together with those of the 75 days before it. They are compared with what the herd's own
    visits of the three years before lead one to expect in the same months. Only visits of one kind are compared, and
    scores of one scale. The comparison allows for

    - the number of things compared: weighted Bonferroni over everything of one farm (Genovese, Roeder and Wasserman
      2006, Biometrika 93:509-524), so that of farms in which nothing changes at most one in twenty gets any verdict;
    - the cows that are in both periods, who are compared with themselves;
    - visits that differ more than cows do: a random visit effect, its spread estimated from the herd's own visits and
      drawn towards a stated value where they are few (Williams 1982, Applied Statistics 31:144-148);
    - season: a yearly wave, drawn towards none.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``until`` says what "now" is; ``since`` and ``visits`` are not applied. ``lesions`` narrow the rows shown.
    level : float
        Written into the basis. The limits always allow for all comparisons of a farm.

    Returns
    -------
    Answer
        ``table``, one row a farm and outcome: farm; what (``lame``, ``severe``, ``any`` or a lesion code); now_cases
        and now_at_risk, in cows, at the newest visit, and now, their share; before, the share of cow looks at the
        visits of the year before; last_year, the share in the same months a year earlier; recent, the share over the
        newest visits, which are judged together; expected, the share that earlier visits lead one to expect;
        difference (recent less expected) with low and high;
        verdict (``worse``, ``better``, ``no-clear-change`` or ``too-few``) and reason, a sentence; kind of visit,
        first and last day of the newest visit; visits and looks, how many were judged together; detectable, the
        smallest rise that these records could show. Proportions lie between 0 and 1. A verdict is given exactly where
        ``low`` is above 0 or ``high`` below it. ``extra["visits"]``: farm, what, date, cases, at_risk, one row a visit.

    References
    ----------
    See :mod:`evenfoot.analytics.stats.newest_period`.
    """
    asked = selection.with_(since=None, visits=("all",), lesions=(), families=(), zones=(), severity=())
    rows: list[pd.DataFrame] = []
    history: list[pd.DataFrame] = []
    names = [name for name in ledger.farms(selection.allowed) if not selection.farms or name in selection.farms]
    for start in range(0, len(names), FARMS_AT_ONCE):
        part = asked.with_(farms=tuple(names[start : start + FARMS_AT_ONCE]))
        table, visits = judge_farms(part.farms, scoring_visits(ledger, part), trim_visits(ledger, part))
        rows.append(table)
        history.append(visits)
    table = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame(columns=list(COLUMNS))
    if selection.lesions:
        table = table[table["what"].isin(selection.lesions)].reset_index(drop=True)
    kinds = tuple(dict.fromkeys(table["kind"])) or KINDS
    scored_only = bool(len(table)) and set(table["what"]) <= {"lame", "severe"}
    basis, cautions = basis_of(
        ledger,
        asked.with_(visits=kinds),
        level=level,
        method=METHOD,
        source="scores" if scored_only else "trims",
        notes=(_NOTE,),
    )
    visits = pd.concat(history, ignore_index=True) if history else pd.DataFrame(columns=list(_VISIT_COLUMNS))
    if table.empty and basis.cows:
        cautions += (say("There is no visit that looked at the herd, so nothing can be said of better or worse."),)
    return Answer("summary", table[list(COLUMNS)], basis, cautions, ("farm", "what"), {"visits": visits})


METHOD: Message = say(
    "predictive test of the newest visits on the herd's own earlier ones (season, visits and cows allowed for), limits "
    "simultaneous for everything compared on a farm"
)
_NOTE: Message = say(
    "Worse or better is said only where a farm in which nothing changes would show as much in at most one of twenty."
)
_VISIT_COLUMNS = ("farm", "what", "date", "cases", "at_risk")


Days = npt.NDArray[np.datetime64]
Counts = npt.NDArray[np.float64]


@dataclass(frozen=True)
class _Source:
    """The comparable visits of one farm: trims, or scorings.

    Visits have a first and a last day, and are of the newest period or not. ``looked`` are cows looked at, an entry a
    visit; ``cases`` cows with each outcome (rows) at each visit (columns). ``expectation`` is missing where there are
    too few.
    """

    kind: str
    outcomes: tuple[str, ...]
    first: Days
    last: Days
    newest: npt.NDArray[np.bool_]
    looked: Counts
    cases: Counts
    others: Message | None
    expectation: Expectation | None


Columns = dict[str, npt.NDArray[Any]]


def _sources(farms: Sequence[str], visits: HerdVisits | None, fixed: tuple[str, ...]) -> dict[str, _Source]:
    """Of each farm the visits of the best kind there is, on the newest scale, of the last years.

    The outcomes are *fixed*; where there are none, any lesion and every lesion found.
    """
    if visits is None:
        return {}
    looks, found = visits.looks, visits.cases
    cow = pd.factorize(pd.concat([looks["cow"], found["cow"]]))[0]
    looked = _by_farm(farms, looks.assign(cow=cow[: len(looks)]))
    cases = _by_farm(farms, found.assign(cow=cow[len(looks) :]))
    people = _by_farm(farms, visits.people)
    best = {farm: next((kind for kind in KINDS if (looked[farm]["kind"] == kind).any()), None) for farm in farms}
    return {farm: _source(kind, looked[farm], cases[farm], people[farm], fixed) for farm, kind in best.items() if kind}


def _by_farm(farms: Sequence[str], rows: pd.DataFrame) -> dict[str, Columns]:
    columns = {str(name): rows[name].to_numpy() for name in rows}
    places, none = rows.groupby("farm").indices, np.array([], dtype=int)
    return {farm: {name: values[places.get(farm, none)] for name, values in columns.items()} for farm in farms}


def _source(kind: str, looks: Columns, found: Columns, people: Columns, fixed: tuple[str, ...]) -> _Source:
    of_kind = looks["kind"] == kind
    looks = {name: values[of_kind] for name, values in looks.items()}
    newest_look = looks["visit_date"].argmax()
    today, scale = looks["visit_date"][newest_look], looks["scale"][newest_look]
    same = looks["scale"] == scale
    recent = same & (looks["visit_date"] > _before(today, PERIOD_DAYS + HISTORY_YEARS * YEAR_DAYS))
    dates = looks["visit_date"][recent]
    # Looks come in the order of their visits.
    numbers, begins, visit = np.unique(looks["visit"][recent], return_index=True, return_inverse=True)
    first, last = np.minimum.reduceat(dates, begins), np.maximum.reduceat(dates, begins)
    newest = last > _before(today, PERIOD_DAYS)
    cows, cow = np.unique(looks["cow"][recent], return_inverse=True)
    # Who was looked at, visits x cows, and who had what, outcomes x visits x cows.
    seen = np.zeros((len(numbers), len(cows)), dtype=bool)
    seen[visit, cow] = True
    kept = (found["kind"] == kind) & (found["scale"] == scale)
    kept &= np.isin(found["visit"], numbers) & np.isin(found["cow"], cows)
    found = {name: values[kept] for name, values in found.items()}
    outcomes = fixed or ("any", *sorted(set(found["what"]) - {"any"}))
    what = np.array([outcomes.index(name) for name in found["what"]], dtype=int)
    ill = np.zeros((len(outcomes), *seen.shape), dtype=bool)
    ill[what, np.searchsorted(numbers, found["visit"]), np.searchsorted(cows, found["cow"])] = True
    # The first days of the oldest visit may lie too far back.
    ill &= seen
    others = SELECTIVE.get(kind) or _other_people(people, first[newest].min(), not same.all())
    looked, cases = seen.sum(axis=1).astype(float), ill.sum(axis=2).astype(float)
    source = _Source(kind, outcomes, first, last, newest, looked, cases, others, None)
    if not _enough(source):
        return source
    years = _days(last - np.datetime64("2000-01-01")) / YEAR_DAYS
    change, earlier = cow_variance_factors(ill, seen, years * YEAR_DAYS, newest)
    return dataclasses.replace(source, expectation=expect(cases, looked, years, newest, change, earlier))


def _before(day: np.datetime64, days: float) -> np.datetime64:
    return day - pd.Timedelta(days=days).to_timedelta64()


def _days(times: npt.NDArray[np.timedelta64]) -> Counts:
    return times.astype("timedelta64[D]").astype(float)


SELECTIVE: dict[str, Message] = {
    "part-herd": say("Only part of the herd was looked at, as a rule the lame first: this says little of the herd."),
    "unknown": say("How much of the herd was looked at is not known."),
}
"""What is said of visits that may not stand for the herd."""


def _other_people(people: Columns, begin: np.datetime64, other_scale: bool) -> Message | None:
    """What else changed between the periods: who looked, or the scale."""
    lately = people["visit_date"] >= begin
    now, before = set(people["who"][lately]), set(people["who"][~lately])
    if now and before and not now & before:
        return say("Somebody else looked at the earlier visits, which alone can move the figure.")
    if other_scale:
        return say("Scores on another scale are left out.")
    return None


def _other_months(source: _Source) -> Message | None:
    """Whether the newest visit falls into months in which the herd was not seen in any earlier year."""
    days = _days(source.last.max() - source.last[~source.newest])
    off = np.abs(days - YEAR_DAYS * np.maximum(np.round(days / YEAR_DAYS), 1))
    if not len(days) or (off <= SEASON_DAYS).any():
        return None
    return say("No earlier visit fell in these months of the year, and lesions have a season.")


def judge_farms(
    farms: Sequence[str], scored: HerdVisits | None, trimmed: HerdVisits | None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the verdicts of farms, each by itself.

    Parameters
    ----------
    farms : sequence of str
    scored, trimmed : HerdVisits, optional
        Their locomotion scorings and their trims.

    Returns
    -------
    table : pandas.DataFrame
        ``COLUMNS``, one row a farm and outcome.
    visits : pandas.DataFrame
        farm, what, date, cases, at_risk, one row a farm, outcome and visit.
    """
    both = _sources(farms, scored, ("lame", "severe")), _sources(farms, trimmed, ())
    found = {farm: [each[farm] for each in both if farm in each] for farm in farms}
    herds: list[Herd] = []
    for sources in found.values():
        ready = [source for source in sources if source.expectation is not None]
        importance = [np.where(np.array(source.outcomes) == "lame", LAME_COUNTS, 1.0) for source in ready]
        herds.append(([source.expectation for source in ready if source.expectation], importance))
    rows, visits = [], []
    for (farm, sources), compared in zip(found.items(), compare(herds), strict=True):
        left = iter(compared)
        for source in sources:
            rows += _rows(farm, source, next(left) if source.expectation else None)
            visits.append(
                pd.DataFrame(
                    {
                        "farm": farm,
                        "what": np.repeat(source.outcomes, len(source.last)),
                        "date": np.tile(source.last, len(source.outcomes)),
                        "cases": source.cases.ravel().astype("int64"),
                        "at_risk": np.tile(source.looked.astype("int64"), len(source.outcomes)),
                    }
                )
            )
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    reasons = pd.Series([row["reason"] for row in rows], dtype=object)
    history = pd.concat(visits, ignore_index=True) if visits else pd.DataFrame(columns=list(_VISIT_COLUMNS))
    return table.assign(reason=reasons), history


def _enough(source: _Source) -> bool:
    newest = source.newest
    enough = (~newest).any() and min(source.looked[newest].max(), source.looked[~newest].max()) >= FEW_COWS
    return bool(enough and not _only_lame(source))


def _only_lame(source: _Source) -> bool:
    """Whether the scorings are lists of lame cows, which cannot say how many of the herd are lame."""
    if source.kind == "whole-herd" or "lame" not in source.outcomes:
        return False
    lame = source.cases[source.outcomes.index("lame")].sum()
    return bool(lame >= ONLY_LAME * source.looked.sum())


def _rows(farm: str, source: _Source, compared: Comparison | None) -> list[dict[str, Any]]:
    """A row an outcome, as ``COLUMNS`` has them."""
    counts, at_risk, newest = source.cases, source.looked, source.newest
    days = _days(source.last[-1] - source.last)
    begin = days[newest].max()
    nan = np.full(len(source.outcomes), math.nan)
    columns = {
        "what": source.outcomes,
        "now_cases": counts[:, -1].astype(int).tolist(),
        "now": (counts[:, -1] / at_risk[-1]).tolist(),
        "before": _share(counts, at_risk, ~newest & (days <= begin + YEAR_DAYS)),
        "last_year": _share(counts, at_risk, ~newest & (np.abs(days - YEAR_DAYS) <= SEASON_DAYS)),
        "recent": (nan if compared is None else compared.expected + compared.difference).tolist(),
        **{
            name: (nan if compared is None else getattr(compared, name)).tolist()
            for name in ("expected", "difference", "low", "high", "detectable")
        },
        "verdict": _verdicts(compared, len(source.outcomes)),
    }
    of_all = {
        "farm": farm,
        "now_at_risk": int(at_risk[-1]),
        "kind": source.kind,
        "first": pd.Timestamp(source.first[-1]),
        "last": pd.Timestamp(source.last[-1]),
        "visits": int(newest.sum()),
        "looks": int(at_risk[newest].sum()),
    }
    rows: list[dict[str, Any]] = [
        of_all | dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)
    ]
    return [row | {"reason": _reason(row, row["verdict"], source)} for row in rows]


def _share(counts: Counts, at_risk: Counts, which: npt.NDArray[np.bool_]) -> list[float]:
    looked = at_risk[which].sum()
    return [float(n) / looked if looked else math.nan for n in counts[:, which].sum(axis=1)]


def _verdicts(compared: Comparison | None, outcomes: int) -> list[str]:
    if compared is None:
        return ["too-few"] * outcomes
    cases = [compared.worse, compared.better, compared.detectable > TOO_WIDE]
    return [str(word) for word in np.select(cases, ["worse", "better", "too-few"], "no-clear-change")]


def _reason(row: dict[str, Any], verdict: str, source: _Source) -> Message:
    """Why the verdict is what it is, in one sentence; a second one where part of the herd, others or a scale matter."""
    if verdict in ("worse", "better"):
        said = _called(row)
    elif not isinstance(row["detectable"], float) or math.isnan(row["detectable"]):
        said = _too_few(source)
    else:
        more = max(1, math.ceil(100 * row["detectable"] - 1e-6))
        if verdict == "too-few" and (~source.newest).sum() >= MANY_VISITS:
            said = say(
                "Its earlier visits differ so much from each other that even {more} more of 100 cows would look like "
                "chance; look at the months one by one.",
                more=more,
            )
        elif verdict == "too-few":
            said = say("Even {more} more of 100 cows would look like chance here.", more=more)
        else:
            said = _unchanged(row, more)
    # Where nothing is called, months never seen before change nobody's mind.
    besides = (
        None
        if _only_lame(source)
        else source.others or (_other_months(source) if verdict in ("worse", "better") else None)
    )
    return say("{first} {second}", first=said, second=besides) if besides else said


def _shares(row: dict[str, Any]) -> dict[str, Any]:
    """Recent and usual cows of 100, and what the recent ones rest on."""
    recent, usual = (f"{100 * float(row[name]):.0f}" for name in ("recent", "expected"))
    return {"now": recent, "usual": usual, "looks": row["looks"], "visits": row["visits"]}


def _unchanged(row: dict[str, Any], more: int) -> Message:
    if row["visits"] == 1:
        return say("Fewer than {more} more of 100 cows would look like chance here.", more=more)
    return say(
        "Over the last {visits} visits {now} of 100, where {usual} would be usual. Fewer than {more} more of 100 "
        "cows would look like chance here.",
        more=more,
        **_shares(row),
    )


def _called(row: dict[str, Any]) -> Message:
    values = _shares(row)
    if row["visits"] == 1:
        return say("{now} of 100 cows, where {usual} would be usual for this herd and season.", **values)
    return say(
        "{now} of 100 over the last {visits} visits ({looks} looks at cows), where {usual} would be usual for this "
        "herd and season.",
        **values,
    )


def _too_few(source: _Source) -> Message:
    if _only_lame(source):
        return say(
            "Nearly all cows written down are lame, so these lists cannot show whether more of the herd are. Score the "
            "whole herd, or a sample of it."
        )
    newest = source.newest
    if newest.all():
        return say("There is no earlier visit of the same kind to compare with.")
    now, before = int(source.looked[newest].max()), int(source.looked[~newest].max())
    if now < FEW_COWS:
        return say("Only {n} cows were looked at; it takes {least} to say.", n=now, least=FEW_COWS)
    return say("Only {n} cows were looked at before; it takes {least} to say.", n=before, least=FEW_COWS)
