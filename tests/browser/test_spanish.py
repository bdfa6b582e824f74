"""A reader of Spanish meets no English: every page, drawn and opened, in words, labels, charts and what they hold."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, expect

from evenfoot import sample_data
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.i18n.catalogue import catalogue
from evenfoot.dashboard.pages import PAGES
from tests.browser.reading import Reader, returning
from tests.effort import some

pytestmark = pytest.mark.long

FARM = "Osier End"
PATIENCE = 90_000
"""Milliseconds a page may take to be drawn on a busy machine; a quick one is not held up by it."""

ENGLISH = re.compile(
    r"\b(the|of|and|with|cows?|herd|lame|from|this|that|these|not|is|are|was|were|in|on|at|by|for|which|than|each|all|"
    r"visits?|trims?|records?|farms?|lesions?|share|rows?|months?|days?|other|more|less|feet|foot|claws?|toe|horn|"
    r"scores?|scored|first|last|between|interval|years?|any|seen|found|choose|where|what|when|how|points?|"
    r"housing|season|parity|floor|wetness|import|sheets?|language|allow\w*)\b",
    re.IGNORECASE,
)

EVERYTHING = """() => {
  const out = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const tag = walk.currentNode.parentElement.tagName;
    if (tag !== "SCRIPT" && tag !== "STYLE") out.push(walk.currentNode.textContent);
  }
  for (const name of ["aria-label", "title", "placeholder", "alt"])
    document.querySelectorAll("[" + name + "]").forEach((each) => out.push(each.getAttribute(name)));
  const gather = (value) => {
    if (typeof value === "string") out.push(value);
    else if (Array.isArray(value)) value.forEach(gather);
  };
  document.querySelectorAll(".js-plotly-plot").forEach((plot) =>
    plot.data.forEach((trace) => ["name", "text", "hovertext", "hovertemplate"].forEach((key) => gather(trace[key])))
  );
  return out;
}"""
"""Every text of a page, folded away or not, with what charts say when a mark is pointed at."""


@pytest.fixture(scope="module")
def spanish(browser: Browser, standing: tuple[str, Path]) -> Iterator[Reader]:
    """A reader whose browser asks for Spanish."""
    reader = Reader(browser, standing[0], 1280, locale="es-MX")
    reader.open("/nowhere")
    yield reader
    reader.close()


@pytest.fixture(scope="module")
def own_words(demo_ledger: Ledger) -> re.Pattern[str]:
    """Names and notes of the demo herds: somebody's own words, which stay as they are."""
    columns = ("farm", "trimmer", "breed", "sire", '"group"', "note", "bedding")
    found: set[str] = {path.name for path in sample_data.FILES}
    for column in columns:
        found |= set(demo_ledger.frame(f"SELECT DISTINCT {column} AS own FROM trim_rows")["own"].dropna())
    for table, column in (
        ("change_rows", "what"),
        ("change_rows", "note"),
        ("score_rows", "scorer"),
        ("score_rows", "note"),
    ):
        found |= set(demo_ledger.frame(f"SELECT DISTINCT {column} AS own FROM {table}")["own"].dropna())
    longest_first = sorted(found, key=len, reverse=True)
    return re.compile("|".join(rf"(?<!\w){re.escape(word)}(?!\w)" for word in longest_first if word), re.IGNORECASE)


def english_in(texts: list[str], own: re.Pattern[str]) -> set[str]:
    """Texts with an English word in them, or that are an English sentence which has Spanish words."""
    translated = {english for english, spanish in catalogue("es").items() if english != spanish and len(english) > 3}
    left = set()
    for text in texts:
        bare = own.sub(" ", re.sub(r"<[^>]*>", " ", text)).strip()
        if ENGLISH.search(bare) or bare in translated:
            left.add(text.strip()[:200])
    return left


def open_page(reader: Reader, path: str) -> list[str]:
    reader.follow(f"{path}&certainty=always")
    expect(reader.page.locator("#navigation a").first).to_be_visible()
    return [text for text in reader.page.evaluate(EVERYTHING) if text and text.strip()]


