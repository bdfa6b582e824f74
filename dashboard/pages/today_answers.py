"""The four answers of one herd's day, a sentence each."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS as IMPACT
from evenfoot.analytics.measures.planning.worklist import needing_someone
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import VERDICTS, date_label
from evenfoot.dashboard.charts.theme import capital
from evenfoot.dashboard.i18n.translation import _, _n, told, words
from evenfoot.dashboard.pages.change import impact_of, verdict_of
from evenfoot.dashboard.pages.dated_changes import recorded
from evenfoot.dashboard.pages.lesions import CLEARED
from evenfoot.dashboard.pages.own_guess import with_guess
from evenfoot.dashboard.pages.worklist import day_asked
from evenfoot.dashboard.ui.view import View

NAMED_COWS = 4
"""Cows named in the answer itself."""


def choose_farm() -> html.P:
    return html.P(_("Choose a farm above."), className="empty")


def answers(ledger: Ledger, view: View) -> Any:
    """Four answers, a sentence each."""
    if view.farm is None:
        return choose_farm()
    rows = records(summary(ledger, view.selection).table)
    return html.Ol(
        [
            html.Li(part)
            for part in (
                _lameness(rows, view),
                _lesion(rows, view),
                _change(ledger, view),
                _cows(ledger, view),
            )
        ],
        className="answers",
    )


def _said(verdict: str, sentence: str, to: str) -> list[Any]:
    """An answer: the word, what it is about, and the way to more."""
    return [html.Strong(verdict), " ", html.A(sentence, href=to)]


def _lameness(rows: list[dict[str, Any]], view: View) -> Any:
    row = next((row for row in rows if row["what"] == "lame"), None)
    if row is None:
        return html.Span(_("No gait is scored here, so nothing can be said of lameness."))
    sentence = _("Lame: {share} of 100 cows ({cases} of {n} scored).", **_counts(row))
    year = row["last_year"]
    if pd.notna(year):
        sentence += " " + _("A year ago {share}.", share=round(100 * year))
    figure = _said(told(VERDICTS[row["verdict"]]) + ".", sentence, view.open("/locomotion"))
    return with_guess(figure, row, str(row["farm"]))


def _counts(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "share": round(100 * row["now_cases"] / row["now_at_risk"]),
        "cases": int(row["now_cases"]),
        "n": int(row["now_at_risk"]),
    }


def biggest_lesion(rows: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The lesion that most cows have at the newest visit: one that is worse before one that is not."""
    lesions = [row for row in rows if row["what"] not in ("lame", "severe", "any") and row["now_cases"]]
    worse = [row for row in lesions if row["verdict"] == "worse"]
    return max(worse or lesions, key=lambda row: row["now_cases"] / row["now_at_risk"], default=None)


def _lesion(rows: list[dict[str, Any]], view: View) -> Any:
    row = biggest_lesion(rows)
    if row is None:
        return html.Span(_("No lesion was found at the newest visit."))
    sentence = _(
        "Biggest problem: {lesion}, {share} of 100 cows ({cases} of {n} trimmed).",
        lesion=words().lesion(str(row["what"]), inside=True),
        **_counts(row),
    )
    to = view.open("/lesions", **{**CLEARED, "lesions": (str(row["what"]),)})
    return _said(told(VERDICTS[row["verdict"]]) + ".", sentence, to)


def _change(ledger: Ledger, view: View) -> Any:
    frame = recorded(ledger, view)
    if frame.empty:
        return html.A(_("No change is written down yet."), href=view.open("/change"))
    newest = records(frame.head(1))[0]
    day = pd.Timestamp(newest["date"]).date()
    said = verdict_of(impact_of(ledger, view, day))
    verdict = next((name for name, template in IMPACT.items() if said and said[0].template == template), "too-few")
    what = _("{what}, {day}", what=newest["what"] or _("the change"), day=date_label(pd.Timestamp(day)))
    if verdict == "too-few":
        sentence = _("After: {what}.", what=what)
    else:
        values = said[0].values
        sentence = _(
            "After: {what}. {lesions}: {seen:.0f} of 100 cows, {expected:.0f} had it gone on as before.",
            what=what,
            lesions=capital(told(values["lesions"])),
            seen=float(values["seen"]),
            expected=float(values["expected"]),
        )
    return _said(told(VERDICTS[verdict]) + ".", sentence, view.open("/change", change=day.isoformat()))


def _cows(ledger: Ledger, view: View) -> Any:
    answer = needing_someone(ledger, view.selection, on=day_asked(view))
    if answer.empty:
        return html.Span(_("No cow needs someone before the next round."))
    table = answer.table
    vet = int((table["who"] == "veterinarian").sum())
    named = ", ".join(str(cow) for cow in table["cow"].head(NAMED_COWS))
    sentence = _n("{n} cow to see", "{n} cows to see", len(table))
    if vet:
        sentence += _n(", {n} for the veterinarian", ", {n} for the veterinarian", vet)
    return html.A(_("{sentence}: {cows} first.", sentence=sentence, cows=named), href=view.open("/worklist"))
