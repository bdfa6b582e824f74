"""The plan and notices for other programs: iCalendar files for a telephone or an office calendar."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import Any

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.worklist import as_of, day_of
from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.translation import _, _n, told

LINE_OCTETS = 75
"""A line of an iCalendar file is folded beyond this many octets [pub: RFC 5545, section 3.1]"""

NAMESPACE = uuid.UUID("3f0d3a52-6a0f-5c0e-9d6e-0c1f6e5b7a41")
"""Makes the same visit the same event every time it is exported, so that it is moved and not doubled."""

REVISIONS_FROM = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)
"""Revisions are numbered by the minutes since then: a later export always has the higher number."""

KINDS = {"whole-herd": say("Whole herd"), "due": say("Cows that come due"), "recheck": say("Rechecks")}


def icalendar(answer: Answer, made_at: dt.datetime | None = None) -> str:
    """The visits of a plan as an iCalendar object, one all-day event a visit.

    An event is known by its farm, its kind and its number among such visits to the farm, never by its day. One that
    has moved keeps its UID and has a higher SEQUENCE and a later LAST-MODIFIED, so that a calendar moves it.

    Parameters
    ----------
    answer : Answer
        What :func:`evenfoot.analytics.measures.planning.plan.plan` gave.
    made_at : datetime.datetime, optional
        When the file is made (time zone aware); now by default.

    Returns
    -------
    str
        Text with CRLF line ends, to be written in UTF-8.

    References
    ----------
    Desruisseaux B (2009) RFC 5545, Internet Calendaring and Scheduling Core Object Specification (iCalendar); UID in
    section 3.8.4.7, LAST-MODIFIED in 3.8.7.3, SEQUENCE in 3.8.7.4.

    Examples
    --------
    >>> import pandas as pd
    >>> from evenfoot.analytics.measures.answer import Basis
    >>> from evenfoot.analytics.measures.planning.worklist import ListDay
    >>> visit = {"date": pd.Timestamp("2026-11-03"), "farm": "Ash", "kind": "recheck", "cows": 2, "cow_list": "4, 9"}
    >>> day = ListDay(dt.date(2026, 11, 1), dt.date(2026, 10, 30), False).frame()
    >>> answer = Answer("plan", pd.DataFrame([visit | {"number": 1}]), Basis(), (), (), {"day": day})
    >>> text = icalendar(answer, dt.datetime(2026, 11, 1, 8, tzinfo=dt.timezone.utc))
    >>> [line for line in text.splitlines() if line.startswith("DTSTART")]
    ['DTSTART;VALUE=DATE:20261103']
    """
    made = (made_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC)
    rested_on = told(as_of(day_of(answer)))
    return calendar_of([_visit(row, made, rested_on) for row in answer.table.to_dict("records")])


def calendar_of(events: Iterable[list[str]]) -> str:
    """An iCalendar object of events that :func:`event` made; lines end in CRLF."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Evenfoot//Evenfoot plan//EN", "CALSCALE:GREGORIAN"]
    lines += [line for each in events for line in each]
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _visit(row: dict[Any, Any], made: dt.datetime, rested_on: str) -> list[str]:
    farm, kind, cows = str(row["farm"]), str(row["kind"]), int(row["cows"])
    told_of = _("Proposed visit. Cows: {list}", list=row["cow_list"])
    what = told(KINDS.get(kind, kind)).lower()
    title = _n("{farm}: {what}, {n} cow", "{farm}: {what}, {n} cows", cows, farm=farm, what=what)
    return event(f"{farm}|{kind}|{int(row['number'])}", row["date"], title, f"{told_of} {rested_on}", made)


def event(
    name: str, day: dt.date, title: str, text: str, made_at: dt.datetime | None = None, *, busy: bool = True
) -> list[str]:
    """The lines of an all-day event.

    Parameters
    ----------
    name : str
        Events of the same name are the same event.
    day : date
    title, text : str
    made_at : datetime.datetime, optional
        When the file is made (time zone aware); now by default.
    busy : bool
        Whether the day counts as taken.
    """
    made = (made_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC)
    ends = day + dt.timedelta(days=1)
    named = uuid.uuid5(NAMESPACE, name)
    stamp = made.strftime("%Y%m%dT%H%M%SZ")
    return [
        "BEGIN:VEVENT",
        f"UID:{named}",
        f"DTSTAMP:{stamp}",
        f"LAST-MODIFIED:{stamp}",
        f"SEQUENCE:{int((made - REVISIONS_FROM).total_seconds() // 60)}",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{ends:%Y%m%d}",
        f"SUMMARY:{_escaped(title)}",
        f"DESCRIPTION:{_escaped(text)}",
        f"TRANSP:{'OPAQUE' if busy else 'TRANSPARENT'}",
        "END:VEVENT",
    ]


def _escaped(text: str) -> str:
    r"""Text with what means something in iCalendar escaped [pub: RFC 5545, section 3.3.11].

    Examples
    --------
    >>> print(_escaped("Ash; rechecks, 2 cows\nback\\slash"))
    Ash\; rechecks\, 2 cows\nback\\slash
    """
    for plain, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\\n"), ("\n", "\\n"), ("\r", "\\n")):
        text = text.replace(plain, written)
    return text


def _folded(line: str) -> str:
    """A line on lines of no more than 75 octets, each further one begun with a space, no letter cut in two."""
    out, width = [""], 0
    for letter in line:
        octets = len(letter.encode())
        if width + octets > LINE_OCTETS:
            out.append(" ")
            width = 1
        out[-1] += letter
        width += octets
    return "\r\n".join(out)
