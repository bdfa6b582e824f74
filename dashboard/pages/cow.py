"""One cow: everything recorded of her, newest first."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.clock import today
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.cache import State, remembered, store_of
from evenfoot.analytics.measures.planning.due_reasons import lame_lately
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.cows import one_cow
from evenfoot.dashboard.charts.cow import timeline
from evenfoot.dashboard.charts.labels import small, value_label
from evenfoot.dashboard.i18n.translation import _, _n, told, words
from evenfoot.dashboard.pages.corrections import corrections_link
from evenfoot.dashboard.pages.cow_events import events
from evenfoot.dashboard.pages.cow_now import her_feet, last_on_each_foot, next_due, standing, worst_reason
from evenfoot.dashboard.pages.worklist import day_asked
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark, number_table
from evenfoot.dashboard.ui.period_filter import span_of
from evenfoot.dashboard.ui.view import View

ASK = say("Type a cow's number above, or follow a cow from another page.")
FINDING_COLUMNS = (
    "visit_date", "foot", "claw", "zone", "lesion", "lesion_detail", "dd_stage", "severity", "action", "recheck_on",
    "trimmer",
)  # fmt: skip
BEGINS_WITH = 5
"""Rows of her findings, and of her horn, until all are asked for: those of her last visits."""

HORN_COLUMNS = (
    "visit_date", "foot", "claw", "toe_length_mm", "toe_length_after_mm", "toe_angle_deg", "heel_depth_mm",
    "sole_thickness_mm", "shed_stage", "toe_break_mm",
)  # fmt: skip


_kept: OrderedDict[tuple[State, Hashable], dict[str, pd.DataFrame]] = store_of(dict)
"""Her records, which all panels of her page show."""


def _frames(ledger: Ledger, view: View) -> dict[str, pd.DataFrame] | None:
    cow = view.options.get("cow")
    if not cow or view.farm is None:
        return None
    asked = (view.farm, cow, view.selection.allowed)
    found = remembered(_kept, ledger, asked, lambda: one_cow(ledger, *asked))
    return {name: frame.copy(deep=False) for name, frame in found.items()}


def _answer(frames: dict[str, pd.DataFrame], table: pd.DataFrame) -> Answer:
    days = pd.concat([frames["trims"]["visit_date"], frames["scores"]["visit_date"]])
    basis = Basis(
        farms=1,
        visits=int(frames["trims"]["visit_date"].nunique()),
        cows=1 if len(days) else 0,
        trims=len(frames["trims"]),
        first=days.min().date() if len(days) else None,
        last=days.max().date() if len(days) else None,
        unit="trim",
    )
    return Answer("cow", table, basis)


def _counts(frames: dict[str, pd.DataFrame]) -> str:
    return ", ".join(
        (
            _n("{n} trim", "{n} trims", len(frames["trims"])),
            _n("{n} finding", "{n} findings", len(frames["findings"])),
            _n("{n} scoring", "{n} scorings", len(frames["scores"])),
        )
    )


def _who(ledger: Ledger, view: View) -> Any:
    frames = _frames(ledger, view)
    if frames is None:
        return html.P(told(ASK), className="empty")
    if frames["cows"].empty:
        return html.P(
            _("There is no cow {cow} at {farm} in the records.", cow=view.options["cow"], farm=view.farm),
            className="empty",
        )
    cow = frames["cows"].iloc[0]
    lines = []
    facts = []
    if pd.notna(cow["breed"]):
        facts.append(str(cow["breed"]))
    if pd.notna(cow["sire"]):
        facts.append(_("sire {sire}", sire=cow["sire"]))
    if pd.notna(cow["birth_date"]):
        facts.append(_("born {day}", day=words().date(cow["birth_date"])))
    if len(frames["calvings"]):
        facts.append(
            _n(
                "calved {n} time, last {day}",
                "calved {n} times, last {day}",
                len(frames["calvings"]),
                day=words().date(frames["calvings"]["calved_on"].iloc[0]),
            )
        )
    on = day_asked(view) or today()
    here = standing(ledger, view, on)
    if here.empty and pd.notna(cow["left_on"]):
        facts.append(_("left the herd {day}", day=words().date(cow["left_on"])))
    for stands in here.to_dict("records"):
        facts += [_("group {group}", group=stands["group"])] if pd.notna(stands["group"]) else []
        facts += [small(value_label("housing", stands["housing"]))] if pd.notna(stands["housing"]) else []
    if facts:
        lines.append(", ".join(facts) + ".")
    parts = [html.P(line, className="lead") for line in lines]
    worst = worst_reason(ledger, view)
    if not worst and len(here) and (lame_lately(here, pd.Timestamp(on)) & (here["severe"] == 1)).any():
        parts.append(html.P(_("She was severely lame when last scored: ask your veterinarian."), className="caution"))
    heading = html.P(_("Cow {cow}, {farm}", cow=cow["cow"], farm=cow["farm"]), className="lead")
    band = html.P(worst, className="band") if worst else None
    buttons = [
        html.A(_("Today"), href=view.open("/today"), className="take"),
        html.A(_("All that are due"), href=view.open("/worklist"), className="take"),
        html.Button(_("Print"), className="take", **{"data-print": ""}),
        corrections_link(view),
    ]
    return [heading, band, last_on_each_foot(frames), *parts, html.Div(buttons, className="takeaway at-hand")]


def _timeline(ledger: Ledger, view: View) -> Any:
    frames = _frames(ledger, view)
    if frames is None or (frames["trims"].empty and frames["scores"].empty):
        return html.P(told(ASK) if frames is None else _("Nothing is recorded of her yet."), className="empty")
    answer = _answer(frames, events(frames))

    def closer(row: dict[str, Any]) -> dict[str, str]:
        """A finding leads to all cows that have it there, a scoring to who was lame in its month."""
        if "lesion" not in row:
            return mark(view.open("/locomotion", span=span_of("month", row["visit_date"])))
        place = {
            field: (row[name],) if pd.notna(row[name]) else ()
            for field, name in (("feet", "foot"), ("claws", "claw"), ("zones", "zone"))
        }
        return mark(view.open("/lesions", lesions=(row["lesion"],), **place))

    return Drawn(
        timeline(frames, **view.look, drill=closer),
        answer,
        _(
            "Timeline of cow {cow} at {farm}: {counts}. The numbers are in the table below.",
            cow=view.options["cow"],
            farm=view.farm,
            counts=_counts(frames),
        ),
        finding=_counts(frames),
    )


def _all_rows(ledger: Ledger, view: View) -> Any:
    """Her findings and her horn, as they were written down."""
    frames = _frames(ledger, view)
    if frames is None:
        return html.P(told(ASK), className="empty")
    found = frames["findings"]["visit_date"]
    last = html.P(_("Last finding: {day}", day=words().date(found.max())), className="lead") if len(found) else html.P()
    return [
        last,
        *_rows(view, frames["findings"], FINDING_COLUMNS, _("Findings"), _("No lesion is recorded of her.")),
        *_rows(view, frames["horn_readings"], HORN_COLUMNS, _("Horn"), _("No horn measurement is recorded of her.")),
    ]


def _rows(view: View, frame: pd.DataFrame, columns: tuple[str, ...], caption: str, none: str) -> list[Any]:
    if frame.empty:
        return [html.P(none, className="empty")]
    shown = [column for column in columns if frame[column].notna().any()]
    return [html.H3(caption), number_table(frame[shown], None, caption, view=view, begins_with=BEGINS_WITH)]


def _trail(view: View) -> list[tuple[str, str]]:
    cow = view.options.get("cow")
    if not cow or not view.selection.lesions:
        return []
    up = view.changed(path="/lesions", cow=None)
    return [(_("Back to the lesion and its cows"), up.href), (_("Cow {cow}", cow=cow), view.href)]


PAGE = Page(
    path="/cow",
    title="Cow",
    question="Everything recorded of one cow: trims, lesions by foot, scores, calvings, horn.",
    trail=_trail,
    panels=(
        Panel("cow-who", "Who she is", _who, wide=True),
        Panel(
            "cow-next",
            "What is open, and what falls due next",
            next_due,
            "Everything that is open, and what falls due within a year.",
            wide=True,
        ),
        Panel(
            "cow-feet",
            "Her feet",
            her_feet,
            "At how many of her trims a lesion was found in the zone, out of the trims that looked at the foot; every "
            "kind of visit counts.",
            wide=True,
        ),
        Panel(
            "cow-timeline",
            "Her time line",
            _timeline,
            "Every record as its sheet had it; nothing is estimated.",
            wide=True,
        ),
        Panel("cow-findings", "All that was written down", _all_rows, wide=True),
    ),
)
