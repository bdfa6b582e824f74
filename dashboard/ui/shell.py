"""The frame around every page: heading bar, navigation, farm and period, trail."""

from __future__ import annotations

import datetime as dt
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import dash_mantine_components as dmc
import pandas as pd
from dash import dcc, html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.cow_status import newest_record
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.auth import Viewer, current_viewer
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.theme import DEFAULT_THEME, THEMES, between, css_variables
from evenfoot.dashboard.i18n.catalogue import LANGUAGES
from evenfoot.dashboard.i18n.reader_settings import calendar, for_the_browser, settings
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.period_filter import span_words
from evenfoot.dashboard.ui.view import View

ASSETS = Path(__file__).parents[1] / "assets"

_COLOURS = "".join(
    f"{':root' if name == DEFAULT_THEME else f':root[data-theme={name}]'}{{{css_variables(name)}}}" for name in THEMES
)

INDEX = """<!DOCTYPE html>
<html READER>
<head>{%metas%}<title>{%title%}</title>
<link rel="icon" type="image/svg+xml" href="/assets/evenfoot.svg"><style>COLOURS</style>{%css%}</head>
<body>
<a class="skip" href="#content">SKIP</a>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>""".replace("COLOURS", _COLOURS)

WATCH_SECONDS = 10
"""How often a page asks whether the ledger has changed."""

VETERINARIAN = say(
    "Evenfoot reports what was recorded and what it goes together with. It diagnoses nothing. Ask your "
    "veterinarian about a severely lame cow, a swollen or deeply infected foot, or a case that keeps coming back; "
    "local rules come first."
)


def index(page: str) -> str:
    """The first page for whoever asks: her language on its root, and what the browser's part needs to know."""
    root = " ".join(f'{name}="{escape(value)}"' for name, value in for_the_browser(words()).items())
    return page.replace("<html READER>", f"<html {root}>").replace(">SKIP<", f">{escape(_('Skip to the figures'))}<")


STORES = ("chosen", "narrow", "ready", "seen-version", "written", "opened", "same-page")
"""What the browser's part keeps while a page is open."""


def layout() -> Any:
    """The whole page, before anything is known."""
    return dmc.DatesProvider(_around(), settings=calendar(words()))


def _around() -> Any:
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            *(dcc.Store(id=name) for name in STORES),
            # Kept by the browser for the next visit: the reader's own guesses, by farm and visit.
            dcc.Store(id="guesses", storage_type="local"),
            dcc.Interval(id="watch", interval=WATCH_SECONDS * 1000),
            html.Header(
                [
                    html.A(html.Span("Evenfoot"), href="/", className="brand"),
                    cow_search(),
                    html.Nav(id="navigation", **{"aria-label": _("Pages")}),
                    html.Div(id="look", className="tools"),
                ],
                className="bar",
            ),
            html.Div(id="picker", className="picker", role="region", **{"aria-label": _("Farm and period")}),
            html.Div(_stale(), id="stale", role="status", hidden=True),
            # Fixed at the foot of the window; here the keyboard comes to it before the page.
            html.Div(
                [
                    html.P(id="tour-said", **{"aria-live": "polite"}),
                    html.A(id="tour-next", className="take"),
                    html.A(_("Back"), id="tour-back", className="take"),
                    html.A(_("Leave the tour"), id="tour-leave", className="take"),
                ],
                id="tour",
                className="step",
                role="region",
                hidden=True,
                **{"aria-label": _("Tour")},
            ),
            html.Div(id="done", role="status"),
            html.Div(id="silent", role="alert"),
            html.Main(id="content", tabIndex=-1),
            html.Aside(told(VETERINARIAN), className="veterinarian", **{"aria-label": _("Caution")}),
            html.Aside(id="tours", className="veterinarian", **{"aria-label": _("Tour")}),
        ],
        className="frame",
    )


def _stale() -> Any:
    """A line that newer records are there, with a way to show them; nothing changes under the reader's eyes."""
    return html.P(
        [
            _("Records have been added or taken back since this page was filled."),
            " ",
            # The page itself, loaded anew.
            html.A(_("Show them"), href="", target="_self"),
        ],
        className="caution",
    )


GROUPS: dict[str, tuple[str, str]] = {
    "today": ("/", say("Farms")),
    "herd": ("/lesions", say("Herd")),
    "compare": ("/comparison", say("Compare")),
    "visits": ("/worklist", say("Visits")),
    "more": ("/records", say("More")),
}
"""The five items of navigation: where each leads, and what it is called. With one farm chosen the first is its day."""


