"""Letters that the machine has no font for are told to whoever makes a PDF."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from evenfoot.dashboard.cli.report import report_every, report_one
from evenfoot.dashboard.pages import report as page
from evenfoot.dashboard.report import printing
from evenfoot.dashboard.report.browser import letters_without_font
from evenfoot.dashboard.report.request import Request
from tests.report.made import has_browser, herd

LETTERS = "\u0e01\u7267\u0915\u05d0\u0416\u0710\u13a0"
"""Thai, Chinese, Devanagari, Hebrew, Cyrillic, Syriac, Cherokee."""


def test_the_browser_is_asked_which_letters_it_draws() -> None:
    """Held against fontconfig, which lists the fonts that have a letter."""
    if not has_browser() or shutil.which("fc-list") is None:
        pytest.skip("there is no browser or no fontconfig here")
    lacking = {letter for letter in LETTERS if not _fonts(letter)}
    assert set(letters_without_font(f"<p>Home Farm \u2013 {LETTERS}</p>")) == lacking


def _fonts(letter: str) -> str:
    return subprocess.run(["fc-list", f":charset={ord(letter):x}"], capture_output=True, text=True, check=True).stdout


def test_latin_letters_are_not_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EVENFOOT_BROWSER", "no-such-browser")
    assert letters_without_font("Bjørn Åkesson, Łódź – 12 % · “Señora” −5") == ""


def test_page_and_command_tell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(printing, "print_pdf", lambda draft, out: out.write_bytes(b"%PDF"))
    monkeypatch.setattr(printing, "letters_without_font", lambda text: "".join(sorted({*text} & {*LETTERS})))
    ledger = herd(tmp_path / "l.duckdb", "\u7267\u0e01", 3)
    told = "This machine has no font for Thai (\u0e01), Cjk (\u7267): these letters are boxes in the PDF."
    said, download = page.made(ledger, Request("\u7267\u0e01"), "pdf")
    assert told in str(said) and download["filename"].endswith(".pdf")
    report_one(ledger.name, "\u7267\u0e01", tmp_path / "one.pdf", sections="summary")
    report_every(ledger.name, tmp_path / "all", formats="pdf", sections="summary")
    assert capsys.readouterr().err.count(told) == 2
