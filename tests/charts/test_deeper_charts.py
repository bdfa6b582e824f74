"""Charts of signals, changes, recurrence, farms and records: intervals, words, second cues, empty answers."""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections.abc import Callable

import numpy as np
import plotly.graph_objects as go
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.lesions.change_impact import HEADLINE
from evenfoot.dashboard.charts.agreement import agreement
from evenfoot.dashboard.charts.columns import OF_COST, shown
from evenfoot.dashboard.charts.control import control, signals
from evenfoot.dashboard.charts.cost import cost, money
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.family import family
from evenfoot.dashboard.charts.funnel import funnel, is_outside
from evenfoot.dashboard.charts.headings import COLUMNS
from evenfoot.dashboard.charts.impact import impact, term_sentence, terms
from evenfoot.dashboard.charts.incidence import by_month, incidence
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.plain import Figure
from evenfoot.dashboard.charts.planning import planning
from evenfoot.dashboard.charts.quality import completeness, completeness_of, score_shares
from evenfoot.dashboard.charts.season import season
from evenfoot.dashboard.charts.shrunken import shrunken
from evenfoot.dashboard.charts.slope import slope
from evenfoot.dashboard.charts.steps import steps
from evenfoot.dashboard.charts.survival import (
    FEW_CASES,
    FEW_FOLLOWED,
    MOST_GROUPS,
    back_within,
    still_followed,
    survival,
)
from evenfoot.dashboard.charts.theme import THEMES
from tests.charts import deeper_answers as answers
from tests.charts.answers import NOTHING
from tests.charts.checked import checked

Draw = Callable[..., Figure]

CHARTS: dict[str, tuple[Draw, Answer]] = {
    "control": (control, answers.control()),
    "season": (season, answers.season()),
    "slope": (slope, answers.trend()),
    "steps": (steps, answers.steps()),
    "impact": (impact, answers.change()),
    "terms": (terms, answers.change()),
    "incidence": (incidence, answers.incidence()),
    "incidence-months": (by_month, answers.incidence("month")),
    "survival": (survival, answers.recurrence()),
    "back-within": (back_within, answers.recurrence()),
    "funnel": (funnel, answers.farms()),
    "shrunken": (shrunken, answers.farms()),
    "family": (family, answers.families()),
    "cost": (cost, answers.costs()),
    "agreement": (agreement, answers.agreements()),
    "completeness": (completeness, answers.quality()),
    "scores": (score_shares, answers.quality()),
    "planning": (planning, answers.how_many()),
}
EVERY = pytest.mark.parametrize("name", CHARTS)
BANDS = {"control", "impact", "survival", "funnel"}
"""Charts whose doubt is a band."""

WITHOUT = {"completeness", "planning"}
"""Shares of all records there are, and plain sums: nothing is estimated, so there is no interval."""

DESCRIBED = {
    name: ("incidence" if name == "incidence-months" else "survival" if name == "back-within" else name)
    for name in CHARTS
}


def plain(text: str | None) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", text or "").split())


def everything_said(figure: Figure | go.Figure) -> str:
    figure = checked(figure)
    parts = [figure.layout.title.text or ""]
    for trace in figure.data:
        parts += [trace.name or "", *(str(text) for text in (trace.hovertext if trace.hovertext is not None else ()))]
    parts += [note.text for note in figure.layout.annotations]
    for axis in (figure.layout.xaxis, figure.layout.yaxis):
        parts += [axis.title.text or "", *(str(text) for text in (axis.ticktext or []))]
    return plain(" ".join(parts))


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
def test_no_column_name_or_missing_number_is_on_screen(name: str) -> None:
    draw, answer = CHARTS[name]
    said = everything_said(draw(answer))
    assert "_" not in said
    for column in COLUMNS:
        if "_" in column:
            assert column not in said
    assert not re.search(r"\bnan\b", said.lower())


