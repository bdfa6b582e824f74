"""What a reader fills in for a report."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.accounts import current_viewer
from dashboard.report.request import ALWAYS, PAPERS, SECTIONS

NAMES = {
    "summary": "In short",
    "visit": "This visit against earlier ones",
    "cows": "Cows that need someone",
    "lesions": "Lesions by type, claw and zone",
    "locomotion": "Locomotion",
    "horn": "Horn and shedding",
    "signals": "Signals",
    "changes": "What changed on the farm",
    "benchmark": "Beside other herds",
    "cost": "What lesions may cost",
    "remarks": "Remarks",
}
"""How the page calls the sections that can be left out."""


def form() -> list[Any]:
    """The fields, the buttons and the place of the preview."""
    plain = not current_viewer().may("write on reports")
    return [
        html.Section(
            [
                html.H2("What goes in", id="title-report"),
                dmc.CheckboxGroup(
                    id="report-sections",
                    label="Sections",
                    value=[name for name in SECTIONS if name not in (*ALWAYS, "cost")],
                    children=dmc.Group(
                        [dmc.Checkbox(label=NAMES[name], value=name) for name in SECTIONS if name in NAMES], gap="md"
                    ),
                ),
                html.Div(
                    [
                        _choice("report-language", "Language", [("en", "English"), ("es", "Español")]),
                        _choice("report-units", "Lengths", [("mm", "Millimetres"), ("in", "Inches")]),
                        _choice("report-paper", "Paper", [(paper, paper) for paper in PAPERS]),
                    ],
                    className="choices",
                ),
                dmc.Textarea(
                    id="report-remarks",
                    label="Your own remarks, printed as you write them",
                    autosize=True,
                    minRows=3,
                    maxRows=10,
                    disabled=plain,
                ),
                html.Details(
                    [
                        html.Summary("Letterhead"),
                        dmc.TextInput(id="report-trimmer", label="Your name, or your firm's", disabled=plain),
                        dmc.Textarea(
                            id="report-address",
                            label="Your address",
                            autosize=True,
                            minRows=2,
                            maxRows=5,
                            disabled=plain,
                        ),
                        dmc.TextInput(id="report-owner", label="The farmer's name and address", disabled=plain),
                        dcc.Upload(
                            html.Span([html.B("Drop a logo here"), " or choose one (PNG, JPEG, GIF or WebP)"]),
                            id="report-logo",
                            className="drop",
                            multiple=False,
                            disabled=plain,
                        ),
                        html.P(id="report-logo-told", role="status"),
                    ],
                    className="fold",
                ),
                html.Div(
                    [
                        html.Button("Show it", id="report-show", className="act"),
                        html.Button("Save as PDF", id="report-pdf", className="take"),
                        html.Button("Save as HTML", id="report-html", className="take"),
                        html.Button("Save as workbook", id="report-xlsx", className="take"),
                    ],
                    className="takeaway",
                ),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-report"},
        ),
        html.Section(
            [
                html.H2("As it will look", id="title-report-preview"),
                dcc.Loading(
                    html.Div(
                        html.P("Nothing is shown yet.", className="basis"),
                        id="report-preview",
                        **{"aria-live": "polite"},
                    ),
                    color="var(--accent)",
                ),
            ],
            className="panel wide",
            **{"aria-labelledby": "title-report-preview"},
        ),
        dcc.Download(id="report-download"),
    ]


def _choice(name: str, label: str, choices: list[tuple[str, str]]) -> Any:
    return dmc.Select(
        id=name,
        label=label,
        data=[{"value": value, "label": said} for value, said in choices],
        value=choices[0][0],
        allowDeselect=False,
    )
