"""The report as one HTML file that opens anywhere, and prints on A4 or Letter."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable
from html import escape

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.agreed_section import agreed_section
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.context_sections import (
    basis_lines,
    benchmark_section,
    cost_section,
    not_worked_out,
    remarks_section,
)
from evenfoot.dashboard.report.cow_lists import more_cows_section
from evenfoot.dashboard.report.first_page import (
    FARMERS,
    FOUND,
    cows_section,
    cows_shown,
    facts,
    listed_cows,
    notes,
    summary_section,
)
from evenfoot.dashboard.report.herd_sections import changes_section, horn_section, locomotion_section, signals_section
from evenfoot.dashboard.report.lesion_sections import lesions_section, visit_section
from evenfoot.dashboard.report.markup import Section, bullets, paragraph
from evenfoot.dashboard.report.request import NAMES, Sender
from evenfoot.dashboard.report.stylesheet import stylesheet

FOOT_LETTERS = 60

MAKERS: dict[str, Callable[[Contents, Words], Section | None]] = {
    "summary": summary_section,
    "agreed": agreed_section,
    "cows": cows_section,
    "remarks": remarks_section,
    "visit": visit_section,
    "lesions": lesions_section,
    "locomotion": locomotion_section,
    "horn": horn_section,
    "signals": signals_section,
    "changes": changes_section,
    "benchmark": benchmark_section,
    "cost": cost_section,
}

FIGURES = tuple(name for name in MAKERS if name not in FARMERS)
"""Sections from page two on: numbers with their intervals."""


def sections_of(contents: Contents, words: Words, names: Iterable[str]) -> list[Section]:
    """Those of the sections that are asked for, in their order; those with nothing to say at all are left out.

    A section that could not be worked out says so and why.
    """
    made = [_made(name, contents, words) for name in names if contents.request.wants(name)]
    return [section for section in made if section is not None]


def _made(name: str, contents: Contents, words: Words) -> Section | None:
    trouble = contents.troubles.get(name)
    if trouble is None:
        try:
            return MAKERS[name](contents, words)
        except UserError as mistake:
            trouble = mistake.sentence
    return Section(name, words(NAMES[name]), paragraph(not_worked_out(trouble, words)))


def document(contents: Contents) -> str:
    """The whole report as HTML.

    Nothing in it is fetched from anywhere and nothing in it runs: drawings stand in it as SVG, the logo as data.
    """
    request = contents.request
    words = Words(request.language, request.units)
    title = words("Foot report, {farm}", farm=request.farm)
    first = "".join(section.html() for section in sections_of(contents, words, FARMERS))
    figures = sections_of(contents, words, FIGURES)
    if request.wants("cows") and (more := _more_cows(contents, words)):
        figures.insert(0, more)
    method = basis_lines(contents, words)
    last = Section("basis", words("Method, records and cautions"), bullets(method, "print")).html()
    # Where there are no figures there is no second page for the method alone.
    on_first, after = (first, last) if figures else (first + last, "")
    foot = f"{shortened(request.farm)} \u00b7 {words.dates(contents.since, contents.until)} \u00b7 Evenfoot"
    style = stylesheet(request.paper, foot, sum(map(len, method)))
    return (
        f'<!doctype html><html lang="{request.language}"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title>"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
        'img-src data:">'
        f'<meta name="generator" content="Evenfoot"><style>{style}</style></head>'
        f'<body><main><div class="farmer">{_head(contents, words)}{on_first}'
        f"{notes(words)}{facts(contents, words)}</div>"
        f"{''.join(section.html() for section in figures)}{after}</main></body></html>"
    )


def _more_cows(contents: Contents, words: Words) -> Section | None:
    listed, shown = listed_cows(contents), set(cows_shown(contents, words))
    left = listed.loc[(listed["list"] == FOUND) & ~listed["cow"].isin(list(shown)), "cow"]
    return more_cows_section(contents, words, shown, list(left))


def shortened(name: str) -> str:
    """A name that fits the foot of a page.

    Examples
    --------
    >>> shortened("Home Farm"), len(shortened("x" * 200))
    ('Home Farm', 60)
    """
    return name if len(name) <= FOOT_LETTERS else name[: FOOT_LETTERS - 1] + "\u2026"


def _head(contents: Contents, words: Words) -> str:
    request = contents.request
    period = words("{since} to {until}", since=contents.since, until=contents.until)
    return (
        f"<header>{_sender(request.trimmer)}<div class='of'><h1>{escape(request.farm)}</h1>"
        f"<p>{escape(words('Report on the feet of the herd'))}, {escape(period)}</p>"
        f"{_address(request.owner)}</div></header>"
    )


def _sender(sender: Sender) -> str:
    if not (sender.name or sender.address or sender.logo):
        return ""
    logo = ""
    if sender.logo:
        data = base64.b64encode(sender.logo).decode("ascii")
        logo = f'<img src="data:image/png;base64,{data}" alt="{escape(sender.name, quote=True)}">'
    name = f"<p><strong>{escape(sender.name)}</strong></p>" if sender.name else ""
    lines = "".join(f"<p>{escape(line)}</p>" for line in sender.address.splitlines() if line.strip())
    return f'<div class="from">{logo}<div>{name}{lines}</div></div>'


def _address(owner: Sender) -> str:
    lines = [owner.name, *owner.address.splitlines()]
    said = ", ".join(line.strip() for line in lines if line.strip())
    return f"<p>{escape(said)}</p>" if said else ""
