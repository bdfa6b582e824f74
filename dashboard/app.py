"""The Dash app: the frame around every page, and the one pattern by which pages are filled."""

from __future__ import annotations

import json
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, html, no_update
from flask import Flask

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.query_timeout import allowance
from evenfoot.dashboard import door, elsewhere, frame
from evenfoot.dashboard.accounts import Access, Store, current_viewer, store_of
from evenfoot.dashboard.accounts.roles import REFUSALS
from evenfoot.dashboard.addressed import addressed
from evenfoot.dashboard.ahead import draw_ahead
from evenfoot.dashboard.delivery import deliver, plotly_script
from evenfoot.dashboard.filling import fill_panels
from evenfoot.dashboard.guard import guard
from evenfoot.dashboard.language import _, told
from evenfoot.dashboard.page import Page
from evenfoot.dashboard.page_choices import folding, leads
from evenfoot.dashboard.pages import PAGES, PANELS
from evenfoot.dashboard.panel import shells
from evenfoot.dashboard.reader import listen
from evenfoot.dashboard.shared import show_shared
from evenfoot.dashboard.standing import only_new
from evenfoot.dashboard.still import as_text
from evenfoot.dashboard.view import View


class Evenfoot(Dash):
    """Dash, with the first page in the reader's language."""

    def interpolate_index(self, **parts: Any) -> str:
        return frame.index(super().interpolate_index(**parts))


