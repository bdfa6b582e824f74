"""Farms, for whoever goes from herd to herd: which farm is worse, which cows, when next."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.signals import signals
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.history import last_reports
from evenfoot.dashboard.auth.store import store_of
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import VERDICTS
from evenfoot.dashboard.charts.verdicts import verdicts_of_farms
from evenfoot.dashboard.i18n.translation import _, words
from evenfoot.dashboard.pages.own_guess import over_farms
from evenfoot.dashboard.pages.warning import farm_by_farm, lameness_only
from evenfoot.dashboard.pages.worklist import day_asked
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel
from evenfoot.dashboard.ui.view import View

MOST_SENTENCES = 4
"""Farms told in a sentence; the table has all."""

MOST_LISTS = 8
"""Farms whose list for the chute is one link away, the next visited; the others are on the plan."""


def _farms(ledger: Ledger, view: View) -> Any:
    """One row a farm, those with a signal first."""
    if not ledger.farms(view.selection.allowed):
        return _no_records(view)
    selection = view.selection.with_(farms=())
    answer = summary(ledger, selection)
    on = day_asked(view)
    due = _table_or_none(lambda: worklist(ledger, selection, on=on))
    planned = _table_or_none(lambda: plan(ledger, selection, on=on))
    table = farm_rows(answer.table, due, planned, last_reports(store_of(ledger)))

    def to(row: dict[str, Any]) -> str:
        return view.open("/today", farms=(row["farm"],), lesions=())

    said = verdicts_of_farms(answer.table, words()) if len(answer.table) else []
    lead = [html.P(sentence, className="lead") for sentence in said[:MOST_SENTENCES]]
    shown = dataclasses.replace(answer, table=table)
    below = _chute_lists(planned, view)
    return Drawn(None, shown, "", to, lead=lead, below=below, finding=findings.farms_called(shown))


def _chute_lists(planned: pd.DataFrame, view: View) -> list[Any]:
    """Links to the lists for the chute of the farms that are visited next, each on its day of the plan."""
    if planned.empty:
        return []
    links = [
        html.A(
            _("{farm}, {day}", farm=str(visit["farm"]), day=visit["date"]),
            href=view.open("/plan", farms=(visit["farm"],), lesions=(), day=f"{visit['date']:%Y-%m-%d}"),
            className="take",
        )
        for visit in records(planned.sort_values("date", kind="stable").drop_duplicates("farm").head(MOST_LISTS))
    ]
    if current_viewer().may("import sheets"):
        # A page of its own, which is not part of this one.
        links.append(html.A(_("Write down at the chute"), href="/chute", target="_self", className="take"))
    return [html.H3(_("Lists for the chute")), html.Div(links, className="takeaway", style={"flexWrap": "wrap"})]


def _table_or_none(make: Callable[[], Answer]) -> pd.DataFrame:
    """The table of an answer; an empty one where the engine cannot work it out, which its own page says."""
    try:
        return make().table
    except UserError:
        return pd.DataFrame()


def _no_records(view: View) -> html.P:
    if not current_viewer().may("import sheets"):
        return html.P(_("There are no records that you may see yet."), className="empty")
    return html.P([_("No records yet."), " ", html.A(_("Import a sheet"), href=view.to("/import"))])


def farm_rows(
    herds: pd.DataFrame, due: pd.DataFrame, planned: pd.DataFrame, reported: Mapping[str, dt.date]
) -> pd.DataFrame:
    """One row a farm: its word for lameness, lame now and usually, cows to see, next visit, and last report.

    Parameters
    ----------
    herds, due, planned : pandas.DataFrame
        The tables of ``summary``, ``worklist`` and ``plan`` of the same farms; empty where one could not be made.
    reported : mapping of str to datetime.date
        The day of a farm's last report.

    Returns
    -------
    pandas.DataFrame
        farm, verdict, lame_now, lame_usual (shares), for_vet, cows_due, next_visit, last_report, visited_on. Worse
        farms come first, then those with most cows for the veterinarian.
    """
    rows = []
    vet, cows = _per_farm(due, "veterinarian"), _per_farm(due)
    visits: dict[str, Any] = {}
    for visit in records(planned) if len(planned) else []:
        visits.setdefault(str(visit["farm"]), visit["date"])
    for farm, table in herds.groupby("farm", sort=False):
        called = table[table["verdict"].isin(("worse", "better"))]
        lame = table[table["what"] == "lame"]
        word = "worse" if (called["verdict"] == "worse").any() else called["verdict"].iloc[0] if len(called) else None
        rows.append(
            {
                "farm": farm,
                "verdict": word or (lame["verdict"].iloc[0] if len(lame) else "too-few"),
                "lame_now": lame["now"].iloc[0] if len(lame) else float("nan"),
                "lame_usual": lame["expected"].iloc[0] if len(lame) else float("nan"),
                "for_vet": vet.get(str(farm), 0),
                "cows_due": cows.get(str(farm), 0),
                "next_visit": visits.get(str(farm), pd.NaT),
                "last_report": pd.Timestamp(reported[str(farm)]) if str(farm) in reported else pd.NaT,
                "visited_on": table["last"].max(),
            }
        )
    columns = [
        "farm", "verdict", "lame_now", "lame_usual", "for_vet", "cows_due", "next_visit", "last_report", "visited_on",
    ]  # fmt: skip
    out = pd.DataFrame(rows, columns=columns)
    place = {word: at for at, word in enumerate(("worse", *(word for word in VERDICTS if word != "worse")))}
    out = out.assign(place=out["verdict"].map(place), vets=-out["for_vet"])
    return out.sort_values(["place", "vets", "farm"], kind="stable")[columns].reset_index(drop=True)


def _per_farm(due: pd.DataFrame, who: str | None = None) -> dict[str, int]:
    if not len(due):
        return {}
    chosen = due if who is None else due[due["who"] == who]
    return {str(farm): int(n) for farm, n in chosen.groupby("farm")["cow"].nunique().items()}


def _signals(ledger: Ledger, view: View) -> Drawn:
    """Twelve months of every farm, a dot a month."""
    selection = lameness_only(view.selection.with_(farms=()))
    return farm_by_farm(signals(ledger, selection, outcome="lameness"), view)


PAGE = Page(
    path="/",
    title="Farms",
    question="Which farm is worse, which cows need someone, and when to go there next. Choose a farm to open it.",
    group="today",
    extra=over_farms,
    panels=(
        Panel(
            "start-farms",
            "Every farm",
            _farms,
            "A farm is worse or better where lameness or a lesion is, against what its own earlier visits lead one to "
            "expect in these months. Of farms in which nothing changes at most one in twenty is called.",
            wide=True,
            cards=True,
        ),
        Panel(
            "start-signals",
            "Lameness in the last twelve months",
            _signals,
            "Each farm's months of the last year against limits worked out from its own first twelve months, season "
            "allowed for; the loudest farm comes first. Choose a month to see the farm's early warning.",
            wide=True,
        ),
    ),
)
