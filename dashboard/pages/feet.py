"""Where on the foot: the four feet, and one drawing beside the other for each season, housing or year."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import html

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.dashboard.charts import describe, findings
from evenfoot.dashboard.charts.foot import common_top, draw_feet
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import cases_of
from evenfoot.dashboard.charts.zone_marks import unplaced, zone_rows
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.ui.panel import Drawn, mark, rests_on
from evenfoot.dashboard.ui.period_filter import span_of
from evenfoot.dashboard.ui.view import View

PLACE: dict[str, Any] = {"feet": (), "claws": (), "zones": ()}
SPLITS = ("season", "housing", "year")
MOST_DRAWN = 6
"""Drawings that can still be held against each other. [common practice, no source]"""


def shaded_by_count(view: View) -> bool:
    """Whether zones are shaded by the number of cases, and not by their share."""
    return view.option("shade", "") == "cases"


def split_of(view: View) -> str:
    """What the drawings beside each other are of."""
    split = view.option("split", SPLITS[0])
    return split if split in SPLITS else SPLITS[0]


def shade_choice(view: View) -> Any:
    """What zones are shaded by."""
    return dmc.Select(
        label=_("Feet shaded by"),
        id={"type": "choice", "field": "shade"},
        data=[{"value": "", "label": _("Share of cows")}, {"value": "cases", "label": _("Number of cows")}],
        value="cases" if shaded_by_count(view) else "",
        allowDeselect=False,
        checkIconPosition="right",
    )


def split_choice(view: View) -> Any:
    """What the drawings beside each other are of."""
    return dmc.Select(
        label=_("One beside the other"),
        id={"type": "choice", "field": "split"},
        data=[
            {"value": "season", "label": _("Seasons")},
            {"value": "housing", "label": _("Housings")},
            {"value": "year", "label": _("Years")},
        ],
        value=split_of(view),
        allowDeselect=False,
        checkIconPosition="right",
    )


def _to_place(view: View) -> Callable[[dict[str, Any]], str]:
    """For a row of a foot map the address narrowed to its place, and to its season, housing or year."""

    @functools.cache
    def there(foot: str, claw: str, zone: int, **group: Any) -> str:
        narrowed: dict[str, Any] = {"feet": (foot,), "claws": (claw,) if claw else (), "zones": (zone,)}
        if "season" in group:
            narrowed["seasons"] = (group["season"],)
        if "housing" in group:
            narrowed["housing"] = (group["housing"],)
        if "year" in group:
            narrowed["span"] = span_of("year", group["year"])
        return view.changed(**narrowed).href

    def to(row: dict[str, Any]) -> str:
        # A place is led to by its marks, its row and the list of links.
        if row["foot"] not in FEET or pd.isna(row["zone"]):
            return view.changed(**{**PLACE, "feet": (row["foot"],) if row["foot"] in FEET else ()}).href
        claw = row["claw"] if isinstance(row["claw"], str) else ""
        return there(row["foot"], claw, int(row["zone"]), **{name: row[name] for name in SPLITS if name in row})

    return to


def drawn_feet(ledger: Ledger, view: View) -> Drawn:
    """The four feet of the records chosen."""
    answer, to = foot_map(ledger, view.selection.with_(**PLACE)), _to_place(view)
    figure = draw_feet(answer, **view.look, count=shaded_by_count(view), drill=lambda row: mark(to(row)))
    words = " ".join(
        [*([] if answer.empty and unplaced(answer) else [describe.describe("foot", answer)]), *unplaced(answer)]
    )
    shown = dataclasses.replace(answer, table=_with_unplaced(answer))
    return Drawn(figure, shown, words, to, finding=findings.place_of_most(answer))


def _with_unplaced(answer: Answer) -> pd.DataFrame:
    """The table, and under it what has no place on the drawing."""
    rows = answer.extra["unplaced"]
    if rows.empty:
        return answer.table
    return pd.concat(
        [answer.table.astype({"zone": "Int64"}), rows[answer.table.columns].astype({"zone": "Int64"})],
        ignore_index=True,
    )


def feet_by(ledger: Ledger, view: View) -> Any:
    """The four feet for each season, housing or year, all on one scale."""
    split, to, count = split_of(view), _to_place(view), shaded_by_count(view)
    selection = view.selection.with_(**PLACE)
    answer = foot_map(ledger, selection, by=(split,))
    groups = prevalence(ledger, selection, by=(split,)).table
    if answer.empty:
        return Drawn(None, answer, "")
    if split == "housing":
        groups = groups.sort_values("at_risk", ascending=False, kind="stable")
    elif split == "year":
        groups = groups.tail(MOST_DRAWN)
    parts = []
    for group in records(groups.head(MOST_DRAWN)):
        seen, left = answer.extra["looked_at"], answer.extra["unplaced"]
        part = dataclasses.replace(
            answer,
            table=answer.table[answer.table[split] == group[split]].drop(columns=split),
            by=answer.by[1:],
            extra={
                "looked_at": seen[seen[split] == group[split]],
                "unplaced": left[left[split] == group[split]].drop(columns=split),
            },
        )
        parts.append((group, part))
    drawn = [(group, part) for group, part in parts if zone_rows(part)]
    if len(drawn) < 2:
        return [
            rests_on(answer),
            html.P(
                _("There are not two of them with findings in these records to be held side by side."),
                className="empty",
            ),
        ]
    top = common_top(*(part for _group, part in drawn), count=count)
    figures = tuple(
        (
            _one(part, group, split, view, top, count, to),
            f"{value_label(split, group[split])}: {describe.describe('foot', part)}",
        )
        for group, part in drawn
    )
    lead = [
        html.P(_("All on one scale. Pale: none recorded. Tap or point at a zone for its interval."), className="basis")
    ]
    bare = [value_label(split, group[split]) for group, part in parts if not zone_rows(part)]
    if bare:
        lead.append(html.P(_("No finding with its place in: {groups}.", groups=", ".join(bare)), className="basis"))
    finding = findings.place_of_most(answer)
    return Drawn(*figures[0][:1], answer, figures[0][1], to, lead=lead, beside=figures[1:], finding=finding)


def _one(
    part: Answer,
    group: dict[str, Any],
    split: str,
    view: View,
    top: float,
    count: bool,
    to: Callable[[dict[str, Any]], str],
) -> Any:
    heading = _(
        "{group}: {cases}",
        group=value_label(split, group[split]),
        cases=cases_of(group["cases"], group["at_risk"], part.basis.unit),
    )
    return draw_feet(
        part,
        **view.look,
        highest=top,
        count=count,
        heading=heading,
        drill=lambda row: mark(to({**row, split: group[split]})),
    )
