"""Where on the feet two groups differ, drawn so that doubt is seen first."""

from __future__ import annotations

from typing import Any

import pandas as pd
from plotly.colors import sample_colorscale

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.stats.intervals import difference
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.claw import zone_polygons
from evenfoot.dashboard.charts.foot import FROM_BELOW, finish_feet, pixels_of, place_feet
from evenfoot.dashboard.charts.frame import Drill, nothing_to_show
from evenfoot.dashboard.charts.shades import colour_bar, round_top, shade_of
from evenfoot.dashboard.charts.theme import between, cases_of, points, tokens
from evenfoot.dashboard.charts.zone_marks import ZoneLook, looked_at_by_foot, notes_on, paint, words_of_feet, zone_rows
from evenfoot.dashboard.i18n.translation import _, told

BLUE, ORANGE = "#0072B2", "#D55E00"
"""The two ends, apart for every kind of colour vision; the sign is written as well. [pub: Okabe & Ito 2008]"""

COLUMNS = ("foot", "claw", "zone", "cases", "at_risk", "cases_b", "at_risk_b", "difference", "low", "high")


def zone_differences(first: Answer, second: Answer) -> Answer:
    """Differences of prevalence, zone by zone.

    Parameters
    ----------
    first, second : Answer
        As :func:`evenfoot.dashboard.charts.foot.draw_feet` takes them. A place with no row in one of them counts as no
        case among those looked at on that foot; a foot with no row at all is left out.

    Returns
    -------
    Answer
        ``table``: foot, claw, zone, cases, at_risk, cases_b, at_risk_b, difference (first less second), low,
        high.

    References
    ----------
    Newcombe RG (1998) Statistics in Medicine 17:873-890, method 10 (the interval).
    """
    rows_a, rows_b = zone_rows(first), zone_rows(second)
    seen_a, seen_b = looked_at_by_foot(rows_a), looked_at_by_foot(rows_b)
    rows = []
    for key in zone_polygons():
        if key[0] not in seen_a or key[0] not in seen_b or (key not in rows_a and key not in rows_b):
            continue
        a, b = rows_a.get(key), rows_b.get(key)
        of_a = (a["cases"], a["at_risk"]) if a else (0, seen_a[key[0]])
        of_b = (b["cases"], b["at_risk"]) if b else (0, seen_b[key[0]])
        rows.append((*key, *of_a, *of_b))
    table = pd.DataFrame(rows, columns=list(COLUMNS[:7]))
    cases, at_risk, cases_b, at_risk_b = (table[name].to_numpy(dtype=float) for name in COLUMNS[3:7])
    gap, low, high = difference(cases, at_risk, cases_b, at_risk_b, first.basis.level)
    table = table.assign(difference=gap, low=low, high=high)
    cautions = tuple(dict.fromkeys((*first.cautions, *second.cautions)))
    return Answer("foot-difference", table, first.basis, cautions, ("foot", "claw", "zone"))


def draw_difference(
    first: Answer,
    second: Answer,
    *,
    names: tuple[str, str],
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = None,
    drill: Drill | None = None,
) -> plain.Figure:
    """The four feet, each zone in the colour of the difference; unclear differences are pale and dotted.

    Parameters
    ----------
    first, second : Answer
        As for :func:`zone_differences`. Draw each beside it with one ``highest``, which
        :func:`evenfoot.dashboard.charts.foot.common_top` gives.
    names : tuple of str
        What the two are called.
    theme, narrow, title, drill
        As in the other charts.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    if title is None:
        title = _("Where {a} and {b} differ", a=names[0], b=names[1])
    answer = zone_differences(first, second)
    if answer.empty:
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title)
    top = round_top(float(answer.table["difference"].abs().max()))
    ends = [[0.0, BLUE], [0.5, tokens(theme).faint], [1.0, ORANGE]]
    places = place_feet(narrow)
    neither = _("none recorded in either")
    looks = {
        (foot, claw, zone): ZoneLook(
            neither, carried=drill({"foot": foot, "claw": claw, "zone": zone}) if drill else None
        )
        for foot, claw, zone in zone_polygons()
    }
    for row in answer.table.to_dict("records"):
        claw = None if pd.isna(row["claw"]) else str(row["claw"])
        key = (str(row["foot"]), claw, int(row["zone"]))
        looks[key] = _look({str(k): v for k, v in row.items()}, ends, top, names, first.basis.unit, drill)
    traces = paint(places, looks, theme=theme, type_size=10.5 if narrow else 12, pixels=pixels_of(places, narrow))
    bar = colour_bar(top, theme, narrow, _("Percentage points"), ends=ends, lowest=-top)
    figure = plain.Figure([*traces, words_of_feet(places, theme, narrow), bar])
    sense = _("Plain: more in {a}. Striped: more in {b}.", a=names[0], b=names[1])
    notes = [told(FROM_BELOW), str(sense), *notes_on(looks)]
    return finish_feet(figure, answer, places, title=title, theme=theme, narrow=narrow, notes=notes)


def _look(
    row: dict[str, Any],
    ends: list[list[Any]],
    top: float,
    names: tuple[str, str],
    unit: str,
    drill: Drill | None,
) -> ZoneLook:
    figures = "<br>".join(
        [
            f"{names[0]}: {cases_of(row['cases'], row['at_risk'], unit)}",
            f"{names[1]}: {cases_of(row['cases_b'], row['at_risk_b'], unit)}",
            _(
                "difference {points} points ({interval})",
                points=points(row["difference"]),
                interval=between(points(row["low"]), points(row["high"])),
            ),
        ]
    )
    carried = drill(row) if drill else None
    if row["low"] <= 0 <= row["high"]:
        return ZoneLook(figures, kind="unclear", carried=carried)
    share = (row["difference"] / top + 1) / 2
    colour = str(sample_colorscale(ends, [shade_of(share)])[0])
    stripes = "/" if row["difference"] < 0 else ""
    return ZoneLook(figures, colour, stripes=stripes, label=points(row["difference"]), carried=carried)
