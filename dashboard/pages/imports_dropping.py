"""Dropped sheets: read when they come, read again with each answer, added when nothing is open."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from itertools import zip_longest
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, dcc, html, no_update

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.isolated_reader import raw_rows_limited
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.file_import import run_import
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.pages.imports_added import added_body
from evenfoot.dashboard.pages.imports_demo import demo_digests, demo_imports, take_out_demo
from evenfoot.dashboard.pages.imports_questions import shown_values
from evenfoot.dashboard.pages.imports_rows import SHOWN_ROWS
from evenfoot.dashboard.pages.imports_sheet import bytes_of, digest_of, sheet_body
from evenfoot.dashboard.ui import progress
from evenfoot.dashboard.ui.shell import mistake as mistake_line

Answered = list[dict[str, Any]]
"""One of Dash's lists of inputs with the same pattern: each with its ``id`` and its ``value``."""


def dropped_sheet(name: str, contents: str, answers: Mapping[str, Any] | None = None) -> html.Section:
    """The place of one dropped sheet; it is filled when the browser asks what is in it.

    Parameters
    ----------
    name : str
    contents : str
        As the browser sends a file: ``data:...;base64,...``.
    answers : mapping, optional
        Those given before; see :func:`new_answers`.
    """
    of = secrets.token_hex(4)
    return html.Section(
        [
            html.H3(name),
            # The bytes stay in the page until the sheet is added.
            dcc.Store(id={"type": "sheet", "of": of}, data={"name": name, "contents": contents}),
            dcc.Store(id={"type": "answers", "of": of}, data=answers or {"given": {}, "fold": False}),
            dcc.Store(id={"type": "shown", "of": of}),
            dcc.Store(id={"type": "done", "of": of}),
            html.Div(html.P(_("Reading ..."), className="basis"), id={"type": "body", "of": of}),
        ],
        className="dropped",
        **{"aria-label": name},
    )


def _read(ledger: Ledger, sheet: Mapping[str, str], of: str, answers: Mapping[str, Any]) -> tuple[list[Any], Any]:
    """What is shown of a dropped sheet, and what stands in its fields."""
    data = bytes_of(sheet["contents"])
    prepared, result = imports_rights.prepared_for_viewer(ledger, data, sheet["name"], answers["given"], count=True)
    if result is None:
        raise AssertionError("What would be added was not counted.")
    body = sheet_body(
        of,
        prepared,
        result,
        raw_rows_limited(data, prepared.file, SHOWN_ROWS),
        answers["given"],
        beside_demo=_is_beside_demo(ledger, digest_of(data)),
        fold_open=answers["fold"],
    )
    blocking = prepared.answers.blocking()
    shown = {
        "answers": answers,
        "values": shown_values(prepared.answers),
        "open": [question.id for question in blocking],
        "likeliest": [question.id for question in blocking if question.default is not None],
    }
    return body, shown


def _is_beside_demo(ledger: Ledger, digest: str) -> bool:
    return digest not in demo_digests() and bool(demo_imports(ledger))


def new_answers(
    shown: Mapping[str, Any] | None, fields: Answered, pressed: Mapping[str, Any] | None
) -> dict[str, Any] | None:
    """The answers given so far and those given now; ``None`` where nothing was answered.

    Parameters
    ----------
    shown : mapping or None
        What stood in the fields (``values``), what was answered before (``answers``), which questions were open
        (``open``) and which of those had a likeliest answer (``likeliest``).
    fields : list
        The fields as they stand now.
    pressed : mapping or None
        The id of the button that was pressed: that of one question, or of none for every likeliest answer.

    Returns
    -------
    dict or None
        ``given``: question id -> answer. ``fold``: whether something was changed that was not open.

    Example
    -------
    >>> before = {"given": {}, "fold": False}
    >>> shown = {"answers": before, "values": {"a": "1", "b": "2"}, "open": ["a", "b"], "likeliest": ["a", "b"]}
    >>> new_answers(shown, [{"id": {"question": "a"}, "value": "3"}, {"id": {"question": "b"}, "value": "2"}], None)
    {'given': {'a': '3'}, 'fold': False}
    >>> new_answers(shown, [], {"question": ""})["given"], new_answers(shown, [], None)
    ({'a': '1', 'b': '2'}, None)
    """
    if shown is None:
        return None
    values = shown["values"]
    said: dict[str, str] = {}
    for one in fields:
        question, value = one["id"]["question"], (one.get("value") or "").strip()
        if value and value != values.get(question):
            said[question] = value
    if pressed is not None:
        asked = [pressed["question"]] if pressed["question"] else shown["likeliest"]
        said |= {question: values[question] for question in asked if values.get(question)}
    before = shown["answers"]
    given = {**before["given"], **said}
    if given == before["given"]:
        return None
    return {"given": given, "fold": before["fold"] or not set(said) <= set(shown["open"])}


