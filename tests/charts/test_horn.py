"""Charts of horn: every mark has its interval, its words and its place in the order of shedding."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from evenfoot.analytics.domain.shedding import HORN_ZONES, STANDING
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.horn import MEASURES
from evenfoot.dashboard.charts.horn import NAMES, describe, rates, stage_colours, stages, state
from evenfoot.dashboard.charts.shed_claw import describe as describe_claws
from evenfoot.dashboard.charts.shed_claw import look_of, shed_claws
from evenfoot.dashboard.charts.theme import THEMES
from tests.charts.answers import BASIS
from tests.charts.checked import checked

STATE = Answer(
    "horn",
    pd.DataFrame(
        [
            ("pasture", "toe_length_mm", 40, 87.7, 87.1, 88.4, "mm"),
            ("freestall", "toe_length_mm", 90, 84.6, 84.2, 84.9, "mm"),
            ("freestall", "thin_soled", 90, 0.05, 0.02, 0.11, "share"),
            ("pasture", "thin_soled", 1, 0.0, np.nan, np.nan, "share"),
        ],
        columns=["housing", "measure", "n", "mean", "low", "high", "unit"],
    ),
    BASIS,
    (),
    ("housing",),
)
GROWTH = Answer(
    "growth",
    pd.DataFrame(
        [
            ("pasture", "summer", "lateral", 12, 1.6, 1.4, 1.8),
            ("pasture", "spring", "medial", 9, 2.3, 2.0, 2.6),
            ("pasture", "spring", "lateral", 1, 4.4, -0.4, 4.9),
        ],
        columns=["housing", "season", "claw", "pairs", "mm_per_month", "low", "high"],
    ),
    BASIS,
    (),
    ("housing", "season", "claw"),
)


def shed(groups: dict[object, list[int]], by: str) -> Answer:
    rows = [
        (group, stage, feet, feet / sum(counts), max(feet / sum(counts) - 0.1, 0), min(feet / sum(counts) + 0.1, 1))
        for group, counts in groups.items()
        for stage, feet in enumerate(counts)
    ]
    table = pd.DataFrame(rows, columns=[by, "shed_stage", "feet", "share", "low", "high"])
    return Answer("shedding", table.assign(seen=100, cows=50), BASIS, (), (by,))


BY_WETNESS = shed({"mixed": [10, 30, 40, 20, 0, 0], "always-wet": [100, 0, 0, 0, 0, 0]}, "wetness")
BY_MONTH = shed(
    {pd.Timestamp("2026-05-01"): [20, 30, 30, 10, 5, 5], pd.Timestamp("2026-04-01"): [60, 20, 20, 0, 0, 0]}, "month"
)
NOTHING = Answer(
    "horn", pd.DataFrame(columns=["housing", "measure"]), BASIS, (say("Not enough to say."),), ("housing",)
)


def said(figure: go.Figure) -> str:
    parts = [note.text or "" for note in figure.layout.annotations]
    parts += [str(text) for trace in figure.data for text in (trace.hovertext if trace.hovertext is not None else [])]
    return re.sub(r"<[^>]+>", " ", " ".join(parts)).replace("\u00a0", " ")


def test_every_measure_has_a_name() -> None:
    assert list(NAMES) == list(MEASURES)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("narrow", [False, True])
def test_all_are_drawn_in_every_theme(theme: str, narrow: bool) -> None:
    figures = [
        state(STATE, theme=theme, narrow=narrow),
        stages(BY_WETNESS, theme=theme, narrow=narrow),
        rates(GROWTH, theme=theme, narrow=narrow),
        shed_claws(theme=theme, narrow=narrow),
    ]
    assert all(len(figure.data) and figure.layout.height > 100 for figure in figures)


def test_state_draws_one_measure_with_its_intervals() -> None:
    figure = checked(state(STATE))
    dots = figure.data[0]
    assert list(dots.x) == [84.6, 87.7]
    assert np.allclose(dots.error_x.array, [0.3, 0.7]) and np.allclose(dots.error_x.arrayminus, [0.4, 0.6])
    assert "84.6 mm (84.2 to 84.9), 90 claws" in said(figure)
    shares = state(STATE, measure="thin_soled")
    assert "5.0%" in said(shares) and all(text.endswith("%") for text in shares.layout.xaxis.ticktext)
    assert "interval not known" in said(shares)


def test_stages_stack_in_order_to_the_whole() -> None:
    figure = checked(stages(BY_WETNESS))
    assert [trace.name[0] for trace in figure.data] == list("012345")
    assert np.allclose(np.sum([trace.x for trace in figure.data], axis=0), 1)
    assert "Mixed wet and dry" in said(figure) and "30 of 100" in said(figure) and "(20.0\u201340.0%)" in said(figure)
    assert figure.layout.barmode == "stack"


def test_months_run_from_left_to_right_and_down_a_phone() -> None:
    wide, narrow = stages(BY_MONTH), stages(BY_MONTH, narrow=True)
    assert list(wide.data[0].x) == ["Apr 2026", "May 2026"] and wide.data[0].orientation == "v"
    assert list(narrow.data[0].y) == ["Apr 2026", "May 2026"] and narrow.data[0].orientation == "h"


@pytest.mark.parametrize("theme", THEMES)
def test_stage_colours_keep_their_order_in_grey(theme: str) -> None:
    greys = [
        float(np.dot([0.2126, 0.7152, 0.0722], [float(part) for part in re.findall(r"[\d.]+", colour)[:3]]))
        for colour in stage_colours(theme)
    ]
    assert greys in (sorted(greys), sorted(greys, reverse=True))


def test_growth_is_in_the_order_of_the_year_with_the_published_line() -> None:
    figure = checked(rates(GROWTH))
    assert list(figure.data[0].x) == [4.4, 2.3, 1.6] or list(figure.data[0].x) == [2.3, 4.4, 1.6]
    assert "circle-open" in figure.data[0].marker.symbol
    assert any(shape.x0 == shape.x1 == 4.0 for shape in figure.layout.shapes)
    assert figure.layout.xaxis.range[0] < -0.4 < 4.9 < figure.layout.xaxis.range[1]


def test_a_claw_loses_its_horn_from_stage_to_stage() -> None:
    figure = checked(shed_claws())
    zones = [trace for trace in figure.data if trace.fill == "toself"]
    assert len(zones) == 6 * len(HORN_ZONES)
    for stage, known in STANDING.items():
        here = zones[stage * len(HORN_ZONES) : (stage + 1) * len(HORN_ZONES)]
        looks = [trace.text.rsplit(": ", 1)[1] for trace in here]
        assert looks == [look_of(zone, stage) for zone in HORN_ZONES]
        assert looks.count("standing") == len(known.standing)
    assert [trace.name for trace in figure.data[-3:]] == ["standing", "partly shed", "shed"]


def test_claws_say_the_share_of_feet() -> None:
    answer = shed({"all": [50, 20, 10, 10, 5, 5]}, "group")
    assert "50.0%" in said(shed_claws(answer)) and "stage 0 50.0" in describe_claws(answer)


def test_drill_reaches_every_mark() -> None:
    carried = checked(state(STATE, drill=lambda row: {"to": row["housing"]})).data[0].customdata
    assert [each["to"] for each in carried] == ["freestall", "pasture"]
    bars = checked(stages(BY_WETNESS, drill=lambda row: {"to": row["shed_stage"]})).data
    assert bars[3].customdata[0] == {"to": 3}


def test_words_for_a_screen_reader() -> None:
    assert "Highest: Pasture, 87.7 mm" in describe("state", STATE) and "Lowest: Freestall" in describe("state", STATE)
    assert "0 none: 110" in describe("stages", BY_WETNESS)
    assert "Growth of toes in 3 groups" in describe("rates", GROWTH)
    assert describe("state", STATE, "heel_depth_mm").endswith("not recorded for this choice.")


def test_nothing_is_said_in_words() -> None:
    assert describe("state", NOTHING) == "Not enough to say."
    assert "Not enough to say." in said(state(NOTHING))
    assert "Not enough to say." in said(rates(NOTHING)) and "Not enough to say." in said(stages(NOTHING))
