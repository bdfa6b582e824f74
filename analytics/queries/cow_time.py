"""Time at risk: cow-days in the herd, split exactly by calendar and by what is known of the cow.

Every stretch of a cow's time adds 1 on the day it starts and takes 1 away on the day it stops. The engine
sums these by day; the cow-days up to any day T are then the sum of ``change * (T - day)`` over the days
before it, so that any split by month, season or year is exact and no row a cow and month is ever brought.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.engine import Question, built_once, fetch_many, question_of, table
from evenfoot.analytics.queries.episodes import farm_spans
from evenfoot.analytics.queries.filters import NOT_RECORDED, grouped, of_farm_and_period, trims
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

OF_CALENDAR = ("month", "quarter", "season", "year")
OF_COW = ("farm", "housing", "floor", "bedding", "wetness", "group", "parity", "breed", "sire")
"""Groupings cow time can be split by."""

WATCHED_DAYS = 183
"""Herds are trimmed twice a year as a rule [pub: University of Kentucky, Hoof Trimming of Dairy Cows: 2], so
a visit speaks for the half year before it, and the time of a period asked for counts at most half a year
before a farm's first visit and after its last."""


@dataclass(frozen=True)
class CowTime:
    """What :func:`cow_time` found.

    ``table`` has the grouping columns, those of the cluster and ``cow_days``. ``cows`` had time at risk,
    ``unregistered`` of them without a date of entry, so that they count from first to last trim. ``days`` is the
    length of the time covered, over all farms. ``met`` has, where clusters were asked for, how many cows had time in
    each group on each farm: the groupings that are not of the calendar, farm_key, cows.
    """

    table: pd.DataFrame
    cows: int
    unregistered: int
    days: int
    met: pd.DataFrame


def cow_time(ledger: Ledger, selection: Selection, by: tuple[str, ...] = (), cluster: tuple[str, ...] = ()) -> CowTime:
    """Cow-days in the herd.

    A registered cow counts from her entry or first calving, whichever is later (but not later than her first
    trim), to the day she left. Any other cow counts from her first to her last trim. All within the period;
    without one, from the farm's first visit to its last. Time between two records of a cow (trims and
    scorings) is told as the later record tells it, since what is found then came up in that time; time after
    the last record as the last one does.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, period, visits (which cover the time), cows and what is known of them.
    by : tuple of str
        Any of ``OF_COW`` and ``OF_CALENDAR``.
    cluster : tuple of str
        ``("farm",)`` or ``("farm", "cow")``: each group is split by it as well, in columns farm_key and cow_key.

    Returns
    -------
    CowTime

    Raises
    ------
    UserError
        A grouping that cow time does not have.
    """
    by = tuple(dict.fromkeys(by))
    for name in by:
        if name not in (*OF_COW, *OF_CALENDAR):
            raise UserError(
                say(
                    "Time at risk cannot be split by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join((*OF_COW, *OF_CALENDAR)),
                )
            )
    of_cow = tuple(name for name in by if name in OF_COW)
    frames = fetch_many(ledger, _questions(selection, of_cow, cluster))
    changes = frames["changes"]
    changes = changes.assign(day=pd.to_datetime(changes["day"]))
    seen = frames["seen"].fillna(0).iloc[0]
    days = 0
    if len(changes):
        days = int((changes["day"].max() - changes["day"].min()).days)
    calendar = tuple(name for name in by if name in OF_CALENDAR)
    clusters = tuple(f"{name}_key" for name in cluster)
    split = _split(changes, (*of_cow, *clusters), calendar, selection)
    met = frames["met"] if cluster else pd.DataFrame()
    return CowTime(split[[*by, *clusters, "cow_days"]], int(seen["cows"]), int(seen["unregistered"]), days, met)


