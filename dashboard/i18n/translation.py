"""What is said in the reader's language: sentences by their English template, numbers and dates as it has them.

Pages, charts and the report write English templates: ``_("Only {n} cows.", n=7)`` says it in the language of
whoever asks. Sentences of the measures and of the trade come as :func:`evenfoot.analytics.messages.say` leaves them,
and :func:`told` says them. Whose language it is stands in a context of its own for each request (:func:`speaking`).
"""

from __future__ import annotations

import datetime as dt
import functools
import logging
import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES, FOOT_NAMES, ZONES
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.domain.units import mm_to_inches
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import Length, Message
from evenfoot.dashboard.i18n.catalogue import LANGUAGES, catalogue
from evenfoot.dashboard.i18n.templates import Filling, Own

log = logging.getLogger("evenfoot.language")

UNITS = ("mm", "in")
DATES = {"day": "d MMM y", "month": "MMM d, y", "year": "y-MM-dd"}
"""What a date begins with -> its pattern."""

WEEKS = {"monday": 1, "sunday": 0, "saturday": 6}
"""First day of the week -> its number, Sunday being 0."""

HEMISPHERES = ("north", "south")
EN_DASH, MINUS, NO_BREAK = "\u2013", "\u2212", "\u00a0"

JOINED = ("; ", ", ")
"""How measures join words into one value."""


@functools.lru_cache(maxsize=8192)
def _day_said(day: dt.date, pattern: str, language: str) -> str:
    """Kept, since a table of cows says the same days hundreds of times."""
    from babel.dates import format_date

    return str(format_date(day, pattern, locale=language)).replace(" ", NO_BREAK)


