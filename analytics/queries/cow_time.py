"""Time at risk: cow-days in the herd, split exactly by calendar and by what is known of the cow.

Every stretch of a cow's time adds 1 on the day it starts and takes 1 away on the day it stops. The engine
sums these by day; the cow-days up to any day T are then the sum of ``change * (T - day)`` over the days
before it, so that any split by month, season or year is exact and no row a cow and month is ever brought.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.episodes import farm_spans
from evenfoot.analytics.queries.filters import grouped, of_farm_and_period, or_unsaid, trims
from evenfoot.analytics.queries.selection import Selection

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


def _questions(selection: Selection, of_cow: tuple[str, ...], cluster: tuple[str, ...]) -> dict[str, str]:
    """Questions on the stretches of the cows' time.

    Returns
    -------
    dict of str to str
        ``changes``: the groupings, farm_key and cow_key of the cluster, day, change (cows that start less cows that
        stop). ``seen``: cows, unregistered (of them). ``met``, with a cluster: the groupings, farm_key, cows.
    """
    pieces = _pieces(_stays(selection), selection, of_cow)
    groups = [f"by_{name}" for name in of_cow]
    named = sql.listed({name: sql.name(f"by_{name}") for name in of_cow})
    clusters = [f"{name}_key" for name in cluster]
    keys = [*groups, *clusters]
    at_day = [*keys, "day"]
    starts = f"SELECT {sql.commas(sql.names(keys), 'start AS day', '1 AS change')} FROM pieces"
    stops = f"SELECT {sql.commas(sql.names(keys), 'stop AS day', '-1 AS change')} FROM pieces"
    changes = f"""
        WITH pieces AS ({pieces})
        SELECT {sql.commas(named, sql.names([*clusters, "day"]))}, {sql.total("change")} AS change
        FROM ({sql.union(starts, stops)}) AS starts_and_stops
        {sql.group_by(at_day)}"""
    seen = f"""
        SELECT COUNT(*) AS cows, {sql.total("unregistered")} AS unregistered
        FROM (
            SELECT farm_key, cow_key, MAX(unregistered) AS unregistered
            FROM ({pieces}) AS pieces
            GROUP BY farm_key, cow_key
        ) AS animals"""
    out = {"changes": changes, "seen": seen}
    if cluster:
        out["met"] = f"""
            SELECT {sql.commas(named, "farm_key")}, COUNT(*) AS cows
            FROM (SELECT DISTINCT {sql.names([*groups, "farm_key", "cow_key"])} FROM ({pieces}) AS pieces) AS cows_met
            {sql.group_by([*groups, "farm_key"])}"""
    return out


def _stays(selection: Selection) -> str:
    """One row a cow: farm, cow, breed, sire, start, stop (the day after the last), unregistered (0 or 1)."""
    opens, closes = "first", sql.days_after("last", 1)
    if selection.since:
        opens = f"GREATEST({sql.literal(selection.since)}, {sql.days_after('first', -WATCHED_DAYS)})"
    if selection.until:
        after = selection.until + dt.timedelta(days=1)
        closes = f"LEAST({sql.literal(after)}, {sql.days_after('last', WATCHED_DAYS)})"
    spans = f"SELECT farm, {opens} AS opens, {closes} AS closes FROM ({farm_spans(selection)}) AS spans"
    every_visit = trims(Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",)))
    seen = f"""
        SELECT farm, cow, MIN(visit_date) AS seen_first, MAX(visit_date) AS seen_last
        FROM ({every_visit}) AS every_visit
        GROUP BY farm, cow"""
    keep: list[str] = []
    if selection.cows:
        keep.append(sql.among("c.cow", selection.cows))
    if selection.breeds:
        keep.append(sql.among(or_unsaid("c.breed"), selection.breeds))
    cows = f"""
        SELECT c.farm, c.cow, c.breed, c.sire, c.left_on, f.opens, f.closes, s.seen_first, s.seen_last,
            CASE WHEN c.registered THEN GREATEST(
                COALESCE(c.entered_on, b.calved_first), COALESCE(b.calved_first, c.entered_on)
            ) END AS came
        FROM cows AS c
        JOIN ({spans}) AS f ON c.farm = f.farm
        LEFT JOIN ({seen}) AS s ON c.farm = s.farm AND c.cow = s.cow
        LEFT JOIN (
            SELECT farm, cow, MIN(calved_on) AS calved_first
            FROM calvings
            GROUP BY farm, cow
        ) AS b ON c.farm = b.farm AND c.cow = b.cow
        {sql.where(*keep)}"""
    known = f"""
        SELECT farm, cow, breed, sire, opens, closes,
            CASE WHEN came IS NULL THEN seen_first ELSE LEAST(came, COALESCE(seen_first, came)) END AS known_from,
            CASE WHEN came IS NULL THEN seen_last ELSE COALESCE(left_on, closes) END AS known_to,
            CASE WHEN came IS NULL THEN 1 ELSE 0 END AS unregistered
        FROM ({cows}) AS cows_of_farms"""
    return f"""
        SELECT *
        FROM (
            SELECT farm, cow, breed, sire, GREATEST(known_from, opens) AS start, LEAST(known_to, closes) AS stop,
                unregistered
            FROM ({known}) AS known
            WHERE known_from IS NOT NULL AND known_to IS NOT NULL
        ) AS stays
        WHERE start < stop"""


_CHANGING = ("housing", "floor", "bedding", "wetness", "group", "parity")


def _pieces(stays: str, selection: Selection, of_cow: tuple[str, ...]) -> str:
    """Stays cut where what is known of the cow changes: start, stop, unregistered, farm_key, cow_key and the groupings
    as columns ``by_NAME``."""
    groups = sql.listed({f"by_{name}": grouped(name, selection) for name in of_cow})
    chosen = sql.commas("start, stop, unregistered, farm AS farm_key, cow AS cow_key", groups)
    narrowed = bool(selection.groups or selection.housing or selection.floor or selection.parity)
    if not narrowed and not set(of_cow) & set(_CHANGING):
        return f"SELECT {chosen} FROM ({stays}) AS stays_whole"
    plain = Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",), cows=selection.cows)
    columns = f"farm, cow, visit_date, {sql.names(_CHANGING)}"
    records = sql.union(
        f"SELECT {columns} FROM ({of_farm_and_period('trims', plain)}) AS trims_known",
        f"SELECT {columns} FROM ({of_farm_and_period('scores', plain)}) AS scores_known",
    )
    days = f"""
        SELECT farm, cow, visit_date, {sql.listed({name: f"MAX({sql.name(name)})" for name in _CHANGING})}
        FROM ({records}) AS records
        GROUP BY farm, cow, visit_date"""
    in_order = f"""
        SELECT *,
            LAG(visit_date) OVER (PARTITION BY farm, cow ORDER BY visit_date) AS seen_before,
            LEAD(visit_date) OVER (PARTITION BY farm, cow ORDER BY visit_date) AS seen_next
        FROM ({days}) AS days"""
    cut = f"""
        SELECT s.farm, s.cow, s.breed, s.sire, s.unregistered, {sql.names(_CHANGING, of="r")},
            GREATEST(s.start, COALESCE(r.seen_before, s.start)) AS start,
            CASE WHEN r.seen_next IS NULL THEN s.stop ELSE LEAST(s.stop, r.visit_date) END AS stop
        FROM ({stays}) AS s
        LEFT JOIN ({in_order}) AS r ON s.farm = r.farm AND s.cow = r.cow"""
    fields = {
        "group": selection.groups,
        "housing": selection.housing,
        "floor": selection.floor,
        "parity": selection.parity,
    }
    keep = [sql.among(grouped(name, selection), wanted) for name, wanted in fields.items() if wanted]
    return f"SELECT {chosen} FROM ({cut}) AS pieces_of_stays{sql.where('start < stop', *keep)}"


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
