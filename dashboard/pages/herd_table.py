"""What changed in a herd, as a table: now, the visit before, a year ago, a small line of two years, and the word."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import VERDICTS
from evenfoot.dashboard.charts.review import HEADLINE, what_label
from evenfoot.dashboard.charts.small_line import HEIGHT, WIDTH, small_line
from evenfoot.dashboard.charts.theme import number, tokens
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.ui.view import View

MOST_ROWS = 12
YEARS = 2
"""Years of the small line. [common practice, no source]"""


def changes_table(ledger: Ledger, view: View, answer: Answer, to: Callable[[dict[str, Any]], str]) -> html.Div:
    """One row for lameness, any lesion and each common lesion of one farm, the headlines first.

    Parameters
    ----------
    ledger : Ledger
    view : View
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.summary.summary` for one farm.
    to : callable
        Row -> the address that it leads to.
    """
    first = answer.table[answer.table["what"].isin(list(HEADLINE))]
    rest = answer.table[~answer.table["what"].isin(list(HEADLINE))].sort_values("now", ascending=False, kind="stable")
    series = _by_month(ledger, view)
    now, before, year_ago = _figures()
    heads = [
        html.Th(_("What"), scope="col"),
        html.Th(now, scope="col", className="number"),
        html.Th(before, scope="col", className="number aside"),
        html.Th(year_ago, scope="col", className="number"),
        html.Th(_("Two years"), scope="col", className="line aside"),
        html.Th(_("Word"), scope="col"),
    ]
    body = [
        _row(row, series.get(str(row["what"])), view, to) for row in records(pd.concat([first, rest]).head(MOST_ROWS))
    ]
    table = html.Table(
        [html.Caption(_("What changed"), className="unseen"), html.Thead(html.Tr(heads)), html.Tbody(body)],
        className="changes",
    )
    return html.Div(table, className="scroll cards", tabIndex=0, role="region", **{"aria-label": _("What changed")})


def _figures() -> tuple[str, str, str]:
    """The headings of the figures, which stand before each of them on a phone."""
    return _("Now, of 100"), _("Visit before"), _("A year ago")


def _row(
    row: dict[str, Any], months: pd.Series[float] | None, view: View, to: Callable[[dict[str, Any]], str]
) -> html.Tr:
    lately = months if months is not None else pd.Series(dtype=float)
    before = lately[lately.index < _month(row["first"])].dropna()
    line = small_line(lately.tolist(), tokens(view.theme).accent)
    name = what_label(str(row["what"]))
    picture = (
        html.Img(src=line, width=WIDTH, height=HEIGHT, alt=_("{what}, month by month", what=name)) if line else None
    )
    shares = (row["now"], before.iloc[-1] if len(before) else None, row["last_year"])
    now, visit_before, year_ago = (
        html.Td(_of_100(share), className=look, **{"data-label": said})
        for said, share, look in zip(_figures(), shares, ("number", "number aside", "number"), strict=True)
    )
    return html.Tr(
        [
            html.Td(html.A(name, href=to(row))),
            now,
            visit_before,
            year_ago,
            html.Td(picture, className="line aside"),
            html.Td(told(VERDICTS[str(row["verdict"])])),
        ]
    )


def _of_100(share: float | None) -> str:
    return "" if share is None or pd.isna(share) else number(round(100 * float(share)))


def _month(day: Any) -> pd.Timestamp:
    return pd.Timestamp(day).to_period("M").to_timestamp()


def _by_month(ledger: Ledger, view: View) -> Mapping[str, pd.Series[float]]:
    """What -> its share in each of the last months, oldest first."""
    scores = locomotion(ledger, view.selection, by=("month",)).table
    lesions = prevalence(ledger, view.selection, by=("lesion", "month")).table
    any_lesion = prevalence(ledger, view.selection, by=("month",)).table
    out: dict[str, pd.Series[float]] = {}
    if len(scores):
        out["lame"] = scores.set_index("period")["lame_prevalence"]
        out["severe"] = scores.set_index("period")["severe_prevalence"]
    if len(any_lesion):
        out["any"] = any_lesion.set_index("month")["prevalence"]
        months = out["any"].index
        for lesion, table in lesions.groupby("lesion"):
            # Where others were found and this one was not, it is none.
            out[str(lesion)] = table.set_index("month")["prevalence"].reindex(months).fillna(0.0)
    return {what: _lately(shares) for what, shares in out.items()}


def _lately(shares: pd.Series[float]) -> pd.Series[float]:
    shares = shares.sort_index()
    return shares[shares.index > shares.index.max() - pd.DateOffset(years=YEARS, months=1)]
