"""The letterhead of the report page: typed once, kept for the next report."""

from __future__ import annotations

import base64
import binascii
import dataclasses
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import Store, current_viewer, letterheads
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.report.letterhead import checked_logo
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

TYPED = ("trimmer", "address", "owner")


def fields(plain: bool) -> html.Details:
    """The fields; those who may not write on reports cannot fill them in."""
    return html.Details(
        [
            html.Summary(_("Letterhead")),
            html.P(_("What is written here is kept for the next report."), className="basis"),
            dmc.TextInput(id="report-trimmer", label=_("Your name, or your firm's"), debounce=True, disabled=plain),
            dmc.Textarea(
                id="report-address",
                label=_("Your address"),
                autosize=True,
                minRows=2,
                maxRows=5,
                debounce=True,
                disabled=plain,
            ),
            dmc.TextInput(id="report-owner", label=_("The farmer's name and address"), debounce=True, disabled=plain),
            dcc.Upload(
                html.Span([html.B(_("Drop a logo here")), " ", _("or choose one (PNG, JPEG, GIF or WebP)")]),
                id="report-logo",
                className="drop",
                multiple=False,
                disabled=plain,
            ),
            html.P(id="report-logo-told", role="status"),
            html.Button(_("Take the logo away"), id="report-logo-away", className="take", disabled=plain),
            html.P(id="report-kept", role="status"),
        ],
        className="fold",
    )


def register(app: Dash) -> None:
    """The callbacks that fill the letterhead in and keep it."""
    store: Store = app.server.config["EVENFOOT_ACCOUNTS"]

    @app.callback(
        *(Output(f"report-{name}", "value") for name in TYPED),
        Output("report-logo-told", "children", allow_duplicate=True),
        Input("address", "search"),
        prevent_initial_call="initial_duplicate",
    )
    def fill(search: str | None) -> Any:
        try:
            own, farm = letterheads.kept(store, current_viewer()), farm_of(search)
            of_farm = letterheads.kept(store, current_viewer(), farm) if farm else letterheads.Letterhead()
        except UserError:  # What cannot be read is typed anew.
            return no_update
        return own.name, own.address, of_farm.name, _("A logo is kept.") if own.logo else ""

    @app.callback(
        Output("report-kept", "children"),
        *(Input(f"report-{name}", "value") for name in TYPED),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def keep(trimmer: str | None, address: str | None, owner: str | None, search: str | None) -> Any:
        viewer, farm = current_viewer(), farm_of(search)
        if not viewer.may("write on reports"):
            return no_update
        try:
            own = letterheads.kept(store, viewer)
            letterheads.keep(store, viewer, dataclasses.replace(own, name=trimmer or "", address=address or ""))
            if farm:
                of_farm = letterheads.kept(store, viewer, farm)
                letterheads.keep(store, viewer, dataclasses.replace(of_farm, name=owner or ""), farm)
        except UserError as known:
            return mistake_line(told(known.sentence))
        return ""

    @app.callback(
        Output("report-logo-told", "children"),
        Output("report-logo", "contents"),
        Input("report-logo", "contents"),
        Input("report-logo-away", "n_clicks"),
        State("report-logo", "filename"),
        prevent_initial_call=True,
    )
    def logo_told(contents: str | None, away: int | None, name: str | None) -> Any:
        gone = ctx.triggered_id == "report-logo-away"
        if not contents and not (gone and away):
            return no_update, no_update
        try:
            logo = None if gone else logo_of(contents or "")
            own = letterheads.kept(store, current_viewer())
            letterheads.keep(store, current_viewer(), dataclasses.replace(own, logo=logo))
        except UserError as known:
            return mistake_line(told(known.sentence)), None
        if gone:
            return _("No logo is kept."), None
        return _("{name} will stand at the head of the report.", name=name or _("The logo")), None


def farm_of(search: str | None) -> str:
    """The farm in the address; empty where it is not one that the viewer may see."""
    try:
        return View.read("/report", search or "", current_viewer().allowed).farm or ""
    except UserError:
        return ""


def logo_of(contents: str) -> bytes:
    """A dropped picture, checked and made anew.

    Raises
    ------
    UserError
        It did not arrive whole, or is not a picture.
    """
    try:
        data = base64.b64decode(contents.partition(",")[2], validate=True)
    except (binascii.Error, ValueError):
        raise UserError(say("The logo did not arrive whole; drop it again.")) from None
    return checked_logo(data)
