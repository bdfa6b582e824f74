"""The printed report: two to five pages, bookmarks, tags, title and language, and the numbers of the table command.

Where the machine has no browser the same test proves that the user is told so and gets the HTML.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PdfReader

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.report.browser import ENVIRONMENT, NO_BROWSER
from evenfoot.dashboard.report.request import SECTIONS, Request
from evenfoot.dashboard.report.writing import write_report
from tests.effort import some
from tests.report.made import DAY, drawn_pages, has_browser, herd, parts_used, pdf_text, plain, words

pytestmark = pytest.mark.long

FARM = "Larkmoor"


def printed(ledger: Ledger, request: Request, out: Path) -> Path | None:
    """The PDF; without a browser, ``None`` after a look at what is done instead."""
    if has_browser():
        assert write_report(ledger, request, out) == [out]
        return out
    assert os.environ.get("CI") != "true", "the build machine needs a browser"
    with pytest.raises(UserError, match="was written as"):
        write_report(ledger, request, out)
    assert out.with_suffix(".html").is_file()
    return None


@pytest.mark.parametrize(
    ("paper", "language"), some([("A4", "es"), ("Letter", "en"), ("A4", "en"), ("Letter", "es")], 2)
)
def test_a_report_is_two_to_five_pages_with_title_language_bookmarks_and_tags(
    demo_ledger: Ledger, tmp_path: Path, language: str, paper: str
) -> None:
    out = printed(demo_ledger, Request(FARM, language=language, paper=paper), tmp_path / "report.pdf")
    if out is None:
        return
    reader = PdfReader(out)
    assert 2 <= len(reader.pages) <= 5
    assert min(parts_used(out)) >= 1 / 3
    width, height = (float(side) for side in reader.pages[0].mediabox[2:])
    assert (width, height) == pytest.approx({"A4": (595, 842), "Letter": (612, 792)}[paper], abs=1.5)
    root = reader.trailer["/Root"]
    assert root["/Lang"] == language
    assert root["/MarkInfo"]["/Marked"]
    assert reader.metadata is not None
    assert FARM in str(reader.metadata.title)
    named = [entry for entry in _flat(reader.outline)]
    assert len(named) >= 10
    assert named[0] == FARM
    text = pdf_text(out)
    pages = len(reader.pages)
    assert all(f"{page} / {pages}" in text for page in range(1, pages + 1))
    # Reports are copied in black and white: a page is never blank, and never runs into the paper's edge.
    for picture in drawn_pages(out, tmp_path):
        _margins_are_white(picture)


def _flat(outline: list[object]) -> list[str]:
    found: list[str] = []
    for entry in outline:
        found += _flat(entry) if isinstance(entry, list) else [str(entry["/Title"])]  # type: ignore[index]
    return found


def _margins_are_white(path: Path) -> None:
    from PIL import Image

    picture = Image.open(path).convert("L")
    ink = picture.point(lambda value: 255 if value < 200 else 0).getbbox()
    assert ink is not None
    # At 40 dots an inch: 7 mm at the sides and the head, 4 mm under the line with the page number.
    assert min(ink[0], ink[1], picture.width - ink[2]) >= 11
    assert picture.height - ink[3] >= 6


def test_its_numbers_are_those_of_the_table_command(demo_ledger: Ledger, tmp_path: Path) -> None:
    request = Request(FARM, sections=SECTIONS)
    out = printed(demo_ledger, request, tmp_path / "report.pdf")
    text = plain((tmp_path / "report.html").read_text(encoding="utf-8")) if out is None else pdf_text(out)
    demo_ledger.lease.drop_if_idle()
    rows = _table(demo_ledger, "visit-review")
    for row in rows[rows["visit"] == "this visit"].nlargest(6, "cases").to_dict("records"):
        share = f"{100 * row['prevalence']:.1f}% ({100 * row['low']:.1f}\u2013{100 * row['high']:.1f})"
        assert f"{row['cases']}: {share}" in text
    months = _table(demo_ledger, "locomotion", "--since", "2025-11-01")
    newest = months.iloc[-1]
    assert f"{newest['lame']} of {newest['scored']} scorings were lame" in text


def _table(ledger: Ledger, measure: str, *options: str) -> pd.DataFrame:
    """A table of the command line, run as a user runs it."""
    code = "from evenfoot.dashboard.cli.main import main; main()"
    command = [sys.executable, "-c", code, "table", measure, "--ledger", ledger.name, "--farm", FARM, *options]
    done = subprocess.run([*command, "--format", "csv"], capture_output=True, text=True, check=True)
    return pd.read_csv(io.StringIO(done.stdout))


def test_two_thousand_cows_and_long_names_stay_within_the_page(tmp_path: Path) -> None:
    name = "The Honourable Society of Cattle Keepers at Upper and Nether " + "Llanfairpwllgwyngyllgogery" * 3
    ledger = herd(tmp_path / "large.duckdb", name, 2000, lesions=900, locomotion_score=4, locomotion_scale="1-5")
    out = printed(ledger, Request(name, on=DAY), tmp_path / "report.pdf")
    if out is None:
        return
    assert len(PdfReader(out).pages) <= 5
    text = pdf_text(out)
    assert "Any lesion: 900 of 2,000 cows trimmed" in text
    assert "more, all in the spreadsheet" in text
    # A page that does not fit its paper is shrunk by the browser: body text would then be smaller than it is laid out.
    sizes: list[float] = []
    PdfReader(out).pages[0].extract_text(
        visitor_text=lambda said, cm, tm, font, size: sizes.append(size * tm[0] * cm[0]) if said.strip() else None
    )
    assert max(abs(size) for size in sizes) >= 14
    for picture in drawn_pages(out, tmp_path):
        _margins_are_white(picture)


def test_without_a_browser_there_is_one_clear_sentence_and_the_html(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(ENVIRONMENT, "no-such-browser")
    ledger = herd(tmp_path / "one.duckdb", "Home Farm", 3)
    with pytest.raises(UserError) as told:
        write_report(ledger, Request("Home Farm"), tmp_path / "report.pdf")
    assert str(told.value).startswith(NO_BROWSER)
    assert "Home Farm" in words((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert not (tmp_path / "report.pdf").exists()


def test_an_html_report_of_the_same_name_is_not_lost(tmp_path: Path) -> None:
    ledger = herd(tmp_path / "one.duckdb", "Home Farm", 3)
    mine = tmp_path / "report.html"
    mine.write_text("mine")
    if printed(ledger, Request("Home Farm"), tmp_path / "report.pdf"):
        assert mine.read_text() == "mine"


def test_other_endings_are_refused(tmp_path: Path) -> None:
    ledger = herd(tmp_path / "one.duckdb", "Home Farm", 3)
    with pytest.raises(UserError, match="end the name in"):
        write_report(ledger, Request("Home Farm"), tmp_path / "report.docx")
