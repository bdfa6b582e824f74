"""The tour of the demo herds: six steps for each of three people, by keyboard, left at any time, in Spanish too."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, expect

from evenfoot.dashboard.pages.tour import TOURS
from tests.browser.first_look import LOOK, SHIFT
from tests.browser.reading import Reader

pytestmark = pytest.mark.long

PHONE, LAPTOP = (390, 844), (1280, 800)


@pytest.mark.parametrize(("size", "who"), [(PHONE, "trimmer"), (LAPTOP, "manager"), (LAPTOP, "veterinarian")])
def test_begun_on_the_first_page_walked_by_keyboard_and_ended(
    browser: Browser, standing: tuple[str, Path], size: tuple[int, int], who: str
) -> None:
    name, steps = TOURS[who]
    hand = Reader(browser, standing[0], *size)
    hand.page.add_init_script(SHIFT)
    card = hand.page.locator("#tour")
    try:
        hand.open("/")
        expect(card).to_be_hidden()
        hand.page.locator("#tours").get_by_role("link", name=str(name)).click()
        for n, step in enumerate(steps, 1):
            expect(card).to_contain_text(f"{n} of {len(steps)}")
            expect(card).to_contain_text(str(step.said))
            hand.settle()
            address = urlsplit(hand.page.url)
            assert address.path == step.path and parse_qs(address.query).get("farms", [""]) == [step.farm]
            assert card.evaluate("card => card.getBoundingClientRect().bottom <= innerHeight")
            assert hand.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
            if n == 1:
                hand.page.locator("#tour-next").focus()
            expect(hand.page.locator("#tour-next")).to_be_focused()
            hand.page.evaluate("window.evenfootClock.start()")
            hand.page.keyboard.press("Enter")
        expect(card).to_be_hidden()
        assert "tour=" not in hand.page.url and not hand.told()
    finally:
        hand.close()


def test_it_can_be_left_and_comes_back_with_back(browser: Browser, standing: tuple[str, Path]) -> None:
    hand = Reader(browser, standing[0], *PHONE, has_touch=True, is_mobile=True)
    hand.page.add_init_script(SHIFT)
    card = hand.page.locator("#tour")
    try:
        hand.open("/lesions?farms=Larkmoor&since=2025-11-01&until=2026-10-31&language=es&tour=manager-3")
        seen = hand.page.evaluate(LOOK)
        assert seen["shift"] < 0.01 and not hand.looks_wrong(), seen
        assert all((box := link.bounding_box()) and box["height"] >= 48 for link in card.locator("a.take").all())
        hand.page.locator("#tour-back").click()
        hand.page.wait_for_url("**/herd?**tour=manager-2**")
        hand.page.locator("#tour-leave").click()
        expect(card).to_be_hidden()
        assert "language=es" in hand.page.url and "/herd?" in hand.page.url
        hand.page.go_back()
        expect(card).to_be_visible()
        assert not hand.told()
    finally:
        hand.close()


def test_what_is_followed_on_the_way_keeps_the_tour(browser: Browser, standing: tuple[str, Path]) -> None:
    hand = Reader(browser, standing[0], *LAPTOP)
    try:
        hand.open("/worklist?farms=Larkmoor&since=2025-11-01&until=2026-10-31&tour=manager-4")
        hand.page.locator("main td a").first.click()
        hand.page.wait_for_url("**/cow?**tour=manager-4**")
        hand.page.locator("#tour-said a").click()
        hand.page.wait_for_url("**/worklist?**tour=manager-4**")
    finally:
        hand.close()