@dataclass(frozen=True)
class Words:
    """Says things in one language; lengths in one unit, dates in one order.

    Parameters
    ----------
    language : {"en", "es"}
    units : {"mm", "in"}
    dates_as : {"day", "month", "year"}
        What a date begins with.
    week : {"monday", "sunday", "saturday"}
        First day of the week in calendars.
    hemisphere : {"north", "south"}
        Where nothing else says it, for the seasons.

    Examples
    --------
    >>> Words("es")("{n} cows", n=12), Words("es").percent(0.1673), Words("en").percent(0.1673)
    ('12 vacas', '16,7\xa0%', '16.7%')
    """

    language: str = "en"
    units: str = "mm"
    dates_as: str = "day"
    week: str = "monday"
    hemisphere: str = "north"

    def __post_init__(self) -> None:
        if self.language not in LANGUAGES:
            raise UserError(f"There is no language '{self.language}' here; use en or es.")
        if self.units not in UNITS:
            raise UserError(f"'{self.units}' is not a unit of length; use mm or in.")
        for given, known in ((self.dates_as, DATES), (self.week, WEEKS), (self.hemisphere, HEMISPHERES)):
            if given not in known:
                raise UserError(f"'{given}' is not a setting for dates, weeks or seasons; use {', '.join(known)}.")

    def __call__(self, template: str, **values: Any) -> str:
        """The template in this language, filled; numbers are written as the language has them."""
        return self.filled(template, values, known=True)

    def filled(self, template: str, values: dict[str, Any], *, known: bool = False) -> str:
        """The template in this language, filled; *known* says values too where the catalogue has words for them."""
        said = self._template(template)
        if not values and "{{" not in said:
            return said
        return Filling(self, known).fill(said, values)

    def _template(self, english: str) -> str:
        if self.language == "en":
            return english
        known = catalogue(self.language).get(english)
        if known is None:
            log.info("no words for %r in %s", english, self.language)
            return english
        return known

    def number_of(self, one: str, many: str, n: float, **values: Any) -> str:
        """The template for one or for many, filled with ``n`` and *values*.

        Examples
        --------
        >>> Words("es").number_of("{n} cow", "{n} cows", 1), Words("es").number_of("{n} cow", "{n} cows", 3)
        ('1 vaca', '3 vacas')
        """
        return self.filled(one if n == 1 else many, {"n": n, **values})

    def said(self, sentence: Message | str) -> str:
        """A sentence of a measure in this language."""
        if isinstance(sentence, Message):
            return self(sentence.template, **sentence.values)
        if sentence in FOOT_NAMES:
            return self.foot_code(sentence)
        known = catalogue(self.language)
        if sentence in known or self.language == "en":
            return known.get(sentence, sentence)
        if sentence[:1].isupper() and (small := sentence[0].lower() + sentence[1:]) in known:
            return self._named(small)
        for between in JOINED:
            parts = sentence.split(between)
            if len(parts) > 1 and any(part in known for part in parts):
                return between.join(self.said(part) for part in parts)
        return sentence

    def knows(self, sentence: Message | str) -> bool:
        """Whether there are words for it in this language."""
        text = sentence.template if isinstance(sentence, Message) else sentence
        return self.language == "en" or text in catalogue(self.language)

    def value(self, value: Any) -> str:
        """A value as it stands in a sentence."""
        if isinstance(value, Own):
            return str(value)
        if isinstance(value, Length):
            return self.measure(float(value))
        if isinstance(value, (Message, str)):
            return self.said(value)
        if isinstance(value, (pd.Timestamp, dt.date)):
            return self.date(value)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return str(value)
        return self.number(value, 0 if float(value).is_integer() else 1)

    def number(self, value: float, digits: int = 0) -> str:
        """A number with so many digits after the sign."""
        if not math.isfinite(value):
            return self("not known")
        text = self._signs(f"{value:,.{digits}f}")
        return text.replace("-", MINUS)

    def _signs(self, text: str) -> str:
        """English thousands, decimal and per cent signs as this language has them."""
        if self.language == "en":
            return text
        return text.translate({ord(","): ".", ord("."): ",", ord("%"): self.percent_sign})

    def percent(self, share: float, digits: int = 1) -> str:
        """A share as a percentage."""
        if not math.isfinite(share):
            return self("not known")
        return self.number(100 * share, digits) + self.percent_sign

    def formatted(self, value: Any, spec: str) -> str:
        """A value whose template says how to write it; numbers with this language's decimal sign."""
        text = value if isinstance(value, str) else format(value, spec)
        return self._signs(text) if isinstance(value, (int, float)) else text

    @property
    def percent_sign(self) -> str:
        return f"{NO_BREAK}%" if self.language == "es" else "%"

    def interval(self, low: float, high: float, digits: int = 1) -> str:
        """Limits of a share, without brackets."""
        if not (math.isfinite(low) and math.isfinite(high)):
            return self("interval not known")
        join = f" {self('to')} " if low < 0 or high < 0 else EN_DASH
        return f"{self.number(100 * low, digits)}{join}{self.number(100 * high, digits)}{self.percent_sign}"

    def points(self, value: float) -> str:
        """A difference in percentage points with its sign."""
        sign = "+" if value > 0 else ""
        return sign + self.number(100 * value, 1)

    def estimate(self, share: float, low: float, high: float) -> str:
        """A share and its limits."""
        said = self.interval(low, high).removesuffix(self.percent_sign)
        return f"{self.percent(share)} ({said})"

    def date(self, day: Any) -> str:
        """A day, such as 12 Oct 2026."""
        return self._dated(day, DATES[self.dates_as])

    def long_date(self, day: Any) -> str:
        """A day with its month in full, such as 12 October 2026."""
        long = {"day": "d MMMM y", "month": "MMMM d, y", "year": "y-MM-dd"}
        return self._dated(day, long[self.dates_as]).replace(NO_BREAK, " ")

    def dates(self, first: Any, last: Any) -> str:
        """A span of days, said as shortly as may be.

        Examples
        --------
        >>> Words().dates("2026-10-12", "2026-10-14").replace(NO_BREAK, " ").replace(EN_DASH, "-")
        '12-14 Oct 2026'
        """
        first, last = pd.Timestamp(first), pd.Timestamp(last)
        if first == last:
            return self.date(first)
        if self.dates_as == "day" and (first.year, first.month) == (last.year, last.month):
            return f"{first.day}{EN_DASH}{self.date(last)}"
        return f"{self.date(first)} {self('to')} {self.date(last)}"

    def month(self, day: Any, *, short: bool = False) -> str:
        """A month, with its year unless *short*."""
        return self._dated(day, "MMM" if short else "MMM y")

    def _dated(self, day: Any, pattern: str) -> str:
        return _day_said(pd.Timestamp(day).date(), pattern, self.language)

    def length(self, mm: float, digits: int = 1) -> str:
        """A length in the reader's unit, without naming it."""
        return self.number(mm, digits) if self.units == "mm" else self.number(mm_to_inches(mm), digits + 1)

    def measure(self, mm: float) -> str:
        """A length in the reader's unit, with it.

        Examples
        --------
        >>> Words().measure(80), Words(units="in").measure(80)
        ('80 mm', '3.15 in')
        """
        value, digits = (mm, 1) if self.units == "mm" else (mm_to_inches(mm), 2)
        text = self.number(value, 0 if float(value).is_integer() else digits)
        return f"{text} {self(self.units)}"

    @property
    def unit(self) -> str:
        """The unit of lengths, written after a figure."""
        return self.units

    def lesion(self, code: str, *, inside: bool = False) -> str:
        """A lesion, or ``any``, by name; with a capital unless it stands *inside* a sentence."""
        if code != "any" and code not in LESIONS:
            return code
        name = "any lesion" if code == "any" else LESIONS[code].name
        return self(name) if inside else self._named(name)

    def zone(self, zone: int) -> str:
        """A zone by number and name."""
        return f"{zone}, {self(ZONES[zone].name)}" if zone in ZONES else str(zone)

    def foot(self, foot: str) -> str:
        return self._named(FOOT_NAMES[foot]) if foot in FOOT_NAMES else foot

    def foot_code(self, foot: str) -> str:
        """The letters of a foot as trimmers write them, which intake reads in every language.

        Examples
        --------
        >>> Words("es").foot_code("LH"), Words().foot_code("LH")
        ('PI', 'LH')
        """
        return FOOT_CODES.get(self.language, {}).get(foot, foot)

    def claw(self, claw: str) -> str:
        return self(f"{CLAW_NAMES[claw]} claw") if claw in CLAW_NAMES else claw

    def listed(self, items: list[str]) -> str:
        """A list as a sentence has it.

        Examples
        --------
        >>> Words("es").listed(["a", "b", "c"])
        'a, b y c'
        """
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self('and')} {items[-1]}"

    def _named(self, name: str) -> str:
        said = self(name)
        return said[:1].upper() + said[1:]


