"""What lesions cost: money by lesion, each sum with the doubt about cases and prices."""

from __future__ import annotations

import math

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show, records, top_of
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import between, number, plural, rgba, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, told, words

ROW = 40
NARROW_ROW = 64
LETTER = 6.6


def money(amount: float | None, currency: str = "") -> str:
    """A sum of money to three figures, which is all an estimate of a cost can bear.

    Examples
    --------
    >>> money(48231.4, "USD 2018"), money(252.0, "EUR"), money(float("nan"), "EUR")
    ('48,200 USD 2018', '252 EUR', 'not known')
    """
    if amount is None or not math.isfinite(amount):
        return _("not known")
    digits = 0 if amount == 0 else max(0, math.floor(math.log10(abs(amount))) - 2)
    return f"{words().number(round(amount, -digits))} {told(currency)}".strip()


def cost(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Bars of what each lesion costs with intervals, the dearest first.

    Parameters
    ----------
    answer : Answer
        ``table``: lesion, cases, cost, low, high, currency. Lesions without a price have no cost and are
        left to the table.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("What lesions cost") if title is None else title
    priced = answer.table if answer.empty else answer.table[answer.table["cost"].notna()]
    if priced.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    table = priced.sort_values("cost", ascending=False, kind="stable").reset_index(drop=True)
    t = tokens(theme)
    below = 0.26 if narrow else 0.0
    names, texts = [], []
    for row in records(table):
        names.append(value_label("lesion", row["lesion"]))
        cases = f"{number(row['cases'])} {plural('case', row['cases'])}"
        texts.append(f"{money(row['cost'])} ({between(money(row['low']), money(row['high']))}), {cases}")
    place = [-i - below for i in range(len(table))]
    figure = plain.Figure(
        [
            plain.bar(
                x=table["cost"],
                y=place,
                orientation="h",
                width=0.3 if narrow else 0.5,
                marker={"color": rgba(t.accent, 0.28), "line": {"color": t.accent, "width": 1}},
                error_x=whiskers(table["cost"], table["low"], table["high"], t.ink, thickness=2, width=5),
                hovertext=[f"<b>{name}</b><br>{text}" for name, text in zip(names, texts, strict=True)],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=marks(table, drill),
                showlegend=False,
            )
        ]
    )
    currency = str(table["currency"].dropna().iloc[0]) if table["currency"].notna().any() else ""
    top = top_of(table, "high", "cost")
    figure.update_xaxes(
        title={"text": _("Cost in {currency}", currency=currency)},
        range=[0, top * 1.06 or 1],
        tickformat=",.0f",
        nticks=4 if narrow else 8,
    )
    if narrow:
        figure.update_yaxes(showticklabels=False, ticks="", showgrid=False, range=[-len(table) + 0.45, 0.62])
    else:
        figure.update_yaxes(
            tickvals=place,
            ticktext=names,
            ticks="",
            showgrid=False,
            range=[-len(table) + 0.5, 0.5],
            tickfont={"color": t.ink, "size": 13},
        )
    for i, (name, text) in enumerate(zip(names, texts, strict=True)):
        figure.add_annotation(
            text=f"<b>{name}</b><br><span style='color:{t.muted}'>{text}</span>" if narrow else text,
            align="left",
            x=0 if narrow else 1,
            xref="paper",
            xanchor="left",
            xshift=0 if narrow else 10,
            y=-i + 0.5 if narrow else -i,
            yanchor="top" if narrow else "middle",
            showarrow=False,
            font={"size": 12, "color": t.ink if narrow else t.muted},
        )
    height = (NARROW_ROW if narrow else ROW) * len(table) + 16
    framed(figure, answer, title=title, theme=theme, narrow=narrow, height=height)
    if not narrow:
        figure.update_layout(margin={"r": int(max(map(len, texts)) * LETTER) + 22})
    return figure