@EVERY
def test_an_empty_answer_is_one_sentence(name: str) -> None:
    draw, answer = CHARTS[name]
    empty = Answer(
        answer.name,
        answer.table.iloc[:0],
        Basis(),
        (NOTHING,),
        answer.by,
        {key: frame.iloc[:0] for key, frame in answer.extra.items()},
    )
    figure = checked(draw(empty))
    assert not figure.data
    assert [note.text.replace("<br>", " ") for note in figure.layout.annotations] == [NOTHING]
    assert describe(DESCRIBED[name], empty) == NOTHING


@EVERY
def test_a_title_left_to_the_page_is_not_drawn(name: str) -> None:
    draw, answer = CHARTS[name]
    assert "263 cows" not in (checked(draw(answer, title="")).layout.title.text or "")
    assert "My own" in checked(draw(answer, title="My own")).layout.title.text


@EVERY
def test_doubt_is_drawn(name: str) -> None:
    draw, answer = CHARTS[name]
    figure = checked(draw(answer))
    bars = [
        each
        for trace in figure.data
        if trace.type in ("scatter", "bar")
        for each in (trace.error_x, trace.error_y)
        if each.array is not None
    ]
    bands = [trace for trace in figure.data if trace.fill == "tonexty"] if name not in ("cost",) else []
    if name in WITHOUT:
        assert not bars
        return
    assert bands if name in BANDS else bars
    for each in bars:
        assert each.symmetric is False
        assert (np.asarray(each.array, dtype=float) >= -1e-12).all()
        assert (np.asarray(each.arrayminus, dtype=float) >= -1e-12).all()


@EVERY
def test_the_words_give_numbers_and_basis(name: str) -> None:
    _, answer = CHARTS[name]
    said = describe(DESCRIBED[name], answer)
    assert re.search(r"\d", said.partition("263 cows")[0])
    assert said.endswith("95% intervals.")
    assert "_" not in said


def test_an_unknown_chart_is_refused() -> None:
    with pytest.raises(UserError, match="no chart 'pie'"):
        describe("pie", answers.costs())


def test_clicks_carry_what_drill_gives() -> None:
    for draw, answer, column in (
        (incidence, answers.incidence(), "lesion"),
        (funnel, answers.farms(), "farm"),
        (shrunken, answers.farms(), "farm"),
        (cost, answers.costs(), "lesion"),
        (back_within, answers.recurrence(), "lesion"),
    ):
        figure = checked(draw(answer, drill=lambda row, column=column: {"to": row[column]}))
        carried = {mark["to"] for trace in figure.data if trace.customdata is not None for mark in trace.customdata}
        drawn = answer.table
        if "rate_per_100" in drawn:
            drawn = drawn[drawn["rate_per_100"].notna()]
        if draw is back_within:
            drawn = drawn[drawn["at_risk"] >= FEW_CASES]
        if "cost" in drawn:
            drawn = drawn[drawn["cost"].notna()]
        assert carried == set(drawn[column])
        assert all(trace.customdata is None for trace in checked(draw(answer)).data)


def test_slopes_drill_to_farms_only() -> None:
    figure = checked(slope(answers.trend(), drill=lambda row: {"to": row["farm"]}))
    assert [mark and mark["to"] for mark in figure.data[0].customdata] == [None, "South", "North"]


# A month with a signal has a mark of another shape and a word, not only a colour.
def test_signals_have_a_shape_and_a_word() -> None:
    figure = checked(control(answers.control()))
    told = signals(answers.control())
    assert list(told["side"]) == ["lower", "higher"]
    marked = next(trace for trace in figure.data if trace.name == "Signal")
    assert marked.marker.symbol == "diamond-open"
    assert sorted(marked.y) == pytest.approx(sorted(told["prevalence"]))
    words = {note.text: note for note in figure.layout.annotations if note.text in ("higher", "lower")}
    assert set(words) == {"higher", "lower"}
    assert words["higher"].yshift > 0 > words["lower"].yshift


