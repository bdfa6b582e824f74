"""One herd today, for whoever runs it: better or worse, what and where, did the change help, which cows to see."""

from __future__ import annotations

import dataclasses
from typing import Any

import pandas as pd
from dash import Dash, html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.control_chart import control_chart
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.measures.planning.worklist import AHEAD_DAYS, as_of, day_of, needing_someone
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.charts.answers import NAMED_COWS, biggest_lesion
from evenfoot.dashboard.charts.control import control
from evenfoot.dashboard.charts.describe import describe
from evenfoot.dashboard.charts.describe_more import describe as describe_chart
from evenfoot.dashboard.charts.foot import draw_feet
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _, _n, told, words
from evenfoot.dashboard.pages import own_guess
from evenfoot.dashboard.pages.agreed import agreed_list
from evenfoot.dashboard.pages.agreed import register as register_agreed
from evenfoot.dashboard.pages.dated_changes import with_changes
from evenfoot.dashboard.pages.lesions import CLEARED
from evenfoot.dashboard.pages.today_answers import answers, choose_farm
from evenfoot.dashboard.pages.warning import lameness_only, long_run
from evenfoot.dashboard.pages.worklist import ABOUT, day_asked
from evenfoot.dashboard.report.cow_lists import REASONS
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark, number_table
from evenfoot.dashboard.ui.period_filter import choosing_by
from evenfoot.dashboard.ui.view import View

FIRST_COWS = 10
"""Cows of the list on this page; the whole list is one link away."""

YEARS_SHOWN = 2
"""Years of the line of lameness. [common practice, no source]"""


def _months(ledger: Ledger, view: View) -> Any:
    """Lameness month by month for two years, with the limits of what is usual."""
    if view.farm is None:
        return choose_farm()
    answer = control_chart(ledger, long_run(lameness_only(view.selection)))
    to = choosing_by(view, "month")
    if not answer.empty:
        newest = answer.table["month"].max()
        lately = answer.table["month"] > newest - pd.DateOffset(years=YEARS_SHOWN)
        answer = dataclasses.replace(answer, table=answer.table[lately])
    figure = control(with_changes(ledger, view, answer), **view.look, drill=lambda row: mark(to(row)))
    # The finding is the first of the four answers above. A title would tell it before the reader's own guess.
    return Drawn(figure, answer, describe_chart("control", answer), to)


def _feet(ledger: Ledger, view: View) -> Any:
    """Where the biggest problem sits, on the drawn feet."""
    if view.farm is None:
        return choose_farm()
    row = biggest_lesion(records(summary(ledger, view.selection).table))
    selection = view.selection.with_(**{**CLEARED, "lesions": (str(row["what"]),) if row else ()})
    answer = foot_map(ledger, selection)

    def to(row: dict[str, Any]) -> str:
        claws = (row["claw"],) if isinstance(row["claw"], str) and row["claw"] else ()
        zones = () if pd.isna(row["zone"]) else (int(row["zone"]),)
        return view.open("/lesions", lesions=selection.lesions, feet=(row["foot"],), claws=claws, zones=zones)

    heading = words().lesion(str(row["what"])) if row else _("Any lesion")
    figure = draw_feet(answer, **view.look, drill=lambda row: mark(to(row)), heading=heading)
    return Drawn(figure, answer, describe("foot", answer), to, finding=findings.place_of_most(answer))


def _list(ledger: Ledger, view: View) -> Any:
    """The first cows that need someone, grouped by reason as everywhere."""
    if view.farm is None:
        return choose_farm()
    answer = needing_someone(ledger, view.selection, on=day_asked(view))
    day = html.P(told(as_of(day_of(answer))), className="basis")
    if day_of(answer).newest is None:
        return [day]  # Nothing is known, which is no comfort.
    if answer.empty:
        return [day, html.P(_("Nothing is open that cannot wait for the next round."), className="empty")]
    first = answer.table.head(FIRST_COWS)
    first = first.assign(also=[_also(answer, row) for row in records(first)])
    columns = [name for name in ("cow", "score", "scored_on", *ABOUT) if first[name].notna().any()]
    return [
        html.P(findings.cows_pressing(answer), className="lead"),
        day,
        number_table(
            first[columns],
            lambda row: view.open("/cow", cow=row["cow"]),
            _("Cows that need someone"),
            cards=True,
            groups=[_first_reason(kinds) for kinds in first["kinds"]],
        ),
        html.P(
            [
                html.A(_("All that are due"), href=view.open("/worklist"), className="take"),
                " ",
                html.A(_("Lists to print"), href=view.open("/plan"), className="take"),
            ]
        ),
    ]


