"""Do two people write down the same: kappa with its interval, one row for each pair of people."""

from __future__ import annotations

from typing import Any

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.dots import Row, draw_rows
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show, records
from evenfoot.dashboard.charts.theme import number, percent
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.i18n.translation import words as words_of

MOST_ROWS = 30


def agreement(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of Cohen's kappa: 0 is chance, 1 is the same throughout.

    Parameters
    ----------
    answer : Answer
        ``table``: a, b, pairs, agreement, kappa, low, high, weights, and what was compared.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Do two people write down the same") if title is None else title
    table = answer.table
    if answer.empty or not table["kappa"].notna().any():
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    rows = [
        Row(
            _name(row),
            _words(row),
            row["kappa"],
            row["low"],
            row["high"],
            symbol="circle" if row["weights"] == "unweighted" else "diamond",
            carries=drill(row) if drill else None,
        )
        for row in _kept(answer)[:MOST_ROWS]
    ]
    lowest = min(0.0, *(row.low for row in rows)) if rows else 0.0
    axis = {"title": {"text": _("Kappa: 0 is chance, 1 is always the same")}, "range": [lowest - 0.05, 1.03]}
    return draw_rows(
        answer,
        rows,
        axis,
        title=title,
        theme=theme,
        narrow=narrow,
        line=0.0,
        notes=[_("Diamonds: graded scores, near misses count in part. Dots: yes or no.")],
    )


def in_kappa(answer: Answer) -> list[tuple[str, str]]:
    """Each pair of people with its kappa in words, the pair with most cows in common first."""
    return [(_name(row), _words(row)) for row in _kept(answer)]


def _kept(answer: Answer) -> list[dict[str, Any]]:
    """Of grades the kappa that counts a near miss in part, of yes and no the plain one; the table has all."""
    kept = [row for row in records(answer.table[answer.table["kappa"].notna()]) if _drawn(row)]
    kept.sort(key=lambda row: (-row["pairs"], str(row["a"]), str(row["b"])))
    return kept


def _words(row: dict[str, Any]) -> str:
    return _(
        "{kappa} ({low} to {high}), same in {share} of {n}",
        kappa=_two(row["kappa"]),
        low=_two(row["low"]),
        high=_two(row["high"]),
        share=percent(row["agreement"], 0),
        n=number(row["pairs"]),
    )


def _drawn(row: dict[str, Any]) -> bool:
    graded = str(row.get("what", "")).startswith("locomotion")
    return str(row["weights"]) == ("quadratic" if graded else "unweighted")


def _name(row: dict[str, Any]) -> str:
    what = str(row.get("what") or "")
    words = {"lame": _("lame or not"), "lesion on the foot": _("lesion or not")}.get(what, what)
    words = words.replace("locomotion", _("score")).replace("0-3", "0–3").replace("1-5", "1–5")
    return _("{a} and {b}", a=row["a"], b=row["b"]) + (f", {words}" if words else "")


def _two(value: float) -> str:
    return words_of().number(value, 2)
