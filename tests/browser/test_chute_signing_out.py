"""Signing out on any page takes herds off the phone; records that were not sent stay, and are told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from evenfoot.dashboard.auth import people
from evenfoot.dashboard.auth.store import Store
from tests.auth.people import PASSWORD
from tests.browser.barriers import barriers
from tests.browser.phone import FARM, Phone, herd, rows, serving

pytestmark = pytest.mark.long

KEPT = """async () => {
  const out = [];
  for (const { name } of await indexedDB.databases()) {
    const db = await new Promise(done => { const ask = indexedDB.open(name); ask.onsuccess = () => done(ask.result); });
    for (const table of db.objectStoreNames) {
      const all = await new Promise(done => {
        const ask = db.transaction(table).objectStore(table).getAll();
        ask.onsuccess = () => done(ask.result);
      });
      out.push(...all.map(each => [table, each.cow || each.farm || each.name]));
    }
    db.close();
  }
  return [out, Object.keys(localStorage), (await caches.keys()).length > 0];
}"""
"""What the browser holds: rows of every table, names in the local storage, whether the page itself is kept."""


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path: Path = tmp_path_factory.mktemp("out") / "ledger.duckdb"
    herd(path, 30)
    store = Store(Path(f"{path}.accounts.sqlite"))
    people.add(store, "Olive", "owner", PASSWORD)
    for name in ("Kim", "Lee"):
        people.add(store, name, "trimmer", PASSWORD, farms=[FARM])
    return path


@pytest.fixture(scope="module")
def address(ledger: Path) -> Iterator[str]:
    with serving(ledger) as address:
        yield address


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 390, "height": 844})
    yield context
    context.close()


def sign_in(page: Page, address: str, name: str) -> None:
    page.goto(f"{address}/login")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/login" not in url)


def sign_out(context: BrowserContext, address: str, button: str = "Sign out") -> Page:
    """Sign out on the page Account, and the page one lands on."""
    page = context.new_page()
    page.goto(f"{address}/account")
    page.get_by_role("button", name=button, exact=True).click()
    page.wait_for_selector("html[data-wiped]")
    expect(page.get_by_label("Password")).to_be_visible()
    assert barriers(page) == []
    return page


@pytest.mark.parametrize("button", ["Sign out", "Sign out everywhere"])
def test_with_all_sent_nothing_stays(context: BrowserContext, address: str, button: str) -> None:
    sign_in(context.new_page(), address, "Kim")
    phone = Phone(context, address)
    phone.begin()
    phone.page.evaluate("localStorage.setItem('evenfoot-typed:1', 'rows')")
    assert ["herds", FARM] in phone.page.evaluate(KEPT)[0]
    phone.page.close()
    page = sign_out(context, address, button)
    assert page.evaluate(KEPT) == [[], [], False]
    expect(page.locator("#unsent")).to_be_hidden()


def test_unsent_records_stay_alone_are_told_and_sent_after_signing_in_again(
    context: BrowserContext, address: str, ledger: Path
) -> None:
    # Another account on the same phone: its herd goes as well.
    sign_in(context.new_page(), address, "Lee")
    Phone(context, address).ready()
    sign_in_again = sign_out(context, address)
    sign_in(sign_in_again, address, "Kim")
    phone = Phone(context, address)
    phone.begin()
    phone.enter(["1001"])
    phone.send()
    phone.touch("number")
    phone.enter(["1002", "1003"])
    phone.kept(["1002", "1003"])
    phone.number("1004")
    for key in ("foot-RH", "zone-lateral-4", "lesion-SU"):
        phone.touch(key)
    page = sign_out(context, address)
    assert "Records not sent: 3." in page.inner_text("#unsent")
    held, stored, kept = page.evaluate(KEPT)
    assert sorted(held) == [["kept", "now"], ["records", "1002"], ["records", "1003"], ["visits", FARM]]
    assert stored == [] and kept
    # The tab that stood open is drawn anew, without the herd. With a slow network it shows what the phone keeps.
    phone.page.wait_for_function(
        "performance.getEntriesByType('navigation')[0].type !== 'navigate' || location.pathname === '/login'"
    )
    assert page.get_by_role("link", name="To the chute page").get_attribute("href") == "/chute"
    page.goto(f"{address}/login?next=/chute")
    page.get_by_label("Name").fill("Kim")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_selector("text=1004: Right hind")
    page.close()
    phone.page.close()
    phone.open()
    phone.touch("next")
    phone.touch("day")
    assert phone.unsent() == "3 not sent" and "Arrived: 3 new" in phone.send()
    assert [row[0] for row in rows(ledger)] == ["1001", "1002", "1003", "1004"]


def test_with_no_network_the_unsent_records_can_be_saved_as_a_file(context: BrowserContext, address: str) -> None:
    sign_in(context.new_page(), address, "Kim")
    phone = Phone(context, address)
    phone.begin()
    phone.enter(["1007"])
    phone.kept(["1007"])
    page = sign_out(context, address)
    context.set_offline(True)
    page.get_by_role("link", name="To the chute page").click()
    page.click("[data-key^=open-]")
    page.click("[data-key=day]")
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the day as a file").click()
    assert ",1007," in Path(download.value.path()).read_text(encoding="utf-8-sig")
