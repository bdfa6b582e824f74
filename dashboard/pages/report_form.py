"""What a reader fills in for a report."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages import report_letterhead
from evenfoot.dashboard.report.request import ALWAYS, NAMES, PAPERS, SECTIONS
from evenfoot.dashboard.ui import progress


def form() -> list[Any]:
    """The fields, the buttons and the place of the preview."""
    plain = not current_viewer().may("write on reports")
    return [
        html.Section(
            [
                html.H2(_("What goes in"), id="title-report"),
                dmc.CheckboxGroup(
                    id="report-sections",
                    label=_("Sections"),
                    value=[name for name in SECTIONS if name not in (*ALWAYS, "cost")],
                    children=dmc.Group(
                        [dmc.Checkbox(label=told(NAMES[name]), value=name) for name in SECTIONS if name in NAMES],
                        gap="md",
                    ),
                ),
                html.Div(
                    [
                        _choice(
                            "report-language", _("Language"), [("en", "English"), ("es", "Español")], words().language
                        ),
                        _choice(
                            "report-units", _("Lengths"), [("mm", _("Millimetres")), ("in", _("Inches"))], words().units
                        ),
                        _choice("report-paper", _("Paper"), [(paper, paper) for paper in PAPERS]),
                    ],
                    className="choices",
                ),
                dmc.Textarea(
                    id="report-remarks",
                    label=_("Your own remarks, printed as you write them"),
                    autosize=True,
                    minRows=3,
                    maxRows=10,
                    disabled=plain,
                ),
                dmc.DateInput(
                    id="report-next",
                    label=_("Next visit, if it is agreed"),
                    placeholder=_("As the plan proposes"),
                    valueFormat="D MMM YYYY",
                    clearable=True,
                    disabled=plain,
                ),
                report_letterhead.fields(plain),
                html.Div(
                    [
                        html.Button(_("Show it"), id="report-show", className="act"),
                        html.Button(_("Save as PDF"), id="report-pdf", className="take"),
                        html.Button(_("Save as HTML"), id="report-html", className="take"),
                        html.Button(_("Save as workbook"), id="report-xlsx", className="take"),
                    ],
                    className="takeaway",
                ),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-report"},
        ),
        html.Section(
            [
                html.H2(_("As it will look"), id="title-report-preview"),
                progress.place("report"),
                html.Div(
                    html.P(_("Nothing is shown yet."), className="basis"),
                    id="report-preview",
                    **{"aria-live": "polite"},
                ),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-report-preview"},
        ),
        dcc.Download(id="report-download"),
    ]


def _choice(name: str, label: str, choices: list[tuple[str, str]], chosen: str = "") -> Any:
    return dmc.Select(
        id=name,
        label=label,
        data=[{"value": value, "label": said} for value, said in choices],
        value=chosen or choices[0][0],
        allowDeselect=False,
    )
