"""The first page, for the farmer: three sentences, what was agreed, the cows, remarks, trimmer, date and next visit.

It holds no statistics: figures with intervals begin on page two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES
from evenfoot.analytics.domain.visits import ACTIONS
from evenfoot.analytics.measures.planning.worklist import as_of, day_of
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import answers as said
from evenfoot.dashboard.charts.findings import place_of_most
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.templates import Own
from evenfoot.dashboard.i18n.translation import Words, speaking
from evenfoot.dashboard.report.agreed_section import agreed_lines
from evenfoot.dashboard.report.calendar import KINDS
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.cow_lists import LISTS, REASONS
from evenfoot.dashboard.report.markup import Section, paragraph

FARMERS = ("summary", "agreed", "cows", "remarks")
"""Sections of the first page, in their order."""

LINES = {"A4": 40, "Letter": 36}
"""Lines of the first page between its head and its foot, for sentences and rows."""
SENTENCE, ALSO = 80, 105
"""Letters that fit a line of a sentence, and of the further places of a cow."""
CELL = {"en": {"lesion": 22, "look": 12, "why": 30}, "es": {"lesion": 18, "look": 12, "why": 22}}
"""Letters that fit a line of the columns that may need a second one; names of feet are longer in Spanish."""
FEWEST_ROWS = 8
"""Lines kept for cows, however much was agreed and remarked."""

LISTED = ("veterinarian", "recheck")
"""Lists whose cows are named one by one; the others stand under their reasons on page two."""

FOUND = "found"
UNDER = {
    "veterinarian": LISTS["veterinarian"],
    "recheck": say("To look at again"),
    FOUND: say("Found at the newest visit, nothing else open"),
}


def summary_section(contents: Contents, words: Words) -> Section:
    """Three sentences for who reads nothing else."""
    lines = "".join(
        f"<li><strong>{escape(answer.word(words))}</strong> {escape(answer.sentence)}</li>"
        for answer in _answers(contents, words)
    )
    return Section("summary", words("In short"), f'<ul class="summary">{lines}</ul>')


def summary_lines(contents: Contents, words: Words) -> list[str]:
    """The three sentences."""
    return [answer.line(words) for answer in _answers(contents, words)]


def _answers(contents: Contents, words: Words) -> list[said.Said]:
    """Lameness with its verdict, the biggest lesion and where, and what the last change did or what to do next."""
    answer = contents.get("verdicts")
    rows = [] if answer is None else records(answer.table)
    return [said.lameness(rows, words), _lesion(contents, rows, words), _next(contents, words)]


def _lesion(contents: Contents, rows: list[dict[str, Any]], words: Words) -> said.Said:
    if not any(row["what"] not in ("lame", "severe") for row in rows):
        return said.Said(words("No visit has looked at the feet of the herd, so nothing can be said of lesions."))
    answer, places = said.lesion(rows, words), contents.get("places")
    with speaking(words):
        where = "" if places is None else place_of_most(places)
    return said.Said(f"{answer.sentence} {where}." if where else answer.sentence, answer.verdict)


def _next(contents: Contents, words: Words) -> said.Said:
    if len(contents.changes):
        place = len(contents.changes) - 1
        newest, answer = contents.changes.iloc[place], contents.get(f"change {place}")
        verdict = None if answer is None else said.verdict_of_change(answer)
        after = said.change(str(newest["what"]), newest["date"].date(), verdict, words)
        if after.verdict != "too-few":
            return after
    if contents.answers.get("worklist") is None:
        return said.Said(words("Nothing is known of single cows."))
    table = listed_cows(contents)
    return said.cows(table[table["due_on"] <= _today(contents)] if len(table) else table, words)


def _today(contents: Contents) -> pd.Timestamp:
    """The day of the list of cows."""
    return pd.Timestamp(day_of(contents.answers["worklist"]).on)


@dataclass(frozen=True)
class Row:
    """A cow of the list as it is printed; ``lines`` is the room it takes."""

    cow: str
    cells: tuple[str, ...]
    also: str
    lines: int


def listed_cows(contents: Contents) -> pd.DataFrame:
    """The cows of the first page in their order, with ``list``: which one; those of the work list first.

    After them stand the cows with a finding at the newest visit for whom nothing else is open.
    """
    answer = contents.answers.get("cows")
    table = pd.DataFrame(columns=["list", "cow", "kinds", "due_on"]) if answer is None else answer.table
    lists = [next((name for name in LISTED if _kinds(kinds, name)), "") for kinds in table["kinds"]]
    table = table.assign(list=lists)
    # Those for the veterinarian first: a reason of theirs that is due later still is hers.
    parts = [table[table["list"] == name] for name in LISTED]
    named = {str(cow) for part in parts for cow in part["cow"]}
    found = contents.found[~contents.found["cow"].isin(list(named))].assign(
        list=FOUND, kinds="", due_on=pd.Timestamp("NaT")
    )
    every = [part for part in (*parts, found) if len(part)]
    return pd.concat(every, ignore_index=True) if every else table[:0]


def _kinds(kinds: str, name: str) -> list[str]:
    """The reasons of a cow that belong to a list."""
    return [kind for kind in kinds.split(",") if kind in REASONS and REASONS[kind][0] == name]


def cows_shown(contents: Contents, words: Words) -> list[str]:
    """The cows that the first page has room for."""
    table = listed_cows(contents)
    room = max(FEWEST_ROWS, LINES[contents.request.paper] - _lines_above(contents, words))
    shown: list[str] = []
    under = ""
    for row in records(table):
        room -= _row(row, contents, words).lines + (row["list"] != under)
        under = row["list"]
        if room < 0:
            break
        shown.append(str(row["cow"]))
    return shown


def _lines_above(contents: Contents, words: Words) -> int:
    """Lines that sentences, agreements, remarks and the letterhead take."""
    request = contents.request
    parts = (
        summary_lines(contents, words) if request.wants("summary") else [],
        agreed_lines(contents, words) if request.wants("agreed") else [],
        [line for line in request.remarks.splitlines() if line.strip()] if request.wants("remarks") else [],
    )
    lines = sum(math.ceil(len(line) / SENTENCE) for part in parts for line in part)
    heads = 2 * sum(map(bool, parts))
    sender = request.trimmer
    return lines + heads + max(len(sender.address.splitlines()) + bool(sender.name), 4 if sender.logo else 0)


def cows_section(contents: Contents, words: Words) -> Section | None:
    """The cows that cannot wait, one by one, as many as the page holds; each with where, what, done and when."""
    answer = contents.answers.get("worklist")
    if answer is None:
        return None
    title = words("Cows that need someone")
    dated = paragraph(words.said(as_of(day_of(answer))), "small")
    table = listed_cows(contents)
    if table.empty:
        return Section("cows", title, dated + paragraph(words("No cow needs someone before the next round.")))
    shown, heads, body = cows_shown(contents, words), _heads(words), ""
    for name, title_of in UNDER.items():
        mine = table[table["list"] == name]
        here = [_row(row, contents, words) for row in records(mine) if str(row["cow"]) in shown]
        if not here:
            continue
        head = words("{list}: {n}", list=words(title_of), n=len(mine))
        body += f'<tr class="for"><th colspan="7" scope="colgroup">{escape(head)}</th></tr>'
        body += "".join(_tr(row, heads) for row in here)
    left = len(table) - len(shown)
    under = (
        [words.number_of("{n} more cow follows on the next page.", "{n} more cows follow on the next page.", left)]
        if left
        else []
    )
    under.append(
        words("The list says what was recorded and diagnoses nothing; the veterinarian's word goes before it.")
    )
    columns = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    listed = f'<table class="todo"><thead><tr>{columns}</tr></thead><tbody>{body}</tbody></table>'
    return Section("cows", title, dated + listed + paragraph(" ".join(under), "small"))


def _heads(words: Words) -> list[str]:
    return [words("Cow"), words("Foot"), words("Claw"), words("Lesion"), words("What was done"),
            words("Look again"), words("Why")]  # fmt: skip


def _row(row: dict[str, Any], contents: Contents, words: Words) -> Row:
    foot, claw, lesion, done, also = (
        row[name] if isinstance(row[name], str) else "" for name in ("foot", "claw", "lesion", "action", "also")
    )
    first, *others = [words(REASONS[kind][1]) for kind in _kinds(str(row["kinds"]), row["list"])] or [""]
    further = "; ".join(dict.fromkeys([*others, *(words.said(also).split("; ") if also else [])]))
    also = words("also {what}", what=Own(further)) if further else ""
    cells = (
        words.foot(foot) if foot else "",
        words(CLAW_NAMES.get(claw, claw)) if claw else "",
        words.lesion(lesion) if lesion else "",
        words.said(ACTIONS.get(done, done)) if done else "",
        _look_again(row, contents, words),
        first,
    )
    fits = CELL[words.language]
    may_wrap = {"lesion": cells[2], "look": cells[4], "why": first}
    lines = max(1, *(math.ceil(len(cell) / fits[name]) for name, cell in may_wrap.items()))
    return Row(str(row["cow"]), cells, also, lines + math.ceil(len(also) / ALSO))


def _look_again(row: dict[str, Any], contents: Contents, words: Words) -> str:
    """The day she is due, and that of a later recheck; what is due by now stays due whatever recheck was asked for."""
    on, due, recheck = _today(contents), row["due_on"], row["recheck_on"]
    if pd.isna(due):
        return words.date(recheck) if pd.notna(recheck) else ""
    days = [words.date(due) if due > on else words("now")]
    return ", ".join([*days, words.date(recheck)] if pd.notna(recheck) and recheck > max(due, on) else days)


def _tr(row: Row, heads: list[str]) -> str:
    cells = "".join(f'<td data-head="{escape(head, quote=True)}">{escape(cell)}</td>' for head, cell in
                    zip(heads[1:], row.cells, strict=True))  # fmt: skip
    whole = f'<tr><th scope="row">{escape(row.cow)}</th>{cells}</tr>'
    if not row.also:
        return whole
    return f'{whole}<tr class="also"><td></td><td colspan="6">{escape(row.also)}</td></tr>'


def facts(contents: Contents, words: Words) -> str:
    """The foot of the page: trimmer, date and next visit, with room to write where one is not known."""
    request = contents.request
    worklist = contents.answers.get("worklist")
    day = request.on or (day_of(worklist).on if worklist is not None else contents.until)
    pairs = [
        ("", words("Trimmer"), request.trimmer.name or contents.recorded_by),
        ("short", words("Newest visit"), "" if contents.visited_on is None else words.date(contents.visited_on)),
        ("short", words("Date"), words.date(day)),
        ("", words("Next visit"), _next_visit(contents, words)),
    ]
    cells = "".join(
        f'<div class="{css}"><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>' for css, name, value in pairs
    )
    return f'<dl class="facts">{cells}</dl>'


def _next_visit(contents: Contents, words: Words) -> str:
    if contents.request.next_visit:
        return words.date(contents.request.next_visit)
    plan = contents.get("plan")
    if plan is None:
        return ""
    row = records(plan.table.head(1))[0]
    kind = words.said(KINDS.get(row["kind"], row["kind"]))
    return words("{day}, proposed: {kind}", day=row["date"], kind=Own(kind[:1].lower() + kind[1:]))


def notes(words: Words) -> str:
    """Ruled lines that take what is left of the page."""
    return f'<div class="notes"><p class="small">{escape(words("Room to write"))}</p><div class="ruled"></div></div>'
