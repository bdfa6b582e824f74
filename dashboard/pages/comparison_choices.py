"""What is chosen on the comparison page."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.pages.compared import COVARIATES, FIELD_OF, GROUPINGS, counted, grouping, groups_at_hand
from evenfoot.dashboard.ui.view import View


def _groups(ledger: Ledger, view: View) -> list[Any]:
    """Two groups to choose; without a choice every group stands beside the largest."""
    by = grouping(view)
    if by not in FIELD_OF:
        return []
    groups = [{"value": group, "label": value_label(by, group)} for group in groups_at_hand(ledger, view)]
    return [
        dmc.Select(
            label=label,
            id={"type": "choice", "field": field},
            data=groups,
            value=view.options.get(field),
            placeholder=_("Every group") if field == "against" else _("the largest"),
            clearable=True,
        )
        for label, field in ((_("namely"), "against"), (_("with"), "reference"))
    ]


def choices(ledger: Ledger, view: View) -> Any:
    """What is compared with what, for which lesions, and what is held alike."""
    return html.Div(
        [
            dmc.Select(
                label=_("Compare"),
                id={"type": "choice", "field": "by"},
                data=[{"value": name, "label": column_label(name)} for name in GROUPINGS],
                value=grouping(view),
                allowDeselect=False,
            ),
            *_groups(ledger, view),
            dmc.MultiSelect(
                label=_("for"),
                id={"type": "choice", "field": "lesions"},
                data=[{"value": code, "label": value_label("lesion", code)} for code in LESIONS],
                value=list(view.selection.lesions),
                placeholder=_("Any lesion") if not view.selection.lesions else "",
                clearable=True,
                searchable=True,
            ),
            dmc.MultiSelect(
                label=_("the same"),
                id={"type": "choice", "field": "adjust"},
                data=[{"value": name, "label": column_label(name)} for name in COVARIATES if name != grouping(view)],
                value=list(view.several("adjust")),
                placeholder="" if view.several("adjust") else _("Nothing"),
                clearable=True,
            ),
            dmc.Select(
                label=_("within each"),
                id={"type": "choice", "field": "stratify"},
                data=[{"value": name, "label": column_label(name)} for name in COVARIATES if name != grouping(view)],
                value=view.options.get("stratify"),
                placeholder=_("All together"),
                clearable=True,
            ),
            dmc.Select(
                label=_("Count"),
                id={"type": "choice", "field": "per"},
                data=[
                    {"value": "", "label": _("Whichever is fair")},
                    {"value": "cow", "label": _("Cows in the period")},
                    {"value": "trim", "label": _("Trims")},
                ],
                value=counted(view) or "",
                allowDeselect=False,
            ),
        ],
        className="choices",
    )