def test_without_signals_none_is_marked() -> None:
    answer = answers.control()
    quiet = dataclasses.replace(answer, table=answer.table.assign(signal=""))
    assert signals(quiet).empty
    assert all(trace.name != "Signal" for trace in checked(control(quiet)).data)
    assert "No month has a signal." in describe("control", quiet)


def test_survival_groups_differ_in_dash_and_marker() -> None:
    figure = checked(survival(answers.recurrence()))
    lines = [trace for trace in figure.data if trace.name and trace.mode == "lines" and trace.showlegend]
    assert [line.name for line in lines] == [
        "Digital dermatitis",
        "White line disease",
        "Sole ulcer",
        "Heel horn erosion",
    ]
    assert len({line.line.dash for line in lines}) == len(lines) == MOST_GROUPS
    ends = [trace.marker.symbol for trace in figure.data if trace.mode == "markers"]
    assert len(set(ends)) == len(lines)


def test_numbers_still_followed_never_rise_and_begin_whole() -> None:
    curve = answers.recurrence().extra["curve"]
    part = curve[curve["lesion"] == "DD"]
    followed = [still_followed(part, day) for day in range(0, 1300, 50)]
    assert followed[0] == 200
    assert all(a >= b for a, b in itertools.pairwise(followed))
    assert followed[-1] == 0
    said = [note.text for note in checked(survival(answers.recurrence())).layout.annotations]
    assert "● 200" in said


def test_a_curve_stops_where_hardly_anybody_is_followed() -> None:
    figure = checked(survival(answers.recurrence()))
    curve = answers.recurrence().extra["curve"]
    drawn = next(trace for trace in figure.data if trace.name == "Sole ulcer" and trace.showlegend)
    kept = curve[(curve["lesion"] == "SU") & (curve["at_risk"] >= FEW_FOLLOWED)]
    assert max(drawn.x) == kept["time"].max() < curve["time"].max()


def test_the_line_without_the_change_is_dashed_and_only_after_it() -> None:
    answer = answers.change()
    figure = checked(impact(answer))
    without = next(trace for trace in figure.data if trace.name == "Had it gone on as before")
    assert without.line.dash == "dash"
    assert len(without.x) == int(answer.extra["series"]["counterfactual"].notna().sum())
    assert any("change, 1 Oct 2024" in note.text for note in figure.layout.annotations)


def test_too_few_months_are_drawn_but_nothing_is_claimed() -> None:
    answer = dataclasses.replace(answers.change(enough=False), cautions=(NOTHING,))
    assert checked(impact(answer)).data
    figure = checked(terms(answer))
    assert not figure.data
    assert term_sentence(answer.table.iloc[1].to_dict()) == "not enough to say"


def test_only_odds_ratios_stand_on_the_axis_of_ratios() -> None:
    figure = checked(terms(answers.change()))
    assert list(figure.layout.yaxis.ticktext) == [
        "First 12 months after, against going on as before",
        "Just after, against what was expected",
    ]
    assert figure.layout.xaxis.type == "log"


def test_points_and_shares_read_as_such() -> None:
    rows = {row["term"]: term_sentence(row) for row in answers.change().table.to_dict("records")}
    assert rows["share before"] == "26.0% (23.0–30.0%)"
    assert rows["percentage points, first 12 months after the change"] == "−24.3 percentage points (−51.7 to +3.1)"
    assert rows[HEADLINE] == "odds 0.59 times as high (0.47 to 0.75), p under 0.001"


def test_farms_outside_the_limits_have_a_shape_and_a_word() -> None:
    figure = checked(funnel(answers.farms()))
    dots = next(trace for trace in figure.data if trace.name == "Farm")
    rows = answers.farms().table.sort_values("at_risk").to_dict("records")
    assert [symbol == "diamond" for symbol in dots.marker.symbol] == [is_outside(row) for row in rows]
    said = [note.text for note in figure.layout.annotations]
    assert {"North, above", "West, below", "South", "East"} == set(said)


