"""Links to a report: made, listed and revoked on the report page."""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from flask import request

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import Store, current_viewer, links
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

CHOICES = (7, 14, 30, 90)


def section() -> list[Any]:
    """The part of the report page that shares; nothing where nobody else could follow a link."""
    viewer = current_viewer()
    if viewer.account is None or not viewer.may("share reports"):
        return []
    return [
        html.Section(
            [
                html.H2(_("Share it by a link"), id="title-report-links"),
                html.P(
                    _("Whoever has the link sees this one farm's newest report, without an account, until it ends.")
                ),
                html.Div(
                    [
                        dmc.Select(
                            id="link-days",
                            label=_("The link lasts"),
                            data=[{"value": str(days), "label": _("{days} days", days=days)} for days in CHOICES],
                            value=str(links.DAYS),
                            allowDeselect=False,
                        ),
                        html.Button(_("Make a link"), id="link-make", className="act"),
                    ],
                    className="choices",
                ),
                html.Div(id="link-made", **{"aria-live": "polite"}),
                html.Div(id="link-list"),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-report-links"},
        )
    ]


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the links."""
    store: Store = app.server.config["EVENFOOT_ACCOUNTS"]

    @app.callback(
        Output("link-made", "children"),
        Input("link-make", "n_clicks"),
        Input({"type": "link-revoke", "id": ALL}, "n_clicks"),
        State("link-days", "value"),
        State("report-language", "value"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def change(made: int | None, revoked: list[int | None], days: str, language: str, search: str) -> Any:
        try:
            if isinstance(ctx.triggered_id, dict):
                if not any(revoked):
                    return no_update
                mark = str(ctx.triggered_id["id"])
                gone = links.revoke(store, current_viewer(), mark)
                return html.P(_("The link to the report of {farm} leads nowhere now.", farm=gone.farm), role="status")
            return _made(ledger, store, days, language, search) if made else no_update
        except UserError as known:
            return mistake_line(told(known.sentence))

    @app.callback(Output("link-list", "children"), Input("link-made", "children"))
    def listed(_made: Any) -> Any:
        return _list(store)


def _made(ledger: Ledger, store: Store, days: str, language: str, search: str) -> Any:
    viewer = current_viewer()
    farm = View.read("/report", search or "", viewer.allowed).farm
    if farm is None or farm not in ledger.farms(viewer.allowed):
        raise UserError(say("A link is to the report of one farm: choose it above."))
    viewer.refuse_unless("share reports")
    lasts = int(days) if str(days).isdigit() else 0
    token = links.make(store, viewer, farm, days=lasts, language=str(language))
    address = request.host_url.rstrip("/") + links.path_of(token)
    return html.Div(
        [
            html.P(_("The link to the report of {farm}; it is shown this once:", farm=farm), role="status"),
            dmc.TextInput(value=address, readOnly=True, **{"aria-label": _("Link to the report")}),
        ]
    )


def _list(store: Store) -> Any:
    now = store.clock()
    rows = []
    for link in links.listed(store, current_viewer()):
        if link.revoked_at is not None or link.ends_at < now:
            continue
        said = _("Revoke the link to {farm}, made {day}", farm=link.farm, day=_day(link.made_at))
        button = html.Button(
            _("Revoke"), id={"type": "link-revoke", "id": link.id}, className="take", **{"aria-label": said}
        )
        cells = (
            link.farm,
            _day(link.made_at),
            _day(link.ends_at),
            link.made_by or _("command"),
            str(link.opened),
            button,
        )
        rows.append(html.Tr([html.Td(cell) for cell in cells]))
    if not rows:
        return html.P(_("No link leads here now."), className="empty")
    heads = (_("Farm"), _("Made"), _("Ends"), _("Made by"), _("Opened"), "")
    return html.Div(
        html.Table([html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])), html.Tbody(rows)]),
        className="scroll",
        tabIndex=0,
        role="region",
        **{"aria-label": _("Links to reports")},
    )


def _day(seconds: float) -> str:
    return words().date(dt.datetime.fromtimestamp(seconds, dt.UTC).date())
