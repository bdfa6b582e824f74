"""A report that was shared: what a link shows, of one farm, to whoever has it."""

from __future__ import annotations

import tempfile
import threading
from html import escape
from pathlib import Path

from dash import Dash
from flask import Response, abort, g

from analytics.ledger import Ledger
from analytics.mistake import Mistake
from dashboard.accounts import links
from dashboard.accounts.roles import ADVISER
from dashboard.accounts.store import Store
from dashboard.accounts.viewer import Viewer
from dashboard.report.contents import Contents, collect
from dashboard.report.document import document
from dashboard.report.request import Request
from dashboard.report.writing import save
from dashboard.taking_away import file_name

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none'"
"""Nothing in a report runs."""

GONE = {
    "en": "This link leads nowhere: it has ended or was taken back. Ask whoever sent it.",
    "es": "Este enlace no lleva a ninguna parte: ha caducado o se ha retirado. Pregunte a quien lo envió.",
}
BUSY_SECONDS = 20.0
"""How long to wait while another PDF is being made: one browser at a time is enough for the server."""

_printing = threading.Lock()


def show_shared(app: Dash, ledger: Ledger, store: Store) -> None:
    """Answer to links that were made with :func:`dashboard.accounts.links.make`."""

    @app.server.get("/shared/<token>", endpoint="shared")
    def shared(token: str) -> Response:
        link, contents = _found(token)
        if isinstance(contents, str):
            return _private(Response(contents, status=404, mimetype="text/plain"))
        links.count_opening(store, link)
        said = {"en": "Save as PDF", "es": "Guardar como PDF"}[link.language]
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
        if not _printing.acquire(timeout=BUSY_SECONDS):
            abort(503)
        try:
            with tempfile.TemporaryDirectory(prefix="evenfoot-") as folder:
                out = Path(folder) / "report.pdf"
                save(contents, out)
                data = out.read_bytes()
        except Mistake:
            sentence = "A PDF cannot be made here; print the page instead.\n"
            return _private(Response(sentence, status=503, mimetype="text/plain"))
        finally:
            _printing.release()
        answer = Response(data, mimetype="application/pdf")
        answer.headers["Content-Disposition"] = f'attachment; filename="{file_name(link.farm, set())}.pdf"'
        return _private(answer)

    def _found(token: str) -> tuple[links.Link, Contents | str]:
        link = links.follow(store, token)
        if link is None:
            return _NONE, "\n".join(GONE.values()) + "\n"
        g.viewer = Viewer("a link", (link.farm,), ADVISER)
        try:
            return link, collect(ledger, Request(farm=link.farm, language=link.language, allowed=(link.farm,)))
        except Mistake as known:
            return link, f"{known}\n"


_NONE = links.Link("", "", 0.0, 0.0, None, 0, "", "en")


def _private(answer: Response) -> Response:
    """Kept by nobody on the way, found by no search, and its address told to nobody."""
    answer.headers["Content-Security-Policy"] = POLICY
    answer.headers["Cache-Control"] = "no-store"
    answer.headers["Referrer-Policy"] = "no-referrer"
    answer.headers["X-Robots-Tag"] = "noindex, nofollow"
    return answer
