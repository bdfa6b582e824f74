"""Every panel of the deeper pages on the demo herds: one farm, all farms, a farm with nothing, a short period."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.dashboard.pages import change, farms, followup, planning, records, warning
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.panel_contents import certainty, filled
from evenfoot.dashboard.ui.view import View
from tests.sheets import checked, ledger_of

PAGES: tuple[Page, ...] = (
    warning.PAGE,
    change.PAGE,
    followup.PAGE,
    farms.PAGE,
    records.PAGE,
    records.RECORDERS,
    planning.PAGE,
)
PANELS = [pytest.param(page, panel, id=panel.name) for page in PAGES for panel in page.panels]
SEARCHES = {
    "all farms": "",
    "one farm": "?farms=Larkmoor",
    "another, one lesion, one year": "?farms=Osier+End&lesions=SU&since=2025-11-01&until=2026-10-31",
    "a farm with nothing": "?farms=Nowhere",
    "a day with nothing": "?farms=Larkmoor&since=2030-01-01&until=2030-01-02",
}


def contents(panel: Panel, ledger: Ledger, view: View) -> Any:
    drawn = panel.draw(ledger, view)
    return [filled(panel, drawn, view), certainty(panel, drawn, view)]


def parts(component: Any) -> Iterator[Any]:
    """A component and everything in it."""
    if isinstance(component, (list, tuple)):
        for each in component:
            yield from parts(each)
        return
    yield component
    if hasattr(component, "children"):
        yield from parts(component.children)


def words(component: Any) -> str:
    return " ".join(str(part) for part in parts(component) if isinstance(part, (str, int)))


def tables(component: Any) -> list[dict[str, Any]]:
    """The tables of a component: caption, columns, rows of texts, and where the first cell of each row leads."""
    return [_table(part) for part in parts(component) if isinstance(part, html.Table)]


def _table(table: html.Table) -> dict[str, Any]:
    caption, head, body = table.children
    lines = [row for row in body.children if getattr(row, "className", None) != "group"]
    cells = [[cell.children for cell in row.children] for row in lines]
    return {
        "caption": caption.children,
        "columns": [cell.children for cell in head.children.children],
        "rows": [[getattr(cell, "children", cell) for cell in row] for row in cells],
        "links": [getattr(row[0], "href", None) for row in cells],
    }


@pytest.mark.parametrize("search", SEARCHES.values(), ids=list(SEARCHES))
@pytest.mark.parametrize(("page", "panel"), PANELS)
def test_every_panel_draws_or_says_why_not(page: Page, panel: Panel, search: str, demo_ledger: Ledger) -> None:
    view = View.read(page.path, search)
    shown = contents(panel, demo_ledger, view)
    said = " ".join([words(shown), *(cell for table in tables(shown) for row in table["rows"] for cell in row)])
    assert len(said) > 10
    assert "nan" not in said.lower().split()
    without_files = re.sub(r"\w+\.(csv|xlsx)\b", "", said)
    assert not re.search(r"\b[A-Za-z]+_[a-z_]+\b", without_files)
    for table in tables(shown):
        for heading in table["columns"]:
            assert "_" not in heading


@pytest.mark.parametrize("page", PAGES, ids=[page.path for page in PAGES])
def test_choices_stand_with_and_without_records(page: Page, demo_ledger: Ledger) -> None:
    if page.choices is None:
        assert page in (records.PAGE, records.RECORDERS)
        return
    for search in SEARCHES.values():
        view = View.read(page.path, search)
        fields = [
            part.id["field"]
            for part in parts(page.choices(demo_ledger, view))
            if isinstance(getattr(part, "id", None), dict)
        ]
        assert len(fields) == len(set(fields)) > 0


def test_panel_names_are_the_pages_own() -> None:
    names = [panel.name for page in PAGES for panel in page.panels]
    assert len(names) == len(set(names))


def test_pages_open_before_there_is_a_ledger(tmp_path: Any) -> None:
    ledger = open_ledger(str(tmp_path / "none.duckdb"))
    assert "No change is recorded here" in words(contents(change.PAGE.panels[-1], ledger, View.read("/change", "")))


def test_the_rise_planted_at_osier_end_is_a_signal(demo_ledger: Ledger) -> None:
    panel = warning.PAGE.panels[0]
    said = words(contents(panel, demo_ledger, View.read("/warning", "?farms=Osier+End")))
    assert "Months out of the ordinary for lameness" in said
    assert re.search(r"2026: \d+\.\d%, higher than the \d+\.\d% usual in the first year", said)
    calm = words(contents(panel, demo_ledger, View.read("/warning", "?farms=Larkmoor")))
    assert "No month is out of the ordinary for lameness" in calm


def test_all_farms_together_name_the_farm_with_a_signal(demo_ledger: Ledger) -> None:
    said = words(contents(warning.PAGE.panels[0], demo_ledger, View.read("/warning", "")))
    assert "No month is out of the ordinary" not in said
    assert re.search(r"Osier End, \w+\s2026: above the upper limit", said)


def test_early_warning_learns_from_months_before_the_period(demo_ledger: Ledger) -> None:
    short = View.read("/warning", "?farms=Osier+End&since=2026-06-01&until=2026-10-31")
    drawn = warning.PAGE.panels[0].draw(demo_ledger, short)
    assert drawn.answer.basis.first < dt.date(2024, 1, 1)
    assert drawn.answer.basis.last <= dt.date(2026, 10, 31)


def test_the_watched_lesion_follows_the_choice(demo_ledger: Ledger) -> None:
    panel = warning.PAGE.panels[1]
    assert "digital dermatitis" in words(contents(panel, demo_ledger, View.read("/warning", "?farms=Larkmoor")))
    assert "sole ulcer" in words(contents(panel, demo_ledger, View.read("/warning", "?farms=Larkmoor&lesions=SU")))


def test_a_recorded_change_leads_to_what_came_after(demo_ledger: Ledger) -> None:
    every = View.read("/change", "")
    [table] = tables(contents(change.PAGE.panels[-1], demo_ledger, every))
    assert {row[0] for row in table["rows"]} == {"Regular foot bathing", "More straw"}
    [place] = [i for i, row in enumerate(table["rows"]) if row[0] == "Regular foot bathing"]
    path, _, search = table["links"][place].partition("?")
    view = View.read(path, search + "&lesions=DD")
    assert view.farm == "Larkmoor"
    said = words(contents(change.PAGE.panels[0], demo_ledger, view))
    assert "Larkmoor, 3 Feb 2025: regular foot bathing" in said
    assert re.search(
        r"in the first 12 months after the change about \d+ of 100 cows looked at had digital dermatitis", said
    )
    assert re.search(r"odds ratio 0\.\d+, ", said)
    assert "need not have come from it" in said


def test_the_planted_nothing_is_not_called_a_change(demo_ledger: Ledger) -> None:
    view = View.read("/change", "?farms=Withy+Flat&change=2025-01-20&lesions=DD")
    said = words(contents(change.PAGE.panels[1], demo_ledger, view))
    found = re.search(r"against going on as before: odds (\S+) times as high \((\S+) to (\S+)\)", said)
    assert found is not None
    assert float(found.group(2)) < 1 < float(found.group(3))


def test_too_few_months_after_a_change_are_not_enough_to_say(demo_ledger: Ledger) -> None:
    view = View.read("/change", "?farms=Larkmoor&change=2026-09-01")
    said = words(contents(change.PAGE.panels[1], demo_ledger, view))
    assert "not enough to say" in said
    assert "Too few to say whether any lesion changed" in said
    assert all(type(part).__name__ != "Graph" for part in parts(contents(change.PAGE.panels[1], demo_ledger, view)))


def test_a_change_is_of_the_viewers_farms_only(demo_ledger: Ledger) -> None:
    view = View.read("/change", "", allowed=("Withy Flat",))
    assert set(change.recorded(demo_ledger, view)["farm"]) == {"Withy Flat"}
    asked = View.read("/change", "?farms=Larkmoor", allowed=("Withy Flat",))
    assert change.recorded(demo_ledger, asked).empty


def test_repeat_cows_lead_to_the_cow(demo_ledger: Ledger) -> None:
    view = View.read("/followup", "?farms=Larkmoor&lesions=DD")
    panel = next(panel for panel in followup.PAGE.panels if panel.name == "followup-repeat")
    [table] = tables(contents(panel, demo_ledger, view))
    assert table["links"][0] == f"/cow?farms=Larkmoor&lesions=DD&cow={table['rows'][0][0]}"
    times = [int(row[table["columns"].index("Times")]) for row in table["rows"]]
    assert times == sorted(times, reverse=True)
    assert min(times) >= 2


def test_farms_lead_to_their_herd_whatever_farm_is_chosen(demo_ledger: Ledger) -> None:
    drawn = farms.PAGE.panels[0].draw(demo_ledger, View.read("/farms", "?farms=Larkmoor"))
    assert set(drawn.answer.table["farm"]) == set(demo_ledger.farms())
    links = {drawn.rows_to({"farm": farm}) for farm in demo_ledger.farms()}
    assert "/today?farms=Osier+End" in links
    few = farms.PAGE.panels[0].draw(demo_ledger, View.read("/farms", "", allowed=("Osier End", "Larkmoor")))
    assert set(few.answer.table["farm"]) == {"Osier End", "Larkmoor"}


def test_farms_can_be_counted_by_trims(demo_ledger: Ledger) -> None:
    cows, trims = (
        farms.PAGE.panels[0].draw(demo_ledger, View.read("/farms", search)).answer.table["at_risk"].sum()
        for search in ("?per=cow", "")
    )
    assert trims > 2 * cows
    assert farms.per(View.read("/farms", "?per=nonsense")) == "trim"


def test_own_costs_replace_the_published_ones(demo_ledger: Ledger) -> None:
    view = View.read("/planning", "?farms=Larkmoor&price_TS=100&currency=EUR+2026")
    assert planning.prices(view) == {"TS": 100.0}
    table = planning.PAGE.panels[0].draw(demo_ledger, view).answer.table.set_index("lesion")
    assert table.loc["TS", "cost"] == 100 * table.loc["TS", "cases"]
    assert table.loc["TS", "currency"] == "EUR 2026"
    assert table.drop(index="TS")["cost"].isna().all()
    published = planning.PAGE.panels[0].draw(demo_ledger, View.read("/planning", "?farms=Larkmoor")).answer.table
    assert set(published.loc[published["cost"].notna(), "lesion"]) == {"DD", "SU", "WL"}


def test_a_cost_that_is_no_amount_is_said_plainly(demo_ledger: Ledger) -> None:
    with pytest.raises(UserError, match="cost 'much' of sole ulcer cannot be read"):
        planning.PAGE.panels[0].draw(demo_ledger, View.read("/planning", "?price_SU=much"))
    with pytest.raises(UserError):
        planning.PAGE.panels[0].draw(demo_ledger, View.read("/planning", "?price_SU=-5"))


def test_options_survive_the_address() -> None:
    search = "?farms=Larkmoor&change=2025-02-03&against=Nether+Ash&level_of=claw&currency=EUR+2026&price_SU=250"
    view = View.read("/change", search)
    assert View.read("/change", view.search) == view
    assert view.options["price_SU"] == "250"


def test_the_trimmer_who_writes_more_is_seen_in_the_records(demo_ledger: Ledger) -> None:
    panel = next(panel for panel in records.RECORDERS.panels if panel.name == "records-agreement")
    trimmers = next(
        table
        for table in tables(contents(panel, demo_ledger, View.read("/recorders", "?farms=Larkmoor")))
        if table["caption"] == "How much the trimmer shows in the records"
    )
    p = trimmers["columns"].index("p, allowing for many tests")
    clear = {row[0] for row in trimmers["rows"] if row[p] == "under 0.001" or float(row[p]) < 0.05}
    assert "Sole haemorrhage" in clear
    assert "Sole ulcer" not in clear


def test_counts_without_cows_are_shown_apart(tmp_path: Path) -> None:
    counts = checked(
        "counts", [{"visit_date": "2026-03-02", "farm": "Ash", "lesion": "DD", "cases": 9, "looked_at": 60}]
    )
    ledger = ledger_of(tmp_path / "l.duckdb", counts)
    panel = next(panel for panel in records.PAGE.panels if panel.name == "records-counts")
    [table] = tables(contents(panel, ledger, View.read("/records", "")))
    [row] = table["rows"]
    assert {"Ash", "9", "60"} <= set(row) and "15" in " ".join(map(str, row))
    assert "Counts without cows" in table["caption"]
    assert not list(tables(contents(panel, ledger, View.read("/records", "?farms=Elm"))))
