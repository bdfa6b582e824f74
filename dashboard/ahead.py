"""Drawn before it is asked for: the top of the pages a reader may open next, while nobody waits for anything.

The browser asks for it when its own page is whole and its reader has been still for a while, one panel at a time.
The answer holds nothing: what was drawn is kept (:mod:`dashboard.drawing`), so that the page is there at once when
it is opened.
"""

from __future__ import annotations

import contextlib
from typing import Any

from dash import Dash, Input, Output, State, no_update

from analytics.ledger import Ledger
from analytics.mistake import Mistake
from dashboard.accounts import current_viewer
from dashboard.drawing import drawn, waiting
from dashboard.language import speak
from dashboard.page import Page
from dashboard.reader import asked_for
from dashboard.view import View


def draw_ahead(app: Dash, ledger: Ledger, pages: dict[str, Page]) -> None:
    """Register the callback."""

    @app.callback(
        Output("ahead", "data"),
        Input("ahead-of", "data"),
        State("narrow", "data"),
        prevent_initial_call=True,
    )
    def ahead(of: dict[str, str] | None, narrow: bool | None) -> Any:
        page = pages.get((of or {}).get("path", ""))
        if of is None or page is None or waiting() or not current_viewer().may(page.act):
            return no_update
        panel = next((panel for panel in page.top if panel.name == of.get("name")), None)
        if panel is not None:
            search = of.get("search", "")
            speak(asked_for(search))
            with contextlib.suppress(Mistake):  # said when the page is opened
                drawn(panel, ledger, View.read(page.path, search, current_viewer().allowed, bool(narrow)))
        return no_update
