"""What every measure gives back: a table, what it rests on, and what to be careful about."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

import pandas as pd

from evenfoot.analytics.messages import Message


@dataclass(frozen=True)
class Basis:
    """The records an answer rests on, and what was left out of it.

    ``visits`` are distinct farm and date pairs. ``left_out`` are plain sentences, such as "4 part-herd
    visits were left out.". ``notes`` say how the figures were worked out where that is not obvious.
    ``sources`` say which files they were read from and who wrote them down.
    """

    farms: int = 0
    visits: int = 0
    cows: int = 0
    trims: int = 0
    first: dt.date | None = None
    last: dt.date | None = None
    unit: str = "cow"
    level: float = 0.95
    method: str = ""
    left_out: tuple[Message, ...] = ()
    notes: tuple[Message, ...] = ()
    sources: tuple[Message, ...] = ()


def messages(sentences: Iterable[str], index: pd.Index | None = None) -> pd.Series:
    """A column of sentences that keep their templates, which a column of text would not.

    Returns
    -------
    pandas.Series
        Of dtype object.
    """
    return pd.Series(list(sentences), index=index, dtype=object)


@dataclass(frozen=True)
class Answer:
    """One question answered.

    Attributes
    ----------
    name : str
        The measure, as ``evenfoot table NAME`` calls it.
    table : pandas.DataFrame
        Tidy: one row an estimate, proportions between 0 and 1, dates as ``datetime64``.
    basis : Basis
    cautions : tuple of Message
        Plain sentences. A chart or report never shows a number without its basis and cautions.
    by : tuple of str
        The grouping columns, the leftmost columns of ``table``.
    extra : dict of str to pandas.DataFrame
        Side tables a page may want (for instance drill-down rows).
    """

    name: str
    table: pd.DataFrame
    basis: Basis
    cautions: tuple[Message, ...] = ()
    by: tuple[str, ...] = ()
    extra: dict[str, pd.DataFrame] = field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """Whether there is nothing to show."""
        return self.table.empty
