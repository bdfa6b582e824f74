"""The first page is the farmer's: three sentences, agreements, cows, remarks, trimmer, dates; no statistics."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.agreements import add
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.pages.today_answers import answers
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.first_page import summary_lines
from evenfoot.dashboard.report.request import Request, Sender
from evenfoot.dashboard.report.stylesheet import small_print
from evenfoot.dashboard.report.writing import write_report
from evenfoot.dashboard.ui.view import View
from tests.effort import some
from tests.report.made import has_browser, parts_used, plain, words
from tests.sheets import checked, ledger_of

ON = dt.date(2026, 3, 4)
VISIT = {"farm": "Ash", "visit_date": "2026-03-02", "visit_kind": "whole-herd", "herd_size": 120, "trimmer": "K. Vance"}
ULCER = {"foot": "RH", "claw": "lateral", "zone": 4, "lesion": "SU", "action": "block", "recheck_on": "2026-04-06"}
WRAP = {"foot": "LF", "zone": 10, "lesion": "DD", "action": "wrap"}
ASKED = Request(
    "Ash", on=ON, trimmer=Sender("J. Moss, hoof trimming", "1 Lane\nTown"), remarks="Soft ground by the gate."
)


def after_a_visit(path: Path, blocks: int = 18, deep: int = 2) -> Ledger:
    """A herd of 120 after a visit: some cows have a block, some an infection for the veterinarian."""
    found = [{"foot": "LH", "lesion": "IP", "zone": 0}] * deep + [ULCER] * (blocks - 2) + [WRAP] * 2
    found += [{} for _ in range(120 - len(found))]
    rows = [{**VISIT, "cow": str(1000 + cow), **each} for cow, each in enumerate(found)]
    scores = [{"farm": "Ash", "date": "2026-03-02", "cow": str(1000 + cow), "score": 1 + 2 * (cow % 5 == 0),
               "scale": "1-5"} for cow in range(120)]  # fmt: skip
    ledger = ledger_of(path / "ash.duckdb", checked("trims", rows), checked("locomotion", scores))
    add(ledger, "Ash", "Foot bath twice a week", agreed_on=dt.date(2026, 3, 2), who="Anna", due_on=dt.date(2026, 4, 1))
    return ledger


@pytest.fixture(scope="module")
def ash(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    return after_a_visit(tmp_path_factory.mktemp("ash"))


def farmers(page: str) -> str:
    """The words of the first page of the HTML."""
    return plain(page[page.index('<div class="farmer">') : page.index('<section id="visit">')])


def test_it_holds_what_a_farmer_needs_in_order_and_no_statistics(ash: Ledger) -> None:
    said = farmers(document(collect(ash, ASKED)))
    parts = (
        "J. Moss, hoof trimming", "Ash", "In short", "Lame: 20 of 100 cows (24 of 120 scored).",
        "Biggest problem: sole ulcer, 13 of 100 cows (16 of 120 trimmed). Most on the hind feet: Zone 4",
        "2 cows to see, 2 for the veterinarian", "What was agreed", "Foot bath twice a week (Anna; by 1 Apr 2026)",
        "For the veterinarian: 2", "Left hind Interdigital phlegmon now Deep or spreading infection",
        "To look at again: 16", "Right hind outer Sole ulcer block put on 6 Apr 2026 Recheck asked for",
        "Found at the newest visit, nothing else open: 2", "1018 Left front Digital dermatitis wrap put on",
        "Remarks of the trimmer", "Soft ground by the gate.", "Trimmer J. Moss, hoof trimming",
        "Newest visit 2 Mar 2026", "Date 4 Mar 2026", "Next visit",
    )  # fmt: skip
    places = [said.find(part) for part in parts]
    assert -1 not in places, parts[places.index(-1)]
    assert places[2:] == sorted(places[2:])
    assert not re.search(r"%|interval|odds|p value|chance", said)


@pytest.mark.parametrize("farm", some(["Larkmoor", "Long Heath", "Nether Ash", "Osier End", "Withy Flat"], 2))
def test_the_sentences_are_those_of_today(demo_ledger: Ledger, farm: str) -> None:
    contents = collect(demo_ledger, Request(farm, sections=("summary",)))
    lines = summary_lines(contents, Words())
    assert len(lines) == 3
    on_page = words(" ".join(_texts(answers(demo_ledger, View.read("/today", f"?farms={farm}")))))
    for line in lines:
        assert words(line.split(" Most on the ")[0]) in on_page


def _texts(part: Any) -> list[str]:
    if isinstance(part, (list, tuple)):
        return [text for each in part for text in _texts(each)]
    return [part.strip()] if isinstance(part, str) else _texts(getattr(part, "children", None) or [])


@pytest.mark.parametrize(("paper", "language"), [("A4", "en"), ("Letter", "es")])
def test_a_usual_visit_fits_one_page(ash: Ledger, tmp_path: Path, paper: str, language: str) -> None:
    if not has_browser():
        pytest.skip("there is no browser here")
    out = tmp_path / "report.pdf"
    write_report(ash, dataclasses.replace(ASKED, paper=paper, language=language), out)
    first, second = (words(page.extract_text()) for page in PdfReader(out).pages[:2])
    assert all(str(cow) in first for cow in range(1000, 1020 if paper == "A4" else 1002))
    assert words(Words(language)("Next visit")) in first and "%" not in first
    assert "%" in second
    assert min(parts_used(out)) >= 1 / 3


def test_more_cows_than_fit_follow_on_the_next_page(tmp_path: Path) -> None:
    ledger = after_a_visit(tmp_path, blocks=60, deep=10)
    page = document(collect(ledger, ASKED))
    first = re.findall(r'<tr><th scope="row">([^<]+)</th>', page[: page.index('<dl class="facts">')])
    assert 12 <= len(first) < 70 and set(first[:10]) == {str(1000 + n) for n in range(10)}
    assert f"{70 - len(first)} more cows follow on the next page." in farmers(page)
    more = plain(page[page.index('<section id="more">') :])
    assert f"To recheck: {68 - len(first)}" in more
    assert "Found at the newest visit, nothing else open: 2 1068 (LF, digital dermatitis, wrap put on)" in more
    if has_browser():
        write_report(ledger, ASKED, tmp_path / "out.pdf")
        pages = [words(page.extract_text()) for page in PdfReader(tmp_path / "out.pdf").pages]
        assert "Next visit" in pages[0] and "More cows that need someone" in pages[1]
        assert min(parts_used(tmp_path / "out.pdf")) >= 1 / 3


def test_trimmer_and_next_visit_are_those_recorded_and_planned_unless_said(ash: Ledger) -> None:
    bare = farmers(document(collect(ash, Request("Ash", on=ON))))
    assert "Trimmer K. Vance" in bare and re.search(r"Next visit \d+ \w+ 2026, proposed: \w+", bare)
    said = farmers(document(collect(ash, dataclasses.replace(ASKED, next_visit=dt.date(2026, 4, 7)))))
    assert "Next visit 7 Apr 2026" in said and "proposed" not in said


def test_an_asked_recheck_does_not_put_the_veterinarian_off(tmp_path: Path) -> None:
    """A cow that is severely lame now is due now, although a recheck was asked for in a month."""
    score = {"farm": "Ash", "date": "2026-03-03", "cow": "7", "score": 5, "scale": "1-5"}
    ledger = ledger_of(
        tmp_path / "l.duckdb", checked("trims", [{**VISIT, "cow": "7", **ULCER}]), checked("locomotion", [score])
    )
    said = farmers(document(collect(ledger, Request("Ash", on=ON))))
    assert "7 Right hind outer Sole ulcer block put on now, 6 Apr 2026 Severely lame when last scored" in said


def test_where_part_of_the_herd_was_looked_at_the_sentences_say_so(tmp_path: Path) -> None:
    rows = [{**VISIT, "visit_kind": "part-herd", "cow": str(cow), **ULCER} for cow in range(12)]
    said = farmers(document(collect(ledger_of(tmp_path / "l.duckdb", checked("trims", rows)), Request("Ash", on=ON))))
    assert "12 of 12 trimmed). Only part of the herd was looked at, as a rule the lame first" in said


def test_the_method_is_smaller_the_longer_it_is() -> None:
    sizes = [small_print(letters) for letters in (0, 2000, 3000, 4000, 20_000)]
    assert sizes == sorted(sizes, reverse=True) and sizes[0] == 9 and sizes[-1] == 6.4
