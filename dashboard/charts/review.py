"""Now against what was to be expected: differences with their limits, round a line of no difference."""

from __future__ import annotations

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import Drill, framed, marks, nothing_to_show
from evenfoot.dashboard.charts.labels import VERDICTS, value_label
from evenfoot.dashboard.charts.theme import between, cases_of, percent, points, tokens
from evenfoot.dashboard.charts.whiskers import whiskers
from evenfoot.dashboard.i18n.translation import _, told

HEADLINE = {"lame": say("Lame"), "severe": say("Severely lame"), "any": say("Any lesion")}
SYMBOLS = {"worse": "triangle-up", "better": "triangle-down", "no-clear-change": "circle-open"}
MOST_ROWS = 12
ROW = 32


def what_label(what: str) -> str:
    """A row of the review by name."""
    return told(HEADLINE[what]) if what in HEADLINE else value_label("lesion", what)


def review(
    answer: Answer,
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """Dot-and-interval chart of differences in percentage points.

    Parameters
    ----------
    answer : Answer
        Of :func:`evenfoot.analytics.measures.lameness.summary.summary` for one farm. Lameness and any lesion come
        first, then the commonest lesions.
    theme, narrow, title, drill
        As in every chart.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    title = _("Now against what was to be expected") if title is None else title
    table = answer.table[answer.table["verdict"] != "too-few"]
    if table.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    first = table[table["what"].isin(list(HEADLINE))]
    rest = table[~table["what"].isin(list(HEADLINE))].sort_values("expected", ascending=False)
    rows = [*first.to_dict("records"), *rest.to_dict("records")][:MOST_ROWS]
    table = table.set_index("what").loc[[row["what"] for row in rows]].reset_index()
    t = tokens(theme)
    place = [-float(i) for i in range(len(rows))]
    hover = [
        f"<b>{what_label(row['what'])}</b><br>"
        + _(
            "{verdict}<br>{now} ({cases}) at the newest visit<br>{usual} to be expected<br>{gap} points ({interval})",
            verdict=told(VERDICTS[row["verdict"]]),
            now=percent(row["now"]),
            cases=cases_of(row["now_cases"], row["now_at_risk"], None),
            usual=percent(row["expected"]),
            gap=points(row["difference"]),
            interval=between(points(row["low"]), points(row["high"])),
        )
        for row in rows
    ]
    figure = plain.Figure(
        [
            plain.scatter(
                x=table["difference"] * 100,
                y=place,
                error_x=whiskers(
                    table["difference"] * 100, table["low"] * 100, table["high"] * 100, t.accent, thickness=2, width=4
                ),
                mode="markers",
                marker={
                    "size": 11,
                    "color": t.accent,
                    "symbol": [SYMBOLS[row["verdict"]] for row in rows],
                    "line": {"color": t.accent, "width": 1.5},
                },
                hovertext=hover,
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=marks(table, drill),
            )
        ]
    )
    figure.add_vline(x=0, line={"color": t.muted, "width": 1.5})
    words = _("Fewer · points · more") if narrow else _("Fewer than expected · points · more than expected")
    figure.update_xaxes(title={"text": words})
    figure.update_yaxes(
        tickmode="array",
        tickvals=place,
        ticktext=[what_label(row["what"]) for row in rows],
        range=[-len(rows) + 0.5, 0.5],
        showgrid=False,
        ticks="",
        ticklabelstandoff=9,
    )
    return framed(figure, answer, title=title, theme=theme, narrow=narrow, height=ROW * len(rows) + 12)
