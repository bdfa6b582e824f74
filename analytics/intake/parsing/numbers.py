"""Numbers as people write them: decimal commas, fractions of an inch, units in the cell."""

from __future__ import annotations

import re

from evenfoot.analytics.intake.fields import UNITS
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.messages import say

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_WITH_UNIT = re.compile(
    rf"""^({_NUMBER})\s*(mm|millimet(?:er|re)s?|cm|centimet(?:er|re)s?|in|inch|inches|ins|"|″|”|'')?\.?$""", re.I
)
_FRACTION = re.compile(
    r"""^(?:(\d{1,3})[\s-]+)?(\d{1,3})\s*/\s*(\d{1,3})\s*(mm|cm|in|inch|inches|ins|"|″|”|'')?\.?$""", re.I
)
_THOUSANDS = re.compile(r"^[+-]?\d{1,3}([,.'\u2019\u00a0\u202f ]\d{3})+$")
_BOTH_MARKS = re.compile(r"^[+-]?\d{1,3}(?:([,.])\d{3})+(?!\1)[,.]\d+$")
_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NOT_A_NUMBER = "Not understood as a number."


def read_decimal(text: str) -> float:
    """A number with a decimal point or a decimal comma.

    Raises
    ------
    Unreadable

    Example
    -------
    >>> read_decimal("29,5"), read_decimal(" 3.25 "), read_decimal("1.234,5")
    (29.5, 3.25, 1234.5)
    """
    bare = text.strip().replace("\N{MINUS SIGN}", "-")
    if _BOTH_MARKS.match(bare):
        mark = "," if bare.rfind(",") > bare.rfind(".") else "."
        other = "." if mark == "," else ","
        return float(bare.replace(other, "").replace(mark, "."))
    if re.fullmatch(_NUMBER, bare):
        return float(bare.replace(",", "."))
    raise Unreadable(_NOT_A_NUMBER, say("Write a plain number, such as 75 or 75.5."))


def read_whole(text: str) -> int:
    """A whole number; ``3.0`` and ``3,0`` are 3, and ``1,200`` is 1200.

    Raises
    ------
    Unreadable

    Example
    -------
    >>> read_whole("3.0"), read_whole("1,200"), read_whole(" 07 ")
    (3, 1200, 7)
    """
    bare = text.strip()
    if _THOUSANDS.match(bare):
        bare = re.sub(r"[,.'\u2019\u00a0\u202f ]", "", bare)
    try:
        number = read_decimal(bare)
    except Unreadable:
        raise Unreadable(_NOT_A_NUMBER, say("Write a whole number.")) from None
    if not number.is_integer():
        raise Unreadable(say("Not a whole number."), say("Write a whole number."))
    if abs(number) > 1e9:
        raise Unreadable(say("Far too large a number."), say("Write the right number."))
    return int(number)


def read_length(text: str, unit: str) -> float:
    """Millimetres in a length; ``unit`` is that of the column, and a unit in the cell goes before it.

    Raises
    ------
    Unreadable

    Example
    -------
    >>> read_length("75", "mm"), read_length("7.5 cm", "mm"), round(read_length("3 1/4", "in"), 2)
    (75.0, 75.0, 82.55)
    """
    bare = text.strip()
    for sign, fraction in _VULGAR.items():
        bare = bare.replace(sign, f" {fraction}")
    bare = bare.strip()
    if match := _WITH_UNIT.match(bare):
        return read_decimal(match[1]) * UNITS[_unit(match[2]) or unit]
    if (match := _FRACTION.match(bare)) and int(match[3]):
        said = _unit(match[4]) or unit
        if said == "in":
            return (int(match[1] or 0) + int(match[2]) / int(match[3])) * UNITS["in"]
    return read_decimal(bare) * UNITS[unit]


def read_angle(text: str) -> float:
    """Degrees in an angle.

    Example
    -------
    >>> read_angle("48°"), read_angle("47,5 deg")
    (48.0, 47.5)
    """
    return read_decimal(re.sub(r"(?<!\s)\s*(°|º|degrees?|deg)\.?$", "", text.strip(), flags=re.I))


def _unit(text: str | None) -> str | None:
    if not text:
        return None
    word = text.casefold()
    return "in" if word[0] in "i\"″”'" else "cm" if word[0] == "c" else "mm"
