"""Lesions: which, on which claws and zones, in which cows, and since when."""

from __future__ import annotations

from typing import Any

from dash import html

from evenfoot.analytics.domain.feet import CLAWS, FEET, ZONES
from evenfoot.analytics.domain.lesions import LESIONS, parent_of
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.cows import cows_found
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts import describe, findings, findings_in_time, trend
from evenfoot.dashboard.charts import prevalence as bars
from evenfoot.dashboard.charts.labels import small, value_label
from evenfoot.dashboard.charts.small_multiples import small_multiples
from evenfoot.dashboard.charts.theme import capital
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.pages.dated_changes import form, with_changes
from evenfoot.dashboard.pages.feet import drawn_feet, feet_by, shade_choice, split_choice
from evenfoot.dashboard.pages.over_time import rolling_panel, window_choice, years_panel
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import TABLE_ROWS, Drawn, Panel, mark, number_table, rests_on, telling
from evenfoot.dashboard.ui.period_filter import choosing, choosing_by
from evenfoot.dashboard.ui.view import View

CLEARED: dict[str, Any] = {"lesions": (), "feet": (), "claws": (), "zones": ()}


def chosen(selection: Selection) -> str:
    """The lesion in words, for titles."""
    if not selection.lesions:
        return _("any lesion")
    return ", ".join(lesion_name(code) for code in selection.lesions)


def lesion_name(code: str) -> str:
    """The name of a lesion in a sentence: ``sole ulcer``."""
    text = value_label("lesion", code)
    return small(text)


def place(selection: Selection) -> str:
    """The place drilled to, in words, or nothing."""
    parts = [*selection.feet, *(value_label("claw", claw) for claw in selection.claws)]
    parts += [_("zone {zone}", zone=zone) for zone in selection.zones]
    return ", ".join(parts)


def _types(ledger: Ledger, view: View) -> Drawn:
    selection = view.selection.with_(**CLEARED)
    answer = prevalence(ledger, selection, by=("lesion",), per="cow")

    def to(row: dict[str, Any]) -> str:
        return view.changed(**CLEARED).changed(lesions=(row["lesion"],)).href

    figure = bars.prevalence(answer, **view.look, drill=lambda row: mark(to(row)))
    said = describe.describe("prevalence", answer)
    return Drawn(figure, answer, said, to, finding=findings.commonest_lesion(answer), below=_compare(view))


def _compare(view: View) -> list[Any]:
    """The way to the same lesion compared between housings, cows of one lactation with each other."""
    to = view.open("/comparison", lesions=view.selection.lesions, by="housing", stratify="parity")
    return [html.P(html.A(_("Compare housings, within lactations"), href=to, className="take"))]


def of_skin(selection: Selection) -> bool:
    """Whether all the lesions chosen lie on the skin or the leg, and so on a foot and not on a claw."""
    return bool(selection.lesions) and all(LESIONS[parent_of(code)].site != "claw" for code in selection.lesions)


def _claws(ledger: Ledger, view: View) -> Drawn:
    selection = view.selection.with_(feet=(), claws=(), zones=())
    by = ("foot",) if of_skin(selection) else ("foot", "claw")
    answer = prevalence(ledger, selection, by=by, per="cow")

    def to(row: dict[str, Any]) -> str:
        claw = row.get("claw")
        feet = (row["foot"],) if row["foot"] in FEET else ()
        return view.changed(feet=feet, claws=(claw,) if claw in CLAWS else (), zones=()).href

    figure = bars.prevalence(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe.describe("prevalence", answer), to, finding=findings.claws_of_most(answer))


def _months(ledger: Ledger, view: View) -> Drawn:
    answer, to = prevalence(ledger, view.selection, by=("month",), per="cow"), choosing_by(view, "month")
    figure = trend.trend(with_changes(ledger, view, answer), **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe.describe("trend", answer), to, finding=findings_in_time.newest_month(answer))


