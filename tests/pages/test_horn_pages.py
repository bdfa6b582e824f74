"""The pages of horn, of who is due and of the plan, each panel drawn on the demo herds and on nothing."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.pages import horn, plan, worklist
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.panel_contents import certainty, filled
from evenfoot.dashboard.ui.view import View
from tests.sheets import checked, ledger_of

PAGES: tuple[Page, ...] = (horn.PAGE, worklist.PAGE, plan.PAGE)
PANELS = [(page, panel) for page in PAGES for panel in page.panels]


def text_of(component: Any) -> str:
    """All text and labels in Dash components."""
    if component is None:
        return ""
    if isinstance(component, (list, tuple)):
        return " ".join(text_of(each) for each in component)
    if hasattr(component, "to_plotly_json"):
        props = component.to_plotly_json()["props"]
        return " ".join([text_of(props.get("children")), str(props.get("aria-label", "")), str(props.get("href", ""))])
    return str(component)


def shown(panel: Panel, ledger: Ledger, view: View) -> str:
    drawn = panel.draw(ledger, view)
    return text_of([filled(panel, drawn, view), certainty(panel, drawn, view)])


@pytest.mark.parametrize(("page", "panel"), PANELS, ids=[panel.name for _, panel in PANELS])
def test_every_panel_on_one_farm(page: Page, panel: Panel, demo_ledger: Ledger) -> None:
    view = View(page.path, Selection(farms=("Nether Ash",)))
    assert len(shown(panel, demo_ledger, view)) > 80


@pytest.mark.parametrize(("page", "panel"), PANELS, ids=[panel.name for _, panel in PANELS])
def test_every_panel_where_nothing_is_recorded(page: Page, panel: Panel, tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "n.duckdb", checked("changes", [{"farm": "Ash", "date": "2026-01-01", "what": "x"}]))
    text = shown(panel, ledger, View(page.path, Selection()))
    assert "ot enough to say" in text or "Nothing was recorded" in text or "No toe" in text


def test_choices_are_kept_in_the_address() -> None:
    view = View.read("/horn", "?measure=thin_soled&by=season&cows_a_day=20&on=2026-01-31")
    assert view.options == {"measure": "thin_soled", "by": "season", "cows_a_day": "20", "on": "2026-01-31"}
    nonsense = View.read("/horn", "?measure=x&by=y")
    assert "Toe length" in text_of(horn.PAGE.choices(open_ledger("nowhere.duckdb"), nonsense)) or nonsense.options


def test_horn_shows_the_measure_and_group_asked_for(demo_ledger: Ledger) -> None:
    view = View.read("/horn", "?measure=thin_soled&by=season&farms=Long+Heath")
    drawn = horn.PAGE.panels[0].draw(demo_ledger, view)
    assert list(drawn.answer.table)[:5] == ["season", "n", "share", "low", "high"]
    view = View.read("/horn", "?measure=heel_depth_mm&farms=Long+Heath")
    drawn = horn.PAGE.panels[0].draw(demo_ledger, view)
    assert list(drawn.answer.table)[:5] == ["housing", "n", "mean", "mean_low", "mean_high"]


def test_a_cow_on_the_list_leads_to_her_page(demo_ledger: Ledger) -> None:
    view = View("/worklist", Selection(farms=("Nether Ash",)))
    drawn = worklist.PAGE.panels[0].draw(demo_ledger, view)
    row = drawn.answer.table.iloc[0].to_dict()
    assert drawn.rows_to(row) == f"/cow?farms=Nether+Ash&cow={row['cow']}"
    assert "for the veterinarian" in text_of(drawn.lead)


def test_the_address_says_what_day_a_list_is_of_and_the_period_does_not(demo_ledger: Ledger) -> None:
    for search, said in (
        ("", "As of 2026-10-31, which is taken as today here; newest record 2 days old."),
        ("?until=2025-06-30", "As of 2026-10-31, which is taken as today here; newest record 2 days old."),
        ("?on=2026-11-28", "As of 2026-11-28; newest record 30 days old."),
    ):
        for page, panel in ((worklist, 0), (plan, 0)):
            view = View.read(page.PAGE.path, search)
            assert said in shown(page.PAGE.panels[panel], demo_ledger, view)
    kept = View.read("/worklist", "?on=2026-11-28")
    assert kept.to("/") == "/?on=2026-11-28", "all lists stay at the day chosen"
    with pytest.raises(UserError, match="The on date 9999-12-31 is not between"):
        worklist.PAGE.panels[0].draw(demo_ledger, View.read("/worklist", "?on=9999-12-31"))


def test_a_planned_day_opens_on_its_cows(demo_ledger: Ledger) -> None:
    """Those of that day's visits in the plan of all farms, and not a list of who is due today."""
    search = "?cows_a_day=30&weekends=worked&day_off=2026-11-03&day_off=2026-11-04"
    view = View.read("/plan", search)
    assert view.several("day_off") == ("2026-11-03", "2026-11-04")
    answer = plan.PAGE.panels[0].draw(demo_ledger, view)
    dates = answer.answer.table["date"].dt.strftime("%Y-%m-%d").tolist()
    assert not {"2026-11-03", "2026-11-04"} & set(dates)
    row = answer.answer.table.iloc[5].to_dict()
    opened = View.read("/plan", answer.rows_to(row).partition("?")[2])
    assert opened.options["day"] == dates[5] and opened.farm is None
    first, text = (str(plan.PAGE.panels[1].draw(demo_ledger, opened.changed(rows=rows))) for rows in (None, "all"))
    assert re.search(r"Show \d+ more rows", first) and "more row" not in text
    there = answer.answer.table[answer.answer.table["date"] == row["date"]]
    for cow in ", ".join(there["cow_list"]).split(", "):
        assert f"A(children='{cow}'" in text
    nobody = str(plan.PAGE.panels[1].draw(demo_ledger, View.read("/plan", "?day=2026-11-01")))
    assert "no visit on" in nobody


def test_the_plan_can_be_taken_along(demo_ledger: Ledger) -> None:
    view = View.read("/plan", "?farms=Nether+Ash&cows_a_day=30")
    drawn = plan.PAGE.panels[0].draw(demo_ledger, view)
    assert drawn.answer.table["cows"].max() <= 30
    answer = plan._answer(demo_ledger, view)
    [buttons] = [part for part in drawn.lead if getattr(part, "className", "") == "takeaway"]
    files = [plan.file_of(answer, b.id["day"], b.id["farm"])[0] for b in buttons.children[:3]]
    assert "BEGIN:VCALENDAR\r\n" in files[0]["content"] and files[0]["filename"] == "evenfoot-plan.ics"
    assert len(files) > 1 and all(each["filename"].startswith("evenfoot-list-") for each in files[1:])
    with pytest.raises(UserError, match="no visit"):
        plan.file_of(answer, "2020-01-01", "Nether Ash")
    assert len({each["filename"] for each in files}) == len(files)
