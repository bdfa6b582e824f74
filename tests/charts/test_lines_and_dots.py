"""Charts of shares: intervals always drawn, the right order, second cues, clicks, words for every mark."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.dashboard.charts.comparison import LIMITS, ratios, risks
from evenfoot.dashboard.charts.cow import timeline
from evenfoot.dashboard.charts.headings import COLUMNS
from evenfoot.dashboard.charts.locomotion import by_group, locomotion, transitions
from evenfoot.dashboard.charts.plain import Figure
from evenfoot.dashboard.charts.prevalence import MOST_ROWS, prevalence
from evenfoot.dashboard.charts.small_multiples import small_multiples
from evenfoot.dashboard.charts.theme import THEMES
from evenfoot.dashboard.charts.trend import trend
from tests.charts import answers
from tests.charts.checked import checked

Draw = Callable[..., Figure]

CHARTS: dict[str, tuple[Draw, Answer]] = {
    "prevalence": (prevalence, answers.lesions()),
    "prevalence-two": (
        prevalence,
        answers.counted(
            ("lesion", "housing"), [(lesion, kept, 20) for lesion in ("SU", "DD") for kept in ("freestall", "pasture")]
        ),
    ),
    "trend": (trend, answers.months()),
    "trend-groups": (trend, answers.months(second=True)),
    "control-chart": (trend, answers.control_chart()),
    "small-multiples": (small_multiples, answers.months(second=True)),
    "locomotion": (locomotion, answers.scorings()),
    "by-group": (by_group, answers.scorings(("freestall", "tie-stall"))),
    "transitions": (transitions, answers.transitions()),
    "risks": (risks, answers.compared()),
    "risks-standardised": (risks, answers.compared(adjusted=True)),
    "ratios": (ratios, answers.compared()),
    "ratios-adjusted": (ratios, answers.compared(adjusted=True)),
}
EVERY = pytest.mark.parametrize("name", CHARTS)


def plain(text: str) -> str:
    """Text without marks and line ends."""
    return re.sub(r"</?span[^>]*>", "", text).replace("<br>", " ")


def everything_said(figure: Figure | go.Figure) -> str:
    figure = checked(figure)
    parts = [figure.layout.title.text or ""]
    parts += [note.text or "" for note in figure.layout.annotations]
    for trace in figure.data:
        parts += [trace.name or "", trace.hovertemplate or ""]
        parts += [str(text) for text in (trace.hovertext if trace.hovertext is not None else [])]
    for axis in (figure.layout.xaxis, figure.layout.yaxis):
        parts += [axis.title.text or "", *(str(text) for text in (axis.ticktext or []))]
    return " ".join(parts)


@EVERY
@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("narrow", [False, True])
def test_draws_in_every_theme_and_width(name: str, theme: str, narrow: bool) -> None:
    draw, answer = CHARTS[name]
    figure = checked(draw(answer, theme=theme, narrow=narrow))
    assert figure.data
    assert figure.layout.height > 150
    assert figure.to_json()
    assert "263 cows" in plain(figure.layout.title.text)
    assert "9 Jan 2024 to 31 Mar 2026" in plain(figure.layout.title.text)


@EVERY
def test_no_column_name_or_code_is_on_screen(name: str) -> None:
    draw, answer = CHARTS[name]
    said = everything_said(draw(answer))
    assert "_" not in said.replace("%{hovertext}", "")
    for column in COLUMNS:
        if "_" in column:
            assert column not in said
    assert "nan" not in said.lower().replace("ordinance", "")


@EVERY
def test_an_empty_answer_is_one_sentence(name: str) -> None:
    draw, answer = CHARTS[name]
    empty = Answer(answer.name, answer.table.iloc[:0], Basis(), (answers.NOTHING,), answer.by)
    figure = checked(draw(empty))
    assert not figure.data
    assert [note.text.replace("<br>", " ") for note in figure.layout.annotations] == [answers.NOTHING]


@EVERY
def test_a_title_left_to_the_page_is_not_drawn(name: str) -> None:
    draw, answer = CHARTS[name]
    assert "263 cows" not in (checked(draw(answer, title="")).layout.title.text or "")
    assert "My own" in checked(draw(answer, title="My own")).layout.title.text


@EVERY
def test_clicks_carry_what_drill_gives(name: str) -> None:
    draw, answer = CHARTS[name]
    figure = checked(draw(answer, drill=lambda row: {"to": str(row[answer.by[0]])}))
    carried = [mark["to"] for trace in figure.data if trace.customdata is not None for mark in trace.customdata]
    assert set(carried) == {str(value) for value in answer.table[answer.by[0]]}
    plain = checked(draw(answer))
    assert all(trace.customdata is None for trace in plain.data)


@EVERY
def test_points_have_their_intervals(name: str) -> None:
    """Every marker trace carries an interval, but tiles, signals and the reference say theirs in words."""
    draw, answer = CHARTS[name]
    drawn = [
        trace
        for trace in checked(draw(answer)).data
        if trace.error_x.array is not None or trace.error_y.array is not None
    ]
    if name in ("transitions", "small-multiples"):
        assert not drawn
        return
    assert drawn
    for trace in drawn:
        bars = trace.error_x if trace.error_x.array is not None else trace.error_y
        assert (np.asarray(bars.array, dtype=float) >= 0).all()
        assert (np.asarray(bars.arrayminus, dtype=float) >= 0).all()
        assert bars.symmetric is False


def test_interval_ends_are_those_of_the_table() -> None:
    answer = answers.lesions()
    trace = checked(prevalence(answer)).data[0]
    assert np.asarray(trace.x) + np.asarray(trace.error_x.array) == pytest.approx(answer.table["high"])
    assert np.asarray(trace.x) - np.asarray(trace.error_x.arrayminus) == pytest.approx(answer.table["low"])


def test_the_commonest_lesion_is_at_the_top() -> None:
    figure = checked(prevalence(answers.lesions()))
    names = list(figure.layout.yaxis.ticktext)
    assert names == ["Heel horn erosion", "Digital dermatitis", "White line disease", "Sole ulcer", "Toe ulcer"]
    assert list(figure.layout.yaxis.tickvals) == [0, -1, -2, -3, -4]


def test_groups_with_an_order_keep_it() -> None:
    figure = checked(prevalence(answers.counted(("season",), [("autumn", 9), ("winter", 1), ("summer", 5)])))
    assert list(figure.layout.yaxis.ticktext) == ["Winter", "Summer", "Autumn"]


def test_too_many_rows_are_cut_and_said() -> None:
    answer = answers.counted(("sire",), [(f"sire {i}", i) for i in range(60)])
    figure = checked(prevalence(answer))
    assert len(figure.layout.yaxis.ticktext) == MOST_ROWS
    assert "The first 40 of 60 are drawn" in plain(figure.layout.title.text)


@pytest.mark.parametrize("name", ["prevalence-two", "trend-groups", "by-group", "locomotion", "risks-standardised"])
def test_series_differ_in_more_than_colour(name: str) -> None:
    draw, answer = CHARTS[name]
    marked = [trace for trace in checked(draw(answer)).data if trace.name and trace.mode == "markers"]
    assert len(marked) == 2
    assert len({trace.marker.symbol for trace in marked}) == 2
    lines = [trace.line.dash for trace in checked(draw(answer)).data if trace.mode == "lines"]
    assert len(set(lines)) == len(lines)


def test_hover_says_cases_share_and_interval() -> None:
    said = everything_said(prevalence(answers.lesions()))
    assert "<b>Sole ulcer</b><br>23 of 263 cows, 8.7% (5.9–12.8%)" in said


def test_a_line_is_broken_where_nothing_was_scored() -> None:
    line = next(trace for trace in checked(locomotion(answers.scorings())).data if trace.mode == "lines")
    assert np.isnan(np.asarray(line.y, dtype=float)).sum() == 1
    assert len(line.x) == 5


def test_groups_lie_beside_each_other() -> None:
    marked = [
        trace for trace in checked(by_group(answers.scorings(("freestall", "pasture")))).data if trace.mode == "markers"
    ]
    assert pd.Timestamp(marked[0].x[0]) < pd.Timestamp("2024-01-01") < pd.Timestamp(marked[1].x[0])


def test_signals_are_ringed_and_limits_drawn() -> None:
    figure = checked(trend(answers.control_chart()))
    names = [trace.name for trace in figure.data]
    assert {"Signal", "Centre line", "Limits of what chance alone explains"} <= set(names)
    ring = next(trace for trace in figure.data if trace.name == "Signal")
    table = answers.control_chart().table
    assert list(ring.y) == list(table.loc[table["signal"], "prevalence"])
    assert len(ring.y) > 0


def test_changes_within_the_period_are_numbered_lines() -> None:
    figure = checked(trend(answers.control_chart()))
    assert len(figure.layout.shapes) == 1
    assert "1: 11 Apr 2024, rubber laid" in figure.layout.title.text
    assert "long ago" not in figure.layout.title.text


def test_small_charts_share_one_scale() -> None:
    figure = checked(small_multiples(answers.months(second=True)))
    ranges = {tuple(axis.range) for axis in figure.select_yaxes()}
    assert len(ranges) == 1
    [names] = [trace for trace in figure.data if trace.mode == "text"]
    assert list(names.text) == ["Freestall (cubicles)", "Tie stall"]
    # Beside each other on one axis of time: the second as far to the right as its name.
    points = next(trace for trace in figure.data if trace.mode == "markers")
    right = pd.Timestamp(names.x[1]) - pd.Timestamp(names.x[0])
    # The intervals are one broken line: up and down from every point.
    whiskers = figure.data[1]
    ends = np.reshape(whiskers.y, (-1, 3))
    assert len(ends) == len(points.x)
    assert (ends[:, 0] <= points.y).all() and (points.y <= ends[:, 1]).all() and (ends[:, 0] < ends[:, 1]).all()
    assert list(whiskers.x[::3]) == list(points.x)
    times = pd.to_datetime(pd.Series(points.x))
    assert set(times[: len(times) // 2] + right) == set(times[len(times) // 2 :])


def test_ratios_are_on_a_doubling_scale_around_one() -> None:
    figure = checked(ratios(answers.compared()))
    assert figure.layout.xaxis.type == "log"
    assert "1" in figure.layout.xaxis.ticktext
    low, high = figure.layout.xaxis.range
    assert 10**low <= LIMITS[0] and 10**high >= 2
    assert figure.layout.shapes[0].x0 == figure.layout.shapes[0].x1 == 1
    assert "Freestall (cubicles) = 1" in figure.layout.xaxis.title.text
    assert "not its cause" in plain(figure.layout.title.text)


def test_ratios_beyond_the_axis_are_arrows() -> None:
    figure = checked(ratios(answers.compared()))
    arrows = [trace for trace in figure.data if isinstance(trace.marker.symbol, (list, tuple))]
    assert list(arrows[0].marker.symbol) == ["triangle-left", "triangle-left"]
    assert set(arrows[0].x) == {LIMITS[0]}
    assert "0.00 (0.00 to 0.59)" in everything_said(figure)


def test_crude_stands_beside_adjusted() -> None:
    names = [trace.name for trace in checked(ratios(answers.compared(adjusted=True))).data if trace.name]
    assert names == ["Not adjusted", "Adjusted odds ratio"]
    said = everything_said(ratios(answers.compared(adjusted=True)))
    assert "no ratio can be given" in said and "not known" not in said
    assert [trace.name for trace in checked(risks(answers.compared(adjusted=True))).data] == [
        "As recorded",
        "Standardised",
    ]


def test_strata_have_a_row_and_a_mark_each_on_one_scale() -> None:
    answer = answers.compared()
    parts = [answer.table.assign(stratum=stratum, cases=[40, 12, 0]) for stratum in ("heifers", "old cows")]
    strata = pd.concat(parts, ignore_index=True)
    answer = Answer("comparison", answer.table, answers.BASIS, (answers.NOTHING,), ("group",), {"strata": strata})
    shares, against = checked(risks(answer)), checked(ratios(answer))
    labels = list(shares.layout.yaxis.ticktext)
    name = labels[0]
    assert labels[:3] == [name, f"{name}: Heifers", f"{name}: Old cows"] and len(labels) == 9
    assert [len(trace.x) for trace in shares.data] == [9]
    # The reference is 1 in every stratum and needs one row only.
    labels = list(against.layout.yaxis.ticktext)
    assert labels[:4] == [name, "Tie stall", "Tie stall: Heifers", "Tie stall: Old cows"] and len(labels) == 7
    assert len(against.data[0].x) == 6
    assert checked(ratios(answer, narrow=True)).data


def test_one_group_cannot_be_compared() -> None:
    answer = answers.compared()
    one = Answer("comparison", answer.table.iloc[:1], answers.BASIS, (answers.NOTHING,), ("group",))
    assert not checked(ratios(one)).data


def test_tiles_say_where_cows_went() -> None:
    said = everything_said(transitions(answers.transitions()))
    assert "Score 1, then 3" in said
    assert "20 of 100 cows, 20.0%" in said
    assert "1  (100 cows)" in said


@pytest.mark.parametrize("narrow", [False, True])
def test_a_cow_has_a_lane_for_every_foot(narrow: bool) -> None:
    figure = checked(timeline(answers.cow(), narrow=narrow, title="Cow 12"))
    lanes = figure.layout.yaxis.ticktext or [note.text for note in figure.layout.annotations]
    said = " ".join(lanes)
    for words in ("Housing", "Calvings", "Locomotion score", "LF", "RH", "Foot not recorded", "What was done"):
        assert words in said
    text = everything_said(figure)
    assert "<b>Sole ulcer</b><br>LH, left hind, Outer claw, Zone 4, sole–bulb junction<br>Severity 3" in text
    assert "severely lame" in text
    assert "block put on" in text.lower()
    assert "SU sole ulcer" in plain(figure.layout.title.text)


def test_two_findings_of_one_day_do_not_hide_each_other() -> None:
    figure = checked(timeline(answers.cow()))
    heights = [y for trace in figure.data if trace.name in ("Horn", "Infectious") for y in trace.y]
    assert len(heights) == len(set(heights)) == 3


def test_many_scores_lose_their_figures_on_a_phone() -> None:
    frames = answers.cow()
    days = pd.date_range("2022-01-01", periods=40, freq="MS")
    frames["scores"] = pd.DataFrame({"visit_date": days, "score": 2, "scale": "1-5", "lame": 0, "severe": 0})
    few = next(t for t in checked(timeline(frames)).data if t.text is not None and "2" in list(t.text))
    assert few.mode == "markers+text"
    assert not any("2" in list(t.text) for t in checked(timeline(frames, narrow=True)).data if t.text is not None)


def test_a_cow_without_records_is_one_sentence() -> None:
    nothing = {name: frame.iloc[:0] for name, frame in answers.cow().items()}
    figure = checked(timeline(nothing))
    assert not figure.data
    assert "Nothing is recorded" in figure.layout.annotations[0].text


def test_a_cow_that_was_only_scored_is_drawn() -> None:
    frames = answers.cow()
    frames |= {name: frames[name].iloc[:0] for name in ("trims", "findings", "calvings")}
    assert checked(timeline(frames)).data
