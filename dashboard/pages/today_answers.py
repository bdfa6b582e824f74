"""The four answers of one herd's day, a sentence each."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.planning.worklist import needing_someone
from evenfoot.dashboard.charts import answers as said
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.translation import _, words
from evenfoot.dashboard.pages.change import impact_of
from evenfoot.dashboard.pages.dated_changes import recorded
from evenfoot.dashboard.pages.lesions import CLEARED
from evenfoot.dashboard.pages.own_guess import with_guess
from evenfoot.dashboard.pages.worklist import day_asked
from evenfoot.dashboard.ui.view import View


def choose_farm() -> html.P:
    return html.P(_("Choose a farm above."), className="empty")


def answers(ledger: Ledger, view: View) -> Any:
    """Four answers, a sentence each."""
    if view.farm is None:
        return choose_farm()
    rows = records(summary(ledger, view.selection).table)
    parts = (_lameness(rows, view), _lesion(rows, view), _change(ledger, view), _cows(ledger, view))
    return html.Ol([html.Li(part) for part in parts], className="answers")


def _linked(answer: said.Said, to: str) -> Any:
    """An answer: what it is about with its word, and the way to more."""
    link = html.A(answer.sentence, href=to)
    if not answer.verdict:
        return link
    word = html.Strong(answer.word(words()))
    return [word, " ", link] if answer.word_first else [link, " ", word]


def _lameness(rows: list[dict[str, Any]], view: View) -> Any:
    answer = said.lameness(rows, words())
    if not answer.verdict:
        return html.Span(answer.sentence)
    row = next(row for row in rows if row["what"] == "lame")
    return with_guess(_linked(answer, view.open("/locomotion")), row, str(row["farm"]))


def _lesion(rows: list[dict[str, Any]], view: View) -> Any:
    answer, row = said.lesion(rows, words()), said.biggest_lesion(rows)
    if row is None:
        return html.Span(answer.sentence)
    return _linked(answer, view.open("/lesions", **{**CLEARED, "lesions": (str(row["what"]),)}))


def _change(ledger: Ledger, view: View) -> Any:
    frame = recorded(ledger, view)
    if frame.empty:
        return html.A(_("No new floor, foot bath or trimmer is written down yet."), href=view.open("/change"))
    newest = records(frame.head(1))[0]
    day = pd.Timestamp(newest["date"]).date()
    verdict = said.verdict_of_change(impact_of(ledger, view, day))
    answer = said.change(str(newest["what"] or ""), day, verdict, words())
    return _linked(answer, view.open("/change", change=day.isoformat()))


def _cows(ledger: Ledger, view: View) -> Any:
    table = needing_someone(ledger, view.selection, on=day_asked(view)).table
    answer = said.cows(table, words())
    return html.Span(answer.sentence) if table.empty else _linked(answer, view.open("/worklist"))
