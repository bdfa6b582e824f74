"""The chute page with no network, killed, full, and sent in every bad way: each record on the phone or in the ledger,
none twice."""

from __future__ import annotations

import csv
import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Route

from evenfoot.analytics.ledger import open_ledger
from tests.browser.barriers import barriers
from tests.browser.conftest import start_server
from tests.browser.phone import DAY, ENTER, Phone, herd, rows, serving

pytestmark = pytest.mark.long

PHONE = {"viewport": {"width": 390, "height": 844}, "accept_downloads": True}
KILLS = 30
COWS = [str(1000 + n) for n in range(200)]
SU = ("RH", 4, "SU", 2, "trim")
NOTHING = (None, None, None, None, None)


def expected(cows: list[str]) -> list[tuple[object, ...]]:
    """The rows of cows that were entered as fast as the page draws."""
    return [(cow, *(SU if int(cow) % 3 == 0 else NOTHING)) for cow in sorted(cows)]


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    herd(tmp_path / "ledger.duckdb")
    return tmp_path / "ledger.duckdb"


@pytest.fixture
def address(ledger: Path) -> Iterator[str]:
    with serving(ledger) as address:
        yield address


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(**PHONE)
    yield context
    context.close()


def test_ten_cows_by_touches_that_are_counted(context: BrowserContext, address: str, ledger: Path) -> None:
    phone = Phone(context, address)
    phone.begin()
    clean = [["next"]] * 3
    one = [
        ["foot-RH", "zone-lateral-4", "lesion-SU", "severity-2", "block-medial", "next"],
        ["foot-LH", "zone--10", "lesion-DD", "stage-M2", "action-wrap", "next"],
        ["foot-LF", "zone-medial-3", "lesion-WL", "severity-3", "action-refer", "next"],
        ["foot-RF", "zone-lateral-6", "lesion-HHE", "severity-1", "action-trim", "next"],
        ["foot-LH", "zone--0", "lesion-IP", "severity-3", "action-refer", "next"],
        ["foot-RH", "zone-medial-7", "lesion-HF", "severity-1", "next"],
    ]
    two = [["foot-RH", "zone-lateral-4", "lesion-SU", "more-found", "foot-LH", "zone-lateral-4", "lesion-SH", "next"]]
    touched = []
    for place, keys in enumerate(clean + one + two):
        phone.number(str(1010 + place))
        before = phone.touches
        for key in keys:
            phone.touch(key)
        touched.append(phone.touches - before)
    assert max(touched[:3]) <= 2 and max(touched[3:9]) <= 6, touched
    assert "Arrived: 11 new" in phone.send()
    found = {row[0]: row[1:] for row in rows(ledger)}
    assert found["1013"] == ("RH", 4, "SU", 2, "block") and found["1014"] == ("LH", 10, "DD", None, "wrap")
    assert found["1017"] == ("LH", 0, "IP", 3, "refer") and found["1010"] == NOTHING
    assert len([row for row in rows(ledger) if row[0] == "1019"]) == 2
    assert not phone.errors


def test_two_things_done_for_one_finding_are_kept_as_an_imported_sheet_keeps_them(
    context: BrowserContext, address: str, ledger: Path
) -> None:
    phone = Phone(context, address)
    phone.begin()
    cows = {
        "1010": ["foot-RH", "zone-lateral-4", "lesion-SU", "severity-2", "block-wrap", "next"],
        "1011": ["foot-LH", "zone--10", "lesion-DD", "action-wrap", "action-refer", "next"],
        "1012": ["foot-RH", "zone-lateral-4", "lesion-SU", "block-medial", "block-wrap", "block-medial", "next"],
    }
    for cow, keys in cows.items():
        phone.number(cow)
        before = phone.touches
        for key in keys:
            phone.touch(key)
        if cow == "1010":
            assert phone.touches - before <= 6
    phone.touch("day")
    assert "moderate, Block on the inner claw, wrap put on" in phone.page.inner_text(".list")
    assert "Arrived: 3 new" in phone.send()
    frame = open_ledger(str(ledger)).frame(
        f"SELECT cow, action, note FROM trim_rows WHERE visit_date = DATE '{DAY}' ORDER BY cow"
    )
    note = "block on inner claw; action: block, wrap"
    assert frame.to_numpy().tolist()[:2] == [["1010", "block", note], ["1011", "refer", "action: wrap, refer"]]
    assert frame["action"].tolist()[2] == "wrap" and not phone.errors


def test_200_cows_with_no_network_while_the_tab_is_killed(context: BrowserContext, address: str, ledger: Path) -> None:
    phone = Phone(context, address)
    phone.begin()
    context.set_offline(True)
    chance = random.Random(7)
    done: list[str] = []
    for _ in range(KILLS):
        left = [cow for cow in COWS if cow not in phone.saved]
        phone.page.evaluate(f"cows => {{ ({ENTER})(cows) }}", left[:12])
        phone.page.wait_for_timeout(chance.randint(5, 500))
        phone.page.close()
        phone.open()
        done = phone.saved
    assert len(set(done)) > KILLS
    phone.page.clock.install(time="2019-01-01T08:00:00")
    phone.enter([cow for cow in COWS if cow not in set(phone.saved)])
    phone.touch("day")
    phone.page.wait_for_selector("#count span:text('200 not sent')")
    context.set_offline(False)
    assert "Arrived: 200 new, 0 there already, 0 set aside." in phone.send()
    assert rows(ledger) == expected(COWS)
    assert "Arrived: 0 new, 200 there already" in phone.send("again")
    assert rows(ledger) == expected(COWS) and not phone.errors