def test_funnel_limits_pass_through_those_of_the_farms() -> None:
    answer = answers.farms()
    upper = checked(funnel(answer)).data[0]
    for row in answer.table.to_dict("records"):
        assert np.interp(row["at_risk"], upper.x, upper.y) == pytest.approx(row["funnel_high"], abs=2e-3)


def test_of_many_farms_only_those_outside_are_named() -> None:
    answer = answers.farms()
    table = answer.table.loc[answer.table.index.repeat(5)].reset_index(drop=True)
    table = table.assign(farm=[f"Farm {i}" for i in range(len(table))])
    figure = checked(funnel(dataclasses.replace(answer, table=table)))
    assert len(figure.layout.annotations) == int((table["outside"] != "").sum())


def test_recorded_shares_lie_on_the_rows_of_their_dots() -> None:
    for narrow in (False, True):
        figure = checked(shrunken(answers.farms(), narrow=narrow))
        dots, squares = figure.data
        assert list(squares.y) == list(dots.y)
        assert squares.marker.symbol == "square-open"
        assert list(dots.x) == sorted(dots.x)


def test_lesions_without_a_price_are_left_to_the_table() -> None:
    figure = checked(cost(answers.costs()))
    assert list(figure.layout.yaxis.ticktext) == ["Digital dermatitis", "Sole ulcer"]
    assert figure.layout.xaxis.title.text == "Cost in USD 2018"
    assert money(0, "EUR") == "0 EUR"
    assert money(1_234_567, "EUR") == "1,230,000 EUR"


def test_of_graded_scores_the_weighted_kappa_is_drawn_and_missing_ones_are_not() -> None:
    figure = checked(agreement(answers.agreements()))
    assert list(figure.layout.yaxis.ticktext) == ["AB and CD, score 1–5", "AB and CD, lame or not"]
    assert list(figure.data[0].marker.symbol) == ["diamond", "circle"]
    assert list(figure.data[0].x) == [0.5, 0.4]


def test_completeness_is_of_the_whole_period_and_says_its_percentages() -> None:
    cells = completeness_of(answers.quality()).set_index(["field", "trimmer"])
    assert cells.loc[("zone", "AB"), "share"] == pytest.approx(0.80)
    assert cells.loc[("zone", "AB"), "n"] == 100
    said = [note.text for note in checked(completeness(answers.quality())).layout.annotations]
    assert sorted(said) == ["100%", "40%", "80%"]


def test_scorers_differ_in_marker() -> None:
    figure = checked(score_shares(answers.quality()))
    assert len({trace.marker.symbol for trace in figure.data}) == 2
    assert list(figure.layout.xaxis.ticktext) == ["1<br>scale 1–5", "2"]


def test_numbers_needed_are_written_beside_their_dots() -> None:
    figure = checked(planning(answers.how_many()))
    assert {trace.name for trace in figure.data} == {"To see it fall", "To see it rise"}
    assert len({trace.line.dash for trace in figure.data}) == len({trace.marker.symbol for trace in figure.data}) == 2
    assert [list(trace.text) for trace in figure.data] == [["900", "200"], ["1,000", "260"]]
    assert any(note.text == "263 cows at hand" for note in figure.layout.annotations)


def test_money_is_not_read_as_a_share() -> None:
    table = shown(answers.costs(), OF_COST).table
    assert "low" not in table
    assert value_label("cost_low", table["cost_low"].iloc[0]) == "7,000"
    assert value_label("low", 0.07) == "7.0%"


def test_names_of_farms_that_are_alike_do_not_lie_on_each_other() -> None:
    answer = answers.farms()
    table = answer.table.iloc[[1, 1, 1, 0]].assign(farm=["North", "South", "East", "Far"], at_risk=[198, 200, 202, 60])
    figure = checked(funnel(dataclasses.replace(answer, table=table.reset_index(drop=True))))
    places = {
        (note.xanchor, note.yshift) for note in figure.layout.annotations if note.text in ("North", "South", "East")
    }
    assert len(places) == 3
