"""The rows of a file as they stand in it, to be shown beside what was made of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenfoot.analytics.intake.readers.dispatch import read_sheets


@dataclass(frozen=True)
class RawRow:
    """One row of a sheet: its ``number`` as a person sees it, and its ``cells``."""

    number: int
    cells: tuple[str, ...]


def raw_rows(data: bytes, name: str, most: int) -> dict[str, list[RawRow]]:
    """The first rows of each sheet of a file, blank rows left out.

    Parameters
    ----------
    data : bytes
    name : str
        What to call the file.
    most : int
        Rows of a sheet that are given at most.

    Returns
    -------
    dict of str to list of RawRow
        By ``source`` of :class:`~evenfoot.analytics.intake.sheet.CheckedSheet`.

    Raises
    ------
    UserError
        The file cannot be read.

    Example
    -------
    >>> raw_rows(b"cow,LH\\n\\n7,SU\\n", "book.csv", 5)["book.csv"][-1]
    RawRow(number=3, cells=('7', 'SU'))
    """
    out: dict[str, list[RawRow]] = {}
    for sheet in read_sheets(None, data, name):
        rows: list[RawRow] = []
        for position in range(len(sheet)):
            if len(rows) == most:
                break
            cells = tuple(cell.strip() for cell in sheet.row(position))
            if any(cells):
                [number] = sheet.row_numbers(np.array([position], dtype=np.int64)).tolist()
                rows.append(RawRow(int(number), cells))
        out[sheet.source] = rows
    return out
