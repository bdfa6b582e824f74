"""The Dash app: the frame around every page, and the callbacks that fill it from the address."""

from __future__ import annotations

import json
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, html, no_update
from dash.exceptions import PreventUpdate
from flask import Flask, Response, jsonify, redirect, request
from plotly.utils import PlotlyJSONEncoder

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.cows import find_cows
from evenfoot.analytics.query_timeout import allowance
from evenfoot.dashboard.auth import Access, Store, current_viewer, login, oidc, store_of
from evenfoot.dashboard.auth.roles import REFUSALS
from evenfoot.dashboard.i18n.reader_settings import listen
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages import PAGES, tour
from evenfoot.dashboard.ui import shell
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.page_choices import folding
from evenfoot.dashboard.ui.panel import shells
from evenfoot.dashboard.ui.panel_callbacks import register_panels
from evenfoot.dashboard.ui.request_view import addressed
from evenfoot.dashboard.ui.view import View
from evenfoot.dashboard.web.chute import serve_chute
from evenfoot.dashboard.web.compression import deliver
from evenfoot.dashboard.web.photos import serve_photos
from evenfoot.dashboard.web.request_guard import guard
from evenfoot.dashboard.web.shared_reports import show_shared


class Evenfoot(Dash):
    """Dash, with the first page in the reader's language."""

    def interpolate_index(self, **parts: Any) -> str:
        return shell.index(super().interpolate_index(**parts))


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
        assets_folder=str(shell.ASSETS),
        serve_locally=True,
        suppress_callback_exceptions=True,
        title="Evenfoot",
        update_title=None,
        csrf_token_name=store.cookie(login.CSRF_COOKIE),
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    server.config["EVENFOOT_ACCOUNTS"] = store
    app.index_string = shell.INDEX
    app.layout = lambda: dmc.MantineProvider(shell.layout(), id="mantine")
    _register_pages(app, ledger)
    register_panels(app, ledger, PAGES)
    _register_clientside(app)
    for page in PAGES.values():
        if page.register is not None:
            page.register(app, ledger)
    deliver(app)
    guard(app, access)
    login.install(app, ledger, store, access)
    _open_start(app, ledger)
    show_shared(app, ledger, store)
    serve_chute(app, ledger, store)
    serve_photos(app, ledger, store)
    if office := oidc.service():
        oidc.offer(app, store, access, office)
    return app


def page_of(path: str | None) -> Page | None:
    return PAGES.get((path or "/").rstrip("/") or "/")


def unless_there(new: Any, there: Any) -> Any:
    """What to show in a place, or ``no_update`` where it stands there: lists to choose from are slow to draw."""
    return no_update if json.loads(json.dumps(new, cls=PlotlyJSONEncoder)) == there else new