def test_an_answer_lost_and_two_phones_at_once(browser: Browser, address: str, ledger: Path) -> None:
    with browser.new_context(**PHONE) as one, browser.new_context(**PHONE) as two:
        phones = [Phone(one, address), Phone(two, address)]
        for phone, cows in zip(phones, (COWS[:12], COWS[6:18]), strict=True):
            phone.begin()
            phone.enter(cows)

        def lose(route: Route) -> None:
            route.fetch()
            route.abort()

        one.route("**/chute/visit", lose)
        assert "All stays on this phone" in phones[0].send() and phones[0].unsent() == "12 not sent"
        one.unroute("**/chute/visit")
        for phone in phones:
            if phone.page.locator("[data-key=send]").count() == 0:
                phone.touch("day")
        for phone in phones:
            phone.touch("send")
        # The second has the finding of a cow that it did not see on another: whether they are one is asked.
        phones[1].page.click("text=keep both")
        phones[1].touch("answers")
        said = []
        for phone in phones:
            phone.page.wait_for_selector(".answer")
            said.append(phone.page.inner_text(".answer"))
        assert said == [
            "Arrived: 0 new, 12 there already, 0 set aside.",
            "Arrived: 6 new, 6 there already, 0 set aside.",
        ]
        assert all(phone.unsent() == "All sent" and not phone.errors for phone in phones)
    assert rows(ledger) == expected(COWS[:18])


def test_the_office_killed_while_it_receives_and_restored_from_a_backup(context: BrowserContext, ledger: Path) -> None:
    shutil.copy(ledger, ledger.with_suffix(".backup"))
    process, address = start_server(ledger)
    port = int(address.rsplit(":", 1)[1])
    phone = Phone(context, address)
    try:
        phone.begin()
        phone.enter(COWS[:40])
        phone.touch("day")
        phone.touch("send")
        phone.page.wait_for_timeout(400)
    finally:
        process.kill()
        with process:
            pass
    phone.page.wait_for_selector(".answer, .caution")
    with serving(ledger, port):
        if phone.unsent() != "All sent":
            phone.send()
        assert phone.unsent() == "All sent" and rows(ledger) == expected(COWS[:40])
    for each in ledger.parent.glob("ledger.duckdb*"):
        each.unlink()
    shutil.copy(ledger.with_suffix(".backup"), ledger)
    with serving(ledger, port):
        assert "Arrived: 40 new" in phone.send("again")
        assert rows(ledger) == expected(COWS[:40])


def test_a_full_phone_says_so_and_gives_the_file(context: BrowserContext, address: str, ledger: Path) -> None:
    phone = Phone(context, address)
    phone.begin()
    phone.enter(COWS[:2])
    phone.kept(COWS[:2])
    phone.page.evaluate(
        """() => {
          const put = IDBObjectStore.prototype.put;
          window.full = true;
          IDBObjectStore.prototype.put = function (...given) {
            if (window.full) throw new DOMException("full", "QuotaExceededError");
            return put.apply(this, given);
          };
        }"""
    )
    phone.enter(COWS[2:5])
    assert "did not keep 3 records" in phone.page.inner_text("#trouble")
    with phone.page.expect_download() as download:
        phone.page.click("#trouble button")
    text = Path(download.value.path()).read_text(encoding="utf-8-sig")
    assert [line["cow"] for line in csv.DictReader(text.splitlines())] == COWS[:5]
    phone.page.evaluate("window.full = false")
    phone.enter(COWS[5:6])
    phone.page.wait_for_selector("#trouble:empty", state="attached")
    phone.page.reload()
    phone.touch("day")
    assert phone.unsent() == "6 not sent"
    assert "Arrived: 6 new" in phone.send() and rows(ledger) == expected(COWS[:6])


def test_correct_remove_undo_and_ask(context: BrowserContext, address: str, ledger: Path) -> None:
    phone = Phone(context, address)
    phone.begin()
    phone.enter(COWS[1:4])
    phone.touch("undo")
    assert phone.page.input_value("#cow") == "1003"
    phone.touch("next")
    phone.touch("day")
    phone.page.click(f'[aria-label="Remove: {COWS[2]}"]')
    phone.page.click(f'[aria-label="Correct: {COWS[1]}"]')
    for key in ("foot-RH", "zone-lateral-4", "lesion-SU", "severity-3", "next"):
        phone.touch(key)
    assert "Arrived: 2 new" in phone.send()
    assert rows(ledger) == [("1001", "RH", 4, "SU", 3, None), ("1003", *NOTHING)]
    with context.browser.new_context(**PHONE) as other:  # type: ignore[union-attr]
        second = Phone(other, address)
        second.begin()
        second.number("1001")
        for key in ("foot-RH", "zone-lateral-4", "lesion-SU", "severity-1", "next"):
            second.touch(key)
        assert "Nothing was added yet" in second.send()
        second.page.click("text=keep both")
        second.touch("answers")
        second.page.wait_for_selector(".answer")
    assert [row[4] for row in rows(ledger) if row[0] == "1001"] == [1, 3]


