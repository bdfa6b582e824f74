"""What each of the three people comes for, done in a browser: at most three clicks and one screen of scrolling each.

A choice from a list counts as one click. The first window of Today is looked at as ``first_look`` does.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Locator, expect

from tests.browser.first_look import LOOK, SHIFT
from tests.browser.reading import Reader, returning, saved

MOST_CLICKS = 3
MOST_WORDS = 90
MOST_SHIFT = 0.05


class Hand:
    """A reader's hand: clicks, and counts them and how far it scrolls to what it looks for."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.clicks = 0

    def click(self, what: Locator) -> None:
        self.see(what)
        self.clicks += 1
        assert self.clicks <= MOST_CLICKS
        what.click()

    def see(self, what: Locator) -> Locator:
        """What is looked for stands in the first window or one screen below it."""
        expect(what).to_be_visible()
        box, size = what.bounding_box(), self.reader.page.viewport_size
        assert box and size
        assert box["y"] + self.reader.page.evaluate("() => scrollY") < 2 * size["height"]
        return what


@pytest.fixture
def hand(browser: Browser, standing: tuple[str, Path]) -> Iterator[Hand]:
    reader = Reader(browser, standing[0], 1280, 800, context=returning(browser))
    reader.open("/")
    yield Hand(reader)
    reader.close()


def panel(hand: Hand, name: str) -> Locator:
    return hand.reader.page.locator(f'section[aria-labelledby="title-{name}"]')


def test_is_my_herd_better_or_worse_and_where_is_the_problem(hand: Hand) -> None:
    hand.click(panel(hand, "start-farms").get_by_role("link", name="Osier End", exact=True))
    answers = panel(hand, "today-answers").locator("li")
    expect(hand.see(answers.nth(0))).to_have_text(re.compile(r"Worse\. Lame: \d+ of 100 cows"))
    expect(hand.see(answers.nth(1))).to_contain_text("Biggest problem: digital dermatitis")
    expect(hand.see(panel(hand, "today-feet").locator("h2"))).to_have_text(
        re.compile("^Most on the hind feet: Zone 10")
    )


def test_which_cows_to_see_today(hand: Hand) -> None:
    hand.click(panel(hand, "start-farms").get_by_role("link", name="Osier End", exact=True))
    hand.click(panel(hand, "today-answers").get_by_role("link", name=re.compile("cows to see")))
    expect(hand.see(panel(hand, "worklist-cows").locator("tbody tr").first)).to_contain_text("ask your veterinarian")


def test_did_the_bath_help(hand: Hand) -> None:
    hand.click(panel(hand, "start-farms").get_by_role("link", name="Larkmoor", exact=True))
    answer = hand.see(panel(hand, "today-answers").locator("li").nth(2))
    expect(answer).to_have_text(re.compile(r"After: .*oot bath.* of 100 cows.* No clear change\.", re.IGNORECASE))


def test_two_housings_compared_within_lactations_as_a_slide(hand: Hand) -> None:
    hand.reader.open("/today?farms=Larkmoor")
    hand.click(panel(hand, "today-answers").get_by_role("link", name=re.compile("^Biggest problem")))
    hand.click(hand.reader.page.get_by_role("link", name="Compare housings, within lactations"))
    risks = panel(hand, "comparison-risks")
    expect(hand.see(risks.locator("h2"))).to_have_text(re.compile(r"\d+ of 100, .*(likely real|chance could do that)$"))
    hand.clicks += 1
    with Image.open(io.BytesIO(saved(hand.reader, hand.see(risks.get_by_role("button", name="PNG"))))) as picture:
        assert picture.width > 800
    assert hand.clicks <= MOST_CLICKS


def test_the_next_farm_and_its_list(hand: Hand) -> None:
    expect(hand.see(panel(hand, "start-farms").locator("th", has_text="Next visit"))).to_be_visible()
    lists = panel(hand, "start-farms").get_by_role("heading", name="Lists for the chute").locator("xpath=..")
    hand.click(lists.get_by_role("link", name=re.compile(r", \d+ \w+ \d{4}$")).first)
    hand.clicks += 1
    listed = saved(
        hand.reader, hand.see(panel(hand, "plan-visits").get_by_role("button", name="List for the chute").first)
    )
    assert listed.startswith(b"%PDF") and hand.clicks <= MOST_CLICKS


def test_a_cow_on_a_phone(browser: Browser, standing: tuple[str, Path]) -> None:
    reader = Reader(browser, standing[0], 390, 844, has_touch=True, is_mobile=True)
    reader.open("/today?farms=Larkmoor")
    hand = Hand(reader)
    number = reader.page.get_by_label("Find a cow").get_by_role("textbox")
    assert number.get_attribute("inputmode") == "numeric"
    number.fill("1420")
    hand.click(reader.page.get_by_role("button", name="Find"))
    expect(hand.see(panel(hand, "cow-who").locator("h2"))).to_have_text("Cow 1420, Larkmoor")
    assert not reader.told()
    reader.close()


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
def test_the_first_window_of_today(browser: Browser, standing: tuple[str, Path], width: int, height: int) -> None:
    touch = width < 600
    reader = Reader(browser, standing[0], width, height, has_touch=touch, is_mobile=touch)
    reader.page.add_init_script(SHIFT)
    reader.open("/today?farms=Osier+End")
    found = reader.page.evaluate(LOOK)
    reader.close()
    assert found["window"] <= MOST_WORDS and found["scroll"] == 0, found
    assert found["panels"] <= 5 and found["shift"] < MOST_SHIFT, found


def test_the_page_that_is_open_is_in_sight_among_the_pages_of_its_group(
    browser: Browser, standing: tuple[str, Path]
) -> None:
    reader = Reader(browser, standing[0], 390, 844, has_touch=True, is_mobile=True)
    reader.open("/shedding?farms=Larkmoor")
    expect(reader.page.locator(".pages .here")).to_be_in_viewport(ratio=0.9)
    reader.follow("/herd?farms=Larkmoor")
    expect(reader.page.locator(".pages .here")).to_have_text("Better or worse")
    expect(reader.page.locator(".pages .here")).to_be_in_viewport(ratio=0.9)
    reader.close()
