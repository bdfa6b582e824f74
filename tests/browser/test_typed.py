"""A visit typed from paper by keyboard alone: nothing is lost on the way, and a file would bring in the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from playwright.sync_api import Browser, Locator, expect

from evenfoot.analytics.clock import today
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.selection import Selection
from tests.browser.barriers import OF_WIDTH, barriers
from tests.browser.conftest import start_server
from tests.browser.reading import Reader

FIRST = "visit_date,farm,cow,visit_kind,herd_size\n" + "".join(
    f"2026-02-{day},{farm},{cow},whole-herd,12\n"
    for day, farm, cows in ((10, "Elm End", range(1040, 1052)), (11, "Far Farm", range(7000, 7012)))
    for cow in cows
)
VISIT = (
    ("1040", "", "", "", "SU out z4 ++ block", "3", "walks badly"),
    ("1041", "ok", "ok", "ok", "ok", "1"),
    ("1042", "", "", "DD M2", "DD M4", "2"),
    ("1043",),
    ("1044", "", "", "WL outer z3 +++ block", "", "4", "look again"),
    ("1045", "HHE +", "", "", ""),
    ("1046", "", "", "", "SH z5 +, DD M1"),
    ("1047", "", "", "", "", "1"),
    ("1048", "", "TS", "", "", "2", "thin"),
    ("1049", "", "", "SU in z4 +"),
)
FINDINGS = (
    "visit_date,farm,trimmer,visit_kind,cow,foot,claw,zone,lesion,severity,dd_stage,action,locomotion_score,note\n"
    "DAY,Elm End,Kim Vale,whole-herd,1040,RH,outer,4,SU,2,,block,3,walks badly\n"
    "DAY,Elm End,Kim Vale,whole-herd,1041,,,,,,,,1,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1042,LH,,,DD,,M2,,2,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1042,RH,,,DD,,M4,,2,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1043,,,,,,,,,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1044,LH,outer,3,WL,3,,block,4,look again\n"
    "DAY,Elm End,Kim Vale,whole-herd,1045,LF,,,HHE,1,,,,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1046,RH,,5,SH,1,,,,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1046,RH,,,DD,,M1,,,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1047,,,,,,,,1,\n"
    "DAY,Elm End,Kim Vale,whole-herd,1048,RF,,,TS,,,,2,thin\n"
    "DAY,Elm End,Kim Vale,whole-herd,1049,LH,inner,4,SU,1,,,,\n"
)


def bring(ledger: Ledger, text: str, name: str) -> None:
    prepared = prepare_import(ledger, text.encode(), name, accept=True)
    run_import(ledger, prepared, hashlib.sha256(text.encode()).hexdigest())


def served(path: Path) -> Iterator[tuple[str, Path]]:
    """(address, ledger path) of a server on a ledger with two farms."""
    ledger = open_ledger(str(path))
    bring(ledger, FIRST, "first.csv")
    ledger.lease.drop_if_idle()
    process, address = start_server(path)
    with process:
        yield address, path
        process.terminate()


@pytest.fixture
def own(browser: Browser, tmp_path: Path) -> Iterator[tuple[str, Path]]:
    yield from served(tmp_path / "own.duckdb")


def type_rows(hand: Reader, rows: tuple[tuple[str, ...], ...]) -> None:
    """Type rows from where the focus is, as fast as a machine can."""
    for row in rows:
        for place, cell in enumerate(row):
            if place:
                hand.page.keyboard.press("Tab")
            hand.page.keyboard.type(cell)
        hand.page.keyboard.press("Enter")


def press_until_marked(hand: Reader, key: str, choice: Locator) -> None:
    """Press a key until the choice is the marked one.

    A list marks its present value a moment after it shows itself, so it can take a key pressed at once back.
    """
    for _ in range(20):
        hand.page.keyboard.press(key)
        hand.page.wait_for_timeout(300)
        if choice.get_attribute("data-combobox-selected") == "true":
            return
    raise AssertionError(f"{key} never came to {choice}")


def fields(hand: Reader) -> list[tuple[str, ...]]:
    """What stands in the rows that are not blank."""
    rows = hand.page.locator("#typing-rows tr").evaluate_all(
        "lines => lines.map(line => [...line.querySelectorAll('input')].map(field => field.value))"
    )
    return [tuple(row) for row in rows if any(row)]


def whole(rows: tuple[tuple[str, ...], ...]) -> list[tuple[str, ...]]:
    return [(*row, *[""] * (7 - len(row))) for row in rows]


def line(hand: Reader, number: int) -> Locator:
    """The row of a number."""
    return hand.page.locator("#typing-rows tr").nth(number - 2)


def table(ledger: Ledger, name: str) -> list[dict[str, Any]]:
    frame = ledger.frame(f"SELECT * FROM {name} WHERE farm = 'Elm End' ORDER BY ALL")
    kept = [
        column for column in frame.columns if column not in ("import_no", "row_no", "sha256", "digest", "id", "key")
    ]
    return [{k: None if pd.isna(v) else v for k, v in row.items()} for row in frame[kept].to_dict("records")]


@pytest.mark.long
def test_ten_cows_by_keyboard_are_what_a_file_of_them_would_be(
    browser: Browser, own: tuple[str, Path], tmp_path: Path
) -> None:
    address, path = own
    hand = Reader(browser, address, 1280, 800)
    page = hand.page
    try:
        hand.open("/typing?farms=Elm+End")
        expect(page.locator("#typing-farm")).to_have_value("Elm End")
        page.locator("#typing-trimmer").focus()
        page.keyboard.type("Kim Vale")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        choice = page.get_by_role("option", name="Whole-herd only").locator("visible=true")
        expect(choice).to_be_visible()
        press_until_marked(hand, "ArrowDown", choice)
        page.keyboard.press("Enter")
        expect(page.locator("#typing-kind")).to_have_value("Whole-herd only")
        page.locator("#typing-rows input").first.focus()
        type_rows(hand, VISIT[:5])
        expect(page.locator("#typing-kept")).to_contain_text("rows 5")
        expect(line(hand, 2)).to_contain_text(
            "Right hind: sole ulcer, outer claw, zone 4, moderate, block put on; score 3."
        )
        page.reload()
        hand.settle()
        assert fields(hand) == whole(VISIT[:5])
        expect(page.locator("#typing-trimmer")).to_have_value("Kim Vale")
        expect(page.locator("#typing-kind")).to_have_value("Whole-herd only")
        line(hand, 7).locator("input").first.focus()
        type_rows(hand, VISIT[5:])
        page.keyboard.press("Escape")
        expect(page.locator("#typing-check")).to_be_focused()
        assert fields(hand) == whole(VISIT)
        hand.settle()
        assert not hand.looks_wrong() and not barriers(page)
        page.keyboard.press("Enter")
        add = page.get_by_role("button", name="Add 12 records")
        expect(add).to_be_visible()
        add.focus()
        page.keyboard.press("Enter")
        expect(page.locator("#sheets")).to_contain_text("added as import 2: 12")
        expect(page.locator("#typing-kept")).to_have_text("")
        assert fields(hand) == []
        assert not hand.told()
    finally:
        hand.close()
    typed, filed = open_ledger(str(path)), open_ledger(str(tmp_path / "file.duckdb"))
    bring(filed, FIRST, "first.csv")
    bring(filed, FINDINGS.replace("DAY", f"{today()}"), "findings.csv")
    for name in ("trims", "findings", "scores", "cows"):
        assert table(typed, name) == table(filed, name), name
    figures = [prevalence(each, Selection(farms=("Elm End",)), by=("lesion",)).table for each in (typed, filed)]
    pd.testing.assert_frame_equal(*figures)
    assert len(figures[0]) > 3


@pytest.mark.parametrize("width", [1280, 390])
def test_what_is_wrong_is_said_and_nothing_is_lost(browser: Browser, own: tuple[str, Path], width: int) -> None:
    hand = Reader(browser, own[0], width, 844, has_touch=width == 390)
    page = hand.page
    try:
        hand.open("/typing?farms=Elm+End")
        page.locator("#typing-rows input").first.focus()
        type_rows(hand, (("7001", "", "", "", "SUX"), ("=1+1", "ok"), ("1040", "x" * 700), ("1040", "ok")))
        expect(line(hand, 2)).to_contain_text("No cow 7001 is known here")
        expect(line(hand, 2)).to_contain_text("RH: 'SUX' is asked about.")
        expect(line(hand, 3)).to_contain_text("No cow =1+1 is known here")
        expect(line(hand, 4)).to_contain_text("700 letters are too many")
        expect(line(hand, 4)).to_contain_text("Row 5 has the same cow.")
        hand.settle()
        wrong = hand.looks_wrong() + barriers(page, OF_WIDTH)
        assert not wrong, wrong
        page.locator("#typing-check").click()
        expect(page.locator("#typing-refused")).to_contain_text("Row 4, LF: 700 letters are too many")
        line(hand, 4).locator("input").nth(1).fill("WL 3")
        page.locator("#typing-check").click()
        expect(page.locator("#sheets")).to_contain_text("What does 'SUX' say?")
        line(hand, 2).locator("input").nth(4).fill("SU")
        expect(page.locator("#typing-refused")).to_contain_text("changed since they were checked")
        expect(page.locator("#sheets")).to_be_empty()
        paste(hand, "\n".join(["1"] * 5000))
        expect(page.locator("#typing-refused")).to_contain_text("more than 1000 rows")
        paste(hand, "1041\tok\tok\t\tDD M2\n1042\t\t\t\t\t2")
        assert fields(hand)[4:] == [("1041", "ok", "ok", "", "DD M2", "", ""), ("1042", "", "", "", "", "2", "")]
        expect(line(hand, 6)).to_contain_text("digital dermatitis, M2")
        paste(hand, "\n".join(f"{number}\tok" for number in range(2000, 2250)))
        expect(page.locator("#typing-rows .asks")).to_have_count(254)
        page.locator("#typing-new").click()
        expect(page.locator("#typing-rows input").first).to_have_value("")
        assert fields(hand) == []
        page.locator("#typing-others").get_by_role("button", name="rows 256").click()
        expect(page.locator("#typing-rows input").first).to_have_value("7001")
        assert len(fields(hand)) == 256
        page.get_by_text("Throw away").click()
        page.get_by_role("button", name="Yes, throw it away").click()
        expect(page.locator("#typing-rows input").first).to_have_value("")
        assert fields(hand) == [] and page.evaluate("localStorage.length") == 0
        assert not hand.told()
    finally:
        hand.close()


def paste(hand: Reader, text: str) -> None:
    """Paste into the first blank row."""
    hand.page.evaluate(
        """text => {
          const blank = [...document.querySelectorAll("#typing-rows tr")]
            .find(line => [...line.querySelectorAll("input")].every(field => !field.value));
          const data = new DataTransfer();
          data.setData("text/plain", text);
          const paste = { clipboardData: data, bubbles: true, cancelable: true };
          blank.querySelector("input").dispatchEvent(new ClipboardEvent("paste", paste));
        }""",
        text,
    )


def test_in_spanish_it_speaks_and_reads_spanish(browser: Browser, own: tuple[str, Path]) -> None:
    hand = Reader(browser, own[0], 820, 1180)
    try:
        hand.open("/typing?farms=Elm+End&language=es")
        hand.page.locator("#typing-rows input").first.focus()
        type_rows(hand, (("1040", "", "", "", "SU ext z4 ++ taco"),))
        expect(line(hand, 2)).to_contain_text("Posterior derecha: úlcera de suela, pezuña externa, zona 4, moderada")
        expect(hand.page.locator("#typing-kept")).to_contain_text("se guarda en este navegador")
        hand.settle()
        assert not hand.looks_wrong() and not hand.told()
    finally:
        hand.close()