FOOT_CODES = {"es": {"LF": "AI", "RF": "AD", "LH": "PI", "RH": "PD"}}
"""Language -> foot -> its letters: anterior or posterior, izquierda or derecha. [from memory]"""

_SPOKEN: ContextVar[Words | None] = ContextVar("evenfoot_words", default=None)
_ENGLISH = Words()


def words() -> Words:
    """The words of whoever asks now."""
    return _SPOKEN.get() or _ENGLISH


def speak(chosen: Words) -> None:
    """Say everything from here on in this context with *chosen*."""
    _SPOKEN.set(chosen)


@contextmanager
def speaking(chosen: Words) -> Iterator[Words]:
    """Say everything inside with *chosen*.

    Examples
    --------
    >>> with speaking(Words("es")):
    ...     _("{n} cows", n=12)
    '12 vacas'
    """
    before = _SPOKEN.set(chosen)
    try:
        yield chosen
    finally:
        _SPOKEN.reset(before)


def _(template: str, **values: Any) -> str:
    """The template in the reader's language, filled; values that are plain text stay as they are."""
    return words().filled(template, values)


def _n(one: str, many: str, n: float, **values: Any) -> str:
    """The template for one or for many in the reader's language, filled with ``n``."""
    return words().number_of(one, many, n, **values)


def told(sentence: Message | str) -> str:
    """A sentence of a measure, or a word of the trade, in the reader's language."""
    return words().said(sentence)
