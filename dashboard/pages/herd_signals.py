"""What drives the newest month of the herd, and which signals have fired of late."""

from __future__ import annotations

import dataclasses
from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.drivers import drivers
from evenfoot.analytics.measures.lameness.signals import signals
from evenfoot.dashboard.charts import drivers as drawn_drivers
from evenfoot.dashboard.charts import signals as drawn_signals
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages.compared import FIELD_OF
from evenfoot.dashboard.pages.warning import WATCHED, lameness_only
from evenfoot.dashboard.ui.panel import Drawn, mark, rests_on
from evenfoot.dashboard.ui.view import View


def driven_by(ledger: Ledger, view: View) -> Drawn:
    """In which cows the newest month is unlike the past."""
    answer = drivers(ledger, lameness_only(view.selection))

    def to(row: dict[str, Any]) -> str:
        return view.changed(**{FIELD_OF[row["grouping"]]: (row["which"],)}).href

    rows = records(answer.table)
    names = [drawn_drivers.level_name(row) for row in rows]
    leads = {name: to(row) for name, row in zip(names, rows, strict=True)}
    said = dataclasses.replace(answer, table=answer.table.assign(which=names).drop(columns="grouping"))
    figure = drawn_drivers.drivers(answer, **view.look, drill=lambda row: mark(to(row)))
    lead = [html.P(line, className="lead") for line in drawn_drivers.sentences(answer)]
    return Drawn(figure, said, drawn_drivers.describe(answer), lambda row: leads[row["which"]], lead=lead)


def fired(ledger: Ledger, view: View) -> list[Any]:
    """Signals of lameness, any lesion and the lesion watched, of late."""
    watched = view.selection.lesions or (WATCHED,)
    asked = {
        _("Lameness"): (lameness_only(view.selection), "lameness"),
        _("Any lesion"): (lameness_only(view.selection), "lesion"),
        ", ".join(value_label("lesion", code) for code in watched): (
            view.selection.with_(lesions=watched),
            "lesion",
        ),
    }
    parts: list[Any] = []
    judged = lately = 0
    for name, (selection, outcome) in asked.items():
        answer = signals(ledger, selection, outcome=outcome)
        said = drawn_signals.sentences(answer) or [told(caution) for caution in answer.cautions[-1:]]
        if len(answer.table):
            judged += 1
            lately += int(answer.table["lately"].astype(bool).any())
        parts.append(html.Li([html.B(f"{name}: "), " ".join(said)]))
    last = signals(ledger, lameness_only(view.selection), outcome="lameness")
    title = _("Out of the ordinary in the newest half year: {n} of {all}", n=lately, all=judged)
    return [
        html.P(title if judged else _("Too few months to say"), className="lead"),
        html.Ul(parts, className="signals"),
        html.P(html.A(_("See the early warning"), href=view.open("/warning")), className="basis"),
        rests_on(last),
        *(html.P(told(caution), className="caution") for caution in last.cautions),
    ]
