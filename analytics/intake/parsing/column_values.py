"""A column of texts becomes a column of values: every distinct text is read once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import names_other_lesion
from evenfoot.analytics.intake.fields import UNITS, Field, dtype_of
from evenfoot.analytics.intake.headings import Match
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.combinations import rows_of
from evenfoot.analytics.intake.parsing.dates import EARLIEST, DateOrder, read_day
from evenfoot.analytics.intake.parsing.numbers import read_angle, read_length
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS, NOTHING, READERS, SPOKEN, is_plain_action
from evenfoot.analytics.intake.sheet import Codes, Findings, Problem, Rows
from evenfoot.analytics.messages import say

Distinct = pd.api.extensions.ExtensionArray | np.ndarray[Any, Any]

LONGEST_VALUE = 2_000
"""Characters of a cell that is no remark; lists of dates are the longest. [common practice, no source]"""

_DATE_TYPES = ("date", "dates", "moves")
_MEASURED = ("length", "angle", "whole", "score")


@dataclass(frozen=True)
class Setting:
    """What the reader of a sheet's cells must know beside the cell."""

    order: DateOrder
    today: dt.date
    from_workbook: bool
    known_scales: Mapping[str, str] = field(default_factory=dict)


def is_blank(text: str, type: str) -> bool:
    """Whether a cell of a field of that type has nothing to say."""
    word = text.strip().casefold()
    if type == "text":
        return word == ""
    return word in (
        BLANKS if type in ("cow", "farm", "label", "lower", "yes-no", "floor", "counted lesion") else NOTHING
    )


def refuse_long(text: str) -> None:
    """Refuse a cell that is too long to be read.

    Raises
    ------
    Unreadable
        It has more than ``LONGEST_VALUE`` characters.
    """
    if len(text) > LONGEST_VALUE:
        raise Unreadable(
            say("The cell has {n:,} characters; it may have {most:,}.", n=len(text), most=LONGEST_VALUE),
            say("Shorten it; what is more than the value belongs in the note."),
        )


def reader_of(match: Match, setting: Setting) -> Callable[[str], Any]:
    """The function that reads one cell of a column."""
    type = match.field.type
    if type == "date":
        return lambda text: read_day(text, setting.order, setting.today, from_workbook=setting.from_workbook)
    if type == "dates":
        return lambda text: "; ".join(_days(text, setting))
    if type == "moves":
        return lambda text: "; ".join(_moves(text, setting))
    if type == "length":
        return lambda text: read_length(text, match.unit if match.unit in UNITS else "mm")
    if type == "angle":
        return read_angle
    return READERS[type]


def date_pieces(text: str, type: str) -> list[str]:
    """The dates in a cell, as they are written."""
    if type == "date":
        return [text]
    pieces = [piece.strip() for piece in text.replace("\n", ";").split(";")]
    if type == "dates" and len(pieces) == 1 and pieces[0].count(",") >= 1:
        comma = [piece.strip() for piece in text.split(",")]
        # "Mar 3, 2026" is one date.
        pieces = comma if all(len(piece) >= 6 for piece in comma) else pieces
    if type == "moves":
        return [piece.split()[0] for piece in pieces if piece]
    return [piece for piece in pieces if piece]


def _day(text: str, setting: Setting) -> str:
    day = read_day(text, setting.order, setting.today, from_workbook=setting.from_workbook)
    if not EARLIEST <= day <= setting.today:
        raise Unreadable(
            say("{value} is not between {year} and today.", value=day.isoformat(), year=EARLIEST.year),
            say("Correct the year, or the order of the date."),
        )
    return day.isoformat()


def _days(text: str, setting: Setting) -> list[str]:
    return sorted({_day(piece, setting) for piece in date_pieces(text, "dates")})


def _moves(text: str, setting: Setting) -> list[str]:
    out = []
    for piece in (piece.strip() for piece in text.replace("\n", ";").split(";")):
        if not piece:
            continue
        first, _, group = piece.partition(" ")
        if not group.strip():
            raise Unreadable(
                say("A move needs a day and a group."),
                say("Write day and group, such as 2026-03-14 dry; 2026-05-02 high."),
            )
        out.append(f"{_day(first.rstrip(':,'), setting)} {' '.join(group.split())}")
    return sorted(out)


