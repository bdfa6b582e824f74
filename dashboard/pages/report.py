"""Report: choose what goes in, see it as it will print, and take it along as PDF, HTML or workbook."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.progress import stage
from evenfoot.analytics.queries.selection import read_date
from evenfoot.analytics.temporary_folders import scratch_folder
from evenfoot.dashboard.auth import Store, current_viewer, letterheads
from evenfoot.dashboard.auth.history import note_report
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages import report_letterhead, report_links, report_mail
from evenfoot.dashboard.pages.report_form import form
from evenfoot.dashboard.pages.report_letterhead import logo_of
from evenfoot.dashboard.pages.worklist import day_asked
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import PAPERS, Request, Sender
from evenfoot.dashboard.report.waiting import REPORTS
from evenfoot.dashboard.report.writing import save
from evenfoot.dashboard.ui import progress
from evenfoot.dashboard.ui.file_names import file_name
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.shell import mistake as mistake_line
from evenfoot.dashboard.ui.view import View

REMARK_LETTERS = 4000
FIELDS = ("sections", "language", "units", "paper", "remarks", "trimmer", "address", "owner", "next")
"""What the reader fills in, in the order the callback gets it; the logo comes after."""

ONE_FARM = say("A report is of one farm: choose it above.")


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the report page."""
    store: Store = app.server.config["EVENFOOT_ACCOUNTS"]
    states = [*(State(f"report-{name}", "value") for name in FIELDS), State("report-logo", "contents"),
              State("address", "search")]  # fmt: skip

    def asked(*given: Any) -> Request:
        *filled, logo, search = given
        own = letterheads.kept(store, current_viewer())
        return request_from(dict(zip(FIELDS, filled, strict=True)), logo, search or "", ledger, own.logo)

    report_links.register(app, ledger)
    report_letterhead.register(app)
    report_mail.register(app, ledger, states, asked)
    progress.register(app, "report")

    @app.callback(
        Output("report-preview", "children"),
        Output("report-download", "data"),
        *(Input(f"report-{name}", "n_clicks") for name in ("show", "pdf", "html", "xlsx")),
        *states,
        running=progress.while_running("report"),
        prevent_initial_call=True,
    )
    def make(*given: Any) -> Any:
        if not any(given[:4]):
            return no_update, no_update
        try:
            request = asked(*given[4:])
            with progress.watched("report"):
                kind = str(ctx.triggered_id).removeprefix("report-")
                shown = made(ledger, request, kind)
            if kind != "show":
                note_report(store, [request.farm])
            return shown
        except UserError as known:
            return mistake_line(told(known.sentence)), no_update


def request_from(
    filled: dict[str, Any], logo: str | None, search: str, ledger: Ledger, kept: bytes | None = None
) -> Request:
    """The report that the page describes, with the logo that is *kept* unless another was just dropped.

    Raises
    ------
    UserError
        Not one farm is chosen, or something filled in cannot be used.
    """
    allowed = current_viewer().allowed
    view = View.read("/report", search, allowed)
    farm = view.farm
    if farm is None:
        farms = ledger.farms(allowed)
        if len(farms) != 1 or view.selection.farms:
            raise UserError(ONE_FARM)
        [farm] = farms
    if logo or any(str(filled.get(name) or "").strip() for name in ("remarks", "trimmer", "address", "owner", "next")):
        current_viewer().refuse_unless("write on reports")
    return Request(
        farm=farm,
        since=view.selection.since,
        until=view.selection.until,
        on=day_asked(view),
        next_visit=read_date(str(filled["next"]), "next") if filled.get("next") else None,
        language=str(filled["language"] or "en"),
        units=str(filled["units"] or "mm"),
        paper=str(filled["paper"] or PAPERS[0]),
        sections=tuple(str(name) for name in filled["sections"] or ()),
        remarks=str(filled["remarks"] or "")[:REMARK_LETTERS],
        trimmer=Sender(str(filled["trimmer"] or ""), str(filled["address"] or ""), logo_of(logo) if logo else kept),
        owner=Sender(str(filled["owner"] or "")),
        hemisphere=view.selection.hemisphere,
        allowed=allowed,
    )


def made(ledger: Ledger, request: Request, kind: str) -> tuple[Any, Any]:
    """What stands in the preview, and what is downloaded: a preview shows, or a file is saved.

    Letters that a PDF shows as boxes are told in place of the preview.

    Raises
    ------
    UserError
        Too many reports wait, or the report cannot be made.
    """
    with REPORTS.turn():
        return _made(ledger, request, kind)


def _made(ledger: Ledger, request: Request, kind: str) -> tuple[Any, Any]:
    contents = collect(ledger, request)
    stage(say("Writing the report"))
    if kind == "show":
        # Nothing in a report runs, and in this frame nothing could.
        frame = html.Iframe(
            srcDoc=document(contents),
            title=_("Report of {farm}", farm=request.farm),
            sandbox="",
            className="report-frame",
            style={"width": "100%", "height": "80vh", "border": "1px solid var(--rule)", "background": "#fff"},
        )
        return frame, no_update
    name, missing = f"{file_name(request.farm)}.{kind}", list[Message]()
    with scratch_folder() as folder:
        out = folder / name
        try:
            save(contents, out, missing.append)
        except UserError as known:
            # The sentence on the HTML in its place speaks of a folder that is gone in a moment.
            raise UserError(str(known).split(" The report was written as ")[0]) from None
        data = out.read_bytes()
    said = [html.P(told(sentence), role="status", className="caution") for sentence in missing]
    return said or no_update, dcc.send_bytes(data, name)


PAGE = Page(
    path="/report",
    title="Report",
    group="visits",
    question="What to leave with the farmer: on paper, as a file, or by mail.",
    extra=lambda: [*form(), *report_mail.section(), *report_links.section()],
    register=register,
)
