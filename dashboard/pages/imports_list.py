"""The imports so far, each with the ways to take it back or to fix what was set aside."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger, corrections
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.charts.theme import number
from evenfoot.dashboard.i18n.translation import _, _n, told, words
from evenfoot.dashboard.pages.imports_photos import photo_links, photos_seen
from evenfoot.dashboard.ui.view import View

KINDS = {
    "trims": say("trim records"),
    "locomotion": say("locomotion scores"),
    "register": say("herd register"),
    "housing": say("housing periods"),
    "changes": say("changes on the farm"),
    "limits": say("horn limits"),
    "counts": say("counts without cows"),
}


def download_button(number: int) -> html.Button:
    """The way to take away what an import set aside."""
    return html.Button(
        _("Set-aside rows as CSV"),
        id={"type": "set-aside", "number": number},
        className="take thumb",
        **{"aria-label": _("Set-aside rows of import {number} as CSV, to be fixed and imported again", number=number)},
    )


def mend_button(number: int) -> html.Button:
    """The way to mend on the page what an import set aside."""
    return html.Button(
        _("Mend"),
        id={"type": "mend", "number": number},
        className="take thumb",
        **{"aria-label": _("Mend the rows that import {number} set aside", number=number)},
    )


def _take_back(number: int, added: int) -> html.Details:
    """The way to take an import back, which asks first."""
    return html.Details(
        [
            html.Summary(
                _("Take back"), className="take thumb", **{"aria-label": _("Take import {number} back", number=number)}
            ),
            html.P(_n("{n} row goes out. Sure?", "{n} rows go out. Sure?", added)),
            html.Button(
                _("Yes, take it back"),
                id={"type": "undo", "number": number},
                className="take thumb",
                **{"aria-label": _("Yes, take import {number} back", number=number)},
            ),
        ],
        className="asks-first",
    )


def _correct_link(number: int, view: View) -> html.A:
    """The way to the single records that an import brought."""
    return html.A(
        _("Correct"),
        href=view.open("/corrections", farms=(), brought=str(number)),
        className="take thumb",
        **{"aria-label": _("Correct records of import {number}", number=number)},
    )


def imports_so_far(ledger: Ledger, view: View, own: set[int] | None = None) -> Any:
    """All imports, or those of the numbers given, the newest first."""
    if not ledger.exists:
        return html.P(_("No sheet has been imported yet."), className="empty")
    frame = ledger.imports()
    if own is not None:
        frame = frame[frame["import_no"].isin(own)]
    if frame.empty:
        return html.P(_("No sheet has been imported yet."), className="empty")
    photos = photos_seen(ledger)
    held = set(ledger.frame("SELECT DISTINCT import_no FROM set_aside")["import_no"].astype(int))
    heads = [
        _("No."),
        _("When"),
        _("File"),
        _("What"),
        _("Read"),
        _("Added"),
        _("Already known"),
        _("Set aside"),
        _("Take back"),
    ]
    rows, may_correct = [], current_viewer().may("correct records")
    for record in frame.sort_values("import_no", ascending=False).to_dict("records"):
        import_no, undone = int(record["import_no"]), pd.notna(record["undone_at"])
        correctable = may_correct and not set(corrections.KINDS).isdisjoint(str(record["kinds"]).split(", "))
        acts: list[Any] = []
        if undone:
            acts.append(html.Span(_("taken back {day}", day=words().date(record["undone_at"]))))
        else:
            acts.append(_take_back(import_no, int(record["added"])))
            if correctable:
                acts.append(_correct_link(import_no, view))
            if import_no in held:
                acts += [mend_button(import_no), download_button(import_no)]
        acts += photo_links(photos.get(import_no, ()))
        kinds = ", ".join(told(KINDS.get(kind, kind)) for kind in str(record["kinds"]).split(", "))
        cells = [
            str(import_no),
            f"{words().date(record['imported_at'])} {record['imported_at']:%H:%M} UTC",
            _("correction") if record["file"] == corrections.CORRECTION else record["file"],
            kinds,
            *(number(record[name]) for name in ("rows_read", "added", "already_known", "set_aside")),
        ]
        named = (html.Td(cell, **{"data-label": head}) for head, cell in zip(heads, cells, strict=False))
        rows.append(html.Tr([*named, html.Td(acts, className="acts")]))

    return html.Div(
        html.Table(
            [html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])), html.Tbody(rows)], className="imports"
        ),
        className="scroll",
        tabIndex=0,
        role="region",
        **{"aria-label": _("Table of imports")},
    )
