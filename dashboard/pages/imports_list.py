"""The imports so far, each with the ways to take it back or to fix what was set aside."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html

from analytics.ledger import Ledger

KINDS = {
    "trims": "trim records",
    "locomotion": "locomotion scores",
    "register": "herd register",
    "housing": "housing periods",
    "changes": "changes on the farm",
    "limits": "horn limits",
}


def download_button(number: int) -> html.Button:
    """The way to take away what an import set aside."""
    return html.Button(
        "Set-aside rows as CSV",
        id={"type": "set-aside", "number": number},
        className="take",
        **{"aria-label": f"Set-aside rows of import {number} as CSV, to be fixed and imported again"},
    )


def imports_so_far(ledger: Ledger, own: set[int] | None = None) -> Any:
    """All imports, or those of the numbers given, the newest first."""
    if not ledger.exists:
        return html.P("No sheet has been imported yet.", className="empty")
    frame = ledger.imports()
    if own is not None:
        frame = frame[frame["import_no"].isin(own)]
    if frame.empty:
        return html.P("No sheet has been imported yet.", className="empty")
    rows = []
    for record in frame.sort_values("import_no", ascending=False).to_dict("records"):
        number, undone = int(record["import_no"]), pd.notna(record["undone_at"])
        acts: list[Any] = []
        if undone:
            acts.append(html.Span(f"taken back {record['undone_at']:%d %b %Y}"))
        else:
            acts.append(
                html.Button(
                    "Take back",
                    id={"type": "undo", "number": number},
                    className="take",
                    **{"aria-label": f"Take import {number} back"},
                )
            )
            if record["set_aside"]:
                acts.append(download_button(number))
        kinds = ", ".join(KINDS.get(kind, kind) for kind in str(record["kinds"]).split(", "))
        cells = [
            str(number),
            f"{record['imported_at']:%d %b %Y %H:%M} UTC",
            record["file"],
            kinds,
            *(f"{int(record[name]):,}" for name in ("rows_read", "added", "already_known", "set_aside")),
        ]
        rows.append(html.Tr([*(html.Td(cell) for cell in cells), html.Td(acts, className="acts")]))
    heads = ["Import", "When", "File", "What", "Read", "Added", "Already known", "Set aside", ""]
    return html.Div(
        html.Table([html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])), html.Tbody(rows)]),
        className="scroll",
        tabIndex=0,
        role="region",
        **{"aria-label": "Table of imports"},
    )
