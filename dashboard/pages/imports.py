"""Import: drop sheets, answer what they leave open, add them, mend what was set aside, take an import back."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, dcc, html, no_update

from analytics.intake import write_set_aside
from analytics.intake.raw_rows import raw_rows
from analytics.ledger import Ledger
from analytics.ledger.adding import add_sheets, undo_import
from analytics.ledger.aliases import take_back_alias
from analytics.ledger.file_import import PreparedImport, run_import
from analytics.ledger.layouts import remove_layout
from analytics.mistake import Mistake
from dashboard import progress
from dashboard.accounts import current_viewer
from dashboard.accounts.store import Store
from dashboard.frame import mistake as mistake_line
from dashboard.language import _, _n, told
from dashboard.page import Page
from dashboard.pages import imports_rights
from dashboard.pages.imports_demo import demo_digests, demo_imports, take_out_demo
from dashboard.pages.imports_list import imports_so_far
from dashboard.pages.imports_memory import remembered
from dashboard.pages.imports_mending import MENDING, grid_rows, mending_body, try_again
from dashboard.pages.imports_questions import shown_values
from dashboard.pages.imports_rows import SHOWN_ROWS
from dashboard.pages.imports_sheet import added_body, bytes_of, digest_of, prepared_for_viewer, sheet_body

Answered = list[dict[str, Any]]
"""One of Dash's lists of inputs with the same pattern: each with its ``id`` and its ``value``."""


