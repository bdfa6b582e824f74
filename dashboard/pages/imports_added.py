"""Where a sheet leads once it is added: what went in, and the herds it is of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import ImportResult
from evenfoot.analytics.ledger.imports.file_import import PreparedImport
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.ui.view import View

WHOLE_HERD = "whole-herd"
SHOWN_FARMS = 12
"""Farms of one file that are linked to."""


def added_body(ledger: Ledger, prepared: PreparedImport, result: ImportResult) -> list[Any]:
    """What is shown of a sheet that has been added: what went in, and the farms it leads to."""
    return [
        html.P(
            _(
                "Rows added as import {number}: {added}; already known: {known}; set aside: {aside}.",
                number=str(result.import_no),
                added=result.added,
                known=result.already_known,
                aside=result.set_aside,
            ),
            className="lead",
            role="status",
        ),
        *(html.P(told(question), className="caution") for question in result.questioned),
        *farm_links(ledger, prepared.sheets),
    ]


def farm_links(ledger: Ledger, sheets: Sequence[CheckedSheet]) -> list[Any]:
    """Links to the herd page of the farms of some sheets, with every kind of visit that each has."""
    farms = sorted({str(farm) for sheet in sheets for farm in sheet.records["farm"].dropna().unique()})
    if not farms:
        return []
    return [
        html.P(
            [
                html.A(_("See {farm}", farm=farm), href=herd_address(ledger, farm), className="act thumb")
                for farm in farms[:SHOWN_FARMS]
            ],
            className="acts",
        )
    ]


def herd_address(ledger: Ledger, farm: str) -> str:
    """Where a farm is best seen: the herd page, or its lesions where one visit has nothing to compare with.

    All kinds of visit are shown where some are not of the whole herd, which the page would leave out.
    """
    found = ledger.frame("SELECT DISTINCT visit_date, visit_kind FROM trims WHERE farm = ?", [farm])
    whole = set(found["visit_kind"]) <= {WHOLE_HERD}
    path = "/lesions" if found["visit_date"].nunique() == 1 else "/"
    return View(path, Selection(farms=(farm,), visits=(WHOLE_HERD,) if whole else ("all",))).href
