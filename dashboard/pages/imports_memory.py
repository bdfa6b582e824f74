"""What was told once and is remembered: answers for layouts of sheets, and names; each to be forgotten."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.aliases import aliases
from evenfoot.analytics.ledger.layout_answers import layouts
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.translation import _, _n

NAMES = {
    "farm": lambda line: _("Farm '{said}' is {means}.", **line),
    "trimmer": lambda line: _("Trimmer '{said}' is {means}.", **line),
    "cow": lambda line: _("Cow '{said}' of {farm} is {means}.", **line),
}
OTHERS = {
    "farm": lambda line: _("Farm '{said}' is another than those whose names are alike.", **line),
    "trimmer": lambda line: _("Trimmer '{said}' is another than those whose names are alike.", **line),
    "cow": lambda line: _("Cow '{said}' of {farm} is another than those whose numbers are alike.", **line),
}


def remembered(ledger: Ledger) -> list[Any]:
    """The layouts and names remembered, under a fold."""
    names = aliases(ledger)
    lines = [
        *map(_layout, records(layouts(ledger))),
        *map(_name, records(names[names["taken_back_at"].isna()])),
    ]
    return [
        html.Details(
            [
                html.Summary(_n("What is remembered: {n} line", "What is remembered: {n} lines", len(lines))),
                html.P(
                    _("Answers are used the next time such a sheet comes, without asking again."), className="basis"
                ),
                html.Ul(lines, className="remembered")
                if lines
                else html.P(_("Nothing is remembered yet."), className="empty"),
            ],
            className="fold",
        )
    ]


def _layout(line: Mapping[str, Any]) -> Any:
    number, answers = int(line["layout_no"]), json.loads(line["answers"])
    headings = ", ".join(json.loads(line["headings"]))
    said = _n(
        "{n} answer for sheets such as {name}, with the headings {headings}.",
        "{n} answers for sheets such as {name}, with the headings {headings}.",
        len(answers),
        name=str(line["name"]),
        headings=headings,
    )
    button = _forget({"type": "forget", "what": "layout", "name": str(number), "farm": ""}, said)
    return html.Li([html.Span(said), button])


def _name(line: Mapping[str, Any]) -> Any:
    kind, said = str(line["kind"]), str(line["said"])
    farm = str(line["farm"]) if kind == "cow" else ""
    values = {"said": said, "means": str(line["means"]), "farm": farm}
    text = (OTHERS if line["said"] == line["means"] else NAMES)[kind](values)
    return html.Li([html.Span(text), _forget({"type": "forget", "what": kind, "name": said, "farm": farm}, text)])


def _forget(id: dict[str, str], what: str) -> Any:
    return html.Button(_("Forget"), id=id, className="take thumb", **{"aria-label": _("Forget: {what}", what=what)})
