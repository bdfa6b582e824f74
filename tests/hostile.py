"""Names and notes that somebody wrote to do harm, in a sheet that comes in as any other."""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
from pathlib import Path

from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, agreements, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets

FARMS = ('<script>window.struck=1</script> & "Son"', "'; DROP TABLE trims; --", "=cmd|'/C calc'!A0")
TEXTS = (
    "<script>window.struck=1</script>", "<img src=x onerror=window.struck=1>", '"><svg onload=window.struck=1>',
    "=cmd|'/C calc'!A0", "+SUM(1+1)*cmd|'/C calc'!A0", "@SUM(1,1)", "-2+3+cmd|'/C calc'!A0", "'; DROP TABLE trims; --",
    "{{7*7}}${7*7}#{7*7}", "<a href='javascript:window.struck=1'>x</a>", "\u202egnp.exe\u202c", "%0d%0aX-Struck: 1",
    "a\r\nBcc: struck@example.org", "y" * 180, "\\u003cscript\\u003e", "</style><script>window.struck=1</script>",
    "javascript:window.struck=1", "' OR 1=1 --", "]]><!--", "../../../../etc/passwd", "\t=1+1",
)  # fmt: skip
FILE = "<img src=x onerror=window.struck=1>.csv"
LESIONS = ("SU", "DD", "WL", "none")


def hostile_sheet() -> bytes:
    """Every text as cow, trimmer, group, breed, sire and note, on every farm, at three visits."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        ["visit_date", "farm", "trimmer", "visit_kind", "herd_size", "cow", "group", "breed", "sire", "parity", "foot",
         "claw", "lesion", "locomotion_score", "toe_length_mm", "note"]
    )  # fmt: skip
    for farm in FARMS:
        for visit, day in enumerate(("2025-10-06", "2026-01-12", "2026-04-14")):
            for place, text in enumerate(TEXTS):
                writer.writerow(
                    [day, farm, TEXTS[place % 4], "whole-herd", len(TEXTS), text, TEXTS[(place + 1) % 5],
                     TEXTS[(place + 2) % 5], TEXTS[(place + 3) % 5], 1 + place % 4, "LH", "outer",
                     LESIONS[(place + visit) % 4], 1 + (place + visit) % 5, 75 + place % 9, text]
                )  # fmt: skip
    return out.getvalue().encode()


def hostile_changes() -> bytes:
    """Every text as a change on the farm."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["farm", "date", "what", "note"])
    for place, text in enumerate(TEXTS):
        writer.writerow([FARMS[place % 3], f"2026-01-{1 + place:02d}", text, text])
    return out.getvalue().encode()


def hostile_ledger(path: Path) -> Ledger:
    """A ledger that holds them all."""
    ledger = open_ledger(str(path))
    for data in (hostile_sheet(), hostile_changes()):
        sheets = check_file(data, FILE, known_farms=ledger.farms())
        result = add_sheets(ledger, sheets, FILE, hashlib.sha256(data).hexdigest())
        assert result.read == result.added + result.already_known + result.set_aside
        assert result.added > 0.9 * result.read, [sheet.set_aside for sheet in sheets]
    for place, text in enumerate(TEXTS):
        short = text[: agreements.LONGEST["who"]]
        agreements.add(
            ledger, FARMS[place % 3], text, agreed_on=dt.date(2026, 1, 12), who=short, place=short, lesion="SU"
        )
        if place % 2:
            agreements.mark_done(ledger, place + 1, done_on=dt.date(2026, 2, 1), outcome=text)
    return ledger