def _each(ledger: Ledger, view: View) -> Drawn:
    """Every lesion over time, side by side on one scale."""
    answer = prevalence(ledger, view.selection.with_(**CLEARED), by=("quarter", "lesion"), per="cow")

    def to(row: dict[str, Any]) -> str:
        return choosing(view.changed(**{**CLEARED, "lesions": (row["lesion"],)}), "quarter", row["quarter"])

    figure = small_multiples(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings_in_time.newest_quarter(answer)
    return Drawn(figure, answer, describe.describe("trend", answer), to, finding=finding)


def _cows(ledger: Ledger, view: View) -> Any:
    frame = cows_found(ledger, view.selection, TABLE_ROWS)
    answer = prevalence(ledger, view.selection, by=(), per="cow")
    if frame.empty:
        return [rests_on(answer), html.P(_("No cow has this in the records chosen."), className="empty")]
    what = chosen(view.selection)
    if place(view.selection):
        what = _("{lesion} at {place}", lesion=what, place=place(view.selection))
    total = int(answer.table["at_risk"].iloc[0])
    # A registry has more cows than a page can list, and than need to leave the engine.
    n = len(frame) if len(frame) < TABLE_ROWS else int(answer.table["cases"].iloc[0])

    to = view.to_cows()
    columns = telling(frame, ["cow", "farm", "findings", "visits", "worst", "last", "lesions", "feet"])
    return [
        html.P(_("{n} of {total} cows had {what}", n=n, total=total, what=what), className="lead"),
        rests_on(answer),
        html.P(_("Most findings first.")),
        number_table(
            frame, to, _("Cows with {what}", what=chosen(view.selection)), view=view, cards=True, columns=columns
        ),
        html.P(_("These are the first {n}. Choose a farm, a lesion or a period to see others.", n=len(frame)))
        if n > len(frame)
        else None,
    ]


def _trail(view: View) -> list[tuple[str, str]]:
    selection = view.selection
    if not (selection.lesions or place(selection)):
        return []
    steps = [(_("All lesions"), view.changed(**CLEARED).href)]
    if selection.lesions:
        steps.append((capital(chosen(selection)), view.changed(feet=(), claws=(), zones=()).href))
    if selection.feet or selection.claws:
        said = " ".join([*selection.feet, *(value_label("claw", claw) for claw in selection.claws)])
        steps.append((said, view.changed(zones=()).href))
    if selection.zones:
        said = ", ".join(value_label("zone", zone) for zone in selection.zones if zone in ZONES)
        steps.append((said, view.href))
    return steps


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(shade_choice(view), className="choices")


def _choices_over_time(ledger: Ledger, view: View) -> Any:
    return html.Div([shade_choice(view), split_choice(view), window_choice(view)], className="choices")


PAGE = Page(
    path="/lesions",
    title="Lesions",
    group="herd",
    question="Which lesions, on which claws and zones, in which cows. Choose a bar, a claw or a zone to look closer.",
    choices=_choices,
    trail=_trail,
    panels=(
        Panel(
            "lesion-types",
            "Cows with each lesion",
            _types,
            "A cow counts once for a lesion if any of her trims in the period shows it, out of all cows trimmed.",
        ),
        Panel(
            "lesion-claws",
            "On which claws",
            _claws,
            "Cows with the lesion on that claw, out of the cows whose foot was looked at. A lesion of the skin lies on "
            "a foot and on no claw. Where the sheet does not say the foot or the claw, its cows stand in a row of "
            "their own.",
        ),
        Panel(
            "lesion-feet",
            "Where on the foot",
            drawn_feet,
            "For every claw and zone: cows with the lesion there, out of the cows whose foot was looked at.",
            wide=True,
        ),
        Panel(
            "lesion-months",
            "Month by month",
            _months,
            "Cows with the lesion at a trim in the month, out of the cows trimmed in it. Choose a month to see the "
            "other figures for it alone.",
            wide=True,
            over_time=True,
            form=form,
        ),
        Panel("lesion-cows", "Which cows", _cows, wide=True),
    ),
)

OVER_TIME = Page(
    path="/lesions-over-time",
    title="Lesions over time",
    group="herd",
    question="Is a lesion more or less common than in other quarters, seasons and years, and does it sit elsewhere?",
    choices=_choices_over_time,
    trail=_trail,
    panels=(
        rolling_panel("lesion-rolling", "lesion"),
        years_panel("lesion-years", "lesion"),
        Panel(
            "lesion-each",
            "Every lesion, quarter by quarter",
            _each,
            "Cows with the lesion at a trim in the quarter, out of the cows trimmed in it; all on one scale.",
            wide=True,
            over_time=True,
        ),
        Panel(
            "lesion-feet-by",
            "Where on the foot, one beside the other",
            feet_by,
            "The same for each season, housing or year, on one scale. A cow counts once in each of them if she was "
            "trimmed in it.",
            wide=True,
        ),
    ),
)
