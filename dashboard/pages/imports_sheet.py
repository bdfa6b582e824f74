"""One dropped sheet: what would go in, and what it leaves open."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.readers.raw_rows import RawRow
from evenfoot.analytics.ledger.imports.add import ImportResult
from evenfoot.analytics.ledger.imports.file_import import PreparedImport
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.theme import number
from evenfoot.dashboard.i18n.stored_sentences import said_again
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages.imports_list import KINDS
from evenfoot.dashboard.pages.imports_questions import open_questions, settled_fold
from evenfoot.dashboard.pages.imports_rows import SHOWN_ROWS, rows_beside
from evenfoot.dashboard.ui.panel import number_table


def bytes_of(contents: str) -> bytes:
    """The bytes of a file as the browser sends them.

    Raises
    ------
    UserError
        They are not whole.
    """
    try:
        return base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise UserError(say("The file did not arrive whole; drop it again.")) from None


def digest_of(data: bytes) -> str:
    """What a file is known by."""
    return hashlib.sha256(data).hexdigest()


def sheet_body(
    of: str,
    prepared: PreparedImport,
    result: ImportResult,
    rows: Mapping[str, Sequence[RawRow]],
    given: Mapping[str, str],
    *,
    beside_demo: bool,
    fold_open: bool,
) -> list[Any]:
    """All that is shown of a sheet before it is added.

    Parameters
    ----------
    of : str
        Which of the dropped sheets it is.
    prepared : PreparedImport
    result : ImportResult
        Of a dry run.
    rows : mapping of str to sequence of RawRow
        The first rows of the file by source.
    given : mapping of str to str
        Answers given on the page.
    beside_demo : bool
        Whether it would come to stand among the demo herds.
    fold_open : bool
        Whether what was taken without asking stands open.
    """
    blocking = prepared.answers.blocking()
    revision = prepared.revision if prepared.revision is not None and prepared.revision.is_open else None
    return [
        _counts(prepared, result),
        *(html.P(told(note), className="caution") for note in (*prepared.unread, *result.questioned)),
        *open_questions(of, blocking),
        *(_both_versions(revision.frame) if revision is not None else []),
        *_adding(of, len(blocking), result, beside_demo=beside_demo),
        *settled_fold(of, prepared.answers, given, is_open=fold_open),
        html.Details(
            [
                html.Summary(_("The sheet as it was, and what goes in")),
                *rows_beside(prepared.sheets, rows),
            ],
            className="fold",
            open=True,
        ),
        *_held(prepared.sheets),
        *_understood(prepared),
    ]


def _counts(prepared: PreparedImport, result: ImportResult) -> Any:
    rows: dict[str, int] = {}
    for sheet in prepared.sheets:
        read = sheet.rows_read if sheet.sheet_rows is None else sheet.sheet_rows
        rows[sheet.source] = max(rows.get(sheet.source, 0), read)
    kinds = ", ".join(dict.fromkeys(told(KINDS.get(sheet.kind, sheet.kind)) for sheet in prepared.sheets))
    facts = [
        (_("What"), kinds),
        (_("Rows read"), number(sum(rows.values()))),
        (_("Records"), number(prepared.records)),
        (_("New"), number(result.added)),
        (_("Already known"), number(result.already_known)),
        (_("Rows set aside"), number(prepared.set_aside)),
        (_("Cells left blank"), number(prepared.cells_left_blank)),
    ]
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts], className="facts", role="status"
    )


def _adding(of: str, n_open: int, result: ImportResult, *, beside_demo: bool) -> list[Any]:
    """The button that adds, or the sentence that says why there is none."""
    if n_open:
        return [
            html.P(
                _n(
                    "{n} question has to be answered before the sheet can be added. Nothing has been kept yet.",
                    "{n} questions have to be answered before the sheet can be added. Nothing has been kept yet.",
                    n_open,
                ),
                className="lead",
            )
        ]
    if not (result.added or result.set_aside):
        return [html.P(_("All of this sheet is known already; there is nothing to add."), className="lead")]
    words = _n("Add {n} record", "Add {n} records", result.added)
    if not result.added:
        words = _n("Keep {n} row to be mended", "Keep {n} rows to be mended", result.set_aside)
    parts: list[Any] = [html.P(_("Nothing has been kept yet."), className="basis")]
    if beside_demo:
        parts = [
            html.P(
                _(
                    "This ledger holds the demo herds, which are invented. They never stand among farms of your own: "
                    "they are taken out before this sheet goes in, and can be built again in a place of their own."
                ),
                className="caution",
            )
        ]
        words = _("Take the demo herds out. {then}", then=words)
    return [*parts, html.Button(words, id={"type": "add", "of": of}, className="act thumb")]


def _both_versions(frame: pd.DataFrame) -> list[Any]:
    """Records that are there already in another version, both versions beside each other."""
    if frame.empty:
        return []
    lines = [
        (
            str(line["row"]),
            column_label(str(line["field"])),
            value_label(str(line["field"]), line["before"]) or "–",
            value_label(str(line["field"]), line["now"]) or "–",
        )
        for line in records(frame)
    ]
    heads = (_("Row"), _("What"), _("Here already"), _("In this sheet"))
    return _table(heads, lines, _("What differs from the records that are here already"))


def _held(sheets: Sequence[CheckedSheet]) -> list[Any]:
    frames = [sheet.set_aside for sheet in sheets if not sheet.set_aside.empty]
    if not frames:
        return []
    frame = pd.concat(frames, ignore_index=True).drop_duplicates(["row", "column", "value", "reason"])
    lines = [
        (
            str(line["row"]),
            line["column"] or "",
            line["value"] or "",
            " ".join(said_again(text) for text in (line["reason"], line["remedy"]) if text),
        )
        for line in records(frame[["row", "column", "value", "reason", "remedy"]].fillna(""))
    ]
    heads = (_("Row"), _("Column"), _("Found"), _("Reason"))
    return [
        html.H4(_("Set aside or left blank, with the reason")),
        html.P(_("These are kept too, and can be mended on this page once the sheet is added."), className="basis"),
        *_table(heads, lines, _("Set aside or left blank, with the reason")),
    ]


def _table(heads: Sequence[str], lines: Sequence[Sequence[str]], label: str) -> list[Any]:
    """A table of text as it stands, the first lines of it."""
    more = len(lines) - SHOWN_ROWS
    return [
        html.Div(
            html.Table(
                [
                    html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])),
                    html.Tbody([html.Tr([html.Td(cell) for cell in line]) for line in lines[:SHOWN_ROWS]]),
                ],
                className="lines",
            ),
            className="scroll",
            tabIndex=0,
            role="region",
            **{"aria-label": label},
        ),
        html.P(_n("{n} further line.", "{n} further lines.", more), className="basis") if more > 0 else None,
    ]


def _understood(prepared: PreparedImport) -> list[Any]:
    """What is told of the file, and which words were understood how."""
    frames = [sheet.understood for sheet in prepared.sheets if not sheet.understood.empty]
    parts: list[Any] = [html.P(told(note)) for note in prepared.told]
    if frames:
        table = pd.concat(frames, ignore_index=True)
        table = table.assign(field=[column_label(str(field)) for field in table["field"]])
        parts.append(number_table(table, None, _("What was understood how")))
    if not parts:
        return []
    return [html.Details([html.Summary(_("What was understood how")), *parts], className="fold")]