@pytest.mark.parametrize("path", some(PAGES, 2))
def test_a_page_has_no_english(spanish: Reader, own_words: re.Pattern[str], path: str) -> None:
    """The language is the browser's own; nothing in the address asks for it."""
    query = {"/comparison": "&by=season&adjust=parity", "/change": "&change=2025-05-01"}.get(path, "")
    texts = open_page(spanish, f"{path}?farms={quote(FARM)}{query}")
    assert spanish.page.locator("html").get_attribute("lang") == "es"
    assert len(texts) > 30
    assert english_in(texts, own_words) == set()


def test_a_drilled_cow_and_an_import_have_no_english(spanish: Reader, own_words: re.Pattern[str]) -> None:
    page = spanish.page
    texts = open_page(spanish, f"/lesions?farms={quote(FARM)}&lesions=DD&feet=LH&zones=10")
    page.locator('section[aria-labelledby="title-lesion-cows"] tbody a').first.click()
    expect(page.locator("main h1")).to_have_text("Vaca")
    expect(page.locator("main .skeleton")).to_have_count(0, timeout=PATIENCE)
    texts += page.evaluate(EVERYTHING)
    assert english_in([text for text in texts if text], own_words) == set()
    spanish.follow("/import")
    page.locator("#upload input[type=file]").set_input_files(sample_data.MESSY)
    reason = page.locator(".dropped .lines td:nth-child(4)")
    expect(reason.nth(1)).to_be_visible()
    reasons = reason.all_inner_texts()
    assert english_in(reasons, re.compile(r"'[^']*'|such as.*|SU.*")) == set()


def test_the_switch_changes_the_language_and_is_kept(browser: Browser, standing: tuple[str, Path]) -> None:
    address, _ = standing
    page = returning(browser).new_page()
    page.set_viewport_size({"width": 1280, "height": 900})
    page.set_default_timeout(25_000)
    page.goto(f"{address}/locomotion?farms={quote(FARM)}")
    expect(page.locator("main h1")).to_have_text("Locomotion")
    page.locator("#look summary").click()
    page.locator("#look").get_by_role("textbox", name="Language").click()
    page.get_by_role("option", name="Español").click()
    expect(page.locator("main h1")).to_have_text("Locomoción")
    assert "language=es" in page.url
    expect(page.locator("#navigation a", has_text="Rebaño")).to_have_attribute("href", re.compile("language=es"))
    page.goto(f"{address}/locomotion")
    expect(page.locator("main h1")).to_have_text("Locomoción")
    page.close()


def test_lengths_in_inches_and_dates_month_first(browser: Browser, standing: tuple[str, Path]) -> None:
    address, _ = standing
    page = returning(browser).new_page()
    page.set_viewport_size({"width": 1280, "height": 900})
    page.set_default_timeout(25_000)
    page.goto(f"{address}/horn?farms={quote(FARM)}&units=in&dates=month&week=sunday&certainty=always")
    expect(page.locator("main .skeleton")).to_have_count(0, timeout=PATIENCE)
    state = page.locator('section[aria-labelledby="title-horn-state"]')
    expect(state.locator(".basis").first).to_have_text(re.compile(r"[A-Z][a-z]{2}\s\d{1,2},\s20\d\d to "))
    expect(state.locator("svg", has_text="Toe length as found, in").first).to_be_visible()
    growth = page.locator('section[aria-labelledby="title-horn-growth"]')
    expect(growth).to_contain_text("in a month")
    expect(growth.locator("table")).to_be_visible()
    assert not re.search(r"\bmm\b|Millimetres", growth.locator("table").first.text_content() or "")
    page.locator("#picker button[data-dates-input]").first.click()
    expect(page.locator(".mantine-DatePickerInput-weekdaysRow").first).to_have_text("SMTWTFS")
    page.close()