@built_once
def _questions(selection: Selection, of_cow: tuple[str, ...], cluster: tuple[str, ...]) -> dict[str, Question]:
    stays = _stays(selection)
    pieces = _pieces(stays, selection, of_cow)
    pieces = pieces.mutate(farm_key=pieces.farm, cow_key=pieces.cow)
    groups = [f"by_{name}" for name in of_cow]
    keys = [*groups, *(f"{name}_key" for name in cluster)]
    starts = pieces.select(*keys, day=pieces.start, change=ibis.literal(1).cast("int64"))
    stops = pieces.select(*keys, day=pieces.stop, change=ibis.literal(-1).cast("int64"))
    both = ibis.union(starts, stops)
    changes = both.group_by([*keys, "day"]).agg(change=both.change.sum().cast("int64"))
    animals = pieces.group_by(["farm", "cow"]).agg(unregistered=pieces.unregistered.max())
    seen = animals.agg(cows=animals.count(), unregistered=animals.unregistered.sum())
    named = {name: f"by_{name}" for name in of_cow}
    out = {"changes": question_of(changes.rename(named)), "seen": question_of(seen)}
    if cluster:
        each = pieces.select(*groups, "farm_key", "cow_key").distinct()
        met = each.group_by([*groups, "farm_key"]).agg(cows=each.count())
        out["met"] = question_of(met.rename(named))
    return out


