"""The drawn feet: colours, words, clicks, and what is said of places without records."""

from __future__ import annotations

import re

import numpy as np
import plotly.graph_objects as go
import pytest

from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.dashboard.charts.foot import common_top, draw_feet
from evenfoot.dashboard.charts.foot_difference import draw_difference, zone_differences
from evenfoot.dashboard.charts.plain import Figure
from evenfoot.dashboard.charts.shades import colour_of, ink_on
from evenfoot.dashboard.charts.zone_marks import zone_rows
from tests.charts.answers import BASIS, NOTHING, counted, feet
from tests.charts.checked import checked


def words(figure: Figure | go.Figure) -> str:
    figure = checked(figure)
    texts = [figure.layout.title.text or "", *(note.text for note in figure.layout.annotations)]
    texts += [text for trace in figure.data if trace.mode == "text" for text in trace.text]
    return re.sub(r"</?span[^>]*>", "", " ".join(text for text in texts if text)).replace("<br>", " ")


def written(figure: go.Figure) -> dict[str, float]:
    """The words on a drawing, and how far to the right each stands."""
    traces = [trace for trace in figure.data if trace.mode == "text"]
    return {text: x for trace in traces for text, x in zip(trace.text, trace.x, strict=True)}


def hovers(figure: go.Figure) -> list[str]:
    """What is said of each place that can be pointed at, once."""
    return list(dict.fromkeys(text for trace in figure.data if trace.hovertext is not None for text in trace.hovertext))


def test_every_zone_can_be_pointed_at_and_says_its_interval() -> None:
    figure = checked(draw_feet(feet()))
    said = hovers(figure)
    assert len(said) == 80
    wanted = "<b>LH outer claw, zone 4, sole–bulb junction</b><br>50 of 263 cows, 19.0% (14.7–24.2%)"
    assert any(text.startswith(wanted) for text in said)


def test_a_click_carries_what_drill_gives() -> None:
    figure = checked(draw_feet(feet(), drill=lambda row: {"to": f"{row['foot']}-{row['claw']}-{row['zone']}"}))
    [hits] = [trace for trace in figure.data if trace.customdata is not None]
    assert len(hits.customdata) == len(hits.x) == len(hits.hovertext)
    carried = {mark["to"] for mark in hits.customdata}
    assert len(carried) == 80
    assert {"LH-lateral-4", "RF-medial-9", "LH-None-10"} <= carried
    said = {"lateral": "outer claw", "medial": "inner claw"}
    for mark, text in zip(hits.customdata, hits.hovertext, strict=True):
        foot, claw, zone = mark["to"].split("-")
        assert text.startswith(f"<b>{foot} {said[claw]}, zone {zone}," if claw in said else f"<b>{foot}, zone {zone},")


def test_the_commonest_zone_has_the_end_of_the_scale() -> None:
    figure = checked(
        draw_feet(counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 200), ("LF", "medial", 4, 10)], 200))
    )
    fills = {trace.fillcolor for trace in figure.data}
    assert colour_of(1.0, 1.0) in fills
    assert colour_of(0.05, 1.0) in fills


@pytest.mark.parametrize("theme", ["paper", "contrast"])
def test_more_is_darker_on_paper(theme: str) -> None:
    """So that the order survives in grey print."""
    assert grey(colour_of(0.9, 1.0, theme)) < grey(colour_of(0.5, 1.0, theme)) < grey(colour_of(0.1, 1.0, theme))
    assert grey(colour_of(0.9, 1.0, "night")) > grey(colour_of(0.1, 1.0, "night"))


def grey(colour: str) -> float:
    return float(np.dot([0.299, 0.587, 0.114], [float(part) for part in colour[4:-1].split(",")]))


def test_figures_in_zones_can_be_read_on_their_colour() -> None:
    for share in np.linspace(0, 1, 21):
        colour = colour_of(float(share), 1.0)
        ink = 255.0 if ink_on(colour) == "#FFFFFF" else 17.0
        assert abs(ink - grey(colour)) > 105


