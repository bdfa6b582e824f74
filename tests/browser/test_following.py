"""Choices made on charts in a browser: a month that others follow, a change written down, a grid from the keyboard."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.reading import returning

pytestmark = pytest.mark.long


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
    expect(tab.locator("main .skeleton, main [data-dash-is-loading=true]")).to_have_count(0)
    told = re.search(r"of (\d+) cows had any lesion", cows.inner_text())
    assert told
    every = int(told[1])
    chart = months.locator(".js-plotly-plot")
    chart.scroll_into_view_if_needed()
    expect(tab.locator("main .skeleton, main [data-dash-is-loading=true]")).to_have_count(0)
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
    expect(tab.locator("#done")).to_contain_text("Written down as import")
    expect(trend.locator(".js-plotly-plot")).to_contain_text("Mats")
    tab.get_by_role("link", name="It can be taken back on the import page.").click()
    row = tab.locator("#imports-list tr").filter(has_text="change-nether-ash-2025-03-05.csv")
    row.locator(".asks-first summary").click()
    row.get_by_role("button", name=re.compile("Yes, take import .* back")).click()
    expect(row).to_contain_text("taken back")
    tab.goto(f"{address}/locomotion?farms=Nether+Ash")
    expect(trend.locator(".js-plotly-plot")).to_be_visible()
    expect(trend.locator(".js-plotly-plot")).not_to_contain_text("Mats")


def test_a_table_sorts_by_its_headings_and_opens_from_the_keyboard(tab: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    tab.goto(f"{address}/farms")
    table = panel(tab, "farms-table").locator("table")
    head = table.get_by_role("columnheader", name="Looked at")
    for order in ("ascending", "descending"):
        head.get_by_role("link").focus()
        tab.keyboard.press("Enter")
        expect(head).to_have_attribute("aria-sort", order)
        looked_at = [int(text.replace(",", "")) for text in table.locator("tbody tr td:nth-child(4)").all_inner_texts()]
        assert len(looked_at) > 2 and looked_at == sorted(looked_at, reverse=order == "descending")
    first = table.locator("tbody a").first
    farm = first.inner_text()
    first.focus()
    tab.keyboard.press("Enter")
    tab.wait_for_url(re.compile(r"/today\?farms=" + farm.replace(" ", r"(\+|%20)")))


def test_the_caution_that_changes_the_reading_stands_beside_the_figure(tab: Page, served: tuple[str, Path]) -> None:
    """The others, and all else that stands behind a figure, come when its fold is opened."""
    address, _ = served
    tab.goto(f"{address}/lesions?farms=Nether+Ash&visits=all")
    types = panel(tab, "lesion-types")
    expect(types.locator(".caution:visible")).to_have_count(1)
    expect(types.locator(".caution")).to_contain_text("overstate how common lesions are")
    fold = types.locator("details.fold").first
    expect(fold.locator("table")).to_have_count(0)
    fold.locator("summary").click()
    expect(fold.locator("table")).to_be_visible()
    expect(fold).to_contain_text("How was this worked out")
    expect(fold.get_by_role("link", name="Numbers of")).to_be_visible()
    fold.locator("summary").click()
    expect(fold.locator("table")).to_be_hidden()
    tab.goto(f"{address}/lesions?farms=Nether+Ash&certainty=always")
    expect(types.locator("details.fold table")).to_be_visible()


def test_a_cow_is_found_from_every_page(tab: Page, served: tuple[str, Path]) -> None:
    address, _ = served
    tab.goto(f"{address}/plan?farms=Larkmoor")
    number = tab.get_by_label("Find a cow").get_by_role("textbox")
    number.fill("1420")
    number.press("Enter")
    expect(panel(tab, "cow-who")).to_contain_text("Cow 1420, Larkmoor")
    tab.goto(f"{address}/records")
    number.fill("no such cow")
    tab.get_by_role("button", name="Find").click()
    expect(tab.locator("#done")).to_contain_text("No cow no such cow is in the records you may see.")
