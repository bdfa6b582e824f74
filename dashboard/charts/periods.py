"""The time axis: months, quarters and years, and lines that do not run across what was not looked at."""

from __future__ import annotations

import itertools
import math

import pandas as pd

from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.theme import rgba, tokens

GAP = 4
"""A line is not drawn across more than this many of the usual steps without records.
[common practice, no source]"""

BESIDE = 0.09
"""How far groups lie beside each other, as a share of the usual step."""

BESIDE_EACH_OTHER = "beside"
"""Under this a figure says by how many days each of its charts lies to the right of the first, on one axis of time."""

_MONTH = pd.Timedelta(days=30)


def usual_step(periods: pd.Series) -> pd.Timedelta:
    """The commonest distance between periods with records."""
    values = sorted(set(periods))
    return min((after - before for before, after in itertools.pairwise(values)), default=_MONTH)


def dated(periods: pd.Series) -> bool:
    """Whether the periods are dates, and not years."""
    return bool(pd.api.types.is_datetime64_any_dtype(periods))


def period_words(period: object, periods: pd.Series) -> str:
    """A period in words: a quarter where all periods begin quarters, a month otherwise.

    Examples
    --------
    >>> months = pd.Series(pd.to_datetime(["2026-01-01", "2026-02-01"]))
    >>> period_words(months[1], months), period_words(2026, pd.Series([2025, 2026]))
    ('Feb 2026', '2026')
    """
    return value_label(period_kind(periods), period)


def period_kind(periods: pd.Series) -> str:
    """Whether periods are each a ``month``, ``quarter`` or ``year``; to be asked once for many of them."""
    if not dated(periods):
        return "year"
    return "quarter" if usual_step(periods).days > 80 and set(periods.dt.month) <= {1, 4, 7, 10} else "month"


def shifted(periods: pd.Series, beside: float) -> pd.Series:
    """Periods moved a little, so that the intervals of several groups can be told apart."""
    if not beside:
        return periods
    if dated(periods):
        return periods + usual_step(periods) * (BESIDE * beside)
    return periods + BESIDE * beside


def with_gaps(periods: pd.Series, values: pd.Series) -> tuple[list[object], list[float]]:
    """The series with an empty point wherever a long stretch has no records.

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2025-01-01", "2025-02-01", "2025-11-01"]))
    >>> with_gaps(days, pd.Series([0.1, 0.2, 0.3]))[1]
    [0.1, 0.2, nan, 0.3]
    """
    x: list[object] = []
    y: list[float] = []
    longest = usual_step(periods) * GAP if dated(periods) else 1
    for i, (period, value) in enumerate(zip(periods, values, strict=True)):
        if i and period - periods.iloc[i - 1] > longest:
            x.append(period - (pd.Timedelta(days=1) if dated(periods) else 0.5))
            y.append(math.nan)
        x.append(period)
        y.append(float(value))
    return x, y


def period_axis(figure: plain.Figure, periods: pd.Series, narrow: bool) -> None:
    """Months with the year under them, or plain years."""
    if dated(periods):
        figure.update_xaxes(
            tickformatstops=[
                {"dtickrange": ["M1", "M11"], "value": "%b\n%Y"},
                {"dtickrange": ["M12", None], "value": "%Y"},
                {"dtickrange": [None, "M1"], "value": "%e %b\n%Y"},
            ],
            nticks=6 if narrow else 12,
            showgrid=False,
            type="date",
        )
    else:
        figure.update_xaxes(tickmode="array", tickvals=sorted(set(periods)), tickformat="d", showgrid=False)


def mark_stretch(figure: plain.Figure, first: pd.Timestamp, last: pd.Timestamp, theme: str) -> None:
    """A band over a chosen stretch of time, with an edge so that it does not rest on shade alone."""
    axes = [axis for axis in figure.axes("x") if axis.type == "date"]
    if not axes:
        return
    t = tokens(theme)
    # Points of a month stand on its first day, so the band reaches half a step to the left.
    half = pd.Timedelta(days=15)
    for days in (figure.layout.meta or {}).get(BESIDE_EACH_OTHER, [0]):
        right = pd.Timedelta(days=days)
        figure.add_vrect(
            x0=first - half + right,
            x1=max(last - half, first + half) + right,
            fillcolor=rgba(t.accent, 0.10),
            line={"color": t.accent, "width": 1, "dash": "dot"},
            layer="below",
        )