def test_a_walk_in_one_touch_a_cow(context: BrowserContext, address: str, ledger: Path) -> None:
    phone = Phone(context, address)
    phone.begin(walk=True)
    assert "To score in this herd: 36." in phone.page.inner_text("#screen")
    phone.number("1005")
    phone.touch("score-3")
    phone.page.click(".chips .chip:nth-child(2)")
    for key in ("score-1", "skip", "score-2"):
        phone.touch(key)
    assert "3 scored, 1 not looked at" in phone.page.inner_text("#screen")
    assert "Arrived: 3 new" in phone.send()
    frame = open_ledger(str(ledger)).frame("SELECT cow, score, scale, scorer FROM score_rows ORDER BY cow")
    assert frame.to_numpy().tolist() == [
        ["1000", 1, "1-5", "KV"], ["1002", 2, "1-5", "KV"], ["1005", 3, "1-5", "KV"],
    ]  # fmt: skip


def test_over_plain_http_it_works_while_the_network_does(context: BrowserContext, address: str, ledger: Path) -> None:
    # What browsers have over TLS alone.
    context.add_init_script(
        """delete Crypto.prototype.randomUUID;
        delete window.caches;
        delete window.isSecureContext;
        delete Navigator.prototype.serviceWorker;"""
    )
    phone = Phone(context, address)
    phone.page.wait_for_selector("html[data-ready]")
    assert "did not come over TLS" in phone.page.inner_text("#screen")
    phone.page.fill("#field-date", DAY)
    phone.page.select_option("#field-kind", "lame-cow")
    phone.touch("begin")
    phone.page.wait_for_selector('[data-key="cow"]')
    phone.enter(COWS[1:3])
    phone.kept(COWS[1:3])
    assert "Arrived: 2 new" in phone.send() and len(rows(ledger)) == 2
    phone.touch("visit")
    phone.touch("sign-out")
    phone.page.wait_for_selector("text=holds nothing of the herds")
    assert phone.page.evaluate("indexedDB.databases()") == [] and not phone.errors


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_barrier_no_small_target_and_spanish(context: BrowserContext, address: str, language: str) -> None:
    phone = Phone(context, address, language)

    def look() -> None:
        assert barriers(phone.page) == []
        small = phone.page.evaluate(
            """() => [...document.querySelectorAll("button, select, input, summary, a")].filter(each => {
              const box = each.getBoundingClientRect();
              return box.width && (Math.round(box.width) < 56 || Math.round(box.height) < 56);
            }).map(each => each.outerHTML)"""
        )
        assert small == []
        assert phone.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        if language == "es":
            text = phone.page.inner_text("body")
            english = ("Cow", "Save", "Scale", "Undo", "Send", "The day", "Look again", "not sent", "Letters")
            assert not [word for word in english if word in text], text

    phone.ready()
    look()
    phone.begin()
    phone.number("1001")
    look()
    for key in ("foot-RH", "zone-lateral-4", "lesion-SU", "severity-2"):
        phone.touch(key)
        look()
    phone.touch("next")
    phone.touch("day")
    look()
    phone.touch("visit")
    phone.begin(walk=True)
    look()
    assert phone.page.evaluate("document.documentElement.lang") == language and not phone.errors


def test_by_keyboard_alone(context: BrowserContext, address: str) -> None:
    phone = Phone(context, address)
    phone.begin()

    def press(key: str) -> None:
        for _ in range(60):
            if phone.page.evaluate("document.activeElement.dataset.key || ''") == key:
                phone.page.keyboard.press("Enter")
                return
            phone.page.keyboard.press("Tab")
        raise AssertionError(f"the keyboard does not reach {key}")

    phone.page.focus("#cow")
    phone.page.keyboard.type("1007")
    for key in ("foot-LH", "zone-lateral-4", "lesion-SU", "severity-1", "next", "day"):
        press(key)
    assert "Left hind, outer, 4, Sole ulcer, mild" in phone.page.inner_text(".list")


def test_wiping_tells_what_was_not_sent_first(context: BrowserContext, address: str) -> None:
    phone = Phone(context, address)
    phone.begin()
    phone.enter(COWS[:2])
    phone.touch("visit")
    phone.touch("sign-out")
    phone.page.wait_for_selector("text=2 records were not sent")
    phone.touch("wipe")
    phone.page.wait_for_selector("text=holds nothing of the herds")
    left = phone.page.evaluate("Promise.all([indexedDB.databases(), caches.keys()])")
    assert left == [[], []]
