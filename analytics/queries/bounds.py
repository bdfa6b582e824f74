"""How much an address or a command may ask for: dates near the records, numbers of few digits, lists of some length.

Without bounds one address fills the memory: a list of visits due until the year 9999 grew to 22 GB.
"""

from __future__ import annotations

import datetime as dt

from evenfoot.analytics.clock import today
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

FIRST_YEAR = 1980
"""Records before it are taken for slips of the pen. [common practice, no source]"""

YEARS_AHEAD = 5
"""Years from today that a date may lie ahead. [common practice, no source]"""

MOST_VALUES = 500
"""Values of one narrowing; a registry's viewer who needs more farms looks at all. [common practice, no source]"""

LONGEST_VALUE = 500
"""Letters of one value."""

LONGEST_ADDRESS = 64_000
"""Letters of the part of an address behind the question mark."""


def last_day() -> dt.date:
    """The last day that may be asked about."""
    return dt.date(today().year + YEARS_AHEAD, 12, 31)


def bounded_date(day: dt.date, what: str) -> dt.date:
    """The day, where it lies near the records.

    Raises
    ------
    UserError
        It lies before ``FIRST_YEAR`` or more than ``YEARS_AHEAD`` years ahead.
    """
    if not FIRST_YEAR <= day.year <= last_day().year:
        raise UserError(
            say(
                "The {what} date {day} is not between {first} and {last}; choose one nearer to the records.",
                what=what,
                day=day.isoformat(),
                first=str(FIRST_YEAR),
                last=str(last_day().year),
            )
        )
    return day


def bounded_number(text: str, what: str, most: int) -> int:
    """A whole number from 0 to *most*.

    Raises
    ------
    UserError
        The text is none.

    Examples
    --------
    >>> bounded_number("10", "zones", 12)
    10
    """
    if not (text.isascii() and text.isdecimal() and len(text) <= len(str(most)) and int(text) <= most):
        raise UserError(
            say(
                "'{key}' in the address must be whole numbers from 0 to {most}, not '{listed}'.",
                key=what,
                most=most,
                listed=text[:40],
            )
        )
    return int(text)


def bounded_address(search: str) -> str:
    """The part of an address behind the question mark, where it is not too long.

    Raises
    ------
    UserError
        It has more than ``LONGEST_ADDRESS`` letters.
    """
    if len(search) > LONGEST_ADDRESS:
        raise UserError(
            say("The address has {n:,} letters; it may have {most:,}.", n=len(search), most=LONGEST_ADDRESS)
        )
    return search


def bounded_values(values: list[str], what: str) -> tuple[str, ...]:
    """The values of one narrowing, where they are not too many or too long.

    Raises
    ------
    UserError
        There are more than ``MOST_VALUES``, or one has more than ``LONGEST_VALUE`` letters.
    """
    if len(values) > MOST_VALUES or max(map(len, values), default=0) > LONGEST_VALUE:
        raise UserError(
            say(
                "'{key}' in the address may have {most} values of {letters} letters each; choose fewer.",
                key=what,
                most=MOST_VALUES,
                letters=LONGEST_VALUE,
            )
        )
    return tuple(dict.fromkeys(values))
