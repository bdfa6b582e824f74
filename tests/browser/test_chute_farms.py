"""Farms loaded together in the office, and what the phone tells of them at each."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext

from tests.browser.barriers import barriers
from tests.browser.phone import Phone, serving
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

FARMS = ("Ash Farm", "Birch Farm", "Cedar Farm", "Dell Farm")
HERDS = "new Dexie('evenfoot-chute-here').open().then(db => db.table('herds').toArray())"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path: Path = tmp_path_factory.mktemp("farms") / "ledger.duckdb"
    rows = [
        {"visit_date": "2026-09-20", "farm": farm, "trimmer": "KV", "visit_kind": "whole-herd", "herd_size": 12,
         "cow": str(100 + n), "foot": "LH" if n == 0 else None, "claw": "lateral" if n == 0 else None,
         "zone": 4 if n == 0 else None, "lesion": "SU" if n == 0 else None, "action": "refer" if n == 0 else None}
        for farm in FARMS for n in range(12)
    ]  # fmt: skip
    ledger_of(path, checked("trims", rows)).lease.drop_if_idle()
    with serving(path) as address:
        yield address


@pytest.fixture
def phone(browser: Browser, address: str) -> Iterator[Phone]:
    context: BrowserContext = browser.new_context(viewport={"width": 390, "height": 844})
    phone = Phone(context, address)
    phone.ready()
    yield phone
    assert not phone.errors
    context.close()


def load(phone: Phone, *farms: str) -> str:
    """Tick farms, load them, and what the page says then."""
    if phone.page.locator("details[open] [data-key=load-farms]").count() == 0:
        phone.touch("farms")
    for farm in farms:
        phone.touch(f"farm-{farm}")
    phone.touch("load-farms")
    phone.page.wait_for_selector("[data-key=load-farms]:not([disabled])")
    return phone.page.inner_text("#said")


def test_three_farms_are_loaded_at_once_and_known_with_no_network(phone: Phone) -> None:
    assert load(phone, "Birch Farm", "Cedar Farm") == "All that is ticked is on this phone: 3."
    assert barriers(phone.page) == []
    text = phone.page.inner_text("#screen")
    assert text.count("Loaded today ") == 3 and "12 cows, 1 to be seen." in text and "Not on this phone." in text
    phone.context.set_offline(True)
    phone.page.reload()
    phone.page.select_option("#field-farm", "Cedar Farm")
    phone.page.select_option("#field-kind", "lame-cow")
    phone.touch("begin")
    phone.touch("see")
    phone.touch("see-100")
    band = phone.page.inner_text(".band")
    assert phone.page.input_value("#cow") == "100"
    assert "ask your veterinarian" in band and "left hind, outer, sole ulcer" in band


def test_a_farm_without_a_tick_leaves_once_the_others_have_come(phone: Phone) -> None:
    load(phone, "Birch Farm", "Dell Farm")
    phone.context.set_offline(True)
    assert "Did not come: Ash Farm, Birch Farm." in load(phone, "Dell Farm")
    assert [herd["farm"] for herd in phone.page.evaluate(HERDS)] == ["Ash Farm", "Birch Farm", "Dell Farm"]
    phone.context.set_offline(False)
    load(phone)
    assert [herd["farm"] for herd in phone.page.evaluate(HERDS)] == ["Ash Farm", "Birch Farm"]


def test_an_old_herd_is_told(phone: Phone) -> None:
    load(phone, "Birch Farm")
    phone.context.set_offline(True)
    for days, told in ((7, False), (8, True)):
        phone.page.evaluate(
            """async days => {
              const db = await new Dexie("evenfoot-chute-here").open(), herds = db.table("herds");
              const day = new Date(Date.now() - days * 86400000);
              const loaded = `${[day.getFullYear(), day.getMonth() + 1, day.getDate()]
                .map(part => String(part).padStart(2, "0")).join("-")} 09:12`;
              await herds.put({ ...await herds.get("Birch Farm"), loaded });
            }""",
            days,
        )
        phone.page.reload()
        phone.page.wait_for_selector("[data-key=farms]")
        assert ("more than a week ago: Birch Farm." in phone.page.inner_text("#screen")) is told
    phone.page.select_option("#field-farm", "Birch Farm")
    phone.page.select_option("#field-kind", "lame-cow")
    phone.touch("begin")
    assert "09:12, more than a week ago" in phone.page.inner_text(".where")


def test_a_full_phone_says_which_farm_it_could_not_keep(phone: Phone) -> None:
    phone.page.evaluate(
        """() => {
          const put = IDBObjectStore.prototype.put;
          IDBObjectStore.prototype.put = function (value, ...more) {
            if (value.farm === "Cedar Farm") throw new DOMException("full", "QuotaExceededError");
            return put.call(this, value, ...more);
          };
        }"""
    )
    assert "could not keep Cedar Farm" in load(phone, "Birch Farm", "Cedar Farm")
    assert [herd["farm"] for herd in phone.page.evaluate(HERDS)] == ["Ash Farm", "Birch Farm"]


def test_a_farm_that_is_no_longer_granted_leaves_the_phone(phone: Phone) -> None:
    load(phone, "Birch Farm")
    phone.context.route("**/chute/farms", lambda route: route.fulfill(json={"farms": ["Ash Farm"], "demo": False}))
    phone.page.reload()
    phone.ready()
    assert [herd["farm"] for herd in phone.page.evaluate(HERDS)] == ["Ash Farm"]
