"""The tour is offered where the demo herds are, and nowhere else; its steps lead to pages and farms that are there."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.pages import PAGES
from evenfoot.dashboard.pages.tour import NOWHERE, OUTPUTS, TOURS, tour_parts
from evenfoot.dashboard.ui.view import View
from tests.report.made import herd


def parts(ledger: Ledger, path: str, search: str = "", allowed: tuple[str, ...] | None = None) -> dict[str, object]:
    shown = tour_parts(ledger, View.read(path, search, allowed), PAGES)
    return {f"{each.component_id}.{each.component_property}": value for each, value in zip(OUTPUTS, shown, strict=True)}


def test_three_people_have_six_steps_each_to_pages_and_farms_that_are_there(demo_ledger: Ledger) -> None:
    farms = demo_ledger.farms()
    for _name, steps in TOURS.values():
        assert len(steps) == 6
        assert all(step.path in PAGES and (not step.farm or step.farm in farms) for step in steps)


def test_offered_on_the_first_pages_of_the_demo_alone(demo_ledger: Ledger, tmp_path: Path) -> None:
    for path in ("/", "/today"):
        assert str(parts(demo_ledger, path)["tours.children"]).count("tour=") == 3
    assert parts(demo_ledger, "/lesions")["tours.children"] is None
    own = herd(tmp_path / "own.duckdb", "Larkmoor", 3)
    assert tour_parts(own, View.read("/", "tour=manager-1"), PAGES) == NOWHERE
    assert parts(demo_ledger, "/", "tour=manager-1", ("Larkmoor",))["tour.hidden"] is True, "farms she may not see"


def test_herds_of_those_names_that_are_no_demo_have_none(tmp_path: Path) -> None:
    from tests.sheets import checked, ledger_of

    names = sorted({step.farm for _name, steps in TOURS.values() for step in steps if step.farm})
    rows = [{"visit_date": "2026-03-02", "farm": name, "cow": "1"} for name in names]
    own = ledger_of(tmp_path / "own.duckdb", checked("trims", rows))
    assert set(own.farms()) == set(names)
    assert tour_parts(own, View.read("/", ""), PAGES) == NOWHERE


@pytest.mark.parametrize("wrong", ["manager-0", "manager-7", "manager", "nobody-1", "manager-²", "-1", "manager-01"])
def test_a_step_that_is_none_is_passed_over(demo_ledger: Ledger, wrong: str) -> None:
    assert parts(demo_ledger, "/lesions", f"tour={wrong}")["tour.hidden"] is True


def test_a_step_keeps_period_and_language_and_drops_what_narrows(demo_ledger: Ledger) -> None:
    search = "farms=Larkmoor&since=2025-11-01&until=2026-10-31&lesions=DD&zones=4&cow=7&language=es&theme=night"
    shown = parts(demo_ledger, "/lesions", f"{search}&tour=manager-3")
    address = urlsplit(str(shown["tour-next.href"]))
    assert address.path == "/worklist" and parse_qs(address.query) == {
        "farms": ["Larkmoor"], "since": ["2025-11-01"], "until": ["2026-10-31"], "language": ["es"],
        "theme": ["night"], "tour": ["manager-4"],
    }  # fmt: skip


def test_the_first_step_has_no_back_and_the_last_ends(demo_ledger: Ledger) -> None:
    first, last = (parts(demo_ledger, "/today", f"farms=Larkmoor&tour=manager-{n}") for n in (1, 6))
    assert first["tour-back.hidden"] is True and first["tour-next.children"] == "Next"
    assert last["tour-back.hidden"] is False and last["tour-next.children"] == "End the tour"
    assert urlsplit(str(last["tour-next.href"])).path == "/today" and "tour" not in str(last["tour-next.href"])


def test_the_tour_stays_while_one_looks_round() -> None:
    view = View.read("/worklist", "farms=Larkmoor&tour=manager-4")
    assert "tour=manager-4" in view.to("/horn") and "tour=manager-4" in view.open("/cow", cow="7")