def _stays(selection: Selection) -> ir.Table:
    """One row a cow: farm, cow, breed, sire, start, stop (the day after the last), unregistered (0 or 1)."""
    day = ibis.interval(days=1)
    reach = ibis.interval(days=WATCHED_DAYS)
    spans = farm_spans(selection)
    if selection.since:
        since = ibis.literal(selection.since).cast("date")
        opens = ibis.greatest(since, (spans.first - reach).cast("date"))
    else:
        opens = spans.first
    if selection.until:
        after = ibis.literal(selection.until + dt.timedelta(days=1)).cast("date")
        closes = ibis.least(after, (spans.last + reach).cast("date"))
    else:
        closes = (spans.last + day).cast("date")
    spans = spans.mutate(opens=opens, closes=closes)

    seen = trims(Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",)))
    seen = seen.group_by(["farm", "cow"]).agg(seen_first=seen.visit_date.min(), seen_last=seen.visit_date.max())
    calved = table("calvings")
    calved = calved.group_by(["farm", "cow"]).agg(calved_first=calved.calved_on.min())
    cows = table("cows")
    if selection.cows:
        cows = cows.filter(cows.cow.isin(selection.cows))
    if selection.breeds:
        cows = cows.filter(cows.breed.fill_null(NOT_RECORDED).isin(selection.breeds))
    out = cows.join(spans, "farm")
    out = out.join(seen, ["farm", "cow"], how="left").drop("farm_right", "cow_right")
    out = out.join(calved, ["farm", "cow"], how="left").drop("farm_right", "cow_right")
    came = ibis.greatest(
        ibis.coalesce(out.entered_on, out.calved_first), ibis.coalesce(out.calved_first, out.entered_on)
    )
    known = out.registered.fill_null(False) & came.notnull()
    start = ibis.ifelse(known, ibis.least(came, ibis.coalesce(out.seen_first, came)), out.seen_first)
    stop = ibis.ifelse(known, ibis.coalesce(out.left_on, out.closes), out.seen_last)
    out = out.mutate(
        start=ibis.greatest(start, out.opens),
        stop=ibis.least(stop, out.closes),
        unregistered=(~known).cast("int64"),
        met=start.notnull() & stop.notnull(),
    )
    out = out.filter(out.met & (out.start < out.stop))
    return out.select("farm", "cow", "breed", "sire", "start", "stop", "unregistered")


_CHANGING = ("housing", "floor", "bedding", "wetness", "group", "parity")


def _pieces(stays: ir.Table, selection: Selection, of_cow: tuple[str, ...]) -> ir.Table:
    """Stays cut where what is known of the cow changes, with the ``by_`` columns."""
    narrowed = bool(selection.groups or selection.housing or selection.floor or selection.parity)
    if not narrowed and not set(of_cow) & set(_CHANGING):
        return stays.mutate(**{f"by_{name}": grouped(stays, name, selection) for name in of_cow})
    plain = Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",), cows=selection.cows)
    sources = [
        of_farm_and_period(name, plain).select("farm", "cow", "visit_date", *_CHANGING) for name in ("trims", "scores")
    ]
    records = ibis.union(*sources)
    records = records.group_by(["farm", "cow", "visit_date"]).agg(**{name: records[name].max() for name in _CHANGING})
    in_order = ibis.window(group_by=["farm", "cow"], order_by="visit_date")
    records = records.mutate(
        after=records.visit_date.lag().over(in_order), next_on=records.visit_date.lead().over(in_order)
    )
    out = stays.join(records, ["farm", "cow"], how="left").drop("farm_right", "cow_right")
    out = out.mutate(
        start=ibis.greatest(out.start, ibis.coalesce(out.after, out.start)),
        stop=ibis.ifelse(out.next_on.isnull(), out.stop, ibis.least(out.stop, ibis.coalesce(out.visit_date, out.stop))),
    )
    out = out.filter(out.start < out.stop)
    fields = {
        "group": selection.groups,
        "housing": selection.housing,
        "floor": selection.floor,
        "parity": selection.parity,
    }
    for name, wanted in fields.items():
        if wanted:
            out = out.filter(grouped(out, name, selection).isin(wanted))
    return out.mutate(**{f"by_{name}": grouped(out, name, selection) for name in of_cow})


_ROWS_AT_ONCE = 50_000
"""Changes whose days are laid out beside the months at once: some 20 MB for four years. [common practice, no source]"""


def _split(
    changes: pd.DataFrame, of_cow: tuple[str, ...], calendar: tuple[str, ...], selection: Selection
) -> pd.DataFrame:
    """Cow-days by group and calendar, from the changes by day."""
    if changes.empty and not of_cow and not calendar:
        return pd.DataFrame({"cow_days": [0.0]})
    if changes.empty:
        return pd.DataFrame(columns=[*of_cow, *calendar, "cow_days"]).astype({"cow_days": "float64"})
    whole = not calendar and not selection.seasons
    first, last = changes["day"].min(), changes["day"].max()
    if whole:
        edges = pd.DatetimeIndex([first, last])
    else:
        edges = pd.date_range(first.replace(day=1), last + pd.offsets.MonthBegin(1), freq="MS")
    at = edges.to_numpy().astype("datetime64[D]").astype("int64")
    day = changes["day"].to_numpy().astype("datetime64[D]").astype("int64")
    change = changes["change"].to_numpy(dtype="int64")
    grouping = changes.groupby(list(of_cow), dropna=False) if of_cow else None
    code = np.zeros(len(changes), dtype="int64") if grouping is None else grouping.ngroup().to_numpy()
    before = np.zeros((int(code.max()) + 1, len(at)), dtype="int64")
    for first_row in range(0, len(changes), _ROWS_AT_ONCE):
        some = slice(first_row, first_row + _ROWS_AT_ONCE)
        np.add.at(before, code[some], np.clip(at[None, :] - day[some, None], 0, None) * change[some, None])
    spent = np.diff(before, axis=1)
    row, edge = np.nonzero(spent > 0)
    out = pd.DataFrame({"start": edges[:-1].take(edge), "cow_days": spent[row, edge].astype(float)})
    if of_cow:
        place = pd.Series(np.arange(len(changes))).groupby(code).first().to_numpy()
        for name in of_cow:
            out[name] = changes[name].take(place[row]).array
    seasons = SEASON_OF_MONTH[selection.hemisphere]
    out = out.assign(
        month=out["start"],
        quarter=out["start"].dt.to_period("Q").dt.start_time,
        year=out["start"].dt.year.astype("int64"),
        season=out["start"].dt.month.map(lambda month: str(seasons[month])),
    )
    if selection.seasons:
        out = out[out["season"].isin(selection.seasons)]
    keys = [*of_cow, *calendar]
    if not keys:
        return pd.DataFrame({"cow_days": [float(out["cow_days"].sum())]})
    summed: pd.DataFrame = out.groupby(keys)["cow_days"].sum().reset_index()
    return summed
