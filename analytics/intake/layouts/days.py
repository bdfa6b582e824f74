"""Days as sheets name them: whole dates, days without a year, months without a day, day numbers of a spreadsheet."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field

from evenfoot.analytics.domain.lexicon import phrases, plain
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.dates import EARLIEST, SPREADSHEET_DAY_ZERO, DateOrder, read_day

MID_MONTH = 15
"""Day taken for a month without a day: at most half a month from the true one. [common practice, no source]"""

_DAY_NUMBER = re.compile(r"^(\d{1,2})\s*[./-]\s*(\d{1,2})\.?$")
_SERIAL = re.compile(r"^[345]\d{4}(\.0+)?$")
_YEAR = re.compile(r"(?<!\d)((?:19|20)\d{2})(?!\d)")
_YEAR_MONTH = re.compile(r"^((?:19|20)\d{2})\s*[-/.]\s*(\d{1,2})$")
_MONTH_YEAR = re.compile(r"^(\d{1,2})\s*[-/.]\s*((?:19|20)\d{2})$")
_IN_TEXT = re.compile(
    r"(?<!\d)(?:(?:19|20)\d{2}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}\s?[-/.]\s?\d{1,2}\s?[-/.]\s?(?:\d{4}|\d{2})|(?:19|20)\d{6})(?!\d)"
)

_NAMED = re.compile(r"(?<!\w)\d{1,2}[-/.][^\W\d_]{3,10}\.?[-/.]\d{2,4}(?!\w)")


@dataclass(frozen=True)
class Day:
    """A day, or what is known of it. ``year`` or ``day`` is ``None`` where the text does not say.

    ``text`` is the day as written where it depends on the order of the file: "3/4/2026".
    """

    year: int | None
    month: int
    day: int | None
    text: str = field(default="", compare=False, repr=False)

    def date(self, year: int | None, today: dt.date) -> dt.date | None:
        """The date, with a year and a day put in where they are missing; no later than *today* where they are."""
        full = self.year or year
        if full is None:
            return None
        try:
            found = dt.date(full, self.month, self.day or MID_MONTH)
        except ValueError:
            return None
        return min(found, today) if self.day is None and found > today and found.month == today.month else found


def read_day_text(text: str, order: DateOrder, today: dt.date, *, serial: bool) -> Day:
    """What a text says of a day.

    Parameters
    ----------
    text : str
    order : DateOrder
        Whether the day comes first.
    today : datetime.date
        Against which two digits of a year are read.
    serial : bool
        Whether a number of five digits is a spreadsheet's day number.

    Raises
    ------
    Unreadable
        It is no day.

    Example
    -------
    >>> order, today = DateOrder(True, "option"), dt.date(2026, 11, 1)
    >>> read_day_text("12 Mar", order, today, serial=False), read_day_text("März 2026", order, today, serial=False)
    (Day(year=None, month=3, day=12), Day(year=2026, month=3, day=None))
    """
    bare = text.strip()
    if serial and _SERIAL.match(bare):
        found = SPREADSHEET_DAY_ZERO + dt.timedelta(days=int(float(bare)))
        return Day(found.year, found.month, found.day)
    if match := _YEAR_MONTH.match(bare):
        return _checked(int(match[1]), int(match[2]), None, text)
    if match := _MONTH_YEAR.match(bare):
        return _checked(int(match[2]), int(match[1]), None, text)
    if match := _DAY_NUMBER.match(bare):
        first, second = int(match[1]), int(match[2])
        day, month = (first, second) if order.day_first or first > 12 else (second, first)
        if month > 12:
            day, month = month, day
        return _checked(None, month, day, text)
    words = plain(bare).split()
    months = phrases("month")
    named = [(place, months[word]) for place, word in enumerate(words) if word in months]
    if len(named) == 1:
        place, month_name = named[0]
        before = [word for word in words[:place] if _ORDINAL.fullmatch(word)]
        after = [word for word in words[place + 1 :] if _ORDINAL.fullmatch(word)]
        others = [
            word for at, word in enumerate(words)
            if at != place and word not in _BETWEEN and word not in phrases("weekday")
        ]  # fmt: skip
        if len(before) + len(after) == len(others) and len(before) <= 1 and len(before) + len(after) <= 2:
            numbers = [int(re.sub(r"\D", "", word)) for word in before + after]
            # The day stands before the month, or right after it; the year stands last, or is the one of four digits.
            years = [number for number in numbers if number >= 1900]
            rest = [number for number in numbers if number < 1900]
            if not years and len(rest) == 2:
                years = [2000 + rest.pop()]
            if len(years) <= 1 and len(rest) <= 1:
                return _checked(years[0] if years else None, int(month_name), rest[0] if rest else None, text)
    found = read_day(text, order, today)
    return Day(found.year, found.month, found.day)


_ORDINAL = re.compile(r"\d{1,4}(?:st|nd|rd|th|er|o|a)?")
_BETWEEN = frozenset(("of", "de", "del", "the", "den", "der", "le", "do", "em", "am", "op", "den"))


def _checked(year: int | None, month: int, day: int | None, text: str) -> Day:
    try:
        dt.date(year or 2024, month, day or 1)
    except ValueError:
        raise Unreadable("There is no such day.", f"Correct the date '{text.strip()}'.") from None
    return Day(year, month, day)


def _read_either_way(text: str, order: DateOrder, today: dt.date) -> dt.date | None:
    """A whole date in the order given, else in the other one: "9/18/2025" has the month first."""
    for first in (order.day_first, not order.day_first):
        try:
            return read_day(text, DateOrder(first, "option"), today)
        except Unreadable:
            continue
    return None


def numbered_day(text: str) -> str:
    """The date in a line whose day and month are numbers before the year, as it is written; else an empty text.

    Example
    -------
    >>> numbered_day("Elm End 3/4/2026"), numbered_day("Elm End 2026-04-03")
    ('3/4/2026', '')
    """
    match = _IN_TEXT.search(text)
    return match[0] if match and re.match(r"\d{1,2}\D", match[0]) else ""


_SEASON = re.compile(r"(?<!\d)((?:19|20)\d{2})\s*[-/\N{EN DASH}]\s*(?:(?:19|20))?(\d{2})(?!\d|\s*[-/.]\s*\d)")


def season_named(text: str) -> int | None:
    """The first year of a season that a title names over the turn of the year: "2025/26".

    Example
    -------
    >>> season_named("Lame book, season 2025/26"), season_named("Winter 2025-2026"), season_named("2025-12")
    (2025, 2025, None)
    """
    match = _SEASON.search(text)
    return int(match[1]) if match and (int(match[1]) + 1) % 100 == int(match[2]) else None


BARE_DAY = re.compile(r"\s*(0?[1-9]|[12]\d|3[01])(?:\.0*)?\s*")
"""A day of the month alone."""


def month_named(text: str) -> tuple[int, int] | None:
    """Year and month of a title: "March 2026", "marzo de 2026", "Jan 26".

    Example
    -------
    >>> month_named("Apuntes de marzo de 2026"), month_named("Jan 26"), month_named("Elm End")
    ((2026, 3), (2026, 1), None)
    """
    words = plain(text).split()
    for place, word in enumerate(words):
        after = [one for one in words[place + 1 : place + 3] if one not in _BETWEEN]
        if word in phrases("month") and after and re.fullmatch(r"(?:20)?\d{2}", after[0]):
            return 2000 + int(after[0]) % 100, int(phrases("month")[word])
    return None


def is_day(text: str) -> bool:
    """Whether a text could name a day in one order or the other."""
    for first in (True, False):
        try:
            read_day_text(text, DateOrder(first, "option"), dt.date(2100, 1, 1), serial=False)
        except (Unreadable, ValueError):
            continue
        return True
    return False


def days_within(text: str, order: DateOrder, today: dt.date) -> tuple[list[dt.date], list[int], str]:
    """Whole dates and years named in a line of words, and the words left.

    Example
    -------
    >>> days_within("Hoof trim 9 June 2026 - T. Okafor", DateOrder(True, "option"), dt.date(2026, 11, 1))
    ([datetime.date(2026, 6, 9)], [], 'Hoof trim - T. Okafor')
    """
    dates: list[dt.date] = []
    rest = text
    for match in _IN_TEXT.finditer(text):
        found = _read_either_way(match[0], order, today)
        if found is None:
            continue
        if found >= EARLIEST:
            dates.append(found)
            rest = rest.replace(match[0], " ", 1)
    for match in _NAMED.finditer(rest):
        try:
            named = read_day_text(match[0], order, today, serial=False)
        except (Unreadable, ValueError):
            continue
        if named.year is not None and named.day is not None:
            dates.append(dt.date(named.year, named.month, named.day))
            rest = rest.replace(match[0], " ", 1)
    words = rest.split()
    months = phrases("month")
    place = 0
    while place < len(words):
        if plain(words[place]) not in months:
            place += 1
            continue
        for start, stop in ((place - 2, place + 3), (place - 1, place + 2), (place - 1, place + 3), (place, place + 3),
                            (place, place + 2)):  # fmt: skip
            if start < 0 or stop > len(words):
                continue
            try:
                day = read_day_text(" ".join(words[start:stop]).strip("-,;:()"), order, today, serial=False)
            except (Unreadable, ValueError):
                continue
            if day.day is None or day.year is None:
                continue
            dates.append(dt.date(day.year, day.month, day.day))
            words[start:stop] = []
            place = start - 1
            break
        place += 1
    rest = _SEASON.sub(lambda match: f" {match[1]} ", " ".join(words))
    years = [int(match[1]) for match in _YEAR.finditer(rest)]
    rest = " ".join(_YEAR.sub(" ", rest).split())
    return dates, [] if dates else years, rest
