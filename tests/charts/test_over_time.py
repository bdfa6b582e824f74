"""Months taken together, and year over year: intervals, second cues, words never bolder than the interval."""

from __future__ import annotations

import pandas as pd
import pytest

from evenfoot.analytics.measures.answer import Answer
from evenfoot.dashboard.charts import rolling, years
from evenfoot.dashboard.charts.theme import THEMES
from tests.charts.answers import BASIS, NOTHING, months, with_shares
from tests.charts.checked import checked


def windows() -> Answer:
    table = months().table.assign(from_month=lambda f: f["month"] - pd.DateOffset(months=2))
    return Answer("rolling", table, BASIS, (), ("month",), {"months": months().table})


def of_years() -> Answer:
    days = pd.to_datetime([f"{year}-{month:02d}-01" for year in (2024, 2025, 2026) for month in (1, 2, 9)])
    month_table = with_shares(pd.DataFrame({"month": days, "cases": range(20, 29), "at_risk": 110}))
    table = with_shares(pd.DataFrame({"year": [2026, 2025, 2024], "cases": [81, 72, 63], "at_risk": 330}))
    table = table.assign(
        to_month=9,
        difference=[None, 0.027, 0.055],
        diff_low=[None, -0.03, 0.01],
        diff_high=[None, 0.09, 0.1],
        direction=[None, "unclear", "up"],
    )
    return Answer("years", table, BASIS, (), ("year",), {"months": month_table})


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("narrow", [False, True])
def test_drawn_in_every_theme_and_width(theme: str, narrow: bool) -> None:
    for figure in (
        checked(rolling.rolling(windows(), theme=theme, narrow=narrow)),
        checked(years.years(of_years(), theme=theme, narrow=narrow)),
    ):
        assert figure.layout.height > 200
        assert "263 cows" in figure.layout.title.text
        assert figure.to_json()


def test_the_interval_is_drawn() -> None:
    table = windows().table
    edges = [list(trace.y) for trace in checked(rolling.rolling(windows())).data if trace.mode == "lines"]
    assert list(table["high"]) in edges and list(table["low"]) in edges
    shown = [trace for trace in checked(years.years(of_years())).data if trace.mode == "markers"]
    assert all(trace.error_y.array is not None and len(trace.error_y.array) for trace in shown)


def test_years_differ_in_more_than_colour_and_break_over_gaps() -> None:
    figure = checked(years.years(of_years(), drill=lambda row: {"to": f"{row['month']:%Y-%m}"}))
    points = [trace for trace in figure.data if trace.mode == "markers"]
    lines = [trace for trace in figure.data if trace.mode == "lines"]
    assert len({trace.marker.symbol for trace in points}) == len({trace.line.dash for trace in lines}) == 3
    assert all(None in list(line.x) for line in lines)
    assert [each["to"] for each in points[0].customdata] == ["2024-01", "2024-02", "2024-09"]


def test_sentences_are_never_bolder_than_the_interval() -> None:
    first, unclear, up = years.sentences(of_years())
    assert first.startswith("Jan to Sep 2026: 81 of 330 cows")
    assert unclear.startswith("Not clearly different from the same months of 2025")
    assert up.startswith("More than the same months of 2024") and "+1.0 to +10.0" in up
    few = of_years()
    few.table["direction"] = [None, "too few", "pooled"]
    said = " ".join(years.sentences(few))
    assert "Not enough to compare" in said and "more than" not in said.lower()


def test_in_words_and_with_nothing_to_show() -> None:
    assert "Highest" in rolling.describe(windows()) and "Highest month" in years.describe(of_years())
    nothing = Answer("rolling", pd.DataFrame(), BASIS, (NOTHING,))
    for module in (rolling, years):
        draw = module.rolling if module is rolling else module.years
        assert not [trace for trace in checked(draw(nothing)).data]
        assert module.describe(nothing) == NOTHING
        assert module.describe(Answer("rolling", pd.DataFrame(), BASIS)).startswith("Nothing")