def create_app(ledger: Ledger, store: Store | None = None, access: Access | None = None) -> Dash:
    """The dashboard over one ledger.

    The address is the state: every callback below is a function of it, so back, forward and a sent link
    all show the same thing.

    Parameters
    ----------
    ledger : Ledger
    store : Store, optional
        Its accounts; those that go with the ledger unless given.
    access : Access, optional
        How it is reached; on this machine alone unless given.
    """
    store, access = store or store_of(ledger), access or Access()
    server = Flask("evenfoot", static_folder=None)
    listen(server)
    app = Evenfoot(
        "evenfoot",
        server=server,
        assets_folder=str(frame.ASSETS),
        serve_locally=True,
        external_scripts=[plotly_script()],
        suppress_callback_exceptions=True,
        title="Evenfoot",
        update_title=None,
        csrf_token_name=store.cookie(door.CSRF_COOKIE),
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    server.config["EVENFOOT_ACCOUNTS"] = store
    app.index_string = frame.INDEX
    app.layout = lambda: dmc.MantineProvider(frame.layout(PAGES), id="mantine")
    _fill_pages(app, ledger)
    fill_panels(app, ledger, PANELS)
    draw_ahead(app, ledger, PAGES)
    _clientside(app)
    for page in PAGES.values():
        if page.register is not None:
            page.register(app, ledger)
    deliver(app)
    guard(app, access)
    door.hang(app, ledger, store, access)
    show_shared(app, ledger, store)
    if office := elsewhere.service():
        elsewhere.offer(app, store, access, office)
    return app


def page_of(path: str | None) -> Page | None:
    return PAGES.get((path or "/").rstrip("/") or "/")


def _fill_pages(app: Dash, ledger: Ledger) -> None:
    @app.callback(Output("content", "children"), Input("address", "pathname"), State("address", "search"))
    def content(path: str, search: str) -> Any:
        page = page_of(path)
        view, _mistake = addressed(path, search)
        if page is None:
            return [
                html.H1(_("There is no such page")),
                html.P(html.A(_("Go to the herd page"), href="/")),
            ]
        if not current_viewer().may(page.act):
            return [
                html.H1(told(page.title)),
                frame.mistake(told(REFUSALS[page.act])),
            ]
        way, choices, digest, others = _within(ledger, page, view, None)
        return [
            html.H1(told(page.title)),
            html.P(told(page.question), className="question"),
            html.Div(way, id="trail"),
            html.Div(choices, id="choices", **{"data-stands": digest, "data-leads": others, "data-of": path or "/"}),
            html.Div(shells(page.panels), className="panels", **{"data-path": path or "/"}),
            *(page.extra() if page.extra else []),
        ]

    @app.callback(
        Output("navigation", "children"),
        Output("picker", "children"),
        Output("look", "children"),
        Output("seen-version", "data"),
        Output("stale", "children"),
        Output("around", "data"),
        Input("address", "pathname"),
        Input("address", "search"),
        State("around", "data"),
    )
    def around(path: str, search: str, stands: dict[str, str] | None) -> Any:
        view, mistake = addressed(path, search)
        try:
            with allowance():
                picker, version = frame.picker(ledger, view), str(ledger.version)
        except UserError as known:
            # The ledger cannot be asked now: the page stands, and says why it is empty.
            picker, version, mistake = None, "", told(known.sentence)
        parts = {
            "navigation": as_text(frame.navigation(PAGES, view)),
            "picker": [picker, frame.mistake(mistake)],
            "look": frame.look(view),
        }
        new, stands = only_new(parts, stands)
        return *new.values(), version, None, stands

    @app.callback(
        Output("address", "search"),
        # Which never changes: asked once, when the dashboard is opened, so that no later view waits for it.
        Input("picker", "id"),
        State("address", "pathname"),
        State("address", "search"),
    )
    def first(_once: str, path: str, search: str) -> Any:
        """The bare address opens on the last twelve months: a year holds every season once, and over several
        years nearly every cow has had something."""
        bare = View.read("/", search or "", current_viewer().allowed) if frame.only_looks(search) else None
        if bare is None or (path or "/") != "/":
            return no_update
        try:
            period = frame.last_months(ledger, 12, current_viewer().allowed)
        except UserError:
            # What is wrong is said above the panels.
            period = None
        if period is None:
            return no_update
        return View("/", Selection(since=period[0], until=period[1]), bare.options).search

    @app.callback(
        Output("stale", "children", allow_duplicate=True),
        Input("watch", "n_intervals"),
        State("seen-version", "data"),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def stale(_ticks: int, seen: str | None, path: str, search: str) -> Any:
        """Say so when the ledger has changed since the panels of this page were filled."""
        page = page_of(path)
        if page is None or not page.panels or seen is None:
            return no_update
        try:
            changed = seen != str(ledger.version)
        except UserError:
            # A ledger that cannot be asked for a moment is no newer one.
            return no_update
        return frame.stale((path or "/") + (search or "")) if changed else no_update

    @app.callback(
        Output("trail", "children"),
        Output("choices", "children"),
        # On the element itself: with another page comes another element, on which nothing stands.
        Output("choices", "data-stands"),
        Output("choices", "data-leads"),
        Input("address", "search"),
        State("address", "pathname"),
        State("choices", "data-stands"),
        State("choices", "data-of"),
        prevent_initial_call=True,  # a page comes with its own
    )
    def within(search: str, path: str, stands: str | None, stands_on: str | None) -> Any:
        if (path or "/") != stands_on:
            return (no_update,) * 4  # another page is on its way, with its own
        page = page_of(path)
        view, _mistake = addressed(path, search)
        return (None, None, None, None) if page is None else _within(ledger, page, view, stands)


def _within(ledger: Ledger, page: Page, view: View, stands: str | None) -> tuple[Any, Any, str, str]:
    """A page's trail, its choices where they are not what stands there, their digest and what they lead to."""
    try:
        with allowance():
            choices = page.choices(ledger, view) if page.choices else None
    except UserError as mistake:
        choices = frame.mistake(told(mistake.sentence))
    way = as_text([frame.trail(page.trail(view) if page.trail else []), frame.chips(view)])
    new, digests = only_new({"choices": folding(choices)}, {"choices": stands or ""})
    return way, new["choices"], digests["choices"], json.dumps(leads(choices, view))


def _clientside(app: Dash) -> None:
    """The browser's part: whose turn it is, applying the picker, copying the link."""
    app.clientside_callback(
        "window.dash_clientside.evenfoot.renew",
        Output("due", "data"),
        Input("address", "pathname"),
        Input("address", "search"),
        Input("narrow", "data"),
        Input("written", "data"),
        Input("content", "children"),
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.row",
        Output("opened-row", "data"),
        Input("farms-grid", "selectedRows"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.width", Output("narrow", "data"), Input("address", "pathname")
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.theme", Output("mantine", "forceColorScheme"), Input("address", "search")
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.copy",
        Output("copy-link", "children"),
        Input("copy-link", "n_clicks"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.choose",
        Output("chosen", "data"),
        Input({"type": "choice", "field": ALL}, "value"),
        prevent_initial_call=True,
    )
