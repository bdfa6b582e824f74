"""The plan as iCalendar, held to the rules of RFC 5545 by a reader of our own, as CSV, and as a list for the chute."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenfoot.analytics.clock import today
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.planning.plan import LISTED, plan
from evenfoot.analytics.measures.planning.worklist import ListDay
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.report.calendar import icalendar
from evenfoot.dashboard.report.chute_list import chute_list

MADE = dt.datetime(2026, 11, 1, 9, 30, tzinfo=dt.timezone(dt.timedelta(hours=1)))

NAME = re.compile(r"^([A-Z0-9-]+)((?:;[A-Z0-9-]+=[^;:\",]+)*):(.*)$", re.DOTALL)
"""A content line: name, parameters, value [pub: RFC 5545, section 3.1]"""


def answer_of(rows: list[tuple[str, str, str, str]]) -> Answer:
    """A plan of (date, farm, kind, cow list)."""
    table = pd.DataFrame(
        [(pd.Timestamp(day), farm, kind, len(cows.split(", ")), cows) for day, farm, kind, cows in rows],
        columns=["date", "farm", "kind", "cows", "cow_list"],
    )
    table["number"] = table.groupby(["farm", "kind"]).cumcount() + 1
    cows = [
        (day, farm, kind, cow, "high", "Lame & <slow>") for day, farm, kind, names in rows for cow in names.split(", ")
    ]
    listed = pd.DataFrame(cows, columns=["date", "farm", "kind", "cow", "group", "reason"]).reindex(columns=LISTED)
    listed["date"] = pd.to_datetime(listed["date"])
    day = ListDay(dt.date(2026, 11, 1), dt.date(2026, 10, 29), True).frame()
    return Answer("plan", table, Basis(), (say("Ask your veterinarian."),), (), {"cows": listed, "day": day})


def read_calendar(text: str) -> list[dict[str, tuple[str, str]]]:
    """Events of an iCalendar object, refusing whatever RFC 5545 refuses: name -> (parameters, value)."""
    octets = text.encode("utf-8")
    assert octets.endswith(b"\r\n")
    lines = octets[:-2].split(b"\r\n")
    assert all(b"\r" not in line and b"\n" not in line for line in lines), "line ends are CRLF and nothing else"
    assert all(len(line) <= 75 for line in lines), "lines are no longer than 75 octets"
    assert all(line.strip() for line in lines), "no empty lines"
    for line in lines:
        line.decode("utf-8")  # no letter is cut by a fold
    unfolded = text[:-2].replace("\r\n ", "").split("\r\n")
    assert unfolded[0] == "BEGIN:VCALENDAR" and unfolded[-1] == "END:VCALENDAR"
    events: list[dict[str, tuple[str, str]]] = []
    current: dict[str, tuple[str, str]] | None = None
    head: dict[str, str] = {}
    for line in unfolded[1:-1]:
        met = NAME.match(line)
        assert met, f"not a content line: {line!r}"
        name, parameters, value = met.groups()
        assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", value), "no control letters"
        if (name, value) == ("BEGIN", "VEVENT"):
            assert current is None, "events do not nest"
            current = {}
        elif (name, value) == ("END", "VEVENT"):
            assert current is not None
            events.append(current)
            current = None
        elif current is None:
            assert name not in head
            head[name] = value
        else:
            assert name not in current, "each property once"
            current[name] = (parameters, value)
    assert current is None
    assert head["VERSION"] == "2.0" and head["PRODID"]
    for event in events:
        assert re.fullmatch(r"\d{8}T\d{6}Z", event["DTSTAMP"][1]), "a stamp in UTC"
        assert event["DTSTART"][0] == event["DTEND"][0] == ";VALUE=DATE"
        start, end = (dt.datetime.strptime(event[name][1], "%Y%m%d") for name in ("DTSTART", "DTEND"))
        assert end > start, "the end is not part of the event and lies after the start"
        for name in ("SUMMARY", "DESCRIPTION"):
            assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", event[name][1]), "commas and semicolons are escaped"
            assert not re.search(r"(?<!\\)(?:\\\\)*\\(?![\\;,nN])", event[name][1]), "nothing else is escaped"
    assert len({event["UID"][1] for event in events}) == len(events)
    return events


def plain(text: str) -> str:
    """A TEXT value without its escapes."""
    return re.sub(r"\\(.)", lambda met: "\n" if met[1] in "nN" else met[1], text)


ROWS = [
    ("2026-11-03", "Ash; Lower, \\ Farm", "recheck", "4, 9"),
    ("2026-12-31", "Büttelhof", "whole-herd", ", ".join(map(str, range(1, 80)))),
]


def test_events_say_what_the_plan_says() -> None:
    first, second = read_calendar(icalendar(answer_of(ROWS), MADE))
    assert first["DTSTART"] == (";VALUE=DATE", "20261103") and first["DTEND"][1] == "20261104"
    assert first["DTSTAMP"][1] == "20261101T083000Z"
    assert plain(first["SUMMARY"][1]) == "Ash; Lower, \\ Farm: rechecks, 2 cows"
    said = "Proposed visit. Cows: 4, 9 As of 2026-11-01; newest record 3 days old."
    assert plain(first["DESCRIPTION"][1]) == said
    assert second["DTEND"][1] == "20270101"
    assert "77, 78, 79 As of" in plain(second["DESCRIPTION"][1])


@given(
    st.lists(
        st.tuples(
            st.dates(dt.date(2020, 1, 1), dt.date(2040, 1, 1)).map(str),
            st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=120),
            st.sampled_from(["whole-herd", "due", "recheck"]),
            st.just("1, 2"),
        ),
        max_size=5,
        unique_by=lambda row: row[:3],
    )
)
@settings(max_examples=80, deadline=None)
def test_any_name_of_a_farm_comes_back_as_it_was(rows: list[tuple[str, str, str, str]]) -> None:
    events = read_calendar(icalendar(answer_of(rows), MADE))
    assert [plain(event["SUMMARY"][1]).rsplit(": ", 1)[0] for event in events] == [row[1] for row in rows]


def test_the_same_visit_is_the_same_event_every_time() -> None:
    one, two = (read_calendar(icalendar(answer_of(rows), MADE)) for rows in (ROWS, ROWS[::-1]))
    assert [event["UID"] for event in one] == [event["UID"] for event in two[::-1]]


def test_a_visit_that_moved_is_the_same_event(demo_ledger: Ledger) -> None:
    """A reader of RFC 5545 meets the UID again on another day, with a higher SEQUENCE [pub: RFC 5545, 3.8.7.4]."""
    from icalendar import Calendar

    farm = Selection(farms=("Nether Ash",))
    first = plan(demo_ledger, farm)
    day = first.table["date"].iloc[0].date()
    then = plan(demo_ledger, farm, day_off=(day,), on=today())
    later = MADE + dt.timedelta(days=1)
    one, two = (
        {str(event["UID"]): event for event in Calendar.from_ical(icalendar(answer, made)).walk("VEVENT")}
        for answer, made in ((first, MADE), (then, later))
    )
    moved = [uid for uid in one if uid in two and one[uid].decoded("DTSTART") != two[uid].decoded("DTSTART")]
    assert moved and day in {one[uid].decoded("DTSTART") for uid in moved}
    assert set(one) == set(two)
    assert all(two[uid]["SEQUENCE"] > one[uid]["SEQUENCE"] for uid in one)
    assert {two[uid].decoded("LAST-MODIFIED") for uid in two} == {later.astimezone(dt.UTC)}


def test_an_empty_plan_is_an_empty_calendar() -> None:
    assert read_calendar(icalendar(answer_of([]), MADE)) == []


class _Outline(HTMLParser):
    """Opened and closed tags in balance, text by tag."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.words: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append(tag)
        assert not any(value and value.startswith(("http", "//")) for _, value in attrs), "nothing is fetched"
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.words.append((self.open[-1], data))


