"""Mailing a report from the report page, where the machine is set up to send mail."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import Message
from evenfoot.analytics.temporary_folders import scratch_folder
from evenfoot.dashboard.auth import Store, current_viewer, letterheads
from evenfoot.dashboard.auth.history import REPORT_MAILED, note
from evenfoot.dashboard.i18n.translation import Words, _, told
from evenfoot.dashboard.pages.report_letterhead import farm_of
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.mail import checked_address, mail_server, mail_text, message, send
from evenfoot.dashboard.report.request import Request
from evenfoot.dashboard.report.waiting import REPORTS
from evenfoot.dashboard.report.writing import save
from evenfoot.dashboard.ui import progress
from evenfoot.dashboard.ui.file_names import file_name
from evenfoot.dashboard.ui.shell import mistake as mistake_line


def section() -> list[Any]:
    """The part of the report page that mails; nothing where mail is not set up, or for who may not share."""
    try:
        mail_server()
    except UserError:
        return []
    if not current_viewer().may("share reports"):
        return []
    return [
        html.Section(
            [
                html.H2(_("Mail it"), id="title-report-mail"),
                html.P(_("The PDF goes to this address, with the remarks and the letterhead above.")),
                html.Div(
                    [
                        dmc.TextInput(id="mail-to", label=_("Mail address"), autoComplete="email"),
                        html.Button(_("Mail the report"), id="mail-send", className="act"),
                    ],
                    className="choices",
                ),
                html.Div(id="mail-said", **{"aria-live": "polite"}),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-report-mail"},
        )
    ]


def register(app: Dash, ledger: Ledger, states: list[State], asked: Callable[..., Request]) -> None:
    """The callbacks of the mail; *asked* makes the request of what *states* hold."""
    store: Store = app.server.config["EVENFOOT_ACCOUNTS"]

    @app.callback(
        Output("mail-said", "children"),
        Input("mail-send", "n_clicks"),
        State("mail-to", "value"),
        *states,
        running=progress.while_running("report"),
        prevent_initial_call=True,
    )
    def mail(clicks: int | None, to: str | None, *filled: Any) -> Any:
        if not clicks:
            return no_update
        try:
            with progress.watched("report"):
                return html.P(mailed(ledger, store, asked(*filled), to or ""), role="status")
        except UserError as known:
            return mistake_line(told(known.sentence))

    @app.callback(Output("mail-to", "value"), Input("report-owner", "value"), State("address", "search"))
    def fill(_owner: str | None, search: str | None) -> Any:
        farm = farm_of(search)
        return letterheads.kept(store, current_viewer(), farm).mail if farm else ""


def mailed(ledger: Ledger, store: Store, request: Request, to: str) -> str:
    """Mail a report, and say where it went. Without a browser for the PDF the HTML goes.

    Raises
    ------
    UserError
        The viewer may not, the address is none, the report cannot be made, or the mail is not taken.
    """
    viewer = current_viewer()
    viewer.refuse_unless("share reports")
    address, server = checked_address(to), mail_server()
    words, told_of = Words(request.language), list[Message]()
    with REPORTS.turn(), scratch_folder() as folder:
        contents, out = collect(ledger, request), folder / f"{file_name(request.farm)}.pdf"
        try:
            save(contents, out, told_of.append)
        except UserError:
            out = out.with_suffix(".html")
            save(contents, out)
        subject = words("Foot report, {farm}", farm=request.farm)
        send(server, message(server.sender, [address], subject, mail_text(ledger, request.farm, words), [out]))
    with store.open() as connection:
        note(connection, store.clock(), REPORT_MAILED, "report", [request.farm])
    if viewer.may("write on reports"):
        of_farm = letterheads.kept(store, viewer, request.farm)
        letterheads.keep(store, viewer, dataclasses.replace(of_farm, mail=address), request.farm)
    return " ".join([_("{file} was mailed to {address}.", file=out.name, address=address), *map(told, told_of)])
