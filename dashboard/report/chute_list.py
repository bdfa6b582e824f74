"""The list that lies beside the chute: large type, one line a cow, and room to write."""

from __future__ import annotations

import datetime as dt
from html import escape
from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.due_reasons import place_words
from evenfoot.analytics.measures.planning.worklist import as_of, day_of
from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.translation import _, _n, told, words
from evenfoot.dashboard.report.calendar import KINDS

STYLE = """
@page { size: A4; margin: 12mm; }
body { font: 16pt/1.3 system-ui, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 190mm; }
h1 { font-size: 22pt; margin: 0 0 2mm; }
p { font-size: 11pt; margin: 0 0 4mm; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
th { text-align: left; font-size: 11pt; border-bottom: 2px solid #000; }
td { border-bottom: 1px solid #666; padding: 3mm 2mm 3mm 0; vertical-align: top; }
tr { break-inside: avoid; }
.cow { font-weight: 700; font-size: 20pt; white-space: nowrap; }
.why { font-size: 10.5pt; width: 42%; }
.write { width: 38%; }
.box { display: inline-block; width: 7mm; height: 7mm; border: 1.5px solid #000; }
"""


def chute_list(answer: Answer, day: dt.date, farm: str) -> str:
    """One visit of a plan as a page to print.

    Parameters
    ----------
    answer : Answer
        What :func:`evenfoot.analytics.measures.planning.plan.plan` gave; its ``extra["cows"]`` is used.
    day : datetime.date
    farm : str

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
        f'<th scope="col">{escape(head)}</th>' for head in (_("Done"), _("Cow"), _("Why"), _("Found and done"))
    )
    rows = "\n".join(_row(row) for row in here.to_dict("records"))
    cautions = " ".join(told(caution) for caution in answer.cautions)
    return (
        f'<!doctype html>\n<html lang="{words().language}"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
        f"<style>{STYLE}</style></head><body>\n"
        f"<h1>{escape(title)}</h1>\n"
        f"<p>{escape(_n('{n} cow: {kinds}.', '{n} cows: {kinds}.', len(here), kinds=kinds))} "
        f"{escape(told(as_of(day_of(answer))))}</p>\n"
        f"<table><thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>\n"
        f"<p>{escape(cautions)}</p>\n</body></html>\n"
    )


def _row(row: dict[Any, Any]) -> str:
    group = "" if pd.isna(row["group"]) else f"<br><small>{escape(str(row['group']))}</small>"
    return (
        f'<tr><td><span class="box"></span></td><th scope="row" class="cow">{escape(str(row["cow"]))}{group}</th>'
        f'<td class="why">{escape(told(row["reason"]))}{_places(row)}</td><td class="write"></td></tr>'
    )


def _places(row: dict[Any, Any]) -> str:
    """Where, what, what was done and when to look again, in a line for each place."""
    parts = [told(place_words(row)), *(told(row["also"]).split("; ") if isinstance(row["also"], str) else ())]
    return "".join(f"<br><b>{escape(part)}</b>" for part in parts if part)
