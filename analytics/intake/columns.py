"""A column of texts becomes a column of values: every distinct text is read once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.intake.dates import EARLIEST, DateOrder, read_day
from analytics.intake.fields import UNITS, Field, dtype_of
from analytics.intake.headings import Match
from analytics.intake.numbers import read_angle, read_length
from analytics.intake.sheet import Findings, Positions, Problem, RawColumn
from analytics.intake.unreadable import Unreadable
from analytics.intake.vocabulary import BLANKS, NOTHING, READERS, SPOKEN, is_plain_action

_DATE_TYPES = ("date", "dates", "moves")
_MEASURED = ("length", "angle", "whole", "score")


@dataclass(frozen=True)
class Setting:
    """What the reader of a sheet's cells must know beside the cell."""

    order: DateOrder
    today: dt.date
    from_workbook: bool


def is_blank(text: str, type: str) -> bool:
    """Whether a cell of a field of that type has nothing to say."""
    word = text.strip().casefold()
    if type == "text":
        return word == ""
    return word in (BLANKS if type in ("cow", "farm", "label", "lower", "yes-no", "floor") else NOTHING)


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
            f"{day.isoformat()} is not between {EARLIEST.year} and today.",
            "Correct the year, or the order of the date.",
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
                "A move needs a day and a group.", "Write day and group, such as 2026-03-14 dry; 2026-05-02 high."
            )
        out.append(f"{_day(first.rstrip(':,'), setting)} {' '.join(group.split())}")
    return sorted(out)


def read_column(
    column: RawColumn, match: Match, setting: Setting, findings: Findings
) -> pd.api.extensions.ExtensionArray | np.ndarray[Any, Any]:
    """Typed values of a column. What cannot be read is missing, and a problem.

    Parameters
    ----------
    column : RawColumn
        Restricted to the rows that are records.
    match : Match
    setting : Setting
    findings : Findings
        Problems, and how the words were understood, are added to it.

    Returns
    -------
    array
        Of the dtype of the field, one value a row.
    """
    read = reader_of(match, setting)
    type = match.field.type
    values: list[Any] = []
    rows = column.counts()
    unread: dict[int, Unreadable] = {}
    for code, text in enumerate(column.texts):
        if is_blank(text, type):
            values.append(None)
            continue
        try:
            values.append(read(text))
        except Unreadable as unreadable:
            values.append(None)
            unread[code] = unreadable
    places = column.positions() if unread else []
    for code, why in unread.items():
        findings.problems.append(Problem(places[code], match.field.name, why.reason, why.remedy))
    if type == "label":
        spelt = values
        values = alike(values, rows)
        for said, value, count in zip(spelt, values, rows, strict=True):
            if said != value:
                note_word(findings, match, said, value, int(count))
    if type in SPOKEN and type != "farm":
        for text, value, count in zip(column.texts, values, rows, strict=True):
            if value is not None:
                note_word(findings, match, text, str(value), int(count))
    elif type != "farm":
        note_word(findings, match, "", describe(match, setting), sum(
            int(count) for value, count in zip(values, rows, strict=True) if value is not None
        ))  # fmt: skip
    return taken(values, match.field, column)


def taken(
    values: Sequence[Any], field: Field, column: RawColumn
) -> pd.api.extensions.ExtensionArray | np.ndarray[Any, Any]:
    """Spread the values of the distinct texts over the rows."""
    dtype = dtype_of(field)
    if dtype.startswith("datetime"):
        days = np.array([np.datetime64("NaT") if v is None else v for v in values], dtype=dtype)
        return days[column.codes]
    if dtype == "float64":
        return np.array([np.nan if v is None else v for v in values], dtype="float64")[column.codes]
    distinct = pd.array(list(values), dtype=dtype)  # type: ignore[call-overload]
    return distinct.take(column.codes)  # type: ignore[no-any-return]


def alike(values: Sequence[Any], rows: np.ndarray[Any, np.dtype[np.int64]]) -> list[Any]:
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
            return "dates"
        return "dates, day first" if setting.order.day_first else "dates, month first"
    if type == "length":
        return {
            "in": "inches (\N{MULTIPLICATION SIGN} 25.4 mm)",
            "cm": "centimetres (\N{MULTIPLICATION SIGN} 10 mm)",
        }.get(match.unit or "", "millimetres")
    return {"angle": "degrees", "whole": "whole number", "zone": "zone", "score": "score"}.get(type, "text")


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


def weightier_words(column: RawColumn) -> Positions:
    """Rows whose action says more than it is read as, so that the words belong in the note."""
    telling = np.array([bool(t.strip()) and not is_blank(t, "action") and not is_plain_action(t) for t in column.texts])
    return np.flatnonzero(telling[column.codes]) if len(telling) else np.empty(0, np.int64)
