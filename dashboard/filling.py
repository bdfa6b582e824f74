"""Panels, filled one by one as the browser asks for them: what is in the window first, the rest after it.

A panel that is told as text is fetched from an address of its own and put up by ``panels.js``; Dash, which looks
through the whole page whenever anything on it changes, has no part in it. A panel that is ``live``, and the form under
a panel, are filled by Dash.
"""

from __future__ import annotations

import gzip
import json
import logging
from collections.abc import Mapping
from typing import Any

from dash import MATCH, Dash, Input, Output, State
from dash._utils import to_json
from flask import Response, abort, request

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard import frame
from evenfoot.dashboard.addressed import addressed
from evenfoot.dashboard.drawing import PRESSED, drawn
from evenfoot.dashboard.language import _, told
from evenfoot.dashboard.panel import Panel
from evenfoot.dashboard.still import all_told

log = logging.getLogger("evenfoot")

PLACE = "/_panel/"
"""Where panels are fetched."""


def fill_panels(app: Dash, ledger: Ledger, panels: Mapping[str, Panel]) -> None:
    """Register the address of the panels, and the callback of those that are live and of forms.

    Parameters
    ----------
    app : Dash
    ledger : Ledger
    panels : mapping of str to Panel
        By name.
    """

    @app.server.get(f"{PLACE}<name>", endpoint="panel")
    def panel(name: str) -> Response:
        """The contents of a panel for the ``path`` and ``search`` of an address; ``narrow`` is 1 on a phone."""
        if name not in panels or panels[name].live:
            abort(404)
        asked = request.args
        data = _contents(panels[name], ledger, asked.get("path"), asked.get("search"), asked.get("narrow") == "1")
        answer = Response(data, mimetype="application/json")
        answer.headers["Vary"] = "Accept-Encoding"
        if "gzip" in request.headers.get("Accept-Encoding", ""):
            answer.headers["Content-Encoding"] = "gzip"
        else:
            answer.set_data(gzip.decompress(data))
        return answer

    @app.callback(
        Output({"type": "panel", "name": MATCH}, "children"),
        Input({"type": "due", "name": MATCH}, "data"),
        State("address", "search"),
        State("narrow", "data"),
        State({"type": "panel", "name": MATCH}, "id"),
        State("address", "pathname"),
        prevent_initial_call=True,
    )
    def fill(_due: str, search: str, narrow: bool | None, place: dict[str, str], path: str) -> Any:
        panel = panels[place["name"]]
        if panel.live:
            return json.loads(gzip.decompress(_contents(panel, ledger, path, search, bool(narrow))))
        view, mistake = addressed(path, search)
        return None if mistake or panel.form is None else panel.form(view)


def _contents(panel: Panel, ledger: Ledger, path: str | None, search: str | None, narrow: bool) -> bytes:
    view, mistake = addressed(path, search, narrow)
    if mistake:
        return _sentence(panel, mistake)
    try:
        return drawn(panel, ledger, view)
    except UserError as known:
        return _sentence(panel, told(known.sentence))
    except MemoryError:
        log.exception("panel %s: no memory is left", panel.name)
        return _sentence(
            panel, _("There is not enough memory to work this out. Choose fewer farms or a shorter period.")
        )
    except Exception:
        log.exception("panel %s failed", panel.name)
        return _sentence(
            panel,
            _(
                "This chart could not be drawn because of an error in Evenfoot; the records are safe. The server's "
                "log has the details."
            ),
        )


def _sentence(panel: Panel, sentence: str) -> bytes:
    part = json.loads(str(to_json(frame.mistake(sentence))))
    return gzip.compress(json.dumps(part if panel.live else all_told(part)).encode(), PRESSED)