def test_chute_list() -> None:
    page = chute_list(answer_of(ROWS), dt.date(2026, 11, 3), ROWS[0][1])
    outline = _Outline()
    outline.feed(page)
    assert outline.open == [] and "script" not in outline.seen
    assert outline.seen.count("tr") == 3  # a head and two cows
    assert ("h1", "Ash; Lower, \\ Farm, 3 November 2026") in outline.words
    assert [text for tag, text in outline.words if tag == "td"] == ["high \u00b7 Lame & <slow>"] * 2
    assert ("p", "Ask your veterinarian.") in outline.words
    with pytest.raises(UserError, match="no visit to Ash on 2026-11-04"):
        chute_list(answer_of(ROWS), dt.date(2026, 11, 4), "Ash")
    with pytest.raises(UserError, match="no visit"):
        chute_list(answer_of([]), dt.date(2026, 11, 4), "Ash")


def test_the_demo_plan_goes_out_whole(demo_ledger: Ledger) -> None:
    answer = plan(demo_ledger, Selection(farms=("Nether Ash",)))
    events = read_calendar(icalendar(answer, MADE))
    assert len(events) == len(answer.table) > 3
    for row in answer.table.to_dict("records"):
        page = chute_list(answer, row["date"].date(), row["farm"])
        assert page.count('class="cow"') == row["cows"]


def test_a_reader_of_others_reads_the_same(demo_ledger: Ledger) -> None:
    """The icalendar package, an independent parser of RFC 5545, finds every visit on its day."""
    from icalendar import Calendar

    answer = plan(demo_ledger, Selection())
    calendar = Calendar.from_ical(icalendar(answer, MADE))
    assert not calendar.errors
    events = calendar.walk("VEVENT")
    assert all(not event.errors for event in events)
    days = [event.decoded("DTSTART") for event in events]
    assert days == [day.date() for day in answer.table["date"]]
    assert len({str(event["UID"]) for event in events}) == len(events) == len(answer.table)
    for event, farm in zip(events, answer.table["farm"], strict=True):
        assert farm in str(event["SUMMARY"])
