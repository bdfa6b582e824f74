"""Herds and reports that the tests of the report share."""

from __future__ import annotations

import datetime as dt
import html
import re
import subprocess
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from evenfoot.analytics.ledger import Ledger
from tests.sheets import checked, ledger_of

DAY = dt.date(2026, 3, 2)


def herd(path: Path, farm: str, cows: int, *, lesions: int = 0, **more: Any) -> Ledger:
    """One whole-herd visit to one farm; the first cows have a sole ulcer."""
    rows = []
    for cow in range(cows):
        row: dict[str, Any] = {
            "visit_date": DAY,
            "farm": farm,
            "visit_kind": "whole-herd",
            "herd_size": cows,
            "cow": str(cow + 1),
            **more,
        }
        if cow < lesions:
            row |= {"foot": "LH", "claw": "lateral", "zone": 4, "lesion": "SU"}
        rows.append(row)
    return ledger_of(path, checked("trims", rows))


def plain(document: str) -> str:
    """The words of an HTML document, without marks, on one line."""
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>", " ", document, flags=re.DOTALL)
    return words(html.unescape(re.sub(r"<[^>]+>", " ", body)))


def pdf_text(path: Path) -> str:
    """The words of a PDF on one line."""
    return words(" ".join(page.extract_text() for page in PdfReader(path).pages))


def words(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").replace("\u2011", "-").split())


def has_browser() -> bool:
    from evenfoot.dashboard.report.browser import find_browser

    return find_browser() is not None


def drawn_pages(pdf: Path, folder: Path) -> list[Path]:
    """Every page as a small grey picture, where the machine has pdftoppm; else none."""
    import shutil

    if shutil.which("pdftoppm") is None:
        return []
    subprocess.run(["pdftoppm", "-r", "40", "-gray", "-png", str(pdf), str(folder / "page")], check=True)
    return sorted(folder.glob("page*.png"))


def parts_used(pdf: Path) -> list[float]:
    """How far down each page its text reaches, as a part of what lies between the margins, without the foot line."""
    used = []
    for page in PdfReader(pdf).pages:
        lines: list[float] = []

        def note(
            said: str, cm: list[float], tm: list[float], _font: object, _size: float, here: list[float] = lines
        ) -> None:
            if said.strip():
                here.append(tm[5] * cm[3] + cm[5])

        page.extract_text(visitor_text=note)
        high = float(page.mediabox[3])
        top, bottom = high - 31, 40.0
        lines = [y for y in lines if y > bottom]
        used.append((top - min(lines, default=top)) / (top - bottom))
    return used
