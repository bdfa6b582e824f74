"""A photo of the paper stands beside what is typed from it, and belongs to the import afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.photos import photos_of
from tests.browser.barriers import barriers
from tests.browser.reading import Reader
from tests.browser.test_typed import fields, served, type_rows

EXIF = b"Exif\0\0" + bytes.fromhex("4d4d002a0000000800010112000300000001000600000000") + b"GPS 52 N"
"""Says that the picture lies on its side (orientation 6), and where it was taken."""

ROWS = (("1040", "", "", "", "SU out z4", "3"), ("1041", "ok", "ok"))


@pytest.fixture(scope="module")
def papers(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Photos of a sheet: a JPEG of 3,600 by 4,800 pixels on its side, a PNG, a PDF of a scan, and an SVG."""
    folder = tmp_path_factory.mktemp("papers")
    page = browser.new_page(viewport={"width": 900, "height": 1200}, device_scale_factor=4)
    page.set_content("<body style='font: 40px cursive'><h1>Elm End</h1>" + "<p>1040 SU out z4 ++</p>" * 12)
    photo = page.screenshot(type="jpeg")
    drawn = page.screenshot(type="png")
    page.close()
    scan = b"%PDF-1.4\n1 0 obj <</Subtype /Image /Filter /DCTDecode>>\nstream\n" + photo + b"\nendstream endobj\n"
    made = {
        "photo.jpg": photo[:2] + b"\xff\xe1" + (len(EXIF) + 2).to_bytes(2) + EXIF + photo[2:],
        "drawn.png": drawn,
        "scan.pdf": scan,
        "sheet.svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    }
    for name, data in made.items():
        (folder / name).write_bytes(data)
    return {name: folder / name for name in made}


@pytest.fixture
def own(browser: Browser, tmp_path: Path) -> Iterator[tuple[str, Path]]:
    yield from served(tmp_path / "own.duckdb")


def choose(hand: Reader, *papers: Path) -> None:
    with hand.page.expect_file_chooser() as waiting:
        hand.page.locator("#typing-photo-choose").click()
    waiting.value.set_files(papers)


def picture(hand: Reader) -> tuple[int, int]:
    """Width and height of the picture that is shown, in its own pixels."""
    shown = hand.page.locator(".photo-pane img").first
    expect(shown).to_be_visible()
    hand.page.wait_for_function("document.querySelector('.photo-pane img').naturalWidth")
    width, height = shown.evaluate("each => [each.naturalWidth, each.naturalHeight]")
    return int(width), int(height)


def add(hand: Reader) -> None:
    hand.page.locator("#typing-check").click()
    hand.page.get_by_role("button", name="Add 2 records").click()
    expect(hand.page.locator("#sheets")).to_contain_text("added as import 2: 2")


def test_a_photo_is_looked_at_while_typing_and_seen_again_with_the_import(
    browser: Browser, own: tuple[str, Path], papers: dict[str, Path]
) -> None:
    address, path = own
    hand = Reader(browser, address, 1280, 800)
    page, said = hand.page, hand.page.locator("#typing-photo-said")
    try:
        hand.open("/typing?farms=Elm+End")
        page.locator("#typing-photos summary").click()
        choose(hand, papers["sheet.svg"])
        expect(said).to_contain_text("'sheet.svg' is no JPEG, PNG, WebP or PDF")
        choose(hand, papers["photo.jpg"])
        expect(said).to_have_text("Photos kept with what you type: 1.")
        assert picture(hand) == (2000, 1500)
        page.reload()  # Before a row is typed.
        hand.settle()
        assert picture(hand) == (2000, 1500)
        page.locator("#typing-rows input").first.focus()
        type_rows(hand, ROWS)
        rows, pane = (page.locator(each).bounding_box() for each in ("#typing-rows", ".photo-pane"))
        assert rows and pane and rows["x"] + rows["width"] <= pane["x"] and pane["y"] + pane["height"] <= 800
        page.get_by_role("button", name="Larger").click()
        before = page.locator(".photo-pane").evaluate("pane => [pane.scrollWidth, pane.scrollHeight]")
        page.get_by_role("button", name="Turn").click()
        after = page.locator(".photo-pane").evaluate("pane => [pane.scrollWidth, pane.scrollHeight]")
        assert after[0] == pytest.approx(before[0], abs=2) and after[1] > before[1] > 0
        hand.settle()
        wrong = hand.looks_wrong() + barriers(page)
        assert not wrong, wrong
        add(hand)
        expect(said).to_have_text("The photo is kept with import 2.")
        expect(page.locator("#typing-photo-viewer")).to_be_hidden()
        page.emulate_media(media="print")
        expect(page.locator("#typing-photos")).to_be_hidden()
        page.emulate_media(media="screen")
        hand.open("/import")
        link = page.get_by_role("link", name="Photo of the sheet of import 2")
        given = page.request.get(address + str(link.get_attribute("href")))
        assert given.headers["content-type"] == "image/jpeg" and len(given.body()) < 1_000_000
        assert b"GPS" in papers["photo.jpg"].read_bytes() and b"GPS" not in given.body()
        page.get_by_role("link", name="Correct records of import 2").click()
        hand.settle()
        assert picture(hand) == (2000, 1500)
        wrong = hand.looks_wrong() + barriers(page)
        assert not wrong, wrong
        assert not hand.told()
        page.route("**/dexie.min.js", lambda route: route.abort())
        hand.open("/typing?farms=Elm+End")
        page.locator("#typing-photos summary").click()
        choose(hand, papers["drawn.png"])
        expect(said).to_contain_text("This browser has no room for the photo")
        assert picture(hand) == (1500, 2000)
        hand.open("/corrections?brought=2")
        page.get_by_text("Remove photo 1", exact=True).click()
        page.get_by_role("button", name="Yes, remove photo 1").click()
        expect(page.locator("#done")).to_contain_text("The photo was removed.")
        expect(page.locator(".photo-pane")).to_have_count(0)
    finally:
        hand.close()
    ledger = open_ledger(str(path))
    assert not photos_of(ledger)


def test_a_photo_that_does_not_arrive_is_kept_and_sent_later(
    browser: Browser, own: tuple[str, Path], papers: dict[str, Path]
) -> None:
    address, path = own
    hand = Reader(browser, address, 390, 844, has_touch=True)
    page, said = hand.page, hand.page.locator("#typing-photo-said")
    try:
        hand.open("/typing?farms=Elm+End")
        assert not page.locator("#typing-photo-choose").is_visible()
        page.locator("#typing-photos summary").click()
        choose(hand, papers["scan.pdf"], papers["drawn.png"], papers["photo.jpg"])
        expect(said).to_have_text("Photos kept with what you type: 3.")
        page.get_by_role("button", name="Photo 3 of the sheet").click()
        page.get_by_role("button", name="Take this photo out").click()
        expect(said).to_have_text("Photos kept with what you type: 2.")
        assert picture(hand) == (3600, 4800)  # The page of the scan, as it is.
        page.locator("#typing-rows input").first.focus()
        type_rows(hand, ROWS)
        pane, field = page.locator(".photo-pane").bounding_box(), page.locator("input:focus").bounding_box()
        assert pane and field and pane["y"] >= 0 and pane["y"] + pane["height"] <= field["y"]
        wrong = hand.looks_wrong() + barriers(page)
        assert not wrong, wrong
        page.route("**/photos", lambda route: route.abort())
        add(hand)
        expect(said).to_contain_text("The photo did not reach import 2. It stays in this browser")
        assert fields(hand) == []
        page.get_by_role("button", name="Send again").click()
        expect(said).to_contain_text("did not reach")
        page.unroute("**/photos")
        page.reload()
        expect(said).to_have_text("The photo is kept with import 2.")
        hand.settle()
        kept = "new Dexie('evenfoot-typed-photos-').open().then(db => db.table('photos').count())"
        assert page.evaluate(kept) == 0
    finally:
        hand.close()
    assert [(each.number, each.kind) for each in photos_of(open_ledger(str(path)))] == [(1, "pdf"), (2, "jpeg")]
