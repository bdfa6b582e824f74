"""The report page makes what it was asked for, of one farm that the reader may see."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from PIL import Image

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.auth.viewer import Viewer
from evenfoot.dashboard.pages import report, report_form
from evenfoot.dashboard.report.browser import ENVIRONMENT
from evenfoot.dashboard.report.request import SECTIONS
from tests.report.made import has_browser, herd

FILLED: dict[str, Any] = {
    "sections": ["summary", "lesions", "remarks"],
    "language": "en",
    "units": "mm",
    "paper": "A4",
    "remarks": "Well kept.",
    "trimmer": "J. Moss",
    "address": "1 Lane",
    "owner": "A. Reed",
}


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    return herd(tmp_path_factory.mktemp("page") / "ledger.duckdb", "Home Farm", 25, lesions=4)


def logo() -> str:
    out = io.BytesIO()
    Image.new("RGB", (40, 20), "#7A3E1D").save(out, "PNG")
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode()


def test_what_is_filled_in_is_in_the_preview(ledger: Ledger) -> None:
    request = report.request_from(FILLED, logo(), "?farms=Home+Farm&since=2026-01-01", ledger)
    assert str(request.since) == "2026-01-01"
    frame, download = report.made(ledger, request, "show")
    page = frame.srcDoc
    assert all(said in page for said in ("Home Farm", "Well kept.", "J. Moss", "1 Lane", "A. Reed", "data:image/png"))
    assert 'id="lesions"' in page and 'id="horn"' not in page
    assert frame.sandbox == ""
    assert download is not frame


def test_a_single_farm_needs_no_choosing_and_several_do(ledger: Ledger, demo_ledger: Ledger) -> None:
    assert report.request_from(FILLED, None, "", ledger).farm == "Home Farm"
    for search in ("", "?farms=Larkmoor&farms=Nether+Ash"):
        with pytest.raises(UserError, match="one farm"):
            report.request_from(FILLED, None, search, demo_ledger)


def test_a_farm_the_reader_may_not_see_has_no_report(demo_ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report, "current_viewer", lambda: Viewer("somebody", ("Larkmoor",)))
    request = report.request_from(FILLED, None, "?farms=Nether+Ash", demo_ledger)
    with pytest.raises(UserError, match="nothing to report"):
        report.made(demo_ledger, request, "show")


def test_html_and_workbook_are_taken_along(ledger: Ledger) -> None:
    request = report.request_from(FILLED, None, "", ledger)
    for kind in ("html", "xlsx"):
        _, download = report.made(ledger, request, kind)
        assert download["filename"] == f"home-farm.{kind}"
        data = base64.b64decode(download["content"])
        if kind == "html":
            assert "Well kept." in data.decode()
        else:
            assert "Lesions" in openpyxl.load_workbook(io.BytesIO(data)).sheetnames


def test_a_pdf_is_taken_along_or_the_reader_is_told_why_not(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    request = report.request_from(FILLED, None, "", ledger)
    if has_browser():
        _, download = report.made(ledger, request, "pdf")
        assert base64.b64decode(download["content"]).startswith(b"%PDF")
    monkeypatch.setenv(ENVIRONMENT, "no-such-browser")
    with pytest.raises(UserError) as told:
        report.made(ledger, request, "pdf")
    assert "No Chromium, Chrome or Edge" in str(told.value)
    assert str(Path("home-farm.html")) not in str(told.value)


@pytest.mark.parametrize("contents", ["", "data:image/png;base64,???", "data:image/png;base64,aGVsbG8="])
def test_a_logo_that_is_none_is_refused(contents: str) -> None:
    with pytest.raises(UserError):
        report.logo_of(contents)


def test_every_section_that_can_be_left_out_has_a_name() -> None:
    assert set(report_form.NAMES) == set(SECTIONS) - {"basis"}