def test_places_without_records_are_told_from_places_with_none_found() -> None:
    answer = counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 50)])
    figure = checked(draw_feet(answer))
    said = " ".join(hovers(figure))
    assert "none recorded: 0 of 263 cows" in said
    assert "nothing recorded on this foot" in said
    assert "Pale: none recorded." in words(figure)
    assert "Hatched: nothing recorded on that foot." in words(figure)
    assert [trace for trace in figure.data if trace.fillpattern.shape == "/"]


def test_the_picture_says_how_it_is_seen_and_names_every_foot_and_claw() -> None:
    for narrow in (False, True):
        said = words(draw_feet(feet(), narrow=narrow))
        assert "left front" in said and "right hind" in said
        assert said.count("outer") == 4 and said.count("inner") == 4
        assert "Seen from below" in said
        assert "263 cows" in said


def test_left_feet_are_at_the_right() -> None:
    at = written(draw_feet(feet()))
    assert at["<b>LF</b> left front"] > at["<b>RF</b> right front"]
    assert at["<b>LH</b> left hind"] > at["<b>RH</b> right hind"]


def test_other_zones_are_counted_in_words() -> None:
    assert "3 cases in other zones" in words(draw_feet(feet()))


def test_shared_zones_are_drawn_whichever_claw_the_table_names() -> None:
    named = counted(("foot", "claw", "zone"), [("LH", "lateral", 10, 5), ("LH", "medial", 10, 9)])
    assert zone_rows(named)["LH", None, 10]["cases"] == 9


def test_nothing_to_draw_is_one_sentence() -> None:
    empty = Answer("foot-map", feet().table.iloc[:0], Basis(), (NOTHING,), ("foot", "claw", "zone"))
    figure = draw_feet(empty)
    assert not figure.data
    assert figure.layout.annotations[0].text.replace("<br>", " ") == NOTHING


def test_two_drawings_can_share_a_scale() -> None:
    rare = counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 2)])
    top = common_top(feet(), rare)
    assert top == common_top(feet())
    bars = [trace.marker.cmax for trace in checked(draw_feet(rare, highest=top)).data if trace.marker.showscale]
    assert bars == [top]


def test_differences_are_newcombe_intervals() -> None:
    """56 of 70 less 48 of 80: 0.2, 0.0524 to 0.3339. [pub: Newcombe 1998, Stat Med 17:873]"""
    first = counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 56)], 70)
    second = counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 48)], 80)
    row = zone_differences(first, second).table.iloc[0]
    assert row["difference"] == pytest.approx(0.2)
    assert row["low"] == pytest.approx(0.0524, abs=5e-5)
    assert row["high"] == pytest.approx(0.3339, abs=5e-5)


def test_a_place_missing_in_one_group_is_none_of_those_looked_at() -> None:
    first = counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 50), ("LH", "lateral", 6, 8)], 100)
    second = counted(("foot", "claw", "zone"), [("LH", "lateral", 4, 50)], 90)
    table = zone_differences(first, second).table.set_index("zone")
    assert table.loc[6, "cases_b"] == 0 and table.loc[6, "at_risk_b"] == 90
    assert set(table["foot"]) == {"LH"}


def test_unclear_differences_are_not_coloured_and_less_is_striped() -> None:
    first = counted(
        ("foot", "claw", "zone"), [("LH", "lateral", 4, 80), ("LH", "medial", 4, 20), ("RH", "lateral", 4, 5)]
    )
    second = counted(
        ("foot", "claw", "zone"), [("LH", "lateral", 4, 20), ("LH", "medial", 4, 21), ("RH", "lateral", 4, 90)]
    )
    figure = checked(draw_difference(first, second, names=("Freestall", "Tie stall")))
    shapes = [trace.fillpattern.shape for trace in figure.data if trace.fill == "toself"]
    assert shapes.count("/") == 1
    assert shapes.count(".") == 1
    said = words(figure)
    assert "+22.8" in said and "−32.3" in said
    assert "the interval includes 0" in said
    assert "Plain: more in Freestall" in said


def test_basis_is_kept() -> None:
    assert zone_differences(feet(), feet()).basis == BASIS


def test_drawings_are_as_plotly_wants_them() -> None:
    answer = feet()
    for figure in (draw_feet(answer), draw_feet(answer, narrow=True, heading="Winter", count=True)):
        checked(figure)
