"""Every panel of every page, for whole, tiny, part-herd and empty choices: drawn, or said in words."""

from __future__ import annotations

from typing import Any

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.pages import PAGES, PANELS
from evenfoot.dashboard.ui.panel_contents import certainty, filled
from evenfoot.dashboard.ui.shell import chips, navigation, trail
from evenfoot.dashboard.ui.view import View

CHOICES = {
    "one farm": "?farms=Nether+Ash",
    "a drill": "?farms=Larkmoor&lesions=SU&feet=RH&claws=lateral&zones=4",
    "part-herd": "?farms=Larkmoor&visits=part-herd",
    "tiny": "?farms=Larkmoor&cows=1420&cows=1222",
    "empty": "?farms=Nowhere",
    "before all records": "?since=1999-01-01&until=1999-12-31",
}


BASE = [name for name in PANELS if name.split("-")[0] in ("herd", "lesion", "locomotion", "comparison", "cow")]


def words_of(part: Any) -> str:
    """All text of a component tree."""
    if part is None:
        return ""
    if isinstance(part, (str, int, float)):
        return str(part)
    if isinstance(part, (list, tuple)):
        return " ".join(words_of(each) for each in part)
    return words_of(getattr(part, "children", None))


def shown(name: str, ledger: Ledger, search: str) -> str:
    panel = PANELS[name]
    path = next(page.path for page in PAGES.values() if panel in page.panels)
    view = View.read(path, search + "&cow=1420")
    drawn = panel.draw(ledger, view)
    return words_of([filled(panel, drawn, view), certainty(panel, drawn, view)])


@pytest.mark.parametrize("choice", list(CHOICES))
@pytest.mark.parametrize(
    "name", [name for name in PANELS if name.split("-")[0] in ("herd", "lesion", "locomotion", "comparison", "cow")]
)
def test_every_panel_says_something(demo_ledger: Ledger, name: str, choice: str) -> None:
    text = shown(name, demo_ledger, CHOICES[choice])
    assert len(text.strip()) > 10
    for raw in ("at_risk", "n_visits", "lame_prevalence", "risk_ratio", "NaN", "None", "nan"):
        assert raw not in text, raw


def test_part_herd_choices_say_that_they_overstate(demo_ledger: Ledger) -> None:
    assert "overstate" in shown("lesion-types", demo_ledger, CHOICES["part-herd"])


def test_tiny_choices_say_that_it_is_not_enough(demo_ledger: Ledger) -> None:
    assert "ot enough to say" in shown("lesion-types", demo_ledger, CHOICES["tiny"])


def test_empty_choices_say_why(demo_ledger: Ledger) -> None:
    assert "Nothing was recorded" in shown("lesion-types", demo_ledger, CHOICES["empty"])


@pytest.mark.parametrize("choice", list(CHOICES))
def test_the_address_holds_everything(choice: str) -> None:
    view = View.read("/lesions", CHOICES[choice])
    again = View.read(*view.href.split("?")[:1], "?" + view.href.partition("?")[2])
    assert again == view


def test_the_way_back_up_and_the_chips() -> None:
    view = View.read("/lesions", CHOICES["a drill"])
    steps = PAGES["/lesions"].trail(view)  # type: ignore[misc]
    assert [words for words, _ in steps] == [
        "All lesions",
        "Sole ulcer",
        "RH Outer claw",
        "Zone 4, sole\N{EN DASH}bulb junction",
    ]
    assert View.read("/lesions", steps[0][1].partition("?")[2]).selection.lesions == ()
    assert "Sole ulcer" in words_of(trail(steps)) and "Sole ulcer" in words_of(chips(view))


def test_navigation_keeps_farm_and_period_and_leaves_the_drill() -> None:
    view = View.read("/lesions", CHOICES["a drill"] + "&since=2026-01-01")
    links = [link for line in navigation(PAGES, view) for link in line.children]
    locomotion = next(link for link in links if link.children == "Locomotion")
    assert "farms=Larkmoor" in locomotion.href and "since=2026-01-01" in locomotion.href
    assert "lesions" not in locomotion.href.partition("?")[2]
