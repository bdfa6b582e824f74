"""Feet beside each other: each as it would be drawn alone, all on one scale, by share or by number."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts.foot import common_top, draw_feet
from evenfoot.dashboard.charts.shades import round_count
from evenfoot.dashboard.pages.comparison_feet import where
from evenfoot.dashboard.pages.feet import drawn_feet, feet_by
from evenfoot.dashboard.pages.lesions import PAGE
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.view import View
from tests.charts.answers import feet
from tests.measures.herds import herd, trim


def colour_bars(figure: Any) -> list[float]:
    return [trace.marker.cmax for trace in figure.data if getattr(trace.marker, "showscale", False)]


@pytest.mark.parametrize(
    ("split", "field", "group"), [("season", "seasons", "winter"), ("housing", "housing", "bedded-pack")]
)
def test_one_of_several_is_what_it_would_be_alone(demo_ledger: Ledger, split: str, field: str, group: str) -> None:
    selection = Selection(farms=("Larkmoor",), visits=("all",))
    answer = foot_map(demo_ledger, selection, by=(split,))
    together = answer.table
    alone = foot_map(demo_ledger, selection.with_(**{field: (group,)}), per=answer.basis.unit).table
    part = together[together[split] == group].drop(columns=split).reset_index(drop=True)
    columns = ["foot", "claw", "zone", "cases", "at_risk", "low", "high"]
    order = ["foot", "zone", "claw"]
    pd.testing.assert_frame_equal(
        part[columns].sort_values(order, ignore_index=True),
        alone[columns].sort_values(order, ignore_index=True),
        check_dtype=False,
    )


@pytest.mark.parametrize("shade", ["", "cases"])
def test_all_on_one_scale_and_each_leads_to_its_own(demo_ledger: Ledger, shade: str) -> None:
    view = View.read("/lesions", f"?farms=Larkmoor&split=season&shade={shade}")
    drawn = feet_by(demo_ledger, view)
    assert isinstance(drawn, Drawn)
    figures = [drawn.figure, *(figure for figure, _ in drawn.beside)]
    assert len(figures) >= 3
    [top] = {tuple(colour_bars(figure)) for figure in figures}
    assert top[0] > 1 if shade else top[0] <= 1
    for figure in figures:
        addresses = [each["to"] for trace in figure.data if trace.customdata is not None for each in trace.customdata]
        assert len({address.split("seasons=")[1].split("&")[0] for address in addresses}) == 1


def test_too_few_to_hold_side_by_side_is_said(demo_ledger: Ledger) -> None:
    view = View.read("/lesions", "?farms=Larkmoor&split=year&since=2025-01-01&until=2025-12-31")
    assert "held side by side" in str(feet_by(demo_ledger, view))
    assert feet_by(demo_ledger, View.read("/lesions", "?farms=Nowhere")).answer.empty


def test_shaded_by_number_says_numbers_and_keeps_the_interval() -> None:
    answer = feet()
    figure = draw_feet(answer, count=True)
    assert colour_bars(figure) == [common_top(answer, count=True)] == [80.0]
    labels = [text for trace in figure.data if trace.mode == "text" for text in trace.text]
    assert "50" in labels and "Number of cows with it" in str(figure.to_plotly_json())
    hover = " ".join(text for trace in figure.data if trace.hovertext is not None for text in trace.hovertext)
    assert "50 of 263 cows, 19.0%" in hover


@pytest.mark.parametrize("highest", [0, 1, 4, 5, 37, 81, 999, 123_456])
def test_the_scale_of_numbers_holds_them_and_splits_evenly(highest: float) -> None:
    top = round_count(highest)
    assert top >= highest and top % 4 == 0 and top <= max(4, 3 * highest)


def test_small_drawings_are_small_on_a_laptop_only() -> None:
    whole, small = (draw_feet(feet(), title="", heading=heading) for heading in ("", "Winter: 12 of 90 cows"))
    assert small.layout.height < 0.75 * whole.layout.height
    assert "Winter: 12 of 90 cows" in small.layout.title.text
    phone = [draw_feet(feet(), title="", heading=heading, narrow=True) for heading in ("", "Winter")]
    assert abs(phone[0].layout.height - phone[1].layout.height) < 100


def test_the_whole_map_follows_the_choice(demo_ledger: Ledger) -> None:
    tops = [
        colour_bars(drawn_feet(demo_ledger, View.read("/lesions", f"?farms=Larkmoor{more}")).figure)[0]
        for more in ("", "&shade=cases")
    ]
    assert tops[0] <= 1 < tops[1]


def test_what_has_no_place_is_said_and_skin_is_shown_by_foot(tmp_path: Path) -> None:
    """Twelve ulcers without a foot are said beside the drawing; no claw is given 0 % of a lesion of the skin."""
    rows = [trim(cow, "SU" if cow < 12 else None) for cow in range(60)]
    rows += [trim(cow, "SU", "LH", claw="lateral", zone=4) for cow in range(20, 23)]
    rows += [trim(cow, "DD", "RH") for cow in range(30, 37)]
    ledger = herd(tmp_path, rows)
    drawn = drawn_feet(ledger, View.read("/lesions", "?lesions=SU"))
    assert "the foot is not recorded: 12 of 60 cows" in drawn.describe
    assert drawn.answer.table["cases"].tolist() == [3, 12]
    skin = drawn_feet(ledger, View.read("/lesions", "?lesions=DD"))
    assert "in cows: RH 7" in skin.describe
    assert "Nothing was recorded" not in skin.describe
    [claws] = [panel for panel in PAGE.panels if panel.name == "lesion-claws"]
    by_foot = claws.draw(ledger, View.read("/lesions", "?lesions=DD")).answer
    assert by_foot.by == ("foot",)
    assert by_foot.table.set_index("foot")["cases"].to_dict() == {"LF": 0, "RF": 0, "LH": 0, "RH": 7}
    ulcers = claws.draw(ledger, View.read("/lesions", "?lesions=SU")).answer.table
    assert ulcers.iloc[-1][["foot", "claw", "cases"]].tolist() == ["not recorded", "not recorded", 12]


def test_a_comparison_draws_the_difference_and_each_group_when_asked(demo_ledger: Ledger) -> None:
    alone = where(demo_ledger, View.read("/comparison", "?farms=Larkmoor&by=season"))
    assert isinstance(alone, Drawn)
    assert not alone.beside
    each = where(demo_ledger, View.read("/comparison", "?farms=Larkmoor&by=season&each=group"))
    assert isinstance(each, Drawn)
    assert len(each.beside) == 2
    [top] = {tuple(colour_bars(figure)) for figure, _ in each.beside}
    assert 0 < top[0] <= 1
    assert each.answer.table.equals(alone.answer.table)