def register_sheets(app: Dash, ledger: Ledger, store: Store) -> None:
    """The callbacks of dropped sheets."""

    @app.callback(
        Output("sheets", "children"),
        Output("upload", "contents"),
        Input("upload", "contents"),
        State("upload", "filename"),
        prevent_initial_call=True,
    )
    def drop(contents: list[str] | None, names: list[str] | None) -> Any:
        if not contents:
            return no_update, no_update
        # The browser hands files over in the order in which it finished reading them. That order changes.
        sheets = sorted(zip_longest(names or [], contents, fillvalue="sheet"))
        sections = [dropped_sheet(name, each) for name, each in sheets]
        # Given back at once, so that the same file can be dropped again.
        return sections, None

    @app.callback(
        Output({"type": "answers", "of": MATCH}, "data"),
        Input({"type": "answer", "of": MATCH, "question": ALL, "part": ALL}, "value"),
        Input({"type": "confirm", "of": MATCH, "question": ALL}, "n_clicks"),
        State({"type": "shown", "of": MATCH}, "data"),
        prevent_initial_call=True,
    )
    def answer(_values: list[Any], _clicks: list[int | None], shown: dict[str, Any] | None) -> Any:
        """Take an answer over. Fields that have just been drawn report themselves as well, and change nothing."""
        fields, buttons = ctx.inputs_list
        pressed = [one["id"] for one in buttons if one.get("value") and one["id"] == ctx.triggered_id]
        answers = new_answers(shown, fields, pressed[0] if pressed else None)
        return no_update if answers is None else answers

    @app.callback(
        Output({"type": "body", "of": MATCH}, "children"),
        Output({"type": "shown", "of": MATCH}, "data"),
        Input({"type": "answers", "of": MATCH}, "data"),
        State({"type": "sheet", "of": MATCH}, "data"),
        State({"type": "sheet", "of": MATCH}, "id"),
        State({"type": "shown", "of": MATCH}, "data"),
        running=progress.while_running("import"),
    )
    def read(answers: dict[str, Any], sheet: dict[str, str], id: dict[str, str], shown: dict[str, Any] | None) -> Any:
        try:
            with progress.watched("import"):
                return _read(ledger, sheet, id["of"], answers)
        except UserError as known:
            refused = mistake_line(told(known.sentence))
        if shown is None:
            return refused, None
        # The answer cannot be used: it is said, and the sheet is shown as it was before.
        try:
            body, shown = _read(ledger, sheet, id["of"], shown["answers"])
        except UserError as known:
            return mistake_line(told(known.sentence)), None
        return [refused, *body], shown

    @app.callback(
        Output({"type": "body", "of": MATCH}, "children", allow_duplicate=True),
        Output({"type": "shown", "of": MATCH}, "data", allow_duplicate=True),
        Output({"type": "sheet", "of": MATCH}, "data"),
        Output({"type": "done", "of": MATCH}, "data"),
        Input({"type": "add", "of": MATCH}, "n_clicks"),
        State({"type": "sheet", "of": MATCH}, "data"),
        State({"type": "sheet", "of": MATCH}, "id"),
        State({"type": "answers", "of": MATCH}, "data"),
        running=progress.while_running("import"),
        prevent_initial_call=True,
    )
    def add(clicks: int | None, sheet: dict[str, str] | None, id: dict[str, str], answers: dict[str, Any]) -> Any:
        if not clicks or not sheet:
            return (no_update,) * 4
        try:
            with progress.watched("import"):
                return _add(ledger, store, sheet, id["of"], answers)
        except UserError as known:
            refused = mistake_line(told(known.sentence))
        try:
            body, shown = _read(ledger, sheet, id["of"], answers)
        except UserError:
            # What is wrong with the sheet has been said.
            return refused, None, no_update, no_update
        return [refused, *body], shown, no_update, no_update


def _add(
    ledger: Ledger, store: Store, sheet: Mapping[str, str], of: str, answers: Mapping[str, Any]
) -> tuple[Any, ...]:
    """Add a dropped sheet; where a question has come up meanwhile, show it instead."""
    data = bytes_of(sheet["contents"])
    digest = digest_of(data)
    prepared, _result = imports_rights.prepared_for_viewer(ledger, data, sheet["name"], answers["given"])
    if not prepared.answers.blocking() and _is_beside_demo(ledger, digest):
        current_viewer().refuse_unless("see every import")
        take_out_demo(ledger)
        prepared, _result = imports_rights.prepared_for_viewer(ledger, data, sheet["name"], answers["given"])
    if prepared.answers.blocking():
        return *_read(ledger, sheet, of, answers), no_update, no_update
    result = run_import(ledger, prepared, digest)
    imports_rights.remember(store, current_viewer(), result.import_no, digest)
    held = not prepared.is_whole
    return added_body(ledger, prepared, result), None, None, {"number": result.import_no, "held": held}
