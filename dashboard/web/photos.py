"""Photos of filled sheets: taken from the page Type a visit once the visit is added, and shown again with the import.

The browser makes a photo smaller before it sends it, which also takes out where it was taken and makes a JPEG of any
other picture; a PDF comes as it is. So two kinds arrive, and each is given back as what it is, never as anything that
a browser would run.
"""

from __future__ import annotations

from dash import Dash
from flask import Response, request

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.photos import LARGEST, TOO_LARGE, add_photo, read_photo
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.imports_photos import photo_address, seen_photo

TYPES = {"jpeg": "image/jpeg", "pdf": "application/pdf"}


def serve_photos(app: Dash, ledger: Ledger, store: Store) -> None:
    """Add the addresses at which photos are taken and shown."""
    server = app.server

    @server.post("/imports/<int:import_no>/photos", endpoint="photo-add")
    def attach(import_no: int) -> Response:
        viewer = current_viewer()
        try:
            viewer.refuse_unless("import sheets")
            imports_rights.refuse_import(ledger, store, viewer, import_no)
            if (request.content_length or 0) > LARGEST:
                raise UserError(TOO_LARGE)
            photo = add_photo(ledger, import_no, request.get_data(cache=False))
        except UserError as known:
            return _sentence(known.sentence, 409)
        return Response(photo_address(photo), mimetype="text/plain")

    @server.get("/imports/<int:import_no>/photos/<int:number>", endpoint="photo")
    def show(import_no: int, number: int) -> Response:
        try:
            photo = seen_photo(ledger, store, import_no, number)
            answer = Response(read_photo(ledger, photo), mimetype=TYPES[photo.kind])
        except UserError as known:
            return _sentence(known.sentence, 404)
        answer.headers["Content-Disposition"] = f'inline; filename="{photo.file}"'
        return answer


def _sentence(sentence: str, code: int) -> Response:
    return Response(told(sentence) + "\n", status=code, mimetype="text/plain")
