"""A report that was shared: what a link shows, of one farm, to whoever has it."""

from __future__ import annotations

from html import escape

from dash import Dash
from flask import Response, abort, g

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.temporary_folders import scratch_folder
from evenfoot.dashboard.auth import links
from evenfoot.dashboard.auth.roles import ADVISER
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.viewer import Viewer
from evenfoot.dashboard.i18n.catalogue import LANGUAGES
from evenfoot.dashboard.i18n.translation import Words, _, speaking, told, words
from evenfoot.dashboard.report.contents import Contents, collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import Request
from evenfoot.dashboard.report.waiting import BUSY, REPORTS
from evenfoot.dashboard.report.writing import save
from evenfoot.dashboard.ui.file_names import file_name

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none'"
"""Nothing in a report runs."""

GONE = say("This link leads nowhere: it has ended or was taken back. Ask whoever sent it.")


def show_shared(app: Dash, ledger: Ledger, store: Store) -> None:
    """Answer to links that were made with :func:`evenfoot.dashboard.auth.links.make`."""

    @app.server.get("/shared/<token>", endpoint="shared")
    def shared(token: str) -> Response:
        link, contents = _found(token)
        if isinstance(contents, str):
            return _private(Response(contents, status=404, mimetype="text/plain"))
        links.count_opening(store, link)
        with speaking(Words(link.language)):
            said = escape(_("Save as PDF"))
        pdf = f"{links.path_of(token)}/report.pdf"
        above = f'<p class="screen-only"><a href="{escape(pdf, quote=True)}">{said}</a></p>'
        hidden = "<style>@media print{.screen-only{display:none}}</style>"
        page = document(contents).replace("</head>", f"{hidden}</head>", 1).replace("<main>", f"<main>{above}", 1)
        return _private(Response(page, mimetype="text/html"))

    @app.server.get("/shared/<token>/report.pdf", endpoint="shared-pdf")
    def shared_pdf(token: str) -> Response:
        link, contents = _found(token)
        if isinstance(contents, str):
            return _private(Response(contents, status=404, mimetype="text/plain"))
        try:
            with REPORTS.turn(), scratch_folder() as folder:
                out = folder / "report.pdf"
                save(contents, out)
                data = out.read_bytes()
        except UserError as known:
            if known.sentence == BUSY:
                abort(503)
            with speaking(Words(link.language)):
                sentence = _("A PDF cannot be made here; print the page instead.")
            return _private(Response(f"{sentence}\n", status=503, mimetype="text/plain"))
        answer = Response(data, mimetype="application/pdf")
        answer.headers["Content-Disposition"] = f'attachment; filename="{file_name(link.farm)}.pdf"'
        return _private(answer)

    def _found(token: str) -> tuple[links.Link, Contents | str]:
        link = links.follow(store, token)
        if link is None:
            # Whose link it was, and in which language, is not known: all are said, the reader's own first.
            own = words().language
            each = [Words(language) for language in sorted(LANGUAGES, key=lambda one: one != own)]
            return _NONE, "".join(f"{one.said(GONE)}\n" for one in each)
        g.viewer = Viewer("a link", (link.farm,), ADVISER)
        try:
            with REPORTS.turn():
                return link, collect(ledger, Request(farm=link.farm, language=link.language, allowed=(link.farm,)))
        except UserError as known:
            if known.sentence == BUSY:
                abort(503)
            with speaking(Words(link.language)):
                return link, f"{told(known.sentence)}\n"


_NONE = links.Link("", "", 0.0, 0.0, None, 0, "", "en")


def _private(answer: Response) -> Response:
    """Kept by nobody on the way, found by no search, and its address told to nobody."""
    answer.headers["Content-Security-Policy"] = POLICY
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex, nofollow"
    return answer