@dataclass(frozen=True)
class Reading:
    """What the distinct texts of a column say: a value or ``None`` for each, and those that cannot be read."""

    values: list[Any]
    unread: dict[int, Unreadable]

    def problems(self, field: str, codes: Codes) -> list[Problem]:
        """The cells that could not be read, where ``codes`` says which text stands in which row."""
        if not self.unread:
            return []
        rows = rows_of(codes, self.unread, len(self.values))
        return [Problem(rows[code], field, why.reason, why.remedy) for code, why in self.unread.items() if code in rows]


def read_texts(texts: Sequence[str], rows: Rows, match: Match, setting: Setting) -> Reading:
    """Read each distinct text of a column once; a text in no row says nothing.

    Parameters
    ----------
    texts : sequence of str
    rows : array of int
        How many rows hold each text.
    match : Match
    setting : Setting

    Returns
    -------
    Reading
    """
    read = reader_of(match, setting)
    type = match.field.type
    values: list[Any] = []
    unread: dict[int, Unreadable] = {}
    for code, text in enumerate(texts):
        value = None
        if rows[code] and not is_blank(text, type):
            try:
                if type != "text":
                    refuse_long(text)
                value = read(text)
            except Unreadable as unreadable:
                unread[code] = unreadable.with_traceback(None)
        values.append(value)
    return Reading(values, unread)


def tell_words(
    reading: Reading, texts: Sequence[str], rows: Rows, match: Match, setting: Setting, findings: Findings
) -> Reading:
    """List how the words of a column, or all of it, were understood; labels come back in one spelling."""
    type = match.field.type
    if type == "label":
        spelt = alike(reading.values, rows)
        for said, value, count in zip(reading.values, spelt, rows, strict=True):
            if said != value:
                note_word(findings, match, said, value, int(count))
        reading = Reading(spelt, reading.unread)
    if type in SPOKEN:
        for text, value, count in zip(texts, reading.values, rows, strict=True):
            if value is not None:
                note_word(findings, match, text, str(value), int(count))
    else:
        said = np.array([value is not None for value in reading.values], dtype=bool)
        note_word(findings, match, "", describe(match, setting), int(np.asarray(rows)[said].sum()))
    return reading


def distinct_values(values: Sequence[Any], field: Field) -> Distinct:
    """The values of distinct texts, of the dtype of the field, to be taken for every row."""
    dtype = dtype_of(field)
    if dtype.startswith("datetime"):
        return np.array([np.datetime64("NaT") if v is None else v for v in values], dtype=dtype)
    if dtype == "float64":
        return np.array([np.nan if v is None else v for v in values], dtype="float64")
    return pd.array(list(values), dtype=dtype)  # type: ignore[call-overload, no-any-return]


def alike(values: Sequence[Any], rows: Rows) -> list[Any]:
    """One spelling for labels that differ in case or spaces only: the first one in the file.

    Example
    -------
    >>> alike(["High", "high", "Dry"], np.array([1, 5, 2]))
    ['High', 'High', 'Dry']
    """
    first: dict[str, Any] = {}
    return [
        None if v is None or not n else first.setdefault(v.casefold(), v) for v, n in zip(values, rows, strict=True)
    ]


def describe(match: Match, setting: Setting) -> str:
    """How the values of a column were read, in words."""
    type = match.field.type
    if type in _DATE_TYPES:
        if setting.order.told_by == "none needed":
            return say("dates")
        return say("dates, day first") if setting.order.day_first else say("dates, month first")
    if type == "length":
        return {
            "in": say("inches (\N{MULTIPLICATION SIGN} 25.4 mm)"),
            "cm": say("centimetres (\N{MULTIPLICATION SIGN} 10 mm)"),
        }.get(match.unit or "", say("millimetres"))
    return {
        "angle": say("degrees"),
        "whole": say("whole number"),
        "zone": say("zone"),
        "score": say("score"),
    }.get(type, say("text"))


def note_word(findings: Findings, match: Match, said: str, understood_as: str, rows: int) -> None:
    """List how a word, or a whole column, was understood."""
    findings.understood.append(
        {
            "field": match.field.name,
            "heading": match.heading,
            "said": " ".join(said.split()),
            "understood_as": understood_as,
            "rows": rows,
        }
    )


def _is_telling_action(text: str) -> bool:
    return bool(text.strip()) and not is_blank(text, "action") and not is_plain_action(text)


KEPT_WORDS: dict[str, Callable[[str], bool]] = {"action": _is_telling_action, "lesion": names_other_lesion}
"""Field -> whether a cell says more than it is read as, so that its words belong in the note."""
