"""The reader's own guess of lame cows: asked before the figure, shown beside it, skipped, and never asked again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.queries.selection import Selection
from tests.browser.first_look import LOOK, SHIFT
from tests.browser.reading import Reader

pytestmark = pytest.mark.long

TODAY = "/today?farms={}&since=2025-11-01&until=2026-10-31"
WORDS = 90
"""Words in the first window of a phone, at most."""


def found(ledger: Path) -> dict[str, int]:
    """Lame cows of a hundred at the newest visit of every farm, by hand."""
    table = summary(open_ledger(str(ledger)), Selection()).table
    lame = table[table["what"] == "lame"]
    return {row.farm: round(100 * row.now_cases / row.now_at_risk) for row in lame.itertuples()}


def first_window(hand: Reader) -> None:
    """At first sight nothing has to be scrolled to, little is to be read, and nothing has moved."""
    seen = hand.page.evaluate(LOOK)
    assert seen["scroll"] == 0 and seen["window"] <= WORDS and seen["shift"] < 0.01, seen
    assert not hand.looks_wrong() and not hand.told()


@pytest.mark.parametrize("width", [390, 1280])
def test_asked_once_a_visit_compared_and_taken_over_farms(
    browser: Browser, standing: tuple[str, Path], width: int
) -> None:
    address, ledger = standing
    lame, hand = found(ledger), Reader(browser, address, width, 844 if width < 600 else 800)
    hand.page.add_init_script(SHIFT)
    try:
        for guess, farm in ((8, "Nether Ash"), (30, "Larkmoor")):
            hand.open(TODAY.format(farm.replace(" ", "+")))
            line = hand.page.locator("#guess-line")
            expect(line.get_by_text("Lame:")).to_be_hidden()
            if width < 600:
                first_window(hand)
            hand.page.get_by_label("Of 100 cows, how many are lame?").fill("many")
            hand.page.keyboard.press("Enter")
            expect(line.get_by_text("Lame:")).to_be_hidden()
            hand.page.get_by_label("Of 100 cows, how many are lame?").fill(str(guess))
            hand.page.keyboard.press("Enter")
            said = f"You said {guess} of 100; it was {lame[farm]}."
            expect(line).to_contain_text(re.compile(rf"Lame: {lame[farm]} of 100 cows.*{said}"), use_inner_text=True)
            assert hand.page.evaluate("document.activeElement.closest('.found') !== null"), "one reads on there"
            hand.open(TODAY.format(farm.replace(" ", "+")))
            expect(line).to_contain_text(said)
            expect(hand.page.locator("#guess")).to_be_hidden()
            if width < 600:
                first_window(hand)
            over = hand.page.locator("#guess-farms")
            hand.open("/?since=2025-11-01&until=2026-10-31")
            if guess == 8:
                assert over.inner_text() == "", "one farm has no mean"
        mean = (8 / lame["Nether Ash"] + 30 / lame["Larkmoor"]) / 2
        expect(over).to_contain_text(f"On 2 farms you guessed {round(100 * mean)} lame cows for every 100 found")
        assert not hand.told()
    finally:
        hand.close()


def test_skipped_for_this_visit_or_never_asked_again(browser: Browser, standing: tuple[str, Path]) -> None:
    hand = Reader(browser, standing[0], 390, 844)
    try:
        line, again = hand.page.locator("#guess-line"), hand.page.locator("#guess-again")
        hand.open(TODAY.format("Larkmoor"))
        hand.page.get_by_role("button", name="Skip").click()
        expect(line.get_by_text("Lame:")).to_be_visible()
        expect(line).not_to_contain_text("You said")
        hand.open(TODAY.format("Larkmoor"))
        expect(line.get_by_text("Lame:")).to_be_visible()
        hand.open(TODAY.format("Nether+Ash"))
        expect(again).to_be_hidden()
        hand.page.get_by_role("button", name="Never ask").click()
        for farm in ("Nether+Ash", "Withy+Flat"):
            hand.open(TODAY.format(farm))
            expect(line.get_by_text("Lame:")).to_be_visible()
        again.click()
        expect(hand.page.locator("#guess")).to_be_visible()
        expect(again).to_be_hidden()
        assert not hand.told()
    finally:
        hand.close()


def test_a_printed_page_has_the_figure_and_no_question(browser: Browser, standing: tuple[str, Path]) -> None:
    hand = Reader(browser, standing[0], 1280)
    try:
        hand.open(TODAY.format("Larkmoor"))
        hand.page.emulate_media(media="print")
        expect(hand.page.locator("#guess-line").get_by_text("Lame:")).to_be_visible()
        expect(hand.page.locator("#guess")).to_be_hidden()
    finally:
        hand.close()
