"""Drawn before it is asked for: the top of the views a reader may open next, while nobody waits for anything.

The browser asks for it when its own page is whole and its reader has been still for a moment, and when a hand or the
keyboard rests on a link or a mark; one view at a time (``ahead.js``). The answer holds nothing: what was drawn is kept
(:mod:`evenfoot.dashboard.drawing`), so that the view is there at once when it is opened.
"""

from __future__ import annotations

import contextlib

from dash import Dash
from flask import Response, request

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.accounts import current_viewer
from evenfoot.dashboard.addressed import addressed
from evenfoot.dashboard.drawing import drawn, waiting
from evenfoot.dashboard.page import Page

PLACE = "/_ahead"
"""Where a view is asked for ahead."""

DONE, LATER = 204, 202
"""What is answered: nothing more to draw of this view; somebody waits for a panel, so ask again later."""


def draw_ahead(app: Dash, ledger: Ledger, pages: dict[str, Page]) -> None:
    """Register the address."""

    @app.server.get(PLACE, endpoint="ahead")
    def ahead() -> Response:
        """Draw the top of the view of a ``path`` and ``search``; ``narrow`` is 1 on a phone."""
        asked = request.args
        page = pages.get(asked.get("path", ""))
        if page is None or not current_viewer().may(page.act):
            return Response(status=DONE)
        view, mistake = addressed(page.path, asked.get("search"), asked.get("narrow") == "1")
        for panel in () if mistake else page.top:
            if waiting():
                return Response(status=LATER)
            with contextlib.suppress(UserError):  # said when the view is opened
                drawn(panel, ledger, view)
        return Response(status=DONE)
