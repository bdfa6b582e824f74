"""Combinations of texts of several columns: one number for each, and what is known of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from evenfoot.analytics.intake.sheet import Codes, Positions, Rows

MOST_COMBINATIONS = 4_000_000
"""Combinations up to which what is known of each is kept in a table."""


class Known:
    """What is known of every combination of texts of some columns, each worked out when it is first met."""

    def __init__(self, kind: type, work_out: Callable[[Sequence[Codes]], npt.NDArray[Any]]) -> None:
        self._kind, self._work_out = kind, work_out
        self._sizes: tuple[int, ...] = ()
        self._table: npt.NDArray[Any] = np.empty(0, dtype=kind)

    def of(self, columns: Sequence[Codes | None], sizes: Sequence[int], rows: int) -> npt.NDArray[Any]:
        """For each row what is known of its combination; a column that is absent is all 0."""
        keys = in_one(columns, sizes, rows)
        if math.prod(sizes) > MOST_COMBINATIONS:
            here, places = np.unique(keys, return_inverse=True)
            return self._work_out(_apart(here, sizes))[places]
        if self._sizes != tuple(sizes):
            self._sizes = tuple(sizes)
            self._table = np.full(math.prod(sizes), -1, dtype=self._kind)
        found = self._table[keys]
        unknown = found < 0
        if unknown.any():
            new = np.flatnonzero(np.bincount(keys[unknown]))
            self._table[new] = self._work_out(_apart(new, sizes))
            found = self._table[keys]
        return found


def combinations(columns: Sequence[Codes | None], rows: int) -> tuple[list[tuple[int, ...]], Rows]:
    """The distinct combinations of codes, and how many rows have each; a column that is absent is all 0."""
    keys, shape = combined(columns, rows)
    if math.prod(shape) <= max(4 * rows, 1000):
        of_all = np.bincount(keys)
        used = np.flatnonzero(of_all)
        counts = of_all[used]
    else:
        used, counts = np.unique(keys, return_counts=True)
    parts = np.unravel_index(used, shape)
    return list(zip(*(part.tolist() for part in parts), strict=True)), counts.astype(np.int64)


def rows_of(codes: Codes, wanted: Collection[int], distinct: int) -> dict[int, Positions]:
    """The rows in which each wanted code stands, in order; a code in no row is left out.

    One sorting for all: looking for each code by itself takes rows times codes, which a file can make long.
    """
    flagged = np.zeros(distinct, dtype=bool)
    flagged[list(wanted)] = True
    rows = np.flatnonzero(flagged[codes])
    rows = rows[np.argsort(codes[rows], kind="stable")]
    here = codes[rows]
    starts = np.flatnonzero(np.diff(here, prepend=-1))
    return dict(zip(here[starts].tolist(), np.split(rows, starts[1:]), strict=False))


def combined(columns: Sequence[Codes | None], rows: int) -> tuple[npt.NDArray[np.int64], tuple[int, ...]]:
    """One number a row for the combination of codes in it, and the shape that takes it apart again."""
    shape = tuple(1 if column is None else int(column.max(initial=0)) + 1 for column in columns)
    return in_one(columns, shape, rows), shape


def in_one(columns: Sequence[Codes | None], sizes: Sequence[int], rows: int) -> npt.NDArray[np.int64]:
    """One number a row for the combination of codes in it, of which there are *sizes*; an absent column is all 0."""
    keys = np.zeros(rows, dtype=np.int64)
    for column, size in zip(columns, sizes, strict=True):
        if size > 1:
            keys *= size
        if column is not None:
            keys += column
    return keys


def _apart(keys: npt.NDArray[np.int64], sizes: Sequence[int]) -> list[Codes]:
    return [part.astype(np.int32) for part in np.unravel_index(keys, tuple(sizes))]