def _first_reason(kinds: str) -> str:
    """The reason that ranks a cow, as all cows with it have it, and whom to ask."""
    kind = kinds.split(",")[0]
    said = told(REASONS[kind][1])
    return _("{reason}: ask your veterinarian", reason=said) if REASONS[kind][0] == "veterinarian" else said


def _also(answer: Answer, row: dict[str, Any]) -> str:
    """What else there is of a cow: the first reason where it has a day of its own, other reasons, further places."""
    mine = answer.extra["reasons"]
    mine = mine[(mine["farm"] == row["farm"]) & (mine["cow"] == row["cow"])]
    said = {str(each["kind"]): told(each["words"]) for each in records(mine)}
    first, *others = row["kinds"].split(",")
    own = [] if said[first] == _first_reason(first) else [said[first]]
    further = [] if pd.isna(row["also"]) else [value_label("also", row["also"])]
    return "; ".join([*own, *(told(REASONS[kind][1]) for kind in others), *further])


def _ask(ledger: Ledger, view: View) -> Any:
    """What was agreed, and what to ask the trimmer and the veterinarian."""
    if view.farm is None:
        return choose_farm()
    rows = records(summary(ledger, view.selection).table)
    due = needing_someone(ledger, view.selection, on=day_asked(view), ahead_days=AHEAD_DAYS).table
    vet = [str(cow) for cow in due.loc[due["who"] == "veterinarian", "cow"].head(NAMED_COWS)] if len(due) else []
    trimmer, veterinarian = [], []
    if vet:
        said = _("Please look at these cows: {cows}.", cows=", ".join(vet))
        more = int((due["who"] == "veterinarian").sum()) - len(vet)
        veterinarian.append(
            _n("{said} And at {n} more on the list.", "{said} And at {n} more on the list.", more, said=said)
            if more
            else said
        )
    for row in rows:
        if row["verdict"] != "worse":
            continue
        if row["what"] in ("lame", "severe"):
            veterinarian.append(_("More cows are lame than is usual here: what could be behind it?"))
        elif row["what"] != "any":
            lesion = words().lesion(str(row["what"]), inside=True)
            trimmer.append(_("There is more {lesion} than is usual here: where, and in which cows?", lesion=lesion))
            veterinarian.append(_("What would help against {lesion} in this herd?", lesion=lesion))
    open_rechecks = int(due["kinds"].str.contains("recheck|block").sum()) if len(due) and "kinds" in due else 0
    if open_rechecks:
        trimmer.append(
            _n(
                "{n} cow waits for a recheck or has a block to come off: when can you come?",
                "{n} cows wait for a recheck or have a block to come off: when can you come?",
                open_rechecks,
            )
        )
    none = _("Nothing stands out.")
    return [
        *agreed_list(ledger, view),
        html.H3(_("The trimmer")),
        html.Ul([html.Li(line) for line in trimmer or [none]]),
        html.H3(_("The veterinarian")),
        html.Ul([html.Li(line) for line in dict.fromkeys(veterinarian or [none])]),
        own_guess.ask_again(),
    ]


def register(app: Dash, ledger: Ledger) -> None:
    """The callbacks of what was agreed and of the reader's own guess."""
    register_agreed(app, ledger)
    own_guess.register(app, ledger)


PAGE = Page(
    path="/today",
    title="Today",
    question="How is this herd, and what needs doing?",
    group="today",
    spoken=True,
    register=register,
    panels=(
        Panel("today-answers", "In short", answers, wide=True, spoken=True),
        Panel(
            "today-lameness",
            "Lameness month by month",
            _months,
            "Lame scorings out of all scorings in the month. The band is what is usual for this herd.",
        ),
        Panel(
            "today-feet",
            "Where on the feet",
            _feet,
            "For every claw and zone: cows with the lesion there, out of the cows whose foot was looked at.",
        ),
        Panel("today-cows", "Cows to see", _list, wide=True),
        Panel("today-ask", "What to ask", _ask, wide=True),
    ),
)