def navigation(pages: dict[str, Page], view: View) -> list[Any]:
    """The five items, farm and period kept; and under them the pages of the one that is open."""
    here = pages.get(view.path)
    of_group = [page for page in pages.values() if here and page.group == here.group and current_viewer().may(page.act)]
    of_group = [page for page in of_group if page.group != "today"]
    parts = [html.Div([_item(name, view, here) for name in GROUPS], className="items")]
    if len(of_group) > 1:
        links = [_link(told(page.title), view.to(page.path), page.path == view.path) for page in of_group]
        parts.append(html.Div(links, className="pages"))
    return parts


def _item(name: str, view: View, here: Page | None) -> html.A:
    path, title = GROUPS[name]
    if name == "today" and view.farm is not None:
        path, title = "/today", say("Today")
    return _link(told(title), view.to(path), here is not None and here.group == name)


def _link(words: str, href: str, here: bool) -> html.A:
    return html.A(words, href=href, className="here" if here else None, **({"aria-current": "page"} if here else {}))


def cow_search() -> html.Div:
    """Where a cow's number is typed, on every page."""
    return html.Div(
        [
            dcc.Input(
                id="find-cow",
                type="text",
                inputMode="numeric",
                placeholder=_("Cow number"),
                maxLength=40,
                autoComplete="off",
                spellCheck="false",
                className="find",
            ),
            html.Button(_("Find"), id="find", className="take"),
        ],
        className="finding",
        role="search",
        **{"aria-label": _("Find a cow")},
    )


def cows_found(found: list[tuple[str, str]], asked: str, view: View) -> Any:
    """The cows of a number on several farms, to choose from; a sentence where there is none."""
    if not found:
        return html.P(_("No cow {cow} is in the records you may see.", cow=asked), className="caution")
    links = [
        html.A(_("{cow}, {farm}", cow=cow, farm=farm), href=view.open("/cow", farms=(farm,), cow=cow), className="take")
        for farm, cow in found
    ]
    return html.P([_("Which one?"), " ", *(part for link in links for part in (link, " "))], className="caution")


def picker(ledger: Ledger, view: View) -> Any:
    """Farm, period and kind of visit: chosen once, kept across pages. On a phone they open at a touch."""
    farms = ledger.farms(view.selection.allowed)
    if not farms:
        if not current_viewer().may("import sheets"):
            return html.P(_("There are no records that you may see yet."), className="empty")
        return html.P(
            [_("There are no records yet."), " ", html.A(_("Import a sheet to begin"), href=view.to("/import"))],
            className="empty",
        )
    selection = view.selection
    chosen = dict(VISITS).get(selection.visits[0] if selection.visits else "all", "")
    parts = [view.farm or _("All farms")]
    if view.path not in STARTS:
        parts += [_period(selection), told(chosen)]
    # On a phone the choices would fill the window: there they stand behind a line that says them.
    line = html.Button(
        ", ".join(part for part in parts if part),
        className="take choosing",
        **{"aria-expanded": "false", "aria-controls": "picker-choices"},
    )
    return html.Div([line, _choices(ledger, view, farms)])


VISITS = (
    ("whole-herd", say("Whole-herd only")),
    ("all", say("All visits")),
    ("part-herd", say("Part-herd")),
    ("lame-cow", say("Lame-cow calls")),
    ("recheck", say("Rechecks")),
)
"""Kinds of visit and what the choice of them is called."""


STARTS = ("/", "/today")
"""Pages that say how it is now: neither a period nor a kind of visit is chosen there."""


def _period(selection: Selection) -> str:
    first, last = (value_label("date", day) if day else "" for day in (selection.since, selection.until))
    if first and last:
        return between(first, last)
    return f"{first} – {last}".strip() if first or last else _("All records")


def _choices(ledger: Ledger, view: View, farms: list[str]) -> html.Div:
    selection = view.selection
    farm = dmc.Select(
        label=_("Farm"),
        id={"type": "choice", "field": "farms"},
        data=[
            {"value": "", "label": _("All farms")},
            *({"value": farm, "label": farm} for farm in farms),
        ],
        value=view.farm or "",
        allowDeselect=False,
        searchable=len(farms) > 8,
        checkIconPosition="right",
    )
    if view.path in STARTS:
        return html.Div(farm, className="choices", id="picker-choices")
    return html.Div(
        [
            farm,
            dmc.DatePickerInput(
                label=_("Period"),
                id={"type": "choice", "field": "period"},
                type="range",
                value=[
                    selection.since.isoformat() if selection.since else None,
                    selection.until.isoformat() if selection.until else None,
                ],
                placeholder=_("All records"),
                valueFormat={"day": "D MMM YYYY", "month": "MMM D, YYYY", "year": "YYYY-MM-DD"}[words().dates_as],
                clearable=True,
                allowSingleDateInRange=True,
                clearButtonProps={"aria-label": _("All records")},
                presets=_presets(ledger, selection.allowed),
            ),
            dmc.Select(
                label=_("Visits"),
                id={"type": "choice", "field": "visits"},
                data=[{"value": value, "label": told(said)} for value, said in VISITS],
                value=selection.visits[0] if selection.visits else "all",
                allowDeselect=False,
                checkIconPosition="right",
            ),
        ],
        className="choices",
        id="picker-choices",
    )


