"""Working days and what they hold: putting visits on days that are worked, without a day too full."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field

FARMS_A_DAY = 2
"""Farms a trimmer gets round in a day, table and all. [common practice, no source]"""

SATURDAY = 5


@dataclass(frozen=True)
class WorkingDays:
    """The days on which visits may lie: Monday to Friday unless weekends are worked too, without the days off.

    Examples
    --------
    >>> week = [dt.date(2026, 6, day) for day in range(1, 8)]  # from a Monday on
    >>> [day.day for day in week if WorkingDays(days_off=(dt.date(2026, 6, 4),)).worked(day)]
    [1, 2, 3, 5]
    >>> len([day for day in week if WorkingDays(weekends=True).worked(day)])
    7
    """

    weekends: bool = False
    days_off: tuple[dt.date, ...] = ()

    def worked(self, day: dt.date) -> bool:
        """Whether a visit may lie on a day."""
        return (self.weekends or day.weekday() < SATURDAY) and day not in self.days_off


@dataclass(frozen=True)
class Visit:
    """A visit put on a day.

    Attributes
    ----------
    day : datetime.date
    farm : str
    kind : str
        whole-herd, due or recheck.
    cows : tuple of str
    """

    day: dt.date
    farm: str
    kind: str
    cows: tuple[str, ...]


@dataclass
class Calendar:
    """Days filled one visit at a time.

    Parameters
    ----------
    first : datetime.date
        No visit lies before it.
    cows_a_day : int
        What one day holds.
    working : WorkingDays
    """

    first: dt.date
    cows_a_day: int
    working: WorkingDays = WorkingDays()
    visits: list[Visit] = field(default_factory=list)
    _cows: dict[dt.date, dict[str, int]] = field(default_factory=lambda: defaultdict(dict))
    """Day -> farm -> cows so far."""

    def put(self, target: dt.date, farm: str, kind: str, cows: tuple[str, ...]) -> list[Visit]:
        """Put a visit on the working day nearest to *target* that has room, over several days when it is large.

        The cows of a visit over several days are shared out evenly.
        """
        made: list[Visit] = []
        day = target
        for part in evenly(cows, self.cows_a_day):
            day = self._room(day, farm, len(part), later=bool(made))
            made.append(Visit(day, farm, kind, part))
            self._cows[day][farm] = len(part)
        self.visits += made
        return made

    def join(self, visit: Visit, cow: str) -> bool:
        """Add a cow to a visit there is, if the day has room."""
        if self.load(visit.day) >= self.cows_a_day or cow in visit.cows:
            return cow in visit.cows
        place = self.visits.index(visit)
        self.visits[place] = Visit(visit.day, visit.farm, visit.kind, (*visit.cows, cow))
        self._cows[visit.day][visit.farm] += 1
        return True

    def load(self, day: dt.date) -> int:
        """Cows on a day so far."""
        return sum(self._cows[day].values())

    def _room(self, target: dt.date, farm: str, cows: int, later: bool) -> dt.date:
        for day in _around(target, self.first, self.working, later):
            there = self._cows[day]
            if farm not in there and len(there) < FARMS_A_DAY and self.load(day) + cows <= self.cows_a_day:
                return day
        raise AssertionError("there is always a later day")


def _around(target: dt.date, first: dt.date, working: WorkingDays, later: bool) -> Iterator[dt.date]:
    """Working days from the nearest outward, earlier before later; only later ones when *later*."""
    target = max(target, first)
    for away in range(0, 10_000):
        for sign in (1,) if later or not away else (-1, 1):
            day = target + dt.timedelta(days=sign * away)
            if day >= first and working.worked(day):
                yield day


def evenly(cows: tuple[str, ...], most: int) -> list[tuple[str, ...]]:
    """Cows in parts of at most *most*, as alike in size as can be.

    Examples
    --------
    >>> [len(part) for part in evenly(tuple("abcdefg"), 3)]
    [3, 2, 2]
    >>> evenly((), 3)
    []
    """
    parts = math.ceil(len(cows) / most)
    out, start = [], 0
    for number in range(parts):
        size = len(cows) // parts + (number < len(cows) % parts)
        out.append(cows[start : start + size])
        start += size
    return out


def batches(
    due: list[tuple[dt.date, str]], slack: int, early: int, first: dt.date
) -> list[tuple[dt.date, tuple[str, ...]]]:
    """Cows gathered to days so that none waits longer than *slack* days past her due day.

    Each day is as late as the first cow in it allows and takes everyone due by then, or up to *early* days after.

    Parameters
    ----------
    due : list of (date, cow)
    slack, early : int
        Days.
    first : datetime.date
        No day lies before it.

    Examples
    --------
    >>> day = dt.date
    >>> batches([(day(2026, 6, 1), "1"), (day(2026, 6, 8), "2"), (day(2026, 7, 9), "3")], 7, 0, day(2026, 6, 2))
    [(datetime.date(2026, 6, 8), ('1', '2')), (datetime.date(2026, 7, 16), ('3',))]
    """
    left = sorted(due)
    out = []
    while left:
        day = max(left[0][0] + dt.timedelta(days=slack), first)
        taken = [cow for when, cow in left if when <= day + dt.timedelta(days=early)]
        left = left[len(taken) :]
        out.append((day, tuple(taken)))
    return out
