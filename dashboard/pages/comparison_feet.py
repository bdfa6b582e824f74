"""Where on the foot two groups of a comparison differ."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.dashboard.charts import describe, findings
from evenfoot.dashboard.charts.foot import common_top, draw_feet
from evenfoot.dashboard.charts.foot_difference import draw_difference, zone_differences
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.pages.compared import FIELD_OF, compared, grouping
from evenfoot.dashboard.ui.panel import Drawn, mark
from evenfoot.dashboard.ui.view import View


def where(ledger: Ledger, view: View) -> Any:
    """Where on the foot the largest other group differs from the reference."""
    by = grouping(view)
    whole = compared(ledger, view)
    groups = whole.table
    groups = groups[groups["group"] != NOT_RECORDED]
    if by not in FIELD_OF or len(groups) < 2:
        return html.P(_("Two groups of cows are needed to compare their feet."), className="empty")
    reference = str(groups["group"].iloc[0])
    other = str(groups.iloc[1:].sort_values("at_risk", ascending=False)["group"].iloc[0])
    first, second = (
        foot_map(ledger, view.selection.with_(**{FIELD_OF[by]: (group,)}), per=whole.basis.unit)
        for group in (other, reference)
    )
    names = (value_label(by, other), value_label(by, reference))
    top = common_top(first, second)

    def to(row: dict[str, Any], **narrowed: Any) -> str:
        claw = row["claw"]
        claws = (claw,) if isinstance(claw, str) and claw else ()
        return view.open("/lesions", feet=(row["foot"],), claws=claws, zones=(int(row["zone"]),), **narrowed)

    def drill_of(group: str) -> Any:
        return lambda row: mark(to(row, **{FIELD_OF[by]: (group,)}))

    found = zone_differences(first, second)
    answer = replace(found, basis=whole.basis, cautions=found.cautions)
    each = view.option("each", "") == "group"
    beside = (
        [
            (
                draw_feet(drawn, highest=top, **view.look, drill=drill_of(group), heading=name),
                f"{name}: {describe.describe('foot', drawn)}",
            )
            for drawn, group, name in zip((first, second), (other, reference), names, strict=True)
        ]
        if each
        else []
    )
    said = (
        _("{one} less {other}; below, {one} first, then {other}.", one=names[0], other=names[1])
        if each
        else _("{one} less {other}.", one=names[0], other=names[1])
    )
    link = html.A(
        _("The difference alone") if each else _("The feet of each group"),
        href=view.changed(each=None if each else "group").href,
        className="take",
    )
    return Drawn(
        draw_difference(first, second, names=names, **view.look, drill=lambda row: mark(to(row))),
        answer,
        describe.describe("difference", answer),
        to,
        lead=[html.P(said)],
        below=[html.P(link)],
        first_large=True,
        finding=findings.place_of_difference(answer, names),
        beside=tuple(beside),
    )
