"""Sheets as people keep them, dropped on the page: asked about, added, mended, taken back, seen on the herd page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, expect

from evenfoot.analytics.ledger import open_ledger
from tests.browser.barriers import OF_WIDTH, barriers
from tests.browser.conftest import start_server
from tests.browser.reading import Reader
from tests.effort import some

OWN = "date,farm,cow,LF,RF,LH,RH\n2026-02-14,Elm End,11,,,SU,\n2026-02-14,Elm End,12,,DD,,\n2026-02-14,Elm End,13,,,,\n"
CODES = "date,farm,cow,foot,lesion\n2026-03-02,Elm End,11,LH,U\n2026-03-02,Elm End,12,RH,\n2026-03-02,Elm End,13,RH,U\n"
WRONG = "visit_date,farm,cow,foot,lesion,note\n2026-03-09,Elm End,11,LH,SU,\nsoon,Elm End,12,RH,DD,walks badly\n"


@pytest.fixture(scope="module")
def own(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """(address, ledger path) of a server on a ledger that is empty at first."""
    path = tmp_path_factory.mktemp("own") / "own.duckdb"
    process, address = start_server(path)
    yield address, path
    process.terminate()
    process.wait(120)


@pytest.fixture(params=some([390, 1280], 2))
def reader(browser: Browser, own: tuple[str, Path], request: pytest.FixtureRequest) -> Iterator[Reader]:
    tab = Reader(browser, own[0], request.param, has_touch=request.param == 390)
    tab.open("/import")
    yield tab
    told = tab.told()
    tab.close()
    assert not told


def drop(reader: Reader, folder: Path, **sheets: str) -> Locator:
    """Drop sheets by name; gives the places where they are shown, once all of them are read."""
    paths = [folder / f"{name}.csv" for name in sheets]
    for path in paths:
        path.write_text(sheets[path.stem])
    reader.page.locator("#upload input[type=file]").set_input_files(paths)
    places = reader.page.locator(".dropped")
    expect(places.locator("h3")).to_have_text([path.name for path in paths])
    expect(places.locator(".facts")).to_have_count(len(paths))
    return places


def add(place: Locator) -> None:
    """Take what is likeliest where something is open still, and add the sheet."""
    ready = place.get_by_role("button", name=re.compile("^Add "))
    likely = place.get_by_role("button", name=re.compile("^(Take every likeliest|That is right)"))
    expect(ready.or_(likely).first).to_be_visible()
    if not ready.count():
        likely.last.click()
    place.get_by_role("button", name=re.compile("^Add ")).click()
    expect(place).to_contain_text("added as import")


def fact(place: Locator, name: str) -> Locator:
    return place.locator(f'.facts dt:text-is("{name}") + dd')


def looks_right(reader: Reader) -> None:
    reader.settle()
    wrong = reader.looks_wrong() + barriers(reader.page, OF_WIDTH)
    assert not wrong, "\n".join(wrong)


def take_back_all(reader: Reader) -> None:
    """Take every import back, so that the next width finds the ledger as this one did."""
    reader.settle()
    asks = reader.page.locator(".asks-first")
    while count := asks.count():
        asks.first.locator("summary").click()
        asks.first.get_by_role("button").click()
        expect(asks).to_have_count(count - 1)


def test_a_first_sheet_ends_in_a_chart(reader: Reader, tmp_path: Path) -> None:
    place = drop(reader, tmp_path, own=OWN)
    expect(fact(place, "Records")).to_have_text("3")
    row = place.locator(".beside tr").filter(has_text="2026-02-14").first
    expect(row).to_contain_text("Cow 11")
    expect(row).to_contain_text("Sole ulcer")
    looks_right(reader)
    add(place)
    place.get_by_role("link", name="See Elm End").click()
    reader.page.wait_for_url(re.compile(r"farms=Elm\+End&visits=all"))
    lesions = reader.page.locator('section[aria-labelledby="title-lesion-types"]')
    expect(lesions.locator(".js-plotly-plot")).to_be_visible()
    expect(lesions).to_contain_text("1 of 3")
    reader.open("/import")
    take_back_all(reader)


def test_questions_are_answered_one_after_another_and_remembered(reader: Reader, tmp_path: Path) -> None:
    page = reader.page
    places = drop(reader, tmp_path, first=CODES, second=OWN)
    place = places.first
    expect(place).to_contain_text("1 question is open")
    expect(place.get_by_role("button", name=re.compile("^Add "))).to_have_count(0)
    expect(places.nth(1).get_by_role("button", name="Add 3 records")).to_be_visible()
    looks_right(reader)
    place.get_by_label(re.compile("What does 'U' say")).first.click()
    page.get_by_role("option", name="sole ulcer").click()
    expect(place).not_to_contain_text("is open")
    expect(place.locator(".beside")).to_contain_text("Sole ulcer")
    place.get_by_text("What was taken for what").click()
    expect(place).to_contain_text("Answered just now")
    # A column that was certain is changed as well, and the fold stays open.
    place.get_by_label("foot", exact=True).first.click()
    page.get_by_role("option", name="a remark: keep it in the note").locator("visible=true").click()
    expect(place.locator(".beside")).not_to_contain_text("left hind")
    place.get_by_label("foot", exact=True).first.click()
    page.get_by_role("option", name="foot with the lesion").locator("visible=true").click()
    expect(place.locator(".beside")).to_contain_text("left hind")
    looks_right(reader)
    add(place)
    memory = page.locator("#imports-memory")
    # The list comes anew when a sheet was added, with its fold closed.
    expect(memory).to_contain_text("first.csv")
    memory.get_by_text("What is remembered").click()
    again = drop(reader, tmp_path, again=CODES.replace("2026-03-02", "2026-03-03"))
    expect(fact(again, "New")).to_have_text("3")
    expect(again).not_to_contain_text("is open")
    expect(memory.get_by_text("What is remembered")).to_be_visible()
    memory.get_by_role("button", name=re.compile("^Forget")).click()
    expect(page.locator("#imports-said")).to_have_text("Forgotten.")
    expect(memory).not_to_contain_text("first.csv")
    take_back_all(reader)


def test_rows_set_aside_are_mended_on_the_page(reader: Reader, own: tuple[str, Path], tmp_path: Path) -> None:
    page = reader.page
    place = drop(reader, tmp_path, wrong=WRONG)
    expect(fact(place, "Rows set aside")).to_have_text("1")
    expect(place.locator(".lines")).to_contain_text("soon")
    add(place)
    cell = page.get_by_label("visit_date, row 3")
    expect(cell).to_have_value("soon")
    looks_right(reader)
    page.get_by_role("button", name="Try again").click()
    reader.settle()
    expect(cell).to_have_value("soon")
    cell.fill("2026-03-09")
    page.get_by_role("button", name="Try again").click()
    expect(page.locator("#mending")).to_contain_text("were mended")
    with open_ledger(str(own[1])).reading() as cursor:
        notes = cursor.execute("SELECT note FROM trim_rows WHERE cow = '12' AND visit_date = '2026-03-09'").fetchall()
    assert len(notes) == 1 and re.fullmatch(r"walks badly; mended on \d{4}-\d\d-\d\d", notes[0][0])
    take_back_all(reader)


def test_another_version_of_a_visit_is_shown_beside_the_first(reader: Reader, tmp_path: Path) -> None:
    head = "visit_date,farm,cow,foot,lesion,severity\n"
    add(drop(reader, tmp_path, first=head + "2026-04-01,Elm End,11,LH,SU,1\n2026-04-01,Elm End,12,LH,,\n"))
    place = drop(reader, tmp_path, second=head + "2026-04-01,Elm End,11,LH,SU,2\n2026-04-01,Elm End,12,LH,,\n")
    line = place.locator(".lines tbody tr").first
    expect(line.locator("td")).to_have_text(["2", "Severity", "1", "2"])
    looks_right(reader)
    place.get_by_role("button", name=re.compile("^That is right")).click()
    add(place)
    take_back_all(reader)


def test_sheets_stand_in_the_order_of_their_names(reader: Reader, tmp_path: Path) -> None:
    """The browser hands over the file first that it has read first: here the short one."""
    long = OWN + "2026-02-14,Elm End,14,,,,\n" * 40_000
    drop(reader, tmp_path, first=long, second=OWN)


def test_a_file_that_is_no_sheet_is_one_sentence(reader: Reader, tmp_path: Path) -> None:
    path = tmp_path / "empty.csv"
    path.write_text("\n")
    reader.page.locator("#upload input[type=file]").set_input_files(path)
    expect(reader.page.locator(".dropped .mistake")).to_have_text("empty.csv is empty.")
