"""Rows of cells, as they come, become columns of distinct texts."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, zip_longest

import numpy as np

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.sheet import RawColumn, RawSheet
from evenfoot.analytics.messages import say

ROWS_AT_A_TIME = 4096
MOST_COLUMNS = 10_000


class _Distinct(dict[str, int]):
    """Texts numbered in the order in which they are first seen."""

    def __missing__(self, text: str) -> int:
        number = len(self)
        self[text] = number
        return number


def gather(rows: Iterable[Sequence[str]], source: str, *, from_workbook: bool = False) -> RawSheet:
    """Columns of the rows; short rows are filled with empty cells.

    Raises
    ------
    UserError
        A row has more than ``MOST_COLUMNS`` cells.
    """
    numbers: list[_Distinct] = []
    codes: list[array[int]] = []
    widths: array[int] = array("i")
    for chunk in _chunks(rows):
        width = max(map(len, chunk))
        if width > MOST_COLUMNS:
            raise UserError(
                say(
                    "{source} has a row of {width:,} cells; sheets may be {MOST_COLUMNS:,} columns wide. Take away "
                    "what is not records.",
                    source=source,
                    width=width,
                    MOST_COLUMNS=MOST_COLUMNS,
                )
            )
        while len(numbers) < width:
            numbers.append(_Distinct({"": 0}))
            codes.append(array("i", bytes(4 * len(widths))))
        for number, column in enumerate(zip_longest(*chunk, fillvalue="")):
            codes[number].extend(map(numbers[number].__getitem__, column))
        for number in range(width, len(numbers)):
            codes[number].extend(bytes(len(chunk)))
        widths.extend(map(len, chunk))
    columns = [
        RawColumn(np.frombuffer(code, dtype=np.int32) if len(code) else np.empty(0, np.int32), list(number))
        for code, number in zip(codes, numbers, strict=True)
    ]
    return RawSheet(
        source,
        columns,
        np.array(widths, dtype=np.int32),
        from_workbook=from_workbook,
    )


def _chunks(rows: Iterable[Sequence[str]]) -> Iterator[list[Sequence[str]]]:
    rows = iter(rows)
    while chunk := list(islice(rows, ROWS_AT_A_TIME)):
        yield chunk


def sliced(sheet: RawSheet, start: int, stop: int, source: str | None = None) -> RawSheet:
    """The rows of a sheet from one position up to another, their row numbers kept."""
    return RawSheet(
        source or sheet.source,
        [RawColumn(column.codes[start:stop], column.texts) for column in sheet.columns],
        sheet.widths[start:stop],
        sheet.first_row + start,
        sheet.from_workbook,
        sheet.kind_hint,
        sheet.has_headings,
    )
