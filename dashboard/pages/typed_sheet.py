"""What is typed becomes a sheet: one row a cow, a column a foot, with farm, day and trimmer in each row."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.finding_cell import LONGEST
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import read_date
from evenfoot.dashboard.i18n.translation import words
from evenfoot.dashboard.report.blank_sheet import CELLS
from evenfoot.dashboard.ui.file_names import file_name

MOST_ROWS = 1000
"""Rows of a sheet typed in; more is a file. [common practice, no source]"""

HEAD = {"visit_date": "day", "farm": "farm", "trimmer": "trimmer", "visit_kind": "kind", "locomotion_scale": "scale"}
"""Heading of a column -> what is said once above the grid."""

HEADINGS = {"cow": "Cow", "score": "locomotion_score", "note": "note"}
"""Headings of the cells that intake is to know; a foot has the letters that stand above it on the page."""


def typed_csv(typed: Mapping[str, Any]) -> tuple[str, bytes]:
    """A typed visit as a file: its name and its CSV.

    The heading is row 1 and a blank row stays one, so that its rows have the numbers of the grid.

    Parameters
    ----------
    typed : mapping
        ``farm``, ``day`` (ISO), ``trimmer``, ``kind``, ``scale``, and ``rows``: sequences of text as in :data:`CELLS`.

    Raises
    ------
    UserError
        Farm, day or cows are missing, or something is too long.
    """
    said = {heading: _line(typed.get(name)) for heading, name in HEAD.items()}
    rows = [[_line(cell) for cell in row] for row in _rows(typed.get("rows"))]
    if not said["farm"]:
        raise UserError(say("Say which farm it is, above the table."))
    if not said["visit_date"]:
        raise UserError(say("Say which day it was, above the table."))
    day = read_date(said["visit_date"], "day")
    if not any(any(row) for row in rows):
        raise UserError(say("Nothing has been typed yet; begin with the number of a cow."))
    for place, row in enumerate(rows, 2):
        for name, cell in zip(CELLS, row, strict=True):
            if len(cell) > LONGEST:
                raise UserError(
                    say(
                        "Row {row}, {column}: {n} letters are too many; shorten it to {most}.",
                        row=place,
                        column=words().foot_code(name),
                        n=len(cell),
                        most=LONGEST,
                    )
                )
    heads = [heading for heading, text in said.items() if text]
    text = io.StringIO()
    write = csv.writer(text, lineterminator="\n").writerow
    write([*heads, *(HEADINGS.get(name, words().foot_code(name)) for name in CELLS)])
    for row in rows:
        write([*(said[heading] for heading in heads), *row] if any(row) else [])
    return f"typed-{file_name(said['farm'])}-{day:%Y-%m-%d}.csv", text.getvalue().encode()


def _rows(given: Any) -> Sequence[Sequence[Any]]:
    if not isinstance(given, list) or not all(isinstance(row, list) and len(row) == len(CELLS) for row in given):
        raise UserError(say("The sheet did not arrive whole; check it again."))
    if len(given) > MOST_ROWS:
        raise UserError(say("{n} rows are too many to type; bring them in as a file on the page Import.", n=len(given)))
    return given


def _line(text: Any) -> str:
    """A cell as one line, as a sheet has it."""
    return " ".join(str(text or "").split())
