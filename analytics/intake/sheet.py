"""What a file is between being opened and being trusted: raw sheets, and checked sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.messages import Message

Codes = npt.NDArray[np.int32]
Positions = npt.NDArray[np.int64]
Rows = npt.NDArray[np.int64]


@dataclass(frozen=True)
class RawColumn:
    """A column of cells as text: each distinct text once, and for every row which of them it is."""

    codes: Codes
    texts: Sequence[str]

    def text(self, position: int) -> str:
        """The cell at a position."""
        return self.texts[int(self.codes[position])]

    def among(self, positions: Positions) -> RawColumn:
        """The same column at some positions only; texts that do not occur there are kept."""
        return RawColumn(self.codes[positions], self.texts)

    def counts(self) -> npt.NDArray[np.int64]:
        """How many rows hold each text."""
        return np.bincount(self.codes, minlength=len(self.texts)).astype(np.int64)


@dataclass(frozen=True)
class RawSheet:
    """The cells of one table of a file, titles, headings and blank rows included.

    Attributes
    ----------
    source : str
        How to name it to a person: the file, and the tab if there are several.
    columns : list of RawColumn
    widths : array of int
        How many cells each row had.
    first_row : int
        Row number, as a person sees it, of the first row.
    from_workbook : bool
        Numbers in date columns may then be a spreadsheet's day numbers.
    kind_hint : str or None
        The kind that the file itself names (a key of a JSON file).
    has_headings : bool
        Whether the heading row is known to be the first (JSON).
    tab : str
        Name of the tab, in a workbook.
    exact : bool
        Its columns and words are those of a standard: nothing is to be unfolded or asked about.
    numbers : array of int or None
        Row number of each row, where rows were unfolded and no longer stand as in the file.
    commented : bool
        Whether cells of its workbook have comments, which are not read.
    """

    source: str
    columns: list[RawColumn]
    widths: Codes
    first_row: int = 1
    from_workbook: bool = False
    kind_hint: str | None = None
    has_headings: bool = False
    tab: str = ""
    numbers: Positions | None = None
    exact: bool = False
    commented: bool = False

    def __len__(self) -> int:
        return len(self.widths)

    def row_numbers(self, positions: Positions) -> Positions:
        """Row numbers, as a person sees them, of the rows at some positions."""
        return positions + self.first_row if self.numbers is None else self.numbers[positions]

    def row(self, position: int) -> list[str]:
        """The cells of one row."""
        return [column.text(position) for column in self.columns]


@dataclass(frozen=True)
class CheckedSheet:
    """The records of one sheet, and the rows that are not records, each with its reasons.

    ``rows_read == len(records) + held``, always. Blank rows are not rows read. Where one row of the sheet holds several
    findings, each counts as a row read.

    Attributes
    ----------
    kind : str
        trims, locomotion, register, housing or changes.
    source : str
        File, and tab where there are several.
    records : pandas.DataFrame
        The canonical columns of the kind, and ``row``, the row number in the file.
    set_aside : pandas.DataFrame
        One line a reason: row, column (the file's own heading), value, reason, remedy, original (JSON of
        the row's cells keyed by the file's own headings). A cell that was left blank, its row kept, has a line too.
    rows_read : int
    understood : pandas.DataFrame
        How headings and words were understood: field, heading, said, understood_as, rows.
    notes : tuple of Message
    sheet_rows : int or None
        Rows of the sheet as it was, where they were unfolded.
    own_headings : tuple of str
        The sheet's own headings, by which its layout is known again.
    blanked : int
        Cells that were left blank, their rows kept.
    """

    kind: str
    source: str
    records: pd.DataFrame
    set_aside: pd.DataFrame
    rows_read: int
    understood: pd.DataFrame
    notes: tuple[Message, ...] = ()
    sheet_rows: int | None = None
    own_headings: tuple[str, ...] = ()
    blanked: int = 0

    @property
    def held(self) -> int:
        """Rows that were set aside."""
        return self.rows_read - len(self.records)


@dataclass(frozen=True)
class Problem:
    """One reason to set rows aside: the same cell text, the same reason, at some positions."""

    positions: Positions
    field: str
    reason: str
    remedy: str


@dataclass
class Findings:
    """What was learnt while reading a sheet: problems, how words were understood, notes."""

    problems: list[Problem] = field(default_factory=list)
    understood: list[dict[str, object]] = field(default_factory=list)
    notes: list[Message] = field(default_factory=list)
