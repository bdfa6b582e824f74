"""The sheet to write on at the chute, printed from the page that it is typed into."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import Dash, Input, Output, State, dcc, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import read_date
from evenfoot.analytics.temporary_folders import scratch_folder
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.report.blank_sheet import blank_sheet, due_cows
from evenfoot.dashboard.report.printing import save_pdf
from evenfoot.dashboard.report.request import PAPERS
from evenfoot.dashboard.report.waiting import REPORTS
from evenfoot.dashboard.ui.shell import mistake as mistake_line

NO_PDF = say("There is no browser here to make a PDF with: this is the sheet as a page to print.")


def print_fold() -> html.Details:
    """What is chosen of the sheet, and the button that gives it."""
    return html.Details(
        [
            html.Summary(_("Print a blank sheet for the chute")),
            html.Div(
                [
                    dmc.Select(
                        id="typing-paper",
                        label=_("Paper"),
                        data=[{"value": paper, "label": paper} for paper in PAPERS],
                        value=PAPERS[0],
                        allowDeselect=False,
                    ),
                    dmc.Checkbox(id="typing-due", label=_("With the cows that are due on this day"), checked=True),
                    html.Button(_("Print"), id="typing-print", className="take thumb"),
                ],
                className="choices",
            ),
            html.Div(id="typing-printed", **{"aria-live": "polite"}),
            dcc.Download(id="typing-download"),
        ],
        className="fold",
    )


def file_of(
    ledger: Ledger, farm: str, day: str | None, *, due: bool, paper: str
) -> tuple[dict[str, Any], list[Message]]:
    """The sheet as ``dcc.Download`` takes it, and what is told.

    It is a PDF; where there is no browser to print it, it is the page itself, and that is told.

    Raises
    ------
    UserError
        The farm is none that the viewer may see, the day or paper cannot be used, or too many files are being printed.
    """
    viewer = current_viewer()
    on = read_date(day, "day") if day else None
    cows: dict[str, str] = {}
    missing = list[Message]()
    if due:
        if not on or farm not in ledger.farms(viewer.allowed):
            raise UserError(
                say("No cows of this farm are known. Choose a farm and a day above, or print without cows.")
            )
        cows = due_cows(ledger, farm, on, viewer.allowed)
        if not cows:
            missing.append(say("No cow of this farm is due on this day: the sheet has blank rows alone."))
    page = blank_sheet(farm, on, cows, paper)
    with REPORTS.turn(), scratch_folder() as folder:
        try:
            save_pdf(page, folder / "sheet.pdf", missing.append)
        except UserError:
            return {"content": page, "filename": "evenfoot-sheet.html", "type": "text/html"}, [*missing, NO_PDF]
        return dict(dcc.send_bytes((folder / "sheet.pdf").read_bytes(), "evenfoot-sheet.pdf")), missing


def register_print(app: Dash, ledger: Ledger) -> None:
    """The callback that gives the sheet."""

    @app.callback(
        Output("typing-download", "data"),
        Output("typing-printed", "children"),
        Input("typing-print", "n_clicks"),
        State("typing-farm", "value"),
        State("typing-day", "value"),
        State("typing-due", "checked"),
        State("typing-paper", "value"),
        prevent_initial_call=True,
    )
    def take(clicks: int | None, farm: str | None, day: str | None, due: bool, paper: str) -> Any:
        if not clicks:
            return no_update, no_update
        try:
            current_viewer().refuse_unless("read")
            data, said = file_of(ledger, (farm or "").strip(), day, due=bool(due), paper=str(paper))
        except UserError as known:
            return no_update, mistake_line(told(known.sentence))
        return data, [html.P(told(line), className="caution", role="status") for line in said]
