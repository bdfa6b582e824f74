"""Rows that an import set aside, in a table to be mended and tried again."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import html

from evenfoot.analytics.clock import today
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet, write_set_aside
from evenfoot.analytics.intake.fields import OWN_COLUMNS
from evenfoot.analytics.intake.layouts.questions import Question
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import ImportResult
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, run_import
from evenfoot.analytics.ledger.imports.record_linkage import join_notes
from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.stored_sentences import said_again
from evenfoot.dashboard.i18n.translation import _, _n
from evenfoot.dashboard.pages.imports_questions import field
from evenfoot.dashboard.pages.imports_rights import prepared_for_viewer
from evenfoot.dashboard.pages.imports_sheet import digest_of

MOST_ROWS = 100
"""Rows that are mended at a time; the rest is in the file of set-aside rows."""

MENDED_FILE = "mended-{number}.csv"
"""What the import of rows mended of another import is called."""

MENDED_NOTE = "mended on {day}"
"""What the note of a mended record says. Kept with the record, so it is the same in every language."""

MENDING = "mending"
"""Which sheet a question is about that comes up while rows are mended."""


@dataclasses.dataclass(frozen=True)
class Tried:
    """What came of mended rows.

    Attributes
    ----------
    result : ImportResult or None
        What went in.
    digest : str
        Of the sheet of mended rows.
    left : pandas.DataFrame
        Rows that are not right yet: row, column, reason, remedy, original.
    questions : list of Question
        What has to be answered first; nothing went in then.
    """

    result: ImportResult | None
    digest: str
    left: pd.DataFrame
    questions: list[Question]


def rows_to_mend(frame: pd.DataFrame) -> tuple[list[str], list[dict[str, Any]]]:
    """Headings, and one line a row set aside: its number, its reasons, and its own cells by place among the headings.

    Parameters
    ----------
    frame : pandas.DataFrame
        Of :meth:`~evenfoot.analytics.ledger.ledger.Ledger.set_aside` or of
        :attr:`~evenfoot.analytics.intake.CheckedSheet.set_aside`.
    """
    number = "row" if "row" in frame.columns else "row_no"
    headings: dict[str, int] = {}
    lines: dict[tuple[int, str], dict[str, Any]] = {}
    for row, column, reason, remedy, original in zip(
        frame[number], frame["column"], frame["reason"], frame["remedy"], frame["original"], strict=True
    ):
        cells = _cells(original)
        line = lines.setdefault((int(row), original), {"row": int(row), "reason": ""})
        why = ": ".join(str(part) for part in (column, said_again(reason)) if isinstance(part, str) and part)
        line["reason"] = " ".join(part for part in (line["reason"], why, said_again(remedy) if remedy else "") if part)
        for name, cell in cells.items():
            line[f"c{headings.setdefault(name, len(headings))}"] = cell
    return list(headings), list(lines.values())


def _cells(original: str) -> dict[str, str]:
    """A row's own cells by heading."""
    return {name: cell for name, cell in json.loads(original).items() if name not in OWN_COLUMNS}


