"""From the first page to one cow with nothing but the keyboard, the focus always in sight."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.addresses import address
from tests.browser.reading import Reader, returning
from tests.browser.stops import FOCUS, MOST_STEPS


@pytest.fixture(scope="module")
def reader(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    tab = Reader(browser, standing[0], 1280, context=returning(browser))
    yield tab
    tab.close()


def tab_to(reader: Reader, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """Press Tab until the focus is on what is wanted; it must be in sight at every step."""
    for _ in range(MOST_STEPS):
        reader.page.keyboard.press("Tab")
        at = reader.page.evaluate(FOCUS)
        assert at["seen"] or at["tag"] == "BODY", f"the focus is out of sight: {at}"
        if wanted(at):
            return dict(at)
    raise AssertionError(f"not reached within {MOST_STEPS} steps of {reader.page.url}")


def enter(reader: Reader) -> None:
    reader.page.evaluate("window.evenfootClock.start()")
    reader.page.keyboard.press("Enter")
    reader.settle()


def test_from_the_start_to_one_cow(reader: Reader) -> None:
    page = reader.page
    reader.open(address("/"))
    first = tab_to(reader, lambda at: True)
    assert first["href"] == "#content", "the first stop skips to the figures"
    tab_to(reader, lambda at: at["words"] == "Herd" and at["tag"] == "A")
    enter(reader)
    expect(page.locator("h1")).to_have_text("Lesions")
    tab_to(reader, lambda at: at["tag"] == "SUMMARY" and at["panel"] == "lesion-types")
    enter(reader)
    lesion = tab_to(reader, lambda at: at["inRow"] and at["tag"] == "A")
    enter(reader)
    expect(page.locator(".trail")).to_contain_text(lesion["words"])
    cow = tab_to(reader, lambda at: at["inRow"] and at["panel"] == "lesion-cows" and at["tag"] == "A")
    enter(reader)
    expect(page.locator("h1")).to_have_text("Cow")
    expect(page.locator('section[aria-labelledby="title-cow-who"]')).to_contain_text(cow["words"])
    assert not reader.told()
