"""Herds on a phone, locked with a word: nothing of them can be read in the browser's database without it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from tests.browser.barriers import barriers
from tests.browser.phone import FARM, Phone, herd, serving

pytestmark = pytest.mark.long

WORD = "black heifer"
KEPT = """new Dexie('evenfoot-chute-here').open().then(async db => JSON.stringify(
  [await db.table('herds').toArray(), await db.table('kept').toArray()],
  (name, value) => value instanceof ArrayBuffer ? new TextDecoder('latin1').decode(value) : value))"""
"""All that the database has of herds, bytes as letters."""
NAMED = '"cow":"1001"'


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path: Path = tmp_path_factory.mktemp("locked") / "ledger.duckdb"
    herd(path, 12)
    with serving(path) as address:
        yield address


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    yield context
    context.close()


def lock(phone: Phone, word: str) -> None:
    phone.touch("farms")
    phone.page.fill("#field-lock", word)
    phone.touch("lock")


def opened_anew(context: BrowserContext, address: str) -> Phone:
    """The page after the phone was off, with no network."""
    context.set_offline(True)
    return Phone(context, address)


def test_locked_herds_cannot_be_read_and_open_with_their_word(context: BrowserContext, address: str) -> None:
    phone = Phone(context, address)
    phone.ready()
    assert NAMED in phone.page.evaluate(KEPT)
    lock(phone, "short")
    expect(phone.page.locator("#said")).to_have_text("Use 6 letters or more.")
    phone.page.fill("#field-lock", WORD)
    phone.touch("lock")
    expect(phone.page.locator("#said")).to_have_text("The herds on this phone are locked with a word.")
    kept = phone.page.evaluate(KEPT)
    assert FARM in kept and NAMED not in kept and "1001" not in kept and WORD not in kept
    phone.page.close()
    phone = opened_anew(context, address)
    assert barriers(phone.page) == []
    expect(phone.page.locator("#screen")).to_contain_text("Cows can be written down all the same.")
    phone.page.fill("#field-unlock", "white heifer")
    phone.touch("unlock")
    expect(phone.page.locator("#said")).to_have_text("That is not the word.")
    phone.page.fill("#field-unlock", WORD)
    phone.touch("unlock")
    expect(phone.page.locator("[data-key=unlock]")).to_have_count(0)
    phone.touch("farms")
    expect(phone.page.locator("#screen")).to_contain_text("12 cows, 1 to be seen.")
    phone.touch("lock-off")
    expect(phone.page.locator("#field-lock")).to_be_visible()
    assert NAMED in phone.page.evaluate(KEPT)
    assert not phone.errors


def test_a_visit_goes_on_while_the_herds_are_locked_and_a_forgotten_word_loses_no_record(
    context: BrowserContext, address: str
) -> None:
    phone = Phone(context, address)
    phone.ready()
    lock(phone, WORD)
    expect(phone.page.locator("[data-key=lock-off]")).to_be_visible()
    phone.begin()
    phone.page.close()
    phone = opened_anew(context, address)
    for digit in "1003":
        phone.touch(f"digit-{digit}")
    phone.touch("next")
    expect(phone.page.locator("#said")).to_contain_text("1003")
    phone.touch("forget-herds")
    expect(phone.page.locator("[data-key=unlock]")).to_have_count(0)
    kept = phone.page.evaluate(KEPT)
    assert kept.startswith("[[],") and '"lock"' not in kept
    expect(phone.page.locator("#count")).to_contain_text("1")
    context.set_offline(False)
    phone.page.reload()
    phone.ready()
    assert NAMED in phone.page.evaluate(KEPT)
    assert not phone.errors
