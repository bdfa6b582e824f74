"""How every cow stood from day to day, and how she is to be expected to stand in the days to come."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.cow_status import whereabouts
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.selection import Selection

AHEAD_DAYS = 730
"""How far ahead cows are followed. [common practice, no source]"""

Codes = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Places:
    """Housing of every cow on every day.

    Past days follow her moves and the housing periods of her group. In days to come she stays in her group, and the
    group stands as it did on the same day a year before, as herds move with the seasons; where that is not known, as it
    stands now.

    Attributes
    ----------
    days : pandas.DatetimeIndex
    today : pandas.Timestamp
    housings : tuple of str
        What the codes mean.
    """

    days: pd.DatetimeIndex
    today: pd.Timestamp
    housings: tuple[str, ...]
    _row_of: dict[str, int]
    _now: Codes
    _way_of: Codes
    _pens: Codes
    _by_pen: Codes

    @classmethod
    def of(cls, ledger: Ledger, selection: Selection, herd: pd.DataFrame, on: dt.date, since: pd.Timestamp) -> Places:
        """Follow the cows of *herd* from *since* to AHEAD_DAYS after *on*."""
        moves, periods = whereabouts(ledger, selection, on)
        today = pd.Timestamp(on)
        first = min(pd.Timestamp(since), today - pd.Timedelta(days=366))
        days = pd.date_range(first, today + pd.Timedelta(days=AHEAD_DAYS), freq="D")
        cows = herd["farm"] + "|" + herd["cow"]
        row_of = {cow: row for row, cow in enumerate(cows)}
        named = herd["housing"].fillna(NOT_RECORDED).astype(str)
        housings = tuple(sorted({*named, *periods["housing"].dropna().astype(str)}))
        now = named.map({name: code for code, name in enumerate(housings)}).to_numpy(dtype=np.int64)
        way_of, pens, pen_names = _pens(herd, moves, row_of, days)
        return cls(days, today, housings, row_of, now, way_of, pens, _by_pen(pen_names, periods, housings, days, today))

    def housed(self, cows: pd.Series) -> tuple[Codes, Codes]:
        """How cows named ``farm|cow`` were housed: what differs, as codes into ``housings`` of shape (rows, days), and
        the row of each cow. Cows that stood alike share a row: 8,000 that never moved need 40 rows, one a herd.
        """
        cow = np.array([self._row_of[name] for name in cows], dtype=np.int64)
        alike, row = np.unique(self._way_of[cow] * len(self.housings) + self._now[cow], return_inverse=True)
        way, now = np.divmod(alike, len(self.housings))
        known = self._by_pen[self._pens[way], np.arange(len(self.days))[None, :]]
        return np.where(known >= 0, known, now[:, None]), row


def _pens(
    herd: pd.DataFrame, moves: pd.DataFrame, row_of: dict[str, int], days: pd.DatetimeIndex
) -> tuple[Codes, Codes, list[tuple[str, str]]]:
    """The way each cow went; which group each way led through on each day, as codes; and what these mean.

    First stand the ways of cows that never moved, one a group, then those of the others, one a cow.
    """
    moved = moves.assign(row=(moves["farm"] + "|" + moves["cow"]).map(row_of))
    moved = moved[moved["row"].notna()]
    own = list(zip(herd["farm"], herd["group"].fillna(""), strict=True))
    gone = list(zip(moved["farm"], moved["group"].fillna(""), strict=True))
    names = sorted({*own, *gone})
    code_of = {name: code for code, name in enumerate(names)}
    way_of = np.array([code_of[pen] for pen in own], dtype=np.int64)
    stayed = np.tile(np.arange(len(names))[:, None], (1, len(days)))
    if moved.empty:
        return way_of, stayed, names
    movers, rows = np.unique(moved["row"].to_numpy(dtype=np.int64), return_inverse=True)
    code = np.zeros((len(movers), len(days)), dtype=np.int64)
    start = np.zeros((len(movers), len(days)), dtype=np.int32)
    place = np.clip((moved["moved_on"] - days[0]).dt.days.to_numpy(), 0, len(days) - 1)
    pens = np.array([code_of[pen] for pen in gone], dtype=np.int64)
    # The days before her first move: she is taken to have been where that move found her or where it put her.
    first = ~moved.duplicated("row").to_numpy()
    code[rows[first], 0] = pens[first]
    code[rows, place] = pens
    start[rows, place] = place
    start = np.maximum.accumulate(start, axis=1)
    way_of[movers] = len(names) + np.arange(len(movers))
    return way_of, np.concatenate([stayed, code[np.arange(len(movers))[:, None], start]]), names


def _by_pen(
    names: list[tuple[str, str]],
    periods: pd.DataFrame,
    housings: tuple[str, ...],
    days: pd.DatetimeIndex,
    today: pd.Timestamp,
) -> Codes:
    """Housing of each group on each day, -1 where no period says; a period of the group goes before the farm's."""
    out = np.full((len(names), len(days)), -1, dtype=np.int64)
    code_of = {name: code for code, name in enumerate(housings)}
    of_farm: dict[str, list[tuple[int, str]]] = {}
    for pen, (farm, group) in enumerate(names):
        of_farm.setdefault(farm, []).append((pen, group))
    told = periods[periods["housing"].notna()]
    told = pd.concat([told[told["group"].isna()], told[told["group"].notna()]])
    for period in told.to_dict("records"):
        begins = max((period["starts_on"] - days[0]).days, 0)
        ends = len(days) if pd.isna(period["ends_on"]) else (period["ends_on"] - days[0]).days + 1
        ends = min(ends, (today - days[0]).days + 1)
        for pen, group in of_farm.get(period["farm"], []):
            if (pd.isna(period["group"]) or group == period["group"]) and ends > begins:
                out[pen, begins:ends] = code_of[period["housing"]]
    # A year at a time, so that the second year to come repeats the first.
    now = (today - days[0]).days
    for begins in range(now + 1, len(days), 365):
        ends = min(begins + 365, len(days))
        out[:, begins:ends] = out[:, begins - 365 : ends - 365]
    return out