def _register_pages(app: Dash, ledger: Ledger) -> None:
    @app.callback(
        Output("content", "children"),
        Input("address", "pathname"),
        # Set once, when the width of the window is known.
        Input("ready", "data"),
        State("address", "search"),
    )
    def content(path: str, ready: bool | None, search: str) -> Any:
        if not ready:
            raise PreventUpdate
        page = page_of(path)
        addressed(path, search)
        if page is None:
            return [
                html.H1(_("There is no such page")),
                html.P(html.A(_("Go to the herd page"), href="/")),
            ]
        if not current_viewer().may(page.act):
            return [
                html.H1(told(page.title)),
                shell.mistake(told(REFUSALS[page.act])),
            ]
        way, offered = above(page, path, search)
        return [
            html.H1(told(page.title)),
            html.P(told(page.question), className="question unseen" if page.spoken else "question"),
            html.Div(way, id="trail"),
            html.Div(offered, id="choices"),
            html.Div(shells(page.panels), className="panels"),
            *(page.extra() if page.extra else []),
        ]

    def above(page: Page, path: str, search: str) -> tuple[list[Any], list[Any]]:
        """The way here and the page's own choices."""
        view, _mistake = addressed(path, search)
        try:
            with allowance():
                offered = page.choices(ledger, view) if page.choices else None
        except UserError as mistake:
            offered = shell.mistake(told(mistake.sentence))
        return [shell.trail(page.trail(view) if page.trail else []), shell.chips(view)], [folding(offered)]

    @app.callback(
        Output("trail", "children"),
        Output("choices", "children"),
        Input("same-page", "data"),
        State("address", "search"),
        State("address", "pathname"),
        prevent_initial_call=True,
    )
    def choices(_same: Any, search: str, path: str) -> Any:
        page = page_of(path)
        if page is None or not current_viewer().may(page.act):
            return no_update, no_update
        return above(page, path, search)

    @app.callback(
        Output("navigation", "children"),
        Output("picker", "children"),
        Output("look", "children"),
        Output("seen-version", "data"),
        *tour.OUTPUTS,
        Input("address", "pathname"),
        Input("address", "search"),
        State("picker", "children"),
        State("look", "children"),
    )
    def around(path: str, search: str, picker_now: Any, look_now: Any) -> Any:
        view, mistake = addressed(path, search)
        try:
            with allowance():
                picker, version = shell.picker(ledger, view), str(ledger.version)
                step = tour.tour_parts(ledger, view, PAGES)
        except UserError as known:
            # The ledger cannot be asked now: the page stands, and says why it is empty.
            picker, version, step, mistake = None, "", tour.NOWHERE, told(known.sentence)
        chosen = unless_there([picker, shell.mistake(mistake)], picker_now)
        return shell.navigation(PAGES, view), chosen, unless_there(shell.look(view), look_now), version, *step

    @app.callback(
        Output("done", "children", allow_duplicate=True),
        Output("address", "href"),
        Output("find-cow", "value"),
        Input("find-cow", "n_submit"),
        Input("find", "n_clicks"),
        State("find-cow", "value"),
        State("address", "pathname"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def find_cow(_submitted: int | None, _clicks: int | None, asked: str | None, path: str, search: str) -> Any:
        number = (asked or "").strip()
        if not number:
            return (no_update,) * 3
        view, _mistake = addressed(path, search)
        try:
            found = find_cows(ledger, number, view.selection.allowed)
        except UserError as known:
            return shell.mistake(told(known.sentence)), no_update, no_update
        here = [each for each in found if each[0] == view.farm]
        if len(here or found) != 1:
            return shell.cows_found(found, number, view), no_update, no_update
        [(farm, cow)] = here or found
        return None, view.open("/cow", farms=(farm,), cow=cow), ""

    @app.server.get(LEDGER_STATE, endpoint="ledger-state")
    def ledger_state() -> Response:
        """Which state the ledger is in, for pages that ask whether theirs is older."""
        try:
            return jsonify({"version": str(ledger.version)})
        except UserError:
            # A ledger that cannot be asked for a moment is no newer one.
            return jsonify({"version": None})


LEDGER_STATE = "/_ledger-state"
"""Where a page asks whether the ledger has changed, and learns whether the server answers and the session holds."""


def _open_start(app: Dash, ledger: Ledger) -> None:
    """Open the bare address on the last twelve months, and that of one farm on its day.

    A year holds every season once, and over several years nearly every cow has had something.
    """

    @app.server.before_request
    def bare() -> Any:
        search = request.query_string.decode("utf-8", "replace")
        if request.method != "GET" or request.path not in ("/", "/today"):
            return None
        try:
            view = View.read(request.path, search, current_viewer().allowed)
            farms = ledger.farms(current_viewer().allowed)
            farm = view.farm or (farms[0] if len(farms) == 1 else None)
            path = "/today" if farm else "/"
            period = shell.last_months(ledger, 12, current_viewer().allowed) if shell.only_looks(search) else None
        except UserError:
            return None  # What is wrong is said above the panels.
        changes: dict[str, Any] = {"path": path, "farms": (farm,) if farm else ()}
        if period:
            changes |= {"since": period[0], "until": period[1]}
        elif path == request.path:
            return None
        return redirect(view.changed(**changes).href)


def _register_clientside(app: Dash) -> None:
    """The browser's part: links, marks and choices change the address, and nothing else."""
    app.clientside_callback(
        "window.dash_clientside.evenfoot.openMark",
        Output("opened", "data"),
        Input({"type": "chart", "name": ALL, "at": ALL}, "clickData"),
        State({"type": "chart", "name": ALL, "at": ALL}, "figure"),
        prevent_initial_call=True,
    )
    # One callback for all that follows the address without the server: what was done is told until the reader goes
    # elsewhere, and a way out of the tour that waited for an answer would lead back to the page before.
    app.clientside_callback(
        "window.dash_clientside.evenfoot.arrive",
        Output("same-page", "data"),
        Output("mantine", "forceColorScheme"),
        Output("done", "children", allow_duplicate=True),
        Output("tour-leave", "href"),
        Input("address", "href"),
        prevent_initial_call="initial_duplicate",
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.showPage",
        Output("opened", "data", allow_duplicate=True),
        Input("navigation", "children"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.watchWidth",
        Output("narrow", "data"),
        Output("ready", "data"),
        Input("address", "id"),
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.askState",
        Output("silent", "children"),
        Output("stale", "hidden"),
        Input("watch", "n_intervals"),
        Input("address", "href"),
        Input("seen-version", "data"),
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.copyLink",
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
