"""When a toe is expected to be long: the length it was left at, carried on at the growth of housing and season."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.domain.horn import GROWTH_MM_PER_MONTH, TARGET_TOE_LENGTH_MM
from evenfoot.analytics.domain.horn_limits import HornLimits
from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.horn.cow_housing import Places
from evenfoot.analytics.measures.horn.growth import ASSUMED_SPREADS, PRIOR_SD, growth
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.cow_status import toes_on
from evenfoot.analytics.queries.horn_growth import DAYS_A_MONTH
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.intervals import normal_quantile

UNREAD_SD = 3.0
"""Spread, in mm, of what a trim leaves of a toe that was not measured, about the published 75 mm.
[common practice, no source]"""

LEAST_RATE = 0.1
"""A toe is carried on at no less than this, in mm a month, so that it has a day on which it passes a limit."""

AT_ONCE = 2000
"""Claws carried on at a time, each over some three years of days: a bound on memory."""

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Pace:
    """Growth by housing, season and claw, as measured in the herds selected.

    ``rates``: (housing, season, claw) -> mm a month. ``sd_rate``: how far a cow's own rate lies from it, mm a month;
    ``sd``: of one reading, mm. ``published``: whether no pair of readings was to be had.
    """

    rates: dict[tuple[str, str, str], float]
    sd_rate: float
    sd: float
    hemisphere: str
    published: bool

    def rate(self, housing: str, season: str, claw: str) -> float:
        """The rate met; else that of the season or claw that comes nearest, else the published one."""
        found = self.rates.get((housing, season, claw))
        if found is None:
            near = [r for (h, s, c), r in self.rates.items() if h == housing and (s == season or c == claw)]
            near = near or [r for (h, _, _), r in self.rates.items() if h == housing]
            found = float(np.mean(near)) if near else GROWTH_MM_PER_MONTH
        return max(found, LEAST_RATE)


def pace_of(ledger: Ledger, selection: Selection, on: dt.date) -> Pace:
    """Growth of the farms selected from all that was recorded by a day."""
    known = Selection(
        farms=selection.farms, allowed=selection.allowed, until=on, visits=("all",), hemisphere=selection.hemisphere
    )
    answer = growth(ledger, known, by=("housing", "season", "claw"))
    if answer.empty:
        herd, cow, reading = ASSUMED_SPREADS
        return Pace({}, float(np.hypot(np.hypot(herd, cow), PRIOR_SD)), reading, selection.hemisphere, True)
    spread = answer.extra["spread"].iloc[0]
    columns = answer.table[["housing", "season", "claw", "mm_per_month"]].itertuples(index=False)
    rates = {(str(h), str(s), str(c)): float(rate) for h, s, c, rate in columns}
    sd = float(np.hypot(spread["sd_herd"], spread["sd_cow"]))
    return Pace(rates, sd, float(spread["sd"]), selection.hemisphere, False)


def toes_carried_on(
    ledger: Ledger,
    selection: Selection,
    herd: pd.DataFrame,
    on: dt.date,
    pace: Pace,
    limits: HornLimits,
    level: float = 0.95,
) -> pd.DataFrame:
    """The claw of every cow that is expected to be long first.

    Parameters
    ----------
    ledger, selection
        Where the readings are.
    herd : pandas.DataFrame
        As :func:`evenfoot.analytics.queries.cow_status.herd_on` gives it.
    on : datetime.date
        Today.
    pace : Pace
    limits : HornLimits
    level : float

    Returns
    -------
    pandas.DataFrame
        farm, cow, foot, claw, toe_from (``measured``, or ``assumed`` where she was trimmed without a reading),
        left_on, left_mm, expected_mm with expected_low and expected_high (length today), limit_mm, passes_on with
        passes_from and passes_to (missing beyond two years). Cows never trimmed nor measured are not in it.
    """
    toes = _starting_points(toes_on(ledger, selection, on), herd)
    if toes.empty:
        return toes.reindex(columns=list(COLUMNS))
    toes["limit_mm"] = _limits(toes, limits)
    places = Places.of(ledger, selection, herd, on, toes["left_on"].min())
    z = normal_quantile(level)
    parts = [_carried_on(toes.iloc[start : start + AT_ONCE], places, pace, z) for start in range(0, len(toes), AT_ONCE)]
    out = pd.concat(parts).sort_values(["farm", "cow", "passes_on", "foot", "claw"], na_position="last")
    return out.drop_duplicates(["farm", "cow"])[list(COLUMNS)].reset_index(drop=True)


COLUMNS = (
    "farm",
    "cow",
    "foot",
    "claw",
    "toe_from",
    "left_on",
    "left_mm",
    "expected_mm",
    "expected_low",
    "expected_high",
    "limit_mm",
    "passes_on",
    "passes_from",
    "passes_to",
)


def _starting_points(read: pd.DataFrame, herd: pd.DataFrame) -> pd.DataFrame:
    """Readings of cows here; a trim after the last reading, or without any, left what trims leave."""
    known = herd[["farm", "cow", "breed", "parity", "housing", "trimmed_on"]]
    both = known.merge(read, on=["farm", "cow"], how="left")
    read_on = pd.to_datetime(both["read_on"])
    since = both["trimmed_on"].notna() & (read_on.isna() | (both["trimmed_on"] > read_on))
    both = both.assign(
        left_on=read_on.where(~since, both["trimmed_on"]),
        left_mm=both["left_mm"].astype(float).where(~since, TARGET_TOE_LENGTH_MM),
        toe_from=np.where(since, "assumed", "measured"),
        sd_left=np.where(since, UNREAD_SD, 0.0),
        housing=both["housing"].fillna(say("not recorded")),
        claw_for_rate=both["claw"].fillna("lateral"),
    )
    both.loc[since, ["foot", "claw"]] = None
    return both[both["left_on"].notna()].reset_index(drop=True)


def _limits(toes: pd.DataFrame, limits: HornLimits) -> Array:
    if not limits.exceptions:
        return np.full(len(toes), limits.long_toe_mm)
    kinds = toes[["farm", "breed", "parity"]].drop_duplicates()
    own = [
        limits.of(farm, None if pd.isna(breed) else breed, None if pd.isna(parity) else int(parity)).long_toe_mm
        for farm, breed, parity in kinds.itertuples(index=False)
    ]
    merged = toes[["farm", "breed", "parity"]].merge(
        kinds.assign(limit=own), on=["farm", "breed", "parity"], how="left"
    )
    return merged["limit"].to_numpy(dtype=float)


def _carried_on(part: pd.DataFrame, places: Places, pace: Pace, z: float) -> pd.DataFrame:
    """Expected length today and the days the limit is passed: expected, soonest and latest.

    A cow's own rate stands in a constant proportion to the herd's, so the band opens with what has grown.
    """
    days, today = places.days, places.today
    season = SEASON_OF_MONTH[pace.hemisphere]
    claws = ["lateral", "medial"]
    table = np.array(
        [[[pace.rate(h, season[month], claw) for month in range(1, 13)] for claw in claws] for h in places.housings]
    )
    housed, row = places.housed(part["farm"] + "|" + part["cow"])
    # Claws that grew alike share what had grown by each day: often a handful stand for thousands.
    claw = part["claw_for_rate"].map({name: i for i, name in enumerate(claws)}).to_numpy(dtype=int)
    alike, kind = np.unique(row * len(claws) + claw, return_inverse=True)
    row, claw = np.divmod(alike, len(claws))
    daily = table[housed[row], claw[:, None], days.month.to_numpy()[None, :] - 1] / DAYS_A_MONTH
    run = np.concatenate([np.zeros((len(alike), 1)), np.cumsum(daily, axis=1)[:, :-1]], axis=1)

    begun = run[kind, (part["left_on"] - days[0]).dt.days.to_numpy()]
    now = run[kind, (today - days[0]).days] - begun
    apart = z * pace.sd_rate / (daily.mean(axis=1)[kind] * DAYS_A_MONTH)
    slip = z * np.hypot(part["sd_left"].to_numpy(dtype=float), pace.sd)
    left = part["left_mm"].to_numpy(dtype=float)
    room = part["limit_mm"].to_numpy(dtype=float) - left
    doubt = np.hypot(apart * now, slip)

    def day(grown: Array) -> pd.Index:
        reached = begun + np.maximum(grown, 0.0) - 1e-9
        place = np.empty(len(part), dtype=int)
        for number, grows in enumerate(run):
            place[kind == number] = np.searchsorted(grows, reached[kind == number])
        found: pd.Index = days[np.minimum(place, len(days) - 1)].where(place < len(days))
        return found

    # The soonest day: grown * (1 + apart) + slip fills the room. The latest: grown * (1 - apart) - slip does.
    return part.assign(
        expected_mm=left + now,
        expected_low=left + now - doubt,
        expected_high=left + now + doubt,
        passes_on=day(room),
        passes_from=day((room - slip) / (1.0 + apart)),
        passes_to=day((room + slip) / np.maximum(1.0 - apart, 0.1)),
    )
