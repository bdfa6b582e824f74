"""One cow now: what is open or falls due next, and her feet drawn with what was found on them."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.measures.planning.due_reasons import URGENT
from evenfoot.analytics.measures.planning.worklist import as_of, day_of, everybody_due, worklist
from evenfoot.analytics.queries.cows import find_cows
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts import describe, findings
from evenfoot.dashboard.charts.foot import draw_feet
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages.worklist import ABOUT, day_asked
from evenfoot.dashboard.ui.panel import Drawn, cows_counted, mark, number_table
from evenfoot.dashboard.ui.view import View

AHEAD_DAYS = 365
"""What falls due within a year is told of one cow; the list of all cows looks four weeks ahead."""


def _hers(view: View) -> Selection | None:
    """All records of the cow in the address, whatever the visit; nothing where no cow is chosen."""
    cow = view.options.get("cow")
    if not cow or view.farm is None:
        return None
    return Selection(farms=(view.farm,), cows=(cow,), visits=("all",), allowed=view.selection.allowed)


def next_due(ledger: Ledger, view: View) -> Any:
    """What is open and what falls due, the soonest first, as the list of all cows has it."""
    hers = _hers(view)
    if hers is None or not ledger.exists:
        return html.P(_("Choose a cow first."), className="empty")
    if (view.farm, view.options["cow"]) not in find_cows(ledger, view.options["cow"], (str(view.farm),)):
        return html.P(_("There is no such cow in the records."), className="empty")
    answer = worklist(ledger, hers, on=day_asked(view), ahead_days=AHEAD_DAYS)
    day = day_of(answer)
    line = html.P(told(as_of(day)), className="basis")
    if answer.empty:
        said = _("Nothing is open and nothing falls due within a year; or she has left the herd.")
        return [html.P(said, className="lead"), line]
    reasons = answer.extra["reasons"]
    parts: list[Any] = [html.P(_lead(reasons, day.on), className="lead"), line]
    table = reasons.rename(columns={"words": "reason"})[["due_on", "reason", "who", *ABOUT]]
    table = table[[name for name in table.columns if name not in ABOUT or table[name].notna().any()]]
    cautions = [html.P(told(caution), className="caution") for caution in answer.cautions]
    sure = html.Summary(_("How sure is this? ({counts})", counts=cows_counted(answer)))
    fold = html.Details([sure, *cautions], className="fold") if cautions else None
    return [*parts, number_table(table, None, _("What falls due next"), cards=True), fold]


def last_on_each_foot(frames: dict[str, pd.DataFrame]) -> html.Ul:
    """The four feet as she stands, each with the last that was found on it, or that nothing was."""
    found = frames["findings"].sort_values("visit_date", ascending=False, kind="stable")
    trimmed = frames["trims"]["visit_date"].max() if len(frames["trims"]) else None
    tiles = []
    for foot in FEET:
        last = records(found[found["foot"] == foot].head(1))
        if last:
            said = [
                words().lesion(str(last[0]["lesion"])),
                html.Br(),
                words().date(pd.Timestamp(last[0]["visit_date"])),
            ]
        else:
            said = [_("nothing found") if trimmed is not None else _("never looked at")]
        tiles.append(html.Li([html.Strong(value_label("foot", foot)), html.Br(), *said]))
    return html.Ul(tiles, className="her-feet", **{"aria-label": _("The last finding on each foot")})


def worst_reason(ledger: Ledger, view: View) -> str:
    """The most pressing thing that is open for her now; nothing where there is none."""
    hers = _hers(view)
    if hers is None or not ledger.exists:
        return ""
    answer = worklist(ledger, hers, on=day_asked(view), ahead_days=AHEAD_DAYS)
    if answer.empty:
        return ""
    reasons = answer.extra["reasons"]
    now = reasons[reasons["kind"].isin(URGENT) & (reasons["due_on"] <= pd.Timestamp(day_of(answer).on))]
    return told(now["words"].iloc[0]) if len(now) else ""


def standing(ledger: Ledger, view: View, on: dt.date) -> pd.DataFrame:
    """Where she stands on a day, one row, as the list of all cows knows it; no row where she is not in the herd."""
    hers = _hers(view)
    return pd.DataFrame() if hers is None else everybody_due(ledger, hers, on).herd


def _lead(reasons: pd.DataFrame, on: dt.date) -> str:
    first = records(reasons.head(1))[0]
    day = pd.Timestamp(first["due_on"])
    when = words().date(day)
    said = (
        _("Open now: {reason}.", reason=told(first["words"]))
        if day <= pd.Timestamp(on)
        else _("Next on {day}: {reason}.", day=when, reason=told(first["words"]))
    )
    return said


def her_feet(ledger: Ledger, view: View) -> Any:
    """At how many of her trims something was found in each zone, over all her records."""
    hers = _hers(view)
    if hers is None or not ledger.exists:
        return html.P(_("Choose a cow first."), className="empty")
    # What is cautioned of herds (few cows, selective visits) says nothing of one cow's own records.
    answer = dataclasses.replace(foot_map(ledger, hers, per="trim"), cautions=())
    if answer.empty:
        return html.P(_("No finding with its place is recorded of her."), className="empty")

    def to(row: dict[str, Any]) -> str:
        claw = row["claw"]
        claws = (claw,) if isinstance(claw, str) and claw else ()
        return view.open("/lesions", feet=(row["foot"],), claws=claws, zones=(int(row["zone"]),))

    figure = draw_feet(answer, **view.look, count=True, drill=lambda row: mark(to(row)))
    finding = findings.place_of_most(answer)
    return Drawn(figure, answer, describe.describe("foot", answer), to, finding=finding)
