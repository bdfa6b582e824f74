"""The main job in a browser: a messy sheet in, a lesion drilled down to one cow, numbers equal the command's."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from evenfoot import sample_data
from evenfoot.dashboard.ui.panel import FIRST_ROWS
from tests.browser.conftest import COMMAND

FARM = "Dunlow Corner"


def table(ledger: Path, *words: str) -> list[dict[str, Any]]:
    """Rows of ``evenfoot table`` on a ledger that the dashboard has open."""
    done = subprocess.run(
        [*COMMAND, "table", *words, "--ledger", str(ledger), "--format", "json"],
        capture_output=True,
        text=True,
        check=True,
    )
    rows: list[dict[str, Any]] = json.loads(done.stdout)["table"]
    return rows


def panel(page: Page, name: str) -> Any:
    return page.locator(f'section[aria-labelledby="title-{name}"]')


def test_import_drill_and_compare(page: Page, served: tuple[str, Path]) -> None:
    address, ledger = served
    page.goto(f"{address}/import")
    page.locator("#upload input[type=file]").set_input_files(sample_data.MESSY)
    sheet = page.locator(".dropped")
    expect(sheet).to_contain_text("Rows read")
    expect(sheet).to_contain_text("What was understood how")
    expect(sheet.locator(".lines")).to_contain_text("squishy")
    if (likely := sheet.get_by_role("button", name=re.compile("^(Take every likeliest|That is right)"))).count():
        likely.last.click()
    # The second time all of it is known, but for the rows that were set aside.
    page.get_by_role("button", name=re.compile(r"^(Add \d+ records|Keep \d+ rows)")).click()
    expect(page.get_by_text(re.compile(r"Rows added as import \d+"))).to_be_visible()
    expect(page.locator("#mend-rows")).to_contain_text("squishy")
    with page.expect_download() as saved:
        page.get_by_role("button", name=re.compile("Set-aside rows of import")).first.click()
    assert "evenfoot_remedy" in Path(saved.value.path()).read_text(encoding="utf-8-sig")

    by_lesion = table(ledger, "prevalence", "--farm", FARM, "--by", "lesion")
    assert by_lesion, "the notebook's lesions are in the ledger while the dashboard is open"
    page.goto(f"{address}/lesions?farms={FARM.replace(' ', '+')}")
    types = panel(page, "lesion-types")
    types.get_by_text("How sure is this?").click()
    top = max(by_lesion, key=lambda row: (row["cases"], row["lesion"]))
    from evenfoot.dashboard.charts.labels import value_label

    name = value_label("lesion", top["lesion"])
    row = types.locator("tbody tr").filter(has_text=name).first
    expect(row).to_be_visible()
    cells = row.locator("td").all_inner_texts()
    assert cells[1:3] == [str(top["cases"]), str(top["at_risk"])]
    row.get_by_role("link").click()
    expect(page.locator(".trail")).to_contain_text(name)
    assert f"lesions={top['lesion']}" in page.url

    cows = panel(page, "lesion-cows")
    shown = min(top["cases"], FIRST_ROWS)
    expect(cows.locator("tbody tr")).to_have_count(shown)
    more = top["cases"] - shown
    expect(cows.get_by_text(f"Show {more} more row")).to_have_count(int(more > 0))
    cow = cows.locator("tbody tr").first.locator("td").first.inner_text()
    cows.locator("tbody tr").first.get_by_role("link").click()
    expect(panel(page, "cow-who")).to_contain_text(f"Cow {cow}, {FARM}")
    expect(panel(page, "cow-findings")).to_contain_text(name)
    page.go_back()
    expect(page.locator(".trail")).to_contain_text(name)
    page.go_back()
    expect(page.locator(".trail li")).to_have_count(0)


@pytest.mark.parametrize("page", [390], indirect=True)
def test_a_click_on_a_bar_drills(page: Page, served: tuple[str, Path]) -> None:
    """The mouse does what the links do: the first mark of the lesion chart leads to that lesion."""
    address, _ = served
    page.goto(f"{address}/lesions?farms=Nether+Ash")
    chart = panel(page, "lesion-types").locator(".js-plotly-plot")
    expect(chart).to_be_visible()
    # Once the page has stopped moving: a point that is looked up and then moves away cannot be hit.
    expect(page.locator("main .skeleton, main [data-dash-is-loading=true]")).to_have_count(0)
    point = chart.locator(".scatterlayer .points path").first
    point.scroll_into_view_if_needed()
    box = point.bounding_box()
    assert box
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_url(re.compile(r"lesions=\w+"))
    expect(page.locator(".trail")).to_be_visible()


def test_what_cannot_be_read_in_the_address_is_said(page: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    page.goto(f"{address}/lesions?since=yesterday")
    expect(page.get_by_text("cannot be read; write it as year-month-day").first).to_be_visible()
    page.goto(f"{address}/lesions?farms=Nowhere")
    expect(page.get_by_text("Nothing was recorded for this choice").first).to_be_visible()


@pytest.mark.parametrize("page", [1280], indirect=True)
def test_a_page_says_when_newer_records_are_there(page: Page, served: tuple[str, Path], tmp_path: Path) -> None:
    address, ledger = served
    page.goto(f"{address}/locomotion?farms=Nether+Ash")
    expect(panel(page, "locomotion-trend").locator(".js-plotly-plot")).to_be_visible()
    sheet = tmp_path / "more.csv"
    sheet.write_text(f"visit_date,farm,cow\n2026-10-30,Nether Ash,{page.viewport_size['width']}\n")  # type: ignore[index]
    subprocess.run([*COMMAND, "import", str(sheet), "--ledger", str(ledger)], check=True, capture_output=True)
    expect(page.locator("#stale")).to_be_visible(timeout=40_000)
    page.get_by_role("link", name="Show them").click()
    expect(page.locator("#stale")).to_be_hidden()