LOOKS = {"paper": say("Paper"), "night": say("Night"), "contrast": say("High contrast")}


def look(view: View) -> Any:
    """The settings, kept in the address, and who is signed in."""
    return html.Div([_settings(view), who(current_viewer())], className="tools")


CERTAINTY = {"": say("Behind a line under each figure"), "always": say("Always shown")}


READING = {
    "units": (say("Lengths"), {"mm": say("Millimetres"), "in": say("Inches")}),
    "dates": (say("Dates"), {"day": say("Day first"), "month": say("Month first"), "year": say("Year first")}),
    "week": (
        say("The week begins on"),
        {"monday": say("Monday"), "sunday": say("Sunday"), "saturday": say("Saturday")},
    ),
    "hemisphere": (say("Seasons"), {"north": say("Northern hemisphere"), "south": say("Southern hemisphere")}),
}
"""Setting -> its label, and each choice in words."""


def _settings(view: View) -> Any:
    """Language, colours, how sure each figure is, and how lengths, dates, weeks and seasons are read."""
    chosen = settings(words())
    fields: list[tuple[str, str, dict[str, Any], str]] = [
        ("language", _("Language"), dict(LANGUAGES), words().language),
        ("theme", _("Colours of the page"), LOOKS, view.theme),
        ("certainty", _("How sure a figure is"), CERTAINTY, view.option("certainty", "")),
        *((name, told(label), choices, chosen[name]) for name, (label, choices) in READING.items()),
    ]
    return html.Details(
        [
            html.Summary(_("Settings"), className="take"),
            html.Div(
                [
                    *(
                        dmc.Select(
                            id={"type": "choice", "field": name},
                            label=label,
                            data=[{"value": value, "label": told(said)} for value, said in choices.items()],
                            value=value_now,
                            allowDeselect=False,
                            size="sm",
                            comboboxProps={"withinPortal": False},
                        )
                        for name, label, choices, value_now in fields
                    ),
                    html.Button(_("Copy link"), id="copy-link", className="take"),
                ],
                className="reading",
            ),
        ],
        className="popover",
    )


def who(viewer: Viewer) -> Any:
    """Who is signed in, leading to the own account; nothing on this machine alone."""
    if viewer.account is None:
        return None
    return html.A(
        viewer.name, href="/account", target="_self", className="take", title=_("Your account, and signing out")
    )


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
            said = value_label(column, value)
            if column in ("group", "trimmer", "breed", "sire"):
                said = f"{column_label(column)} {said}"
            rest = tuple(other for other in values if other != value)
            items.append(_chip(said, view.changed(**{field: rest}).href))
    if "span" in view.options:
        items.append(_chip(span_words(view.options["span"]), view.changed(span=None).href))
    return html.Ul(items, className="chips", **{"aria-label": _("Narrowed to")}) if items else None


def _chip(said: str, without: str) -> html.Li:
    return html.Li(html.A(said, href=without, **{"aria-label": _("Remove {what}", what=said)}))


LOOKS_OF_ADDRESS = frozenset({"theme", "language", "units", "dates", "week"})


def only_looks(search: str | None) -> bool:
    """Whether an address says at most how things are shown, and nothing of which records."""
    return all(name in LOOKS_OF_ADDRESS for name, _value in parse_qsl((search or "").lstrip("?")))


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
            out.append(
                {"value": [day.isoformat() for day in period], "label": _("Last {months} months", months=months)}
            )
    return out


def trail(steps: list[tuple[str, str]]) -> Any:
    """The way back up from a drill."""
    if not steps:
        return None
    *above, last = steps
    parts: list[Any] = [html.Li(html.A(words, href=href)) for words, href in above]
    parts.append(html.Li(last[0], **{"aria-current": "true"}))
    return html.Nav(html.Ol(parts), className="trail", **{"aria-label": _("Where you are")})


def mistake(sentence: str) -> Any:
    """One plain sentence where something could not be done."""
    return html.P(sentence, className="mistake", role="alert") if sentence else None
