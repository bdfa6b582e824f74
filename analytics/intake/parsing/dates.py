"""Dates as people write them, and the order of day and month, decided for a whole file."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from evenfoot.analytics.domain.lexicon import meaning, phrases, plain
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.messages import say

EARLIEST = dt.date(1980, 1, 1)
"""Records before this are taken for slips of the pen [common practice, no source]."""
SPREADSHEET_DAY_ZERO = dt.date(1899, 12, 30)
"""Day 0 of the day numbers of spreadsheets [pub: OpenDocument 1.2, part 2, null date]."""

_CLOCK = re.compile(r"[T\s,]+\d{1,2}[:.]\d{2}(:\d{2}(\.\d+)?)?\s*([ap]\.?m\.?)?\s*(z|utc|[+-]\d{2}:?\d{2})?$", re.I)
_YEAR_FIRST = re.compile(r"^(\d{4})\s*[-/.\s]\s*(\d{1,2})\s*[-/.\s]\s*(\d{1,2})\.?$")
_COMPACT = re.compile(r"^((?:19|20)\d{2})(\d{2})(\d{2})$")
_DOTTED = re.compile(r"^\d{1,2}\.\s*\d{1,2}\.")
"""Dates with dots are written day first wherever dots are written [common practice, no source]."""
_YEAR_LAST = re.compile(r"^(\d{1,2})\s*[-/.\s]\s*(\d{1,2})\s*[-/.\s]\s*(\d{4}|'?\d{2})\.?$")
_DAY_MONTH = re.compile(
    r"^(\d{1,2})(?:st|nd|rd|th|er|[\u00ba\u00aa\u00b0])?(?:\s+(?:of|de))?[\s\-./]*([^\W\d_]{3,10})\.?(?:\s+(?:de|del))?[\s\-./,]*"
    r"'?(\d{4}|\d{2})$",
    re.I,
)
_MONTH_DAY = re.compile(r"^([^\W\d_]{3,10})\.?[\s\-./]*(\d{1,2})(?:st|nd|rd|th)?[\s\-./,]+'?(\d{4}|\d{2})$", re.I)
_DAY_NAME = re.compile(r"^([^\W\d_]+(?:-feira)?)\.?,?\s+", re.I)
_SERIAL = re.compile(r"^\d{5}(\.\d+)?$")

_ROMAN_MONTH = re.compile(r"(?<=\d)(\s*[-/.\s]\s*)(I{1,3}|I?V|VI{1,3}|I?X|XI{1,2})(?=\s*[-/.\s]\s*'?\d)")
"""A month in capital Roman numerals between the day and the year: 4.II.2026."""
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")

LONGEST_DATE = 100
"""Characters; a day name, a month name, a time and a zone come to half of it. [common practice, no source]"""

_REMEDY = say("Write the date as year-month-day, such as 2026-03-14.")


@dataclass(frozen=True)
class DateOrder:
    """How the dates of a file are read.

    Attributes
    ----------
    day_first : bool
        Whether 3/4/2026 is 3 April.
    told_by : str
        ``"option"``, ``"rows"`` (of which ``deciding`` allowed one order only), or ``"none needed"``.
    """

    day_first: bool
    told_by: str
    deciding: int = 0
    against: int = 0


def decide_order(texts: Iterable[tuple[str, int]], name: str, day_first: bool | None = None) -> DateOrder:
    """Decide for a whole file whether the day or the month comes first. Between dots the day does.

    Parameters
    ----------
    texts : iterable of (str, int)
        The distinct date texts and in how many rows each occurs.
    name : str
        What to call the file.
    day_first : bool, optional
        What the user said; it decides.

    Raises
    ------
    UserError
        Dates can be read both ways and no row, or as many rows either way, tells which.

    Example
    -------
    >>> decide_order([("3/4/2026", 1), ("14/4/2026", 1)], "book.csv").day_first
    True
    >>> decide_order([("3/4/2026", 1), ("4/14/2026", 1)], "book.csv").day_first
    False
    >>> decide_order([("12.03.2026", 1)], "book.csv").day_first
    True
    """
    if day_first is not None:
        return DateOrder(day_first, "option")
    votes = {True: 0, False: 0}
    unsure: str | None = None
    for text, rows in texts:
        match = _YEAR_LAST.match(_without_clock(text))
        if match is None:
            continue
        first, second = int(match[1]), int(match[2])
        if first > 12 >= second:
            votes[True] += rows
        elif second > 12 >= first:
            votes[False] += rows
        elif first != second and first <= 12 and not _DOTTED.match(match[0]):
            unsure = unsure or text.strip()
    if votes[True] and votes[True] == votes[False]:
        raise UserError(
            say(
                "{name}: as many dates can only be read day first as can only be read month first. Say which it is "
                "with --day-first or --month-first.",
                name=name,
            )
        )
    if votes[True] == votes[False]:
        if unsure is None:
            return DateOrder(True, "none needed")
        raise UserError(
            say(
                "{name}: dates such as {unsure} can be read day first or month first, and no row tells which. Say "
                "which it is with --day-first or --month-first.",
                name=name,
                unsure=unsure,
            )
        )
    order = votes[True] > votes[False]
    return DateOrder(order, "rows", votes[order], votes[not order])


def read_day(text: str, order: DateOrder, today: dt.date, *, from_workbook: bool = False) -> dt.date:
    """The day a text names. A time of day is left out.

    Raises
    ------
    Unreadable
        The text is no date, or not in the order of the file.

    Example
    -------
    >>> today, order = dt.date(2026, 11, 1), DateOrder(True, "option")
    >>> [str(read_day(t, order, today)) for t in ("3/4/26", "2026-04-03 08:30", "3rd Apr 2026", "April 3, 2026")]
    ['2026-04-03', '2026-04-03', '2026-04-03', '2026-04-03']
    >>> [str(read_day(t, order, today)) for t in ("12. März 2026", "12 de marzo de 2026", "jeu. 12 mars 2026")]
    ['2026-03-12', '2026-03-12', '2026-03-12']
    >>> str(read_day("4.II.2026", DateOrder(False, "option"), today))
    '2026-02-04'
    """
    bare = _ROMAN_MONTH.sub(_arabic_month, _without_day_name(_without_clock(text)))
    if len(bare) > LONGEST_DATE:
        raise Unreadable(say("Not understood as a date."), _REMEDY)
    try:
        for pattern in (_YEAR_FIRST, _COMPACT):
            if match := pattern.match(bare):
                return dt.date(int(match[1]), int(match[2]), int(match[3]))
        if match := _YEAR_LAST.match(bare):
            named = _ROMAN_MONTH.search(text) is not None
            day, month = (match[1], match[2]) if order.day_first or named else (match[2], match[1])
            return dt.date(_year(match[3], today), int(month), int(day))
        if (match := _DAY_MONTH.match(bare)) and (number := month_of(match[2])):
            return dt.date(_year(match[3], today), number, int(match[1]))
        if (match := _MONTH_DAY.match(bare)) and (number := month_of(match[1])):
            return dt.date(_year(match[3], today), number, int(match[2]))
        if from_workbook and _SERIAL.match(bare):
            return SPREADSHEET_DAY_ZERO + dt.timedelta(days=int(float(bare)))
    except ValueError:
        how = "" if not _YEAR_LAST.match(bare) else " day first" if order.day_first else " month first"
        raise Unreadable(
            say("There is no such day, read{how}.", how=how) if how else say("There is no such day."), _REMEDY
        ) from None
    raise Unreadable(say("Not understood as a date."), _REMEDY)


def _arabic_month(match: re.Match[str]) -> str:
    return f"{match[1]}{_ROMAN.index(match[2]) + 1}"


def month_of(word: str) -> int | None:
    """The month that a word names, whole or cut short to three letters or more, or ``None``.

    Example
    -------
    >>> [month_of(word) for word in ("March", "März", "mrt", "ene.", "Septem", "jui", "Foo")]
    [3, 3, 3, 1, 9, None, None]
    """
    return _months().get(plain(word))


@cache
def _months() -> dict[str, int]:
    beginnings: dict[str, set[int]] = {}
    for name, month in phrases("month").items():
        for length in range(3, len(name)):
            beginnings.setdefault(name[:length], set()).add(int(month))
    short = {beginning: months.pop() for beginning, months in beginnings.items() if len(months) == 1}
    return short | {name: int(month) for name, month in phrases("month").items()}


def _without_day_name(text: str) -> str:
    """A date without the name of its weekday; ``mar 3, 2026`` begins with a month."""
    match = _DAY_NAME.match(text)
    if match is None or meaning("weekday", match[1]) is None:
        return text
    return text if (found := _MONTH_DAY.match(text)) and month_of(found[1]) else text[match.end() :]


def _without_clock(text: str) -> str:
    """A date without the time of day, its spaces single; a text too long for a date as it is."""
    bare = " ".join(text.split())
    return bare if len(bare) > LONGEST_DATE else _CLOCK.sub("", bare).strip()


def _year(text: str, today: dt.date) -> int:
    """Two digits mean the century that does not put the day further ahead than next year."""
    digits = text.lstrip("'")
    if len(digits) == 4:
        return int(digits)
    year = today.year // 100 * 100 + int(digits)
    return year if year <= today.year + 1 else year - 100
