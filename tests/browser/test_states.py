"""What a page shows while it waits, when there is nothing or too little, and when something is wrong."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Route, expect

from evenfoot.analytics.messages import say
from evenfoot.analytics.progress import stage
from evenfoot.dashboard.ui import progress
from tests.browser.conftest import start_server
from tests.browser.reading import Reader, returning

pytestmark = pytest.mark.long


@pytest.fixture
def reader(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], 1280, context=returning(browser))
    yield tab
    tab.close()


def test_a_page_is_there_before_its_figures_and_says_when_it_takes_a_while(reader: Reader) -> None:
    held: list[Route] = []
    released = False

    def hold(route: Route) -> None:
        asked = route.request
        if not released and '"type":"panel"' in (asked.post_data or ""):
            held.append(route)
        else:
            route.continue_()

    page = reader.page
    page.route("**/_dash-update-component*", hold)
    page.goto(f"{reader.address}/comparison?farms=Larkmoor")
    expect(page.locator("main h1")).to_be_visible()
    expect(page.locator(".skeleton").first).to_be_visible()
    page.wait_for_timeout(1300)
    said = page.evaluate(
        """() => [...document.querySelectorAll(".panel-body")].map(body => getComputedStyle(body, "::before"))
             .filter(style => style.visibility === "visible").map(style => style.content)"""
    )
    assert '"Fitting the model ..."' in said and '"Counting the records ..."' in said, said
    released = True
    for route in held:
        route.continue_()
    reader.settle()
    expect(page.locator(".skeleton, [data-dash-is-loading=true]")).to_have_count(0)
    assert not reader.told()


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/lesions?farms=Nowhere", "Nothing was recorded"),
        ("/lesions?farms=Larkmoor&cows=1420&cows=1222", "ot enough to say"),
        ("/lesions?farms=Larkmoor&visits=part-herd", "overstate"),
        ("/lesions?since=yesterday", "cannot be read; write it as year-month-day"),
        ("/cow?farms=Larkmoor&cow=nobody", "There is no cow nobody at Larkmoor"),
        ("/nowhere", "There is no such page"),
    ],
)
def test_empty_too_few_part_herd_and_wrong_are_said(reader: Reader, path: str, words: str) -> None:
    reader.open(path)
    expect(reader.page.locator("main").get_by_text(words).first).to_be_visible()
    assert not [each for each in reader.looks_wrong() if "The since date" not in each]
    assert not reader.told()


def test_on_a_phone_the_answer_comes_before_the_choices(browser: Browser, standing: tuple[str, Path]) -> None:
    tab = Reader(browser, standing[0], 390, 844, context=returning(browser))
    tab.open("/today?farms=Larkmoor")
    line = tab.page.locator(".picker .choosing")
    expect(line).to_have_text("Larkmoor")
    farm = tab.page.locator("#picker-choices").get_by_label("Farm", exact=True).first
    expect(farm).to_be_hidden()
    answers = tab.page.locator(".answers li")
    expect(answers).to_have_count(4)
    last, foot = answers.last.bounding_box(), tab.page.locator("#navigation .items").bounding_box()
    assert last and foot and last["y"] + last["height"] < foot["y"], "the four answers are in the first window"
    line.click()
    expect(farm).to_be_visible()
    assert line.get_attribute("aria-expanded") == "true"
    farm.click()
    tab.page.get_by_role("option", name="Nether Ash").click()
    expect(line).to_have_text("Nether Ash")
    tab.follow("/change?since=2026-03-01&visits=all")
    expect(line).to_have_text(re.compile(r"All farms, 1\sMar\s2026 –, All visits"))
    tab.follow("/change?since=2026-03-01&until=2026-03-31")
    expect(line).to_have_text(re.compile(r"All farms, 1\sMar\s2026 to 31\sMar\s2026, Whole-herd only"))
    tab.follow("/comparison?farms=Larkmoor&lesions=SU")
    own = tab.page.locator(".own .choosing")
    expect(own).to_have_text("Compare: Housing, for: Sole ulcer, Count: Whichever is fair")
    by = tab.page.locator("#choices-of-page").get_by_label("Compare", exact=True).first
    expect(by).to_be_hidden()
    own.click()
    by.click()
    tab.page.get_by_role("option", name="Season").click()
    expect(own).to_have_text("Compare: Season, for: Sole ulcer, Count: Whichever is fair")
    tab.settle()
    assert not tab.told()
    tab.close()


def test_an_empty_ledger_leads_to_the_import(browser: Browser, tmp_path: Path) -> None:
    process, address = start_server(tmp_path / "new.duckdb")
    tab = Reader(browser, address, 390, context=returning(browser))
    try:
        tab.open("/")
        tab.page.locator("#picker").get_by_role("link", name="Import a sheet").click()
        expect(tab.page.locator("h1")).to_have_text("Import")
        expect(tab.page.get_by_text("No sheet has been imported yet.")).to_be_visible()
        assert not tab.told()
        process.terminate()
        process.wait(120)
        tab.page.locator("#navigation a").first.click()
        expect(tab.page.get_by_role("alert").filter(has_text="does not answer")).to_be_visible()
    finally:
        tab.close()
        process.kill()
        process.wait(120)


def test_a_device_set_to_dark_gets_the_dark_ground_until_another_is_chosen(
    browser: Browser, standing: tuple[str, Path]
) -> None:
    tab = Reader(browser, standing[0], 1280, color_scheme="dark", reduced_motion="reduce")
    tab.open("/")
    page = tab.page
    assert "theme=night" in page.url and "since=" in page.url
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(25, 27, 31)"
    chart = page.locator(".js-plotly-plot").first
    assert chart.evaluate("element => element.layout.template.layout.paper_bgcolor") == "#22252A"
    page.locator("#look summary").click()
    page.locator("#look").get_by_role("textbox", name="Colours of the page").click()
    page.get_by_role("option", name="Paper").click()
    page.wait_for_url(lambda url: "theme=paper" in url)
    page.reload()
    tab.settle()
    assert "theme=paper" in page.url
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(250, 248, 244)"
    assert not tab.told()
    tab.close()


def test_on_paper_there_are_figures_and_nothing_that_is_pressed(reader: Reader) -> None:
    reader.open("/today?farms=Larkmoor&theme=night&certainty=always")
    page = reader.page
    page.emulate_media(media="print")
    expect(page.locator(".panel .js-plotly-plot").first).to_be_visible()
    expect(page.locator(".basis").first).to_be_visible()
    expect(page.get_by_role("complementary", name="Caution")).to_be_visible()
    assert page.locator("button:visible, nav:visible, .takeaway:visible, .picker:visible").count() == 0
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    printed = page.pdf(format="A4")
    assert printed.startswith(b"%PDF") and len(printed) > 20_000


def test_a_large_sheet_says_how_far_it_has_come(browser: Browser, tmp_path: Path) -> None:
    process, address = start_server(tmp_path / "big.duckdb")
    sheet = tmp_path / "big.csv"
    lines = [f"2026-0{1 + n % 9}-1{n % 9},Home,{n % 4000},LH,{('SU', 'DD', 'WL')[n % 3]}" for n in range(60_000)]
    sheet.write_text("visit_date,farm,cow,foot,lesion\n" + "\n".join(lines) + "\n")
    tab = Reader(browser, address, 1280, context=returning(browser))
    said: list[str] = []
    try:
        tab.open("/import")
        tab.page.expose_function("noted", lambda words: said.append(words))
        tab.page.evaluate(
            """() => new MutationObserver(() => noted(document.getElementById("import-progress").textContent))
                 .observe(document.getElementById("import-progress"), {childList: true, subtree: true})"""
        )
        tab.page.locator("#upload input[type=file]").set_input_files(sheet)
        add = tab.page.get_by_role("button", name="Add 36,000 records")
        expect(add).to_be_visible(timeout=60_000)
        add.click()
        expect(tab.page.get_by_text("as import 1")).to_be_visible(timeout=60_000)
        assert any("big.csv" in words or "rows" in words for words in said), said
        expect(tab.page.locator("#import-progress")).to_be_hidden()
        assert not tab.told()
    finally:
        tab.close()
        process.terminate()
        process.wait(120)


def test_stages_are_kept_by_viewer_and_forgotten_after() -> None:
    with progress.watched("import"):
        stage(say("Adding {rows} rows", rows=7))
        [(whose, (_, what))] = progress._now.items()
        assert whose[1] == "import" and what == "Adding 7 rows"
        other: list[Any] = []
        worker = threading.Thread(target=lambda: other.append(stage(say("Adding {rows} rows", rows=8))))
        worker.start()
        worker.join()
        assert next(iter(progress._now.values()))[1] == "Adding 7 rows", "another thread's work is not this reader's"
    assert not progress._now