def with_cells(lines: Sequence[Mapping[str, Any]], cells: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The lines with what stands in the fields now, each given with its ``id``: which line, and which heading."""
    out = [dict(line) for line in lines]
    for cell in cells:
        line, place = int(cell["id"]["line"]), int(cell["id"]["place"])
        if line < len(out) and f"c{place}" in out[line]:
            out[line][f"c{place}"] = cell.get("value") or ""
    return out


def mending_body(
    number: int, headings: Sequence[str], lines: Sequence[Mapping[str, Any]], questions: Sequence[Question] = ()
) -> list[Any]:
    """The table of what import *number* set aside, with the questions that came up, and the way to try again.

    Parameters
    ----------
    number : int
    headings, lines
        Of :func:`rows_to_mend`.
    questions : sequence of Question
    """
    heads = [html.Th(each, scope="col") for each in (_("Row"), _("Reason"), *headings)]
    return [
        html.P(
            _n(
                "{n} row of import {number} was set aside or has a blank cell. Correct its cells, then try again.",
                "{n} rows of import {number} were set aside or have blank cells. Correct their cells, then try again.",
                len(lines),
                number=str(number),
            )
        ),
        *(html.Div(field(MENDING, question, question.default or ""), className="ask") for question in questions),
        html.Div(
            html.Table(
                [
                    html.Thead(html.Tr(heads)),
                    html.Tbody([_fields(at, headings, line) for at, line in enumerate(lines[:MOST_ROWS])]),
                ],
                id="mend-rows",
                className="mended",
            ),
            className="scroll cards",
            tabIndex=0,
            role="region",
            **{"aria-label": _("Rows set aside")},
        ),
        html.P(_("The rest is in the file of set-aside rows."), className="basis") if len(lines) > MOST_ROWS else None,
        html.Button(_("Try again"), id="mend-again", className="act thumb"),
    ]


def _fields(at: int, headings: Sequence[str], line: Mapping[str, Any]) -> html.Tr:
    """A line with a field for each of its own cells."""
    cells = [
        dmc.TextInput(
            id={"type": "mend-cell", "line": at, "place": place},
            value=str(line[f"c{place}"] or ""),
            debounce=True,
            **{"aria-label": _("{heading}, row {n}", heading=heading, n=line.get("row", ""))},
        )
        if f"c{place}" in line
        else None
        for place, heading in enumerate(headings)
    ]
    named = [html.Td(cell, **{"data-label": heading}) for heading, cell in zip(headings, cells, strict=True)]
    number, why = str(line.get("row", "")), line.get("reason", "")
    return html.Tr([html.Th(number, scope="row"), html.Td(why, className="why"), *named])


def mended_cells(headings: Sequence[str], line: Mapping[str, Any]) -> dict[str, str]:
    """A line of the table as a row's own cells by heading."""
    return {name: str(line.get(f"c{n}") or "") for n, name in enumerate(headings) if f"c{n}" in line}


def mended_csv(headings: Sequence[str], lines: Sequence[Mapping[str, Any]]) -> bytes:
    """The rows of the table as a sheet with their own headings, as the list of set-aside rows has them."""
    frame = pd.DataFrame(
        {
            "row": [int(line.get("row") or 0) for line in lines],
            "original": [json.dumps(mended_cells(headings, line), ensure_ascii=False) for line in lines],
        }
    ).assign(column="", reason="", remedy="")
    return write_set_aside(frame).encode()


def try_again(
    ledger: Ledger, number: int, headings: Sequence[str], lines: Sequence[Mapping[str, Any]], given: Mapping[str, str]
) -> Tried:
    """Check mended rows, and add those that are right now, marked as mended.

    Raises
    ------
    UserError
        There are no rows, they cannot be read, or the viewer may not bring them in.
    """
    if not lines:
        raise UserError(say("There are no rows to try again."))
    data = mended_csv(headings, lines)
    name, digest = MENDED_FILE.format(number=number), digest_of(data)
    prepared, _result = prepared_for_viewer(ledger, data, name, given)
    held = [sheet.set_aside for sheet in prepared.sheets if not sheet.set_aside.empty]
    left = _as_they_stood(pd.concat(held, ignore_index=True), headings, lines) if held else pd.DataFrame()
    questions = prepared.answers.blocking()
    if questions:
        return Tried(None, digest, left, questions)
    if not prepared.records:
        return Tried(None, digest, left, [])
    return Tried(run_import(ledger, _marked(prepared), digest), digest, left, [])


def _as_they_stood(left: pd.DataFrame, headings: Sequence[str], lines: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Rows that are not right yet, with the row numbers of the sheet that they came from."""
    rows = {json.dumps(mended_cells(headings, line), sort_keys=True): line.get("row") or 0 for line in lines}
    keys = [json.dumps(_cells(original), sort_keys=True) for original in left["original"]]
    return left.assign(row=[int(rows.get(key, row)) for key, row in zip(keys, left["row"], strict=True)])


def _marked(prepared: PreparedImport) -> PreparedImport:
    """The rows that are right, with a note that they were mended; what is still wrong stays with its first import."""
    note = MENDED_NOTE.format(day=today().isoformat())
    return dataclasses.replace(prepared, sheets=[_marked_sheet(sheet, note) for sheet in prepared.sheets])


def _marked_sheet(sheet: CheckedSheet, note: str) -> CheckedSheet:
    records = sheet.records
    if "note" in records:
        notes = [join_notes(None if pd.isna(before) else str(before), note) for before in records["note"]]
        records = records.assign(note=pd.Series(notes, index=records.index, dtype=object).astype(records["note"].dtype))
    return dataclasses.replace(
        sheet, records=records, set_aside=sheet.set_aside.iloc[:0], rows_read=len(records), blanked=0
    )
