"""Choices made on charts in a browser: a month that others follow, a change written down, a grid from the keyboard."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.reading import returning


def panel(page: Page, name: str) -> Locator:
    return page.locator(f'section[aria-labelledby="title-{name}"]')


@pytest.fixture
def tab(browser: Browser) -> Iterator[Page]:
    """A page at laptop width; any error on the console fails the test."""
    page = returning(browser).new_page()
    page.set_viewport_size({"width": 1280, "height": 900})
    page.set_default_timeout(25_000)
    errors: list[str] = []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    page.close()
    assert not errors, errors


def test_a_month_chosen_is_followed_marked_and_taken_away(tab: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    tab.goto(f"{address}/lesions?farms=Nether+Ash")
    months, cows = panel(tab, "lesion-months"), panel(tab, "lesion-cows")
    expect(cows).to_contain_text("cows had any lesion")
    told = re.search(r"of (\d+) cows had any lesion", cows.inner_text())
    assert told
    every = int(told[1])
    chart = months.locator(".js-plotly-plot")
    chart.scroll_into_view_if_needed()
    expect(tab.locator("main .skeleton, main [data-waiting], main [data-asked]")).to_have_count(0)
    point = chart.locator(".scatterlayer .points path").nth(3)
    point.scroll_into_view_if_needed()
    box = point.bounding_box()
    assert box
    tab.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.wait_for_url(re.compile(r"span=\d{4}-\d{2}"))
    expect(cows).not_to_contain_text(f"of {every} cows")
    looked_at = re.search(r"of (\d+) cows had", cows.inner_text())
    assert looked_at and int(looked_at[1]) < every
    expect(panel(tab, "lesion-types")).to_contain_text(f"{looked_at[1]} cows")
    # The chart it was chosen on keeps the whole period and shows the month.
    expect(months).to_contain_text(f"{every} cows")
    expect(months.locator(".shapelayer path, .layer-below path").first).to_be_attached()
    tab.locator(".chips a").first.click()
    expect(cows).to_contain_text(f"of {every} cows had any lesion")
    tab.go_back()
    expect(cows).not_to_contain_text(f"of {every} cows")
    assert "span=" in tab.url


def test_a_change_is_written_down_marked_and_taken_back(tab: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    tab.goto(f"{address}/locomotion?farms=Nether+Ash")
    trend = panel(tab, "locomotion-trend")
    trend.get_by_text("Write down a change on the farm").click()
    trend.get_by_role("button", name="Write down", exact=True).click()
    expect(trend.locator(".mistake")).to_have_text("Choose the day of the change.")
    day = trend.get_by_label("Day of the change")
    day.fill("5 Mar 2025")
    day.press("Tab")
    trend.get_by_label("What changed").fill("<b>Mats</b> in the alleys")
    trend.get_by_role("button", name="Write down", exact=True).click()
    expect(tab.locator("#stale")).to_contain_text("Written down as import")
    expect(trend.locator(".js-plotly-plot")).to_contain_text("Mats")
    tab.get_by_role("link", name="It can be taken back on the import page.").click()
    row = tab.locator("#imports-list tr").filter(has_text="change-nether-ash-2025-03-05.csv")
    row.locator(".asks-first summary").click()
    row.get_by_role("button", name=re.compile("Yes, take import .* back")).click()
    expect(row).to_contain_text("taken back")
    tab.goto(f"{address}/locomotion?farms=Nether+Ash")
    expect(trend.locator(".js-plotly-plot")).to_be_visible()
    expect(trend.locator(".js-plotly-plot")).not_to_contain_text("Mats")


def test_the_grid_sorts_and_opens_from_the_keyboard(tab: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    tab.goto(f"{address}/farms")
    grid = panel(tab, "farms-table").locator(".ag-root")
    farms = grid.locator('[role="row"] [col-id="farm"]')
    expect(farms.nth(1)).to_be_visible()
    shown = [text for text in farms.all_inner_texts() if text != "Farm"]
    head = grid.locator('.ag-header-cell[col-id="at_risk"]')
    head.focus()
    tab.keyboard.press("Enter")
    expect(head).to_have_attribute("aria-sort", "ascending")
    rows = grid.locator('.ag-center-cols-container [role="row"]')
    looked_at = [
        int(
            rows.filter(has=tab.locator(f'[col-id="farm"]:text-is("{farm}")'))
            .locator('[col-id="at_risk"]')
            .inner_text()
        )
        for farm in sorted(shown)
    ]
    places = {
        rows.nth(i).locator('[col-id="farm"]').inner_text(): int(rows.nth(i).get_attribute("row-index") or 0)
        for i in range(rows.count())
    }
    by_place = sorted(sorted(shown), key=lambda farm: places[farm])
    assert by_place == sorted(sorted(shown), key=lambda farm: looked_at[sorted(shown).index(farm)])
    first = rows.filter(has=tab.locator(f'[col-id="farm"]:text-is("{by_place[0]}")')).locator('[col-id="farm"]')
    first.focus()
    tab.keyboard.press("Space")
    tab.wait_for_url(re.compile(r"/\?farms=" + by_place[0].replace(" ", r"(\+|%20)")))


def test_a_caution_is_said_once_a_page(tab: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    tab.goto(f"{address}/farms")
    expect(panel(tab, "farms-ranks").locator(".above")).to_be_visible()
    expect(tab.locator(".skeleton")).to_have_count(0)
    said = [line.inner_text() for line in tab.locator(".caution:visible").all()]
    assert said and len(said) == len(set(said))
    hidden = [line.text_content() for line in tab.locator(".panel .caution[hidden]").all()]
    assert hidden and set(hidden) <= set(said)
