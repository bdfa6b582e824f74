"""CSV and its cousins: commas, semicolons, tabs or bars between the cells."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from itertools import islice, pairwise

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.headings import find_headings, is_whole, squeezed
from evenfoot.analytics.intake.readers.aligned_text import aligned_rows
from evenfoot.analytics.intake.readers.column_builder import gather, sliced
from evenfoot.analytics.intake.readers.quotation_marks import SEPARATORS
from evenfoot.analytics.intake.sheet import RawSheet
from evenfoot.analytics.messages import say

DELIMITERS = SEPARATORS
SAMPLE_ROWS = 40
MOST_BLANK_LINES = 1_000_000
_LINE = re.compile(r"[^\r\n]*+(?:\r\n?|\n)|[^\r\n]++")
LONGEST_CELL = 131_072
"""Characters; a workbook's cell holds 32,767 at most."""


def read_delimited(text: str, name: str) -> list[RawSheet]:
    """The tables of a delimited text: one, unless it is a list of set-aside rows of several sheets.

    Raises
    ------
    UserError
        A quotation mark opens a cell and never closes it, or a cell is too long.
    """
    blank = sum(text.count(ends) for ends in ("\n\n", "\r\n\r\n", "\r\r"))
    if blank > MOST_BLANK_LINES:
        raise UserError(
            say("{name} has {blank:,} blank lines; take them away and import it again.", name=name, blank=blank)
        )
    delimiter = delimiter_of(text, name)
    aligned = aligned_rows(text) if not _has_headings(text, delimiter, name) else None
    if aligned is not None:
        return [gather(iter(aligned), name)]
    return split_tables(gather(rows_of(_lines(text), delimiter, name), name))


def _lines(text: str) -> Iterator[str]:
    """The lines of a text with their ends, one at a time: a file of it would take four bytes a letter."""
    return (found[0] for found in _LINE.finditer(text))


def delimiter_of(text: str, name: str) -> str:
    """What separates the cells of a text, of which the beginning is enough."""
    first = text[:16].lstrip().casefold()
    told = first[4] if first.startswith("sep=") and len(first) > 4 else None
    return told if told in DELIMITERS else _best_delimiter(text, name)


def rows_of(text: Iterable[str], delimiter: str, name: str) -> Iterator[list[str]]:
    """The cells of each row of a text, one row at a time."""
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    row = 0
    try:
        for cells in reader:
            row += 1
            yield cells
    except csv.Error as error:
        what = "a cell is too long" if "limit" in str(error) else "a quotation mark is not closed as it should be"
        raise UserError(
            say(
                "{name}, row {value}: {what}, so the cells after it cannot be told apart. Mend that row and import "
                "the file again.",
                name=name,
                value=row + 1,
                what=what,
            )
        ) from None


def _best_delimiter(text: str, name: str) -> str:
    """The delimiter with which the headings make most sense; of equals, the one that splits most."""
    from evenfoot.analytics.intake.layouts.tables import known_headings

    best, rank = ",", (-1, -1, -1, -1)
    for delimiter in DELIMITERS:
        if delimiter not in text[:1_000_000]:
            continue
        try:
            sample = gather(islice(rows_of(_lines(text), delimiter, name), SAMPLE_ROWS), name)
        except UserError:
            continue
        headings = find_headings(sample)
        found = 0 if headings is None else len(headings.matches)
        whole = int(headings is not None and is_whole(headings))
        here = (whole, max(found, known_headings(sample)), found, len(sample.columns))
        if here > rank:
            best, rank = delimiter, here
    return best


def _has_headings(text: str, delimiter: str, name: str) -> bool:
    """Whether the first rows have headings that are understood, parted by a delimiter."""
    from evenfoot.analytics.intake.layouts.tables import known_headings

    try:
        sample = gather(islice(rows_of(_lines(text), delimiter, name), SAMPLE_ROWS), name)
    except UserError:
        return True
    return known_headings(sample) >= LEAST_HEADINGS


LEAST_HEADINGS = 2
"""Headings below which columns lined up with spaces are looked for. [common practice, no source]"""


def split_tables(sheet: RawSheet) -> list[RawSheet]:
    """Tables one under the other, where each ends in the columns that set-aside rows carry."""
    marks: set[int] = set()
    for column in sheet.columns:
        for code, text in enumerate(column.texts):
            if squeezed(text[:40]) == "evenfootproblem":
                marks |= {int(position) for position in (column.codes == code).nonzero()[0]}
    if len(marks) < 2:
        return [sheet]
    starts = [0, *sorted(marks)[1:], len(sheet)]
    return [sliced(sheet, start, stop) for start, stop in pairwise(starts)]
