"""The sheet to write on: every column of the page it is typed into, in its order, on both papers."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.cli.report import list_one
from evenfoot.dashboard.i18n.translation import Words, speaking
from evenfoot.dashboard.pages.typed_print import NO_PDF, file_of
from evenfoot.dashboard.report.blank_sheet import CELLS, ROWS, blank_sheet, due_cows
from evenfoot.dashboard.report.browser import ENVIRONMENT
from evenfoot.dashboard.report.printing import save_pdf
from tests.report.made import has_browser, words

FARM = "Osier End"
DAY = dt.date(2026, 11, 2)
SIZES = {"A4": (842, 595), "Letter": (792, 612)}


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("cows", [0, 1, 14, 15, 40])
def test_every_page_is_full_of_rows_and_none_is_cut(tmp_path: Path, paper: str, cows: int) -> None:
    if not has_browser():
        pytest.skip("there is no browser here")
    known = {f"{1000 + n}": "lame at the last scoring; long toe expected by now" for n in range(cows)}
    told: list[str] = []
    page = blank_sheet("Home Farm of a long name, near the river and the church", DAY, known, paper)
    save_pdf(page, tmp_path / "sheet.pdf", told.append)
    pages = PdfReader(tmp_path / "sheet.pdf").pages
    assert not told and len(pages) == max(-(-cows // ROWS[paper]), 1)
    assert tuple(float(side) for side in pages[0].mediabox[2:]) == pytest.approx(SIZES[paper], abs=1.5)
    assert page.count('<td class="note">') == len(pages) * ROWS[paper]
    texts = [words(each.extract_text()) for each in pages]
    assert all("LF, left front" in text and "Remarks" in text for text in texts), "each page has the headings"
    assert all(cow in " ".join(texts) for cow in known)
    fonts = {str(font.get_object()["/BaseFont"]) for each in pages for font in each["/Resources"]["/Font"].values()}
    assert all("+" in font for font in fonts), f"the fonts are in the file: {fonts}"


def test_columns_stand_in_the_order_of_the_table(demo_ledger: Ledger) -> None:
    head = re.findall(r'<th scope="col"[^>]*>([^<,]+)', blank_sheet())
    assert head == ["Cow", "LF", "RF", "LH", "RH", "Score", "Remarks"] and len(head) == len(CELLS)
    with speaking(Words("es")):
        page = blank_sheet("Larkmoor", DAY)
    assert '<html lang="es">' in page and "Vaca" in page and "Remarks" not in page
    head = re.findall(r'<th scope="col"[^>]*>([^<,]+)', page)
    assert head == ["Vaca", "AI", "AD", "PI", "PD", "Cojera", "Observaciones"]


def test_cows_are_those_of_the_list_of_that_day(demo_ledger: Ledger) -> None:
    cows = due_cows(demo_ledger, FARM, DAY)
    assert list(cows) == list(worklist(demo_ledger, Selection(farms=(FARM,)), on=DAY).table["cow"])
    data, told = file_of(demo_ledger, FARM, f"{DAY}", due=True, paper="Letter")
    assert data["filename"].startswith("evenfoot-sheet") and (told == [] or told == [NO_PDF])


def test_without_a_browser_the_page_is_given_and_what_cannot_be_is_told(
    demo_ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(ENVIRONMENT, "no-such-browser")
    data, told = file_of(demo_ledger, "", None, due=False, paper="A4")
    assert data["filename"].endswith(".html") and told == [NO_PDF]
    with pytest.raises(UserError, match="No cows of this farm are known"):
        file_of(demo_ledger, "Nowhere", f"{DAY}", due=True, paper="A4")
    with pytest.raises(UserError, match="not a paper"):
        file_of(demo_ledger, FARM, f"{DAY}", due=False, paper="A3")


def test_names_are_written_as_they_are() -> None:
    page = blank_sheet("<b>Farm</b>", DAY, {"<i>7</i>": "a & b"})
    assert "<b>" not in page and "&lt;i&gt;7&lt;/i&gt;" in page and "a &amp; b" in page


def test_the_command_writes_it(demo_ledger: Ledger, tmp_path: Path) -> None:
    demo_ledger.lease.drop_if_idle()
    [out] = list_one(demo_ledger.name, FARM.casefold(), tmp_path / "sheet.html", "letter", "es", blank=True)
    page = out.read_text(encoding="utf-8")
    assert "size: Letter landscape" in page and f": {FARM}" in page
