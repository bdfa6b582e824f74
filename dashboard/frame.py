"""The frame around every page: heading bar, navigation, farm and period, trail."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import dcc, html

from analytics.ledger import Ledger
from analytics.tally.due import newest_record
from analytics.tally.selection import Selection
from dashboard.accounts import Viewer, current_viewer
from dashboard.charts.labels import column_label, value_label
from dashboard.charts.theme import DEFAULT_THEME, THEMES, css_variables
from dashboard.page import Page
from dashboard.span import span_words
from dashboard.view import View

ASSETS = Path(__file__).with_name("assets")

_COLOURS = "".join(
    f"{':root' if name == DEFAULT_THEME else f':root[data-theme={name}]'}{{{css_variables(name)}}}" for name in THEMES
)

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>
<link rel="icon" type="image/svg+xml" href="/assets/evenfoot.svg"><style>COLOURS</style>{%css%}</head>
<body>
<a class="skip" href="#content">Skip to the figures</a>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>""".replace("COLOURS", _COLOURS)

WATCH_SECONDS = 10
"""How often a page asks whether the ledger has changed."""

VETERINARIAN = (
    "Evenfoot reports what was recorded and what it goes together with. It diagnoses nothing. Ask your "
    "veterinarian about a severely lame cow, a swollen or deeply infected foot, or a case that keeps coming back; "
    "local rules come first."
)


def layout() -> Any:
    """The whole page, before anything is known."""
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="followed"),
            dcc.Store(id="pictured"),
            dcc.Store(id="chosen"),
            dcc.Store(id="narrow"),
            dcc.Store(id="opened"),
            dcc.Store(id="seen-version"),
            dcc.Interval(id="watch", interval=WATCH_SECONDS * 1000),
            html.Header(
                [
                    html.A(html.Span("Evenfoot"), href="/", className="brand"),
                    html.Nav(id="navigation", **{"aria-label": "Pages"}),
                    html.Div(
                        [
                            html.Button("Copy link", id="copy-link", className="take"),
                            html.Div(id="look"),
                        ],
                        className="tools",
                    ),
                ],
                className="bar",
            ),
            html.Div(id="picker", className="picker", role="region", **{"aria-label": "Farm and period"}),
            html.Div(id="stale", role="status"),
            html.Main(id="content", tabIndex=-1),
            html.Aside(VETERINARIAN, className="veterinarian", **{"aria-label": "Caution"}),
        ],
        className="frame",
    )


def stale(address: str) -> Any:
    """A line that newer records are there, with a way to show them; nothing changes under the reader's eyes."""
    return html.P(
        [
            "Records have been added or taken back since this page was filled. ",
            html.A("Show them", href=address, target="_self"),
        ],
        className="caution",
    )


def navigation(pages: dict[str, Page], view: View) -> list[Any]:
    """Links to the pages, farm and period kept."""
    return [
        html.A(
            page.title,
            href=view.to(page.path),
            className="here" if page.path == view.path else None,
            **({"aria-current": "page"} if page.path == view.path else {}),
        )
        for page in pages.values()
        if page.in_navigation and current_viewer().may(page.act)
    ]


def picker(ledger: Ledger, view: View) -> Any:
    """Farm, period and kind of visit: chosen once, kept across pages."""
    farms = ledger.farms(view.selection.allowed)
    if not farms:
        if not current_viewer().may("import sheets"):
            return html.P("There are no records that you may see yet.", className="empty")
        return html.P(
            ["There are no records yet. ", html.A("Import a sheet", href="/import"), " to begin."],
            className="empty",
        )
    selection = view.selection
    return html.Div(
        [
            dmc.Select(
                label="Farm",
                id={"type": "choice", "field": "farms"},
                data=[
                    {"value": "", "label": "All farms"},
                    *({"value": farm, "label": farm} for farm in farms),
                ],
                value=view.farm or "",
                allowDeselect=False,
                searchable=len(farms) > 8,
                checkIconPosition="right",
            ),
            dmc.DatePickerInput(
                label="Period",
                id={"type": "choice", "field": "period"},
                type="range",
                value=[
                    selection.since.isoformat() if selection.since else None,
                    selection.until.isoformat() if selection.until else None,
                ],
                placeholder="All records",
                valueFormat="D MMM YYYY",
                clearable=True,
                allowSingleDateInRange=True,
                clearButtonProps={"aria-label": "All records"},
                presets=_presets(ledger, selection.allowed),
            ),
            dmc.Select(
                label="Visits",
                id={"type": "choice", "field": "visits"},
                data=[
                    {"value": "whole-herd", "label": "Whole-herd only"},
                    {"value": "all", "label": "All visits"},
                    {"value": "part-herd", "label": "Part-herd"},
                    {"value": "lame-cow", "label": "Lame-cow calls"},
                    {"value": "recheck", "label": "Rechecks"},
                ],
                value=selection.visits[0] if selection.visits else "all",
                allowDeselect=False,
                checkIconPosition="right",
            ),
        ],
        className="choices",
    )


