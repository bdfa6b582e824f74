"""The report in the reader's language: sentences by their English template, numbers and dates as it has them."""

from __future__ import annotations

import datetime as dt
import math
import string
from dataclasses import dataclass
from typing import Any

import pandas as pd
from babel.dates import format_date
from babel.numbers import format_decimal

from analytics.mistake import Mistake
from analytics.trade.feet import CLAW_NAMES, FOOT_NAMES, ZONES
from analytics.trade.lesions import LESIONS
from analytics.trade.units import mm_to_inches
from analytics.words import Said
from dashboard.report.spanish import SPANISH

LANGUAGES = ("en", "es")
UNITS = ("mm", "in")
EN_DASH, MINUS, NO_BREAK = "\u2013", "\u2212", "\u00a0"

JOINED = ("; ", ", ")
"""How measures join words into one value."""

CATALOGUES: dict[str, dict[str, str]] = {"en": {}, "es": SPANISH}
"""Language -> English template -> template in that language."""


@dataclass(frozen=True)
class Words:
    """Says things in one language; lengths in one unit.

    Parameters
    ----------
    language : {"en", "es"}
    units : {"mm", "in"}

    Examples
    --------
    >>> Words("es")("{n} cows", n=12), Words("es").percent(0.1673), Words("en").percent(0.1673)
    ('12 vacas', '16,7\xa0%', '16.7%')
    """

    language: str = "en"
    units: str = "mm"

    def __post_init__(self) -> None:
        if self.language not in LANGUAGES:
            raise Mistake(f"The report cannot be written in '{self.language}'; use en or es.")
        if self.units not in UNITS:
            raise Mistake(f"'{self.units}' is not a unit of length; use mm or in.")

    def __call__(self, template: str, **values: Any) -> str:
        """The template in this language, filled; numbers are written as the language has them."""
        said = CATALOGUES[self.language].get(template, template)
        return _Filling(self).vformat(said, (), values)

    def said(self, sentence: Said | str) -> str:
        """A sentence of a measure in this language."""
        if isinstance(sentence, Said):
            return self(sentence.template, **sentence.values)
        known = CATALOGUES[self.language]
        if sentence in known or not known:
            return known.get(sentence, sentence)
        for between in JOINED:
            parts = sentence.split(between)
            if len(parts) > 1 and any(part in known for part in parts):
                return between.join(known.get(part, part) for part in parts)
        return sentence

    def knows(self, sentence: Said | str) -> bool:
        """Whether there are words for it in this language."""
        text = sentence.template if isinstance(sentence, Said) else sentence
        return self.language == "en" or text in CATALOGUES[self.language]

    def value(self, value: Any) -> str:
        """A value as it stands in a sentence."""
        if isinstance(value, (Said, str)):
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
        pattern = "#,##0" + ("." + "0" * digits if digits else "")
        return str(format_decimal(value, pattern, locale=self.language)).replace("-", MINUS)

    def percent(self, share: float, digits: int = 1) -> str:
        """A share as a percentage."""
        if not math.isfinite(share):
            return self("not known")
        return self.number(100 * share, digits) + self.percent_sign

    def formatted(self, value: Any, spec: str) -> str:
        """A value whose template says how to write it; numbers with this language's decimal sign."""
        text = format(value, spec)
        if self.language == "en" or not isinstance(value, (int, float)):
            return text
        return text.translate(str.maketrans(",.", ".,"))

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
        return str(format_date(pd.Timestamp(day).date(), "d MMM y", locale=self.language)).replace(" ", NO_BREAK)

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
        if (first.year, first.month) == (last.year, last.month):
            return f"{first.day}{EN_DASH}{self.date(last)}"
        return f"{self.date(first)} {self('to')} {self.date(last)}"

    def month(self, day: Any, *, short: bool = False) -> str:
        """A month, with its year unless *short*."""
        said = format_date(pd.Timestamp(day).date(), "MMM" if short else "MMM y", locale=self.language)
        return str(said).replace(" ", NO_BREAK)

    def length(self, mm: float, digits: int = 1) -> str:
        """A length in the reader's unit, without naming it."""
        return self.number(mm, digits) if self.units == "mm" else self.number(mm_to_inches(mm), digits + 1)

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


class _Filling(string.Formatter):
    """Fills a template with values written in one language."""

    def __init__(self, words: Words) -> None:
        self.words = words

    def format_field(self, value: Any, format_spec: str) -> str:
        return self.words.formatted(value, format_spec) if format_spec else self.words.value(value)
