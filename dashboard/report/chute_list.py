"""The list that lies beside the chute: large type, one line a cow; further places of a cow stand under hers."""

from __future__ import annotations

import datetime as dt
from html import escape
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.worklist import as_of, day_of
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.translation import _, _n, told, words
from evenfoot.dashboard.report.calendar import KINDS
from evenfoot.dashboard.report.request import checked_paper

STYLE = """
@page { size: PAPER; margin: 10mm 12mm; }
body { font: 13pt/1.15 system-ui, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 192mm; }
h1 { font-size: 20pt; margin: 0 0 1mm; }
p { font-size: 10pt; margin: 0 0 2mm; }
table { border-collapse: collapse; width: 100%; table-layout: fixed; }
thead { display: table-header-group; }
thead th { text-align: left; font-size: 9pt; font-weight: 400; border-bottom: 2px solid #000; vertical-align: bottom; }
tbody td, tbody th { border-bottom: 1px solid #666; height: 9.2mm; padding: 0 1.5mm 0 0; text-align: left; }
tr { break-inside: avoid; }
tbody .cow { font-weight: 700; font-size: 18pt; white-space: nowrap; }
.lesion { font-size: 12pt; } .long { font-size: 9.5pt; line-height: 1.05; }
.day { font-size: 11pt; white-space: nowrap; }
.why { font-size: 8pt; line-height: 1.05; }
.alone { font-size: 11pt; line-height: 1.05; }
tbody tr:has(+ .also) > * { border-bottom: 0; } tbody .also td { height: 5.5mm; font-size: 10pt; vertical-align: top; }
.box { display: inline-block; width: 6mm; height: 6mm; border: 1.5px solid #000; vertical-align: middle; }
.w0 { width: 12mm; } .w1 { width: 23mm; } .w2 { width: 11mm; } .w3 { width: 18mm; } .w4 { width: 44mm; }
.w5 { width: 16mm; } .w6 { width: 24mm; }
@media screen and (max-width: 640px) { table { table-layout: auto; } .w0, .w1, .w2, .w3, .w4, .w5, .w6 { width: auto; }
  body { font-size: 11pt; padding: 0 2mm; } tbody .cow { font-size: 13pt; } .day { white-space: normal; } }
"""

LONG_NAME = 18
"""Letters of a lesion that fit its column in the large type; a longer one is set smaller, for a cow has one line."""

KEPT_ON = {"block": say("block"), "wrap": say("wrap")}
"""What was done that stays on the foot, in a word."""


def chute_list(answer: Answer, day: dt.date, farm: str, paper: str = "A4") -> str:
    """One visit of a plan as a page to print: a line a cow, with foot, claw, lesion, block and when to look.

    Parameters
    ----------
    answer : Answer
        What :func:`evenfoot.analytics.measures.planning.plan.plan` gave; its ``extra["cows"]`` is used.
    day : datetime.date
    farm : str
    paper : {"A4", "Letter"}

    Returns
    -------
    str
        A whole HTML document without scripts or anything to fetch.

    Raises
    ------
    UserError
        The plan has no visit to that farm on that day.
    """
    cows = answer.extra["cows"]
    here = cows[(cows["date"] == pd.Timestamp(day)) & (cows["farm"] == farm)] if len(cows) else cows
    if here.empty:
        raise UserError(
            say("The plan has no visit to {farm} on {day:%Y-%m-%d}; choose a day that it lists.", farm=farm, day=day)
        )
    kinds = ", ".join(told(KINDS.get(kind, kind)).lower() for kind in dict.fromkeys(here["kind"]))
    title = f"{farm}, {words().long_date(day)}"
    heads = "".join(
        f'<th scope="col" class="w{place}">{escape(head)}</th>'
        for place, head in enumerate(
            (_("Done"), _("Cow"), _("Foot"), _("Claw"), _("Lesion"), _("Block"), _("Look again"), _("Why"))
        )
    )
    rows = "\n".join(_row(row) for row in records(here))
    cautions = " ".join(told(caution) for caution in answer.cautions)
    return (
        f'<!doctype html>\n<html lang="{words().language}"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
        f"<style>{STYLE.replace('PAPER', checked_paper(paper))}</style></head><body>\n"
        f"<h1>{escape(title)}</h1>\n"
        f"<p>{escape(_n('{n} cow: {kinds}.', '{n} cows: {kinds}.', len(here), kinds=kinds))} "
        f"{escape(told(as_of(day_of(answer))))}</p>\n"
        f"<table><thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>\n"
        f"<p>{escape(cautions)}</p>\n</body></html>\n"
    )


def first_list(answer: Answer, paper: str = "A4") -> str:
    """The list of the next visit of a plan.

    Raises
    ------
    UserError
        The plan has no visit.
    """
    if answer.empty:
        raise UserError(say("No visit is planned, so there is no list for the chute."))
    row = records(answer.table.head(1))[0]
    return chute_list(answer, row["date"].date(), str(row["farm"]), paper)


def _row(row: dict[str, Any]) -> str:
    cow = f'<td><span class="box"></span></td><th scope="row" class="cow">{escape(str(row["cow"]))}</th>'
    # The first reason is the most pressing one.
    why = " \u00b7 ".join([*([str(row["group"])] if _given(row["group"]) else []), told(row["reason"]).split("; ")[0]])
    if not any(_given(row[name]) for name in ("foot", "lesion")):
        return f'<tr>{cow}<td class="alone" colspan="6">{escape(why)}</td></tr>'
    lesion = words().lesion(str(row["lesion"])) if _given(row["lesion"]) else ""
    claw = told(CLAW_NAMES.get(row["claw"], str(row["claw"]))) if _given(row["claw"]) else ""
    cells = (
        ("", words().foot_code(str(row["foot"])) if _given(row["foot"]) else ""),
        ("", claw),
        ("long" if len(lesion) > LONG_NAME else "lesion", lesion),
        ("", told(KEPT_ON[row["action"]]) if row["action"] in KEPT_ON else ""),
        ("day", words().date(row["recheck_on"]) if _given(row["recheck_on"]) else ""),
        ("why", why),
    )
    line = f"<tr>{cow}{''.join(f'<td class={css!r}>{escape(said)}</td>' for css, said in cells)}</tr>"
    if not _given(row["also"]):
        return line
    also = _("also {what}", what=told(row["also"]))
    return f'{line}<tr class="also"><td></td><td colspan="7">{escape(also)}</td></tr>'


def _given(value: Any) -> bool:
    return value is not None and bool(pd.notna(value)) and value != ""