def _extra() -> list[Any]:
    return [
        html.Section(
            [
                html.H2(_("Add sheets"), id="title-upload"),
                html.P(
                    _(
                        "Trim sheets, locomotion scores, herd registers, housing periods or changes, as CSV, XLSX, "
                        "XLS, ODS or JSON. Nothing is kept until you say so."
                    )
                ),
                html.Div(id="demo-said"),
                dcc.Upload(
                    html.Span([html.B(_("Drop files here")), " ", _("or choose them")]),
                    id="upload",
                    className="drop",
                    multiple=True,
                ),
                progress.place("import"),
                html.Div(id="sheets", **{"aria-live": "polite"}),
                html.Div(id="mending", **{"aria-live": "polite"}),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-upload"},
        ),
        html.Section(
            [
                html.H2(_("Imports so far"), id="title-imports"),
                html.Div(id="imports-said", **{"aria-live": "polite"}),
                html.Div(id="imports-list"),
                html.Div(id="imports-memory"),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-imports"},
        ),
        dcc.Store(id="imports-changed", data=0),
        dcc.Store(id="mend-of"),
        dcc.Download(id="set-aside-download"),
    ]


def _section(of: str, name: str, contents: str) -> html.Section:
    """The place of one dropped sheet; it is filled when the browser asks what is in it."""
    return html.Section(
        [
            html.H3(name),
            # The bytes stay in the page until the sheet is added.
            dcc.Store(id={"type": "sheet", "of": of}, data={"name": name, "contents": contents}),
            dcc.Store(id={"type": "answers", "of": of}, data={"given": {}, "fold": False}),
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
    return _shown(ledger, prepared_for_viewer(ledger, data, sheet["name"], answers["given"]), data, of, answers)


def _shown(
    ledger: Ledger, prepared: PreparedImport, data: bytes, of: str, answers: Mapping[str, Any]
) -> tuple[list[Any], dict[str, Any]]:
    digest = digest_of(data)
    result = add_sheets(
        ledger, prepared.sheets, prepared.file, digest, revision_choice=prepared.revision_choice, dry_run=True
    )
    body = sheet_body(
        of,
        prepared,
        result,
        raw_rows(data, prepared.file, SHOWN_ROWS),
        answers["given"],
        beside_demo=_is_beside_demo(ledger, digest),
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


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of the import page."""
    store = app.server.config["EVENFOOT_ACCOUNTS"]
    progress.register(app, "import")
    _register_sheets(app, ledger, store)
    _register_mending(app, ledger, store)
    _register_list(app, ledger, store)


def _register_sheets(app: Dash, ledger: Ledger, store: Store) -> None:
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
        named = names or []
        sections = [
            _section(secrets.token_hex(4), named[n] if n < len(named) else "sheet", each)
            for n, each in enumerate(contents)
        ]
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
        except Mistake as known:
            refused = mistake_line(told(known.sentence))
        if shown is None:
            return refused, None
        # The answer cannot be used: it is said, and the sheet is shown as it was before.
        try:
            body, shown = _read(ledger, sheet, id["of"], shown["answers"])
        except Mistake as known:
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
        except Mistake as known:
            refused = mistake_line(told(known.sentence))
        try:
            body, shown = _read(ledger, sheet, id["of"], answers)
        except Mistake:
            # What is wrong with the sheet has been said.
            return refused, None, no_update, no_update
        return [refused, *body], shown, no_update, no_update


def _add(
    ledger: Ledger, store: Store, sheet: Mapping[str, str], of: str, answers: Mapping[str, Any]
) -> tuple[Any, ...]:
    """Add a dropped sheet; where a question has come up meanwhile, show it instead."""
    data = bytes_of(sheet["contents"])
    digest = digest_of(data)
    prepared = prepared_for_viewer(ledger, data, sheet["name"], answers["given"])
    if not prepared.answers.blocking() and _is_beside_demo(ledger, digest):
        current_viewer().refuse_unless("see every import")
        take_out_demo(ledger)
        prepared = prepared_for_viewer(ledger, data, sheet["name"], answers["given"])
    if prepared.answers.blocking():
        return *_shown(ledger, prepared, data, of, answers), no_update, no_update
    result = run_import(ledger, prepared, digest)
    imports_rights.remember(store, current_viewer(), result, digest)
    held = not prepared.is_whole
    return added_body(ledger, prepared, result), None, None, {"number": result.import_no, "held": held}


def _register_mending(app: Dash, ledger: Ledger, store: Store) -> None:
    @app.callback(
        Output("mending", "children"),
        Output("mend-of", "data"),
        Input({"type": "mend", "number": ALL}, "n_clicks"),
        Input({"type": "done", "of": ALL}, "data"),
        prevent_initial_call=True,
    )
    def open_rows(clicks: list[int | None], _done: list[Any]) -> Any:
        """The rows of the import whose button was pressed, or of the one just added that has some."""
        asked = ctx.triggered_id
        if not isinstance(asked, dict):
            return no_update, no_update
        if asked["type"] == "mend":
            number = int(asked["number"]) if any(clicks) and ctx.triggered[0]["value"] else 0
        else:
            said = ctx.triggered[0]["value"] if ctx.triggered else None
            number = said["number"] if said and said["held"] else 0
        if not number:
            return no_update, no_update
        try:
            return _mending(ledger, store, number)
        except Mistake as known:
            return mistake_line(told(known.sentence)), None

    @app.callback(
        Output("mending", "children", allow_duplicate=True),
        Output("mend-of", "data", allow_duplicate=True),
        Output("imports-changed", "data", allow_duplicate=True),
        Input("mend-again", "n_clicks"),
        State("mend-grid", "rowData"),
        State("mend-of", "data"),
        State({"type": "answer", "of": MENDING, "question": ALL, "part": ALL}, "value"),
        State("imports-changed", "data"),
        running=progress.while_running("import"),
        prevent_initial_call=True,
    )
    def again(
        clicks: int | None, lines: list[dict[str, Any]] | None, of: dict[str, Any] | None, _values: list[Any], seen: int
    ) -> Any:
        if not clicks or not of:
            return (no_update,) * 3
        given = {
            one["id"]["question"]: one["value"].strip()
            for one in ctx.states_list[2]
            if isinstance(one.get("value"), str) and one["value"].strip()
        }
        number, headings, rows = of["number"], of["headings"], lines or []
        try:
            with progress.watched("import"):
                imports_rights.refuse_import(ledger, store, current_viewer(), number)
                tried = try_again(ledger, number, headings, rows, {**of["given"], **given})
        except Mistake as known:
            return [mistake_line(told(known.sentence)), *mending_body(number, headings, rows)], of, no_update
        if tried.questions:
            body = mending_body(number, headings, rows, tried.questions)
            return body, {**of, "given": {**of["given"], **given}}, no_update
        said: list[Any] = []
        if tried.result is not None:
            imports_rights.remember(store, current_viewer(), tried.result, tried.digest)
            said = [
                html.P(
                    _(
                        "Rows added as import {number}: {added}; already known: {known}. Their note says that they "
                        "were mended.",
                        number=str(tried.result.import_no),
                        added=tried.result.added,
                        known=tried.result.already_known,
                    ),
                    className="lead",
                    role="status",
                )
            ]
        if tried.left.empty:
            return said, None, seen + 1
        headings, rows = grid_rows(tried.left)
        return [*said, *mending_body(number, headings, rows)], {**of, "headings": headings}, seen + 1


def _mending(ledger: Ledger, store: Store, number: int) -> tuple[Any, Any]:
    """The grid of what an import set aside, and what has to be known of it to try again."""
    imports_rights.refuse_import(ledger, store, current_viewer(), number)
    headings, rows = grid_rows(ledger.set_aside(number))
    if not rows:
        return None, None
    return mending_body(number, headings, rows), {"number": number, "headings": headings, "given": {}}


def _register_list(app: Dash, ledger: Ledger, store: Store) -> None:
    @app.callback(
        Output("imports-list", "children"),
        Output("imports-memory", "children"),
        Output("demo-said", "children"),
        Input("imports-changed", "data"),
        Input({"type": "done", "of": ALL}, "data"),
        Input("address", "pathname"),
    )
    def listed(_seen: int, _done: list[Any], _path: str) -> Any:
        if isinstance(ctx.triggered_id, dict) and not any(each["value"] for each in ctx.triggered):
            return (no_update,) * 3  # a sheet was dropped, and is not added yet
        viewer = current_viewer()
        try:
            imports = imports_so_far(ledger, imports_rights.own_imports(ledger, store, viewer))
            memory = remembered(ledger) if viewer.may("see every import") else None
            demo = viewer.may("see every import") and demo_imports(ledger)
        except Mistake as known:
            return mistake_line(told(known.sentence)), None, None
        said = _(
            "This ledger holds the demo herds, which are invented. They are taken out, once you agree, before a sheet "
            "of your own goes in."
        )
        return imports, memory, html.P(said, className="caution") if demo else None

    @app.callback(
        Output("imports-changed", "data"),
        Output("imports-said", "children"),
        Input({"type": "undo", "number": ALL}, "n_clicks"),
        State("imports-changed", "data"),
        prevent_initial_call=True,
    )
    def undo(clicks: list[int | None], seen: int) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update
        number = int(ctx.triggered_id["number"])
        try:
            current_viewer().refuse_unless("take imports back")
            imports_rights.refuse_import(ledger, store, current_viewer(), number)
            removed = undo_import(ledger, number)
        except Mistake as known:
            return no_update, mistake_line(told(known.sentence))
        return seen + 1, html.P(
            _n(
                "Import {number} was taken back: {n} row.",
                "Import {number} was taken back: {n} rows.",
                removed,
                number=number,
            ),
            role="status",
        )

    @app.callback(
        Output("imports-changed", "data", allow_duplicate=True),
        Output("imports-said", "children", allow_duplicate=True),
        Input({"type": "forget", "what": ALL, "name": ALL, "farm": ALL}, "n_clicks"),
        State("imports-changed", "data"),
        prevent_initial_call=True,
    )
    def forget(clicks: list[int | None], seen: int) -> Any:
        asked = ctx.triggered_id
        if not any(clicks) or not isinstance(asked, dict):
            return no_update, no_update
        try:
            current_viewer().refuse_unless("see every import")
            if asked["what"] == "layout":
                remove_layout(ledger, int(asked["name"]))
            else:
                take_back_alias(ledger, asked["what"], asked["name"], asked["farm"] or None)
        except Mistake as known:
            return no_update, mistake_line(told(known.sentence))
        return seen + 1, html.P(_("Forgotten."), role="status")

    @app.callback(
        Output("set-aside-download", "data"),
        Input({"type": "set-aside", "number": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def download(clicks: list[int | None]) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update
        number = int(ctx.triggered_id["number"])
        try:
            imports_rights.refuse_import(ledger, store, current_viewer(), number)
            text = write_set_aside(ledger.set_aside(number))
        except Mistake as known:
            text = f"{known}\n"
        return {"content": text, "filename": f"set-aside-{number}.csv", "type": "text/csv"}


PAGE = Page(
    path="/import",
    title="Import",
    question=(
        "Bring sheets in as they are kept. What is not certain is asked; rows that cannot be understood are set aside "
        "with the reason, never guessed, never lost."
    ),
    extra=_extra,
    act="record changes",
    register=register,
)