LOOKS = {"paper": "Paper", "night": "Night", "contrast": "High contrast"}


def look(view: View) -> Any:
    """The choice of theme, kept in the address."""
    return dmc.Select(
        id={"type": "choice", "field": "theme"},
        data=[{"value": "" if name == DEFAULT_THEME else name, "label": words} for name, words in LOOKS.items()],
        value="" if view.theme == DEFAULT_THEME else view.theme,
        allowDeselect=False,
        size="xs",
        w=130,
        **{"aria-label": "Colours of the page"},
    )


def who(viewer: Viewer) -> Any:
    """Who is signed in, leading to the own account; nothing on this machine alone."""
    if viewer.account is None:
        return None
    return html.A(viewer.name, href="/account", target="_self", className="take", title="Your account, and signing out")


CHIPS = {
    "lesions": "lesion",
    "families": "family",
    "feet": "foot",
    "claws": "claw",
    "zones": "zone",
    "severity": "severity",
    "groups": "group",
    "housing": "housing",
    "floor": "floor",
    "seasons": "season",
    "parity": "parity",
    "breeds": "breed",
    "sires": "sire",
    "trimmers": "trimmer",
}
"""Narrowings shown as removable chips, and the column that names their values."""


def chips(view: View) -> Any:
    """What the records are narrowed to; following a chip takes that narrowing away."""
    items = []
    for field, column in CHIPS.items():
        values = getattr(view.selection, field)
        for value in values:
            words = value_label(column, value)
            if column in ("group", "trimmer", "breed", "sire"):
                words = f"{column_label(column)} {words}"
            rest = tuple(other for other in values if other != value)
            items.append(_chip(words, view.changed(**{field: rest}).href))
    if "span" in view.options:
        items.append(_chip(span_words(view.options["span"]), view.changed(span=None).href))
    return html.Ul(items, className="chips", **{"aria-label": "Narrowed to"}) if items else None


def _chip(words: str, without: str) -> html.Li:
    return html.Li(html.A(words, href=without, **{"aria-label": f"Remove {words}"}))


def last_months(ledger: Ledger, months: int, allowed: tuple[str, ...] | None = None) -> tuple[dt.date, dt.date] | None:
    """First and last day of the last *months* months with records of the farms *allowed*, or ``None`` without any."""
    if not ledger.exists:
        return None
    newest = newest_record(ledger, Selection(allowed=allowed))
    if newest is None:
        return None
    end = pd.Timestamp(newest)
    start = end - pd.DateOffset(months=months) + pd.Timedelta(days=1)
    return start.date(), end.date()


def _presets(ledger: Ledger, allowed: tuple[str, ...] | None) -> list[dict[str, Any]]:
    out = []
    for months in (3, 12, 24):
        period = last_months(ledger, months, allowed)
        if period:
            out.append({"value": [day.isoformat() for day in period], "label": f"Last {months} months"})
    return out


def trail(steps: list[tuple[str, str]]) -> Any:
    """The way back up from a drill."""
    if not steps:
        return None
    *above, last = steps
    parts: list[Any] = [html.Li(html.A(words, href=href)) for words, href in above]
    parts.append(html.Li(last[0], **{"aria-current": "true"}))
    return html.Nav(html.Ol(parts), className="trail", **{"aria-label": "Where you are"})


def mistake(sentence: str) -> Any:
    """One plain sentence where something could not be done."""
    return html.P(sentence, className="mistake", role="alert") if sentence else None
