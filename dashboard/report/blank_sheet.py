"""The sheet to write on at the chute: a row a cow, in the order in which it is typed in afterwards."""

from __future__ import annotations

import datetime as dt
from html import escape

from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.report.request import checked_paper

CELLS = ("cow", *FEET, "score", "note")
"""What is written of a cow, in the order of the sheet and of the grid that it is typed into."""

ROWS = {"A4": 14, "Letter": 14}
"""Rows of a page, each high enough to write in with gloves."""

STYLE = """
@page { size: PAPER landscape; margin: 9mm 10mm; }
body { font: 11pt/1.2 system-ui, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 277mm; }
h1 { font-size: 15pt; margin: 0 0 2mm; }
.once { display: flex; gap: 5mm; margin: 0 0 2mm; font-size: 10pt; align-items: end; }
.once span { flex: 1 1 0; overflow-wrap: anywhere; border-bottom: 1px solid #000; min-height: 8mm; }
.key { font-size: 8.5pt; margin: 0 0 1.5mm; }
table { border-collapse: collapse; width: 100%; table-layout: fixed; }
thead { display: table-header-group; }
th, td { border: 1px solid #555; padding: 0 1.5mm; text-align: left; height: 10.4mm; overflow: hidden; }
thead th { height: 7mm; font-size: 10pt; border-bottom: 2px solid #000; }
tr { break-inside: avoid; }
tbody th { font-size: 15pt; white-space: nowrap; }
tbody th.long { font-size: 9pt; white-space: normal; overflow-wrap: anywhere; }
.foot { border-left: 2px solid #000; }
.note { font-size: 7.5pt; line-height: 1.05; vertical-align: bottom; color: #333; }
.w-cow { width: 25mm; } .w-score { width: 15mm; border-left: 2px solid #000; } .w-note { width: 52mm; }
"""

LONG_NUMBER = 7
"""Letters of a cow's number that fit the large type."""


def blank_sheet(
    farm: str = "", day: dt.date | None = None, cows: dict[str, str] | None = None, paper: str = "A4"
) -> str:
    """A sheet to print and write on, filled up with blank rows to the end of its last page.

    Parameters
    ----------
    farm : str
    day : datetime.date, optional
    cows : dict of str to str, optional
        Cow -> why she is due, one row each in this order.
    paper : {"A4", "Letter"}

    Returns
    -------
    str
        A whole HTML document without scripts or anything to fetch.
    """
    known = list((cows or {}).items())
    rows = ROWS[checked_paper(paper)]
    blank = -len(known) % rows if known else rows
    heads = {"cow": _("Cow"), "score": _("Score"), "note": _("Remarks")}
    head = "".join(
        f'<th scope="col" class="{"foot" if name in FEET else f"w-{name}"}">'
        f"{escape(f'{words().foot_code(name)}, {words().foot(name).lower()}' if name in FEET else heads[name])}</th>"
        for name in CELLS
    )
    said = (
        (_("Farm"), farm),
        (_("Day"), words().long_date(day) if day else ""),
        (_("Trimmer"), ""),
        (_("Kind of visit"), ""),
        (_("Scale of the scores"), "1-5   0-3"),
    )
    once = "".join(f"<span>{escape(label)}: {escape(value)}</span>" for label, value in said)
    title = _("Sheet for the chute")
    named = ", ".join(part for part in (title, farm) if part)
    return (
        f'<!doctype html>\n<html lang="{words().language}"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(named)}</title>'
        f"<style>{STYLE.replace('PAPER', paper)}</style></head><body>\n<h1>{escape(title)}</h1>\n"
        f'<div class="once">{once}</div>\n<p class="key">{escape(_key())}</p>\n'
        f"<table><thead><tr>{head}</tr></thead>\n<tbody>\n"
        f"{''.join(_row(cow, why) for cow, why in [*known, *[('', '')] * blank])}</tbody></table>\n</body></html>\n"
    )


def _key() -> str:
    return _(
        "In the box of a foot: lesion, claw (out, in), zone, + mild, ++ moderate, +++ severe, stage, what was done. "
        "Such as: SU out z4 ++ block. ok: looked at, nothing found. A severely lame cow, a swollen or deeply infected "
        "foot: ask the veterinarian."
    )


def _row(cow: str, why: str) -> str:
    long = ' class="long"' if len(cow) > LONG_NUMBER else ""
    feet = '<td class="foot"></td>' * len(FEET)
    return f'<tr><th scope="row"{long}>{escape(cow)}</th>{feet}<td></td><td class="note">{escape(why)}</td></tr>\n'


def due_cows(ledger: Ledger, farm: str, day: dt.date, allowed: tuple[str, ...] | None = None) -> dict[str, str]:
    """Cows of a farm that someone should see on a day, the most pressing first, each with her first reason.

    Raises
    ------
    UserError
        The day lies years from every record.
    """
    table = worklist(ledger, Selection(farms=(farm,), allowed=allowed), on=day).table
    return {str(row["cow"]): told(row["reason"]).split("; ")[0] for row in records(table)}
