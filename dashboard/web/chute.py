"""The chute page: records written down with no network, kept by the phone, sent as a sheet.

What a phone sends is a sheet with one row a finding. It goes in by the ordinary import, so that identity, questions and
what is set aside are those of any other sheet, and a sheet that is sent twice adds nothing twice.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

from dash import Dash
from flask import Response, abort, request

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, farms_by_kind, run_import
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.login import CSRF_COOKIE
from evenfoot.dashboard.auth.roles import REFUSALS
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.stored_sentences import said_again
from evenfoot.dashboard.i18n.translation import told, words
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.imports_demo import demo_imports
from evenfoot.dashboard.web.chute_herd import herd_of
from evenfoot.dashboard.web.chute_words import sentences, trade

FILES = Path(__file__).parents[1] / "chute"

TYPES = {
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
    ".html": "text/html",
    ".txt": "text/plain",
}

AFTER_SIGNING_OUT = ("wiping.js", "signed-out.js")
"""Files that need no session."""

LARGEST_SHEET = 4 * 1024 * 1024
"""Letters of a sheet from a phone; a day of 500 cows has some 200,000. [common practice, no source]"""

NOT_WHOLE = say("What the phone sent did not arrive whole; send it again.")
WITH_DEMO = N_(
    "This ledger holds the demo herds, which are invented, and they never stand among farms of your own. Bring the "
    "first sheet of {farm} in on the Import page; save the day as a file for it."
)


def serve_chute(app: Dash, ledger: Ledger, store: Store) -> None:
    """Add the page ``/chute``, its files, and what it asks for and sends."""
    server = app.server

    @server.get("/chute", endpoint="chute")
    def shell() -> Response:
        _refuse_readers()
        return _file("chute.html")

    @server.get("/chute/<name_of_file>", endpoint="chute-file")
    def file(name_of_file: str) -> Response:
        return _file(name_of_file)

    # Signing out leads to the sign-in page, which wipes the browser with these.
    for name in AFTER_SIGNING_OUT:
        server.add_url_rule(f"/chute/{name}", "signed-out-files", _file_of_path)

    @server.get("/chute/facts", endpoint="chute-facts")
    def facts() -> Response:
        _refuse_readers()
        viewer = current_viewer()
        return _json(
            {
                "account": str(viewer.account or "here"),
                "name": viewer.name if viewer.account else "",
                "language": words().language,
                "word": store.cookie(CSRF_COOKIE),
                "words": sentences(),
                "trade": trade(),
            }
        )

    @server.get("/chute/farms", endpoint="chute-farms")
    def farms() -> Response:
        viewer = current_viewer()
        try:
            viewer.refuse_unless("import sheets")
            return _json({"farms": imports_rights.known_to(ledger, viewer), "demo": bool(demo_imports(ledger))})
        except UserError as known:
            return _refused(known)

    @server.get("/chute/herd", endpoint="chute-herd")
    def herd() -> Response:
        viewer, farm = current_viewer(), request.args.get("farm", "")
        try:
            viewer.refuse_unless("import sheets")
            if not viewer.sees(farm) or farm not in ledger.farms():
                abort(404)
            return _json(herd_of(ledger, farm, viewer.allowed))
        except UserError as known:
            return _refused(known)

    @server.post("/chute/visit", endpoint="chute-visit")
    def visit() -> Response:
        try:
            current_viewer().refuse_unless("import sheets")
            name, data, given = _sent()
            return _json(_add(ledger, store, name, data, given))
        except UserError as known:
            return _refused(known)


def _refuse_readers() -> None:
    if not current_viewer().may("import sheets"):
        abort(Response(told(REFUSALS["import sheets"]) + "\n", status=403, mimetype="text/plain"))


def _refused(known: UserError) -> Response:
    answer = _json({"state": "refused", "sentence": told(known.sentence)})
    answer.status_code = 409
    return answer


def _json(data: dict[str, Any]) -> Response:
    """Plain data in the order in which it stands: actions, scores and stages are shown in it."""
    return Response(json.dumps(data, ensure_ascii=False), mimetype="application/json")


def _file(name: str) -> Response:
    path = FILES / name
    if "/" in name or path.suffix not in TYPES or not path.is_file():
        abort(404)
    text = path.read_text(encoding="utf-8")
    if name == "worker.js":
        text = text.replace("VERSION_OF_FILES", _version())
    answer = Response(text, mimetype=TYPES[path.suffix])
    if name == "worker.js":
        answer.headers["Service-Worker-Allowed"] = "/chute"
    return answer


def _file_of_path() -> Response:
    return _file(request.path.rpartition("/")[2])


def _version() -> str:
    """The state of the page's files: another one has the phone fetch them all anew."""
    digest = hashlib.sha256()
    for path in sorted(FILES.iterdir()):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def _sent() -> tuple[str, bytes, dict[str, str]]:
    """Name, bytes and answers of what a phone sent.

    Raises
    ------
    UserError
        It is no sheet of a phone.
    """
    body = request.get_json(silent=True)
    if not isinstance(body, dict):
        raise UserError(NOT_WHOLE)
    name, csv, given = body.get("name"), body.get("csv"), body.get("given", {})
    if not isinstance(name, str) or not isinstance(csv, str) or not isinstance(given, dict):
        raise UserError(NOT_WHOLE)
    if not csv or len(csv) > LARGEST_SHEET or not all(isinstance(each, str) for each in given.values()):
        raise UserError(NOT_WHOLE)
    stem = re.sub(r"[^\w .-]", " ", name).strip(" .")[:80] or "chute"
    return f"{stem.removesuffix('.csv')}.csv", csv.encode(), given


def _add(ledger: Ledger, store: Store, name: str, data: bytes, given: dict[str, str]) -> dict[str, Any]:
    """What became of a sheet: added, or asked about with nothing added.

    Raises
    ------
    UserError
        The sheet cannot be read, or may not be brought in.
    """
    prepared, _result = imports_rights.prepared_for_viewer(ledger, data, name, given)
    farms = {farm for some in farms_by_kind(prepared.sheets).values() for farm in some if farm}
    new = sorted(farms - set(ledger.farms())) if demo_imports(ledger) else []
    if new:
        raise UserError(say(WITH_DEMO, farm=new[0]))
    if prepared.answers.blocking():
        return _asked(prepared)
    digest = hashlib.sha256(data).hexdigest()
    result = run_import(ledger, prepared, digest)
    imports_rights.remember(store, current_viewer(), result.import_no, digest)
    held = [row for sheet in prepared.sheets for row in records(sheet.set_aside[["row", "reason"]])]
    return {
        "state": "added",
        "added": result.added,
        "known": result.already_known,
        "set_aside": result.set_aside,
        "reasons": [{"row": int(row["row"]), "reason": said_again(row["reason"])} for row in held],
        "notes": [told(note) for note in result.questioned],
    }


def _asked(prepared: PreparedImport) -> dict[str, Any]:
    """The open questions, and both versions of records that are here already."""
    revision = prepared.revision if prepared.revision is not None and prepared.revision.is_open else None
    both = [] if revision is None else records(revision.frame)
    return {
        "state": "asked",
        "questions": [
            {
                "id": question.id,
                "text": told(question.text),
                "free": question.free,
                "choices": [{"value": choice.value, "says": told(choice.says)} for choice in question.choices],
            }
            for question in prepared.answers.blocking()
        ],
        "both": [
            {
                "what": column_label(str(line["field"])),
                "before": value_label(str(line["field"]), line["before"]) or "–",
                "now": value_label(str(line["field"]), line["now"]) or "–",
            }
            for line in both
        ],
    }
