"""A notice of a farm: what has become worse since it was last told, and the cows that someone should see."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from evenfoot.analytics.clock import today
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.notices import Given, given
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.planning.worklist import AHEAD_DAYS, day_of, needing_someone, worklist
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.verdicts import verdict_sentence
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.calendar import calendar_of, event
from evenfoot.dashboard.ui.shell import VETERINARIAN

NEWS_DAYS = 183
"""A visit longer ago than half a year is no news. [common practice, no source]"""

NAMED_COWS = 12
"""Cows named in a notice; the list of the dashboard has all."""

LUCK = (4, 16)
"""Of 100 farms on which nothing changes so many get a notice in a year, seen twice a year and every month, where visits
differ. [own simulation: docs/accuracy.md, ``python -m tests.scale.worlds_summary``]"""


@dataclass(frozen=True)
class Notice:
    """What a farm is to be told.

    Attributes
    ----------
    farm : str
    given : Given
        What is remembered once it was told.
    worse : tuple of dict
        Rows of the summary whose verdict is worse, of visits it was not told of.
    vet : tuple of str
        Cows for the veterinarian, most pressing first.
    due : int
        Cows that come due within :data:`evenfoot.analytics.measures.planning.worklist.AHEAD_DAYS`, or are due.
    """

    farm: str
    given: Given
    worse: tuple[dict[str, Any], ...]
    vet: tuple[str, ...]
    due: int


def open_notices(ledger: Ledger, farms: Sequence[str] = (), *, cows: bool = False) -> list[Notice]:
    """What farms are to be told today.

    A farm gets a notice where lameness or a lesion is worse at a visit it was not told of; with *cows* also where a cow
    is for the veterinarian by a record it was not told of. It gets one in a calendar month at most: what is worse still
    is told in the next.

    Parameters
    ----------
    ledger : Ledger
    farms : sequence of str
        Only these; all without it.
    cows : bool
        Whether cows for the veterinarian alone are a reason.
    """
    day = today()
    told = given(ledger)
    quiet = {farm for farm, last in told.items() if (last.on.year, last.on.month) == (day.year, day.month)}
    asked = tuple(farm for farm in farms or ledger.farms() if farm not in quiet)
    if not asked:
        return []
    table = summary(ledger, Selection(farms=asked, until=day)).table
    worse = table[table["verdict"] == "worse"]
    out = []
    for farm in asked:
        before = told.get(farm, Given(day))
        rows = records(worse[worse["farm"] == farm])
        new = [row for row in rows if _is_news(row["last"].date(), before.worse_at, day)]
        herd = Selection(farms=(farm,))
        recorded = _newest_for_vet(ledger, herd) if new or cows else None
        has_cows = cows and recorded is not None and _is_news(recorded, before.cows_at, day)
        if not new and not has_cows:
            continue
        due = worklist(ledger, herd).table
        vet = tuple(str(cow) for cow in due.loc[due["who"] == "veterinarian", "cow"])
        seen = max((row["last"].date() for row in new), default=None)
        out.append(Notice(farm, Given(day, seen, recorded), tuple(new), vet, len(due)))
    return out


def _is_news(seen: dt.date, told: dt.date | None, day: dt.date) -> bool:
    return (told is None or seen > told) and (day - seen).days <= NEWS_DAYS


def _newest_for_vet(ledger: Ledger, herd: Selection) -> dt.date | None:
    """The newest record of a herd in which a cow is for the veterinarian."""
    found = needing_someone(ledger, herd)
    return day_of(found).newest if (found.table["who"] == "veterinarian").any() else None


def subject(notice: Notice, words: Words) -> str:
    """What a notice is about, in a line."""
    if notice.worse:
        return words("{farm}: worse at the visit of {day}", farm=notice.farm, day=words.date(notice.given.worse_at))
    return words("{farm}: cows for the veterinarian", farm=notice.farm)


def sentences(notice: Notice, words: Words) -> list[str]:
    """What a notice says: the verdicts, the cows, whom to ask, and how often luck alone would say so."""
    said = [verdict_sentence(row, words) for row in notice.worse]
    if notice.vet:
        listed = ", ".join(notice.vet[:NAMED_COWS])
        more = len(notice.vet) - NAMED_COWS
        if more > 0:
            listed = words("{cows} and {n} more", cows=listed, n=more)
        said.append(words("For the veterinarian: {cows}.", cows=listed))
    if notice.due:
        said.append(
            words.number_of(
                "{n} cow is due, or comes due within {days} days.",
                "{n} cows are due, or come due within {days} days.",
                notice.due,
                days=AHEAD_DAYS,
            )
        )
    if notice.worse:
        said.append(
            words(
                "Of 100 farms on which nothing changes, {few} (seen twice a year) to {many} (seen every month) get "
                "such a notice in a year by luck alone.",
                few=LUCK[0],
                many=LUCK[1],
            )
        )
    said.append(words("This visit is not told again, and the farm gets one notice a month at most."))
    return [*said, words.said(VETERINARIAN)]


def calendar(notice: Notice, words: Words) -> str:
    """A notice as an iCalendar object: an all-day event on its day that leaves the day free."""
    name = f"{notice.farm}|notice|{notice.given.on}"
    return calendar_of(
        [event(name, notice.given.on, subject(notice, words), "\n".join(sentences(notice, words)), busy=False)]
    )
