"""The callbacks that fill panels: one for what a panel shows, one for what stands behind "How sure is this?"."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any
from weakref import WeakValueDictionary

from dash import MATCH, Dash, Input, Output, State, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.query_timeout import allowance
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.roles import REFUSALS
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.ui import shell
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, heading
from evenfoot.dashboard.ui.panel_contents import certainty, filled
from evenfoot.dashboard.ui.period_filter import following, mark_chosen
from evenfoot.dashboard.ui.request_view import addressed
from evenfoot.dashboard.ui.view import View

log = logging.getLogger("evenfoot")


def register_panels(app: Dash, ledger: Ledger, pages: dict[str, Page]) -> None:
    """Register the callbacks that fill the panels of every page from the address.

    Parameters
    ----------
    app : Dash
    ledger : Ledger
    pages : dict of str to Page
        By path.
    """
    panels = {panel.name: (page, panel) for page in pages.values() for panel in page.panels}

    def answer(place: dict[str, str], path: str, search: str, narrow: bool | None, make: Callable[..., Any]) -> Any:
        if place["name"] not in panels:
            return no_update  # no page asks for it
        page, panel = panels[place["name"]]
        if page.path != ((path or "/").rstrip("/") or "/"):
            return no_update  # the reader has gone to another page
        if not current_viewer().may(page.act):
            return shell.mistake(told(REFUSALS[page.act]))
        view, mistake = addressed(path, search, bool(narrow))
        if mistake:
            return shell.mistake(mistake)
        with _turn_of(view.href):
            return _or_sentence(panel, lambda: make(panel, *draw_panel(panel, ledger, view)))

    @app.callback(
        Output({"type": "panel", "name": MATCH}, "children"),
        Input("same-page", "data"),
        Input("narrow", "data"),
        Input("written", "data"),
        State("address", "search"),
        State("address", "pathname"),
        State({"type": "panel", "name": MATCH}, "id"),
    )
    def fill(_same: Any, narrow: bool | None, _written: Any, search: str, path: str, place: dict[str, str]) -> Any:
        shown = answer(place, path, search, narrow, filled)
        # What could not be drawn is a sentence, under the panel's own title.
        return shown if shown is no_update or isinstance(shown, list) else [heading(panels[place["name"]][1]), shown]

    @app.callback(
        Output({"type": "certainty", "name": MATCH}, "children"),
        Input({"type": "ask-certainty", "name": MATCH}, "n_clicks"),
        State("address", "search"),
        State("narrow", "data"),
        State("address", "pathname"),
        State({"type": "certainty", "name": MATCH}, "id"),
        prevent_initial_call=True,
    )
    def say_how_sure(clicks: int | None, search: str, narrow: bool | None, path: str, place: dict[str, str]) -> Any:
        if not clicks or clicks % 2 == 0:
            return no_update  # the fold was closed again
        return answer(place, path, search, narrow, certainty)


_turns: WeakValueDictionary[str, threading.Lock] = WeakValueDictionary()
_guard = threading.Lock()


def _turn_of(href: str) -> threading.Lock:
    """The turn of a page's panels, which are drawn one after the other, from the top.

    The browser shows the first while the next is drawn; drawn at once, all came at the end. First windows of pages
    seen before: 326 ms became 263 (median of 48 views, demo herds, two processors).
    """
    with _guard:
        return _turns.setdefault(href, threading.Lock())


def draw_panel(panel: Panel, ledger: Ledger, view: View) -> tuple[Drawn | Any, View]:
    """What a panel shows, drawn from one state of the ledger, and the view it was drawn for.

    Raises
    ------
    UserError
        Whatever the panel raises.
    """
    seen = view if panel.over_time else following(view)
    with ledger.snapshot(), allowance():
        drawn = panel.draw(ledger, seen)
    if panel.over_time and isinstance(drawn, Drawn):
        mark_chosen(view, drawn)
    return drawn, view


def _or_sentence(panel: Panel, make: Callable[[], Any]) -> Any:
    """What *make* gives, or one sentence that says why it gives nothing."""
    try:
        return make()
    except UserError as known:
        return shell.mistake(told(known.sentence))
    except MemoryError:
        log.exception("panel %s: no memory is left", panel.name)
        return shell.mistake(_("There is not enough memory to work this out. Choose fewer farms or a shorter period."))
    except Exception:
        log.exception("panel %s failed", panel.name)
        return shell.mistake(
            _(
                "This chart could not be drawn because of an error in Evenfoot; the records are safe. The server's "
                "log has the details."
            )
        )
