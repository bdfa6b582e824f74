"""Some farms of many, whole and always the same, for questions that bring a row a cow, a foot or a pair.

Sums and patterns are counted over all farms, however many; what needs the rows themselves is not, on a registry. A
sample of rows would tear cows and herds apart, so whole farms are taken, in the order of a digest of their names,
which goes together with nothing that is recorded and gives the same farms each time.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import of_selection
from evenfoot.analytics.queries.selection import Selection

MOST_RECORDS = 1_000_000
"""Records of a selection of which all rows are brought: some hundred megabytes and a minute or two of fitting on one
machine. [common practice, no source]"""

MOST_FARMS = 1_000
"""Farms that are taken at most: their names stand in every question. [common practice, no source]"""


@dataclass(frozen=True)
class FarmSample:
    """The farms whose rows are brought.

    Attributes
    ----------
    selection : Selection
        Narrowed to the farms taken; as it was where that is all of them.
    taken, farms : int
        How many farms of how many; both 0 where nothing had to be chosen.
    records, most : int
        Records of all farms, and how many are brought at most.
    """

    selection: Selection
    taken: int = 0
    farms: int = 0
    records: int = 0
    most: int = MOST_RECORDS

    @property
    def partial(self) -> bool:
        return self.taken < self.farms


def farm_sample(
    ledger: Ledger,
    selection: Selection,
    source: str = "trims",
    *,
    most: int | None = None,
    first: tuple[str, ...] = (),
) -> FarmSample:
    """The selection itself, or narrowed to whole farms that together hold no more records than can be brought.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    source : {"trims", "scores", "horn_readings"}
        The records whose rows are asked for.
    most : int, optional
        Records brought at most; ``MOST_RECORDS`` without it.
    first : tuple of str
        Farms taken before all others.
    """
    most = MOST_RECORDS if most is None else most
    if len(selection.farms) == 1:
        return FarmSample(selection, most=most)
    rows = fetch(ledger, _records(selection, source))
    records = int(rows["records"].sum())
    if records <= most and len(rows) <= MOST_FARMS:
        return FarmSample(selection, most=most)
    taken = _within(rows, most, first)
    return FarmSample(selection.with_(farms=taken), len(taken), len(rows), records, most)


def _within(rows: pd.DataFrame, most: int, first: tuple[str, ...]) -> tuple[str, ...]:
    """The first farms in the order of their digests, at least one, as long as they stay within *most* records."""
    order = rows.assign(
        later=~rows["farm"].isin(first),
        digest=[hashlib.blake2b(farm.encode(), digest_size=8).hexdigest() for farm in rows["farm"]],
    ).sort_values(["later", "digest", "farm"])
    fits = (order["records"].cumsum() <= most) & (pd.RangeIndex(len(order)) < MOST_FARMS)
    number = max(1, int(fits.to_numpy().argmin()) if not fits.all() else len(order))
    return tuple(sorted(order["farm"].head(number)))


def _records(selection: Selection, source: str) -> str:
    """A question: farm and records, in the order of farms."""
    rows = of_selection(source, selection)
    return f"SELECT farm, COUNT(*) AS records FROM ({rows}) AS met GROUP BY farm ORDER BY farm"
