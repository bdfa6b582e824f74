"""Notes without headings: a line a cow, her number first and then what was found on her."""

from __future__ import annotations

import re

import numpy as np

from evenfoot.analytics.domain.lexicon import forms, heading_fields, plain, squeezed_heading
from evenfoot.analytics.intake.layouts.days import is_day
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.table_records import column_of
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.parsing.vocabulary import cows_named
from evenfoot.analytics.intake.sheet import RawSheet
from evenfoot.analytics.messages import say

MOST_LINES = 2000
"""Notes are no longer than this. [common practice, no source]"""

LEAST_COWS = 3
LEAST_SHARE = 0.5
"""So many lines, and so large a share of those that are no day, must name a cow and what was found on her.
[common practice, no source]"""

_SEVERAL = re.compile(
    r"((?:#?\d{1,6}\s?(?:[,;&+/]|(?:and|und|y|e|en|et)(?=\s))\s?)+#?\d{1,6})(?: ?[:=;.)-]+ ?| )(\D.*)", re.DOTALL
)
"""Several cows and what was found on all of them."""
_LINE = re.compile(r"(?:([^\W\d]+\.?) )?[#*]?(\d{1,6})(?: ?[:=;,.)-]+ ?| )(\D.*)", re.DOTALL)


def table_of_cows(sheet: RawSheet, answers: Answers) -> RawSheet | None:
    """The lines of a sheet without headings as a table of cows and findings.

    Parameters
    ----------
    sheet : RawSheet
    answers : Answers
        Whether the lines are such notes is asked.

    Returns
    -------
    RawSheet or None
        The sheet with a row of headings above its first cow, each cow and her findings in two cells; ``None`` where the
        lines are no such notes.
    """
    if len(sheet) > MOST_LINES:
        return None
    lines = [", ".join(" ".join(cell.split()) for cell in sheet.row(row) if cell.strip()) for row in range(len(sheet))]
    days: dict[int, str] = {}
    cows: dict[int, tuple[str, str]] = {}
    named: set[int] = set()
    last = ""
    for row, line in enumerate(lines):
        on, rest = _day_first(line)
        told = cow_and_findings(rest)
        alone = _cow_alone(rest) if told is None else None
        if told is not None:
            cows[row], last = told, ""
        elif alone is not None:
            named.add(row)
            last = alone
        elif last and _tells_of_feet(rest) and not is_day(rest):
            cows[row] = (last, rest)
        elif line:
            last = ""
        if on and row in cows:
            days[row] = on
    others = [line for row, line in enumerate(lines)
              if line and row not in cows and row not in named and not is_day(line)]  # fmt: skip
    if len(cows) < LEAST_COWS or len(cows) < LEAST_SHARE * (len(cows) + len(others)):
        return None
    first = min(cows)
    value = answers.ask(
        Question(
            "cow-lines", sheet.source,
            say("The file has no headings. Do its lines say a cow and what was found on her, such as '{line}'?",
                line=lines[first][:60]),
            choices([("read", say("yes: read them so")), ("leave", say("no: leave the file out"))]),
            "read",
        )
    )  # fmt: skip
    if value != "read":
        return None
    rows: list[tuple[str, ...]] = []
    numbers: list[int] = []
    for row in range(len(lines)):
        if row == first:
            rows.append(("Cow", "Lesion", "Date") if days else ("Cow", "Lesion"))
            numbers.append(row + sheet.first_row)
        if row in named and row > first:
            continue
        # Wide gaps part what a title says.
        title = ", ".join(cell.strip() for cell in sheet.row(row) if cell.strip())
        cow, findings = cows.get(row, ("" if row in named else title, ""))
        day: tuple[str, ...] = (days.get(row, ""),) if days else ()
        each = [(one, findings, *day) for one in cows_named(cow)] if row in cows else []
        rows += each or [(cow, findings, *day)]
        numbers += [row + sheet.first_row] * max(len(each), 1)
    columns = [column_of([row[place] for row in rows]) for place in range(len(rows[-1]))]
    widths = np.full(len(rows), len(columns), dtype=np.int32)
    # The headings take no line of the file, and several cows may share one: every cow keeps the number of hers.
    return RawSheet(
        sheet.source, columns, widths, sheet.first_row - 1, tab=sheet.tab, numbers=np.array(numbers, dtype=np.int64)
    )


def cow_and_findings(line: str) -> tuple[str, str] | None:
    """The number of a cow and what a line says of her feet; ``None`` where a line is no such note.

    Examples
    --------
    >>> cow_and_findings("34 RA zoolzweer, blok"), cow_and_findings("Vaca 123: sin problemas")
    (('34', 'RA zoolzweer, blok'), ('123', 'sin problemas'))
    >>> cow_and_findings("233, 236 y 240 sin novedad"), cow_and_findings("45, 2 claws DD")
    (('233, 236 y 240', 'sin novedad'), ('45', '2 claws DD'))
    >>> cow_and_findings("12 March 2026"), cow_and_findings("60 cows trimmed")
    (None, None)
    """
    several = _SEVERAL.fullmatch(line)
    if several is not None and _are_cows(several[1]) and not is_day(line):
        return (several[1], several[2]) if _tells_of_feet(several[2]) else None
    match = _LINE.fullmatch(line)
    if match is None or is_day(line) or (match[1] and not _means_cow(match[1])):
        return None
    return (match[2], match[3].strip()) if _tells_of_feet(match[3]) else None


_SEPARATED = re.compile(r"(.{4,25}?)(?: ?[-\N{EN DASH}:;,] ?)(.+)", re.DOTALL)
_COW_ALONE = re.compile(r"([^\W\d]+\.?) [#*]?(\d{1,6})(?: ?\([^()]*\)| ?[^\W\d]+)? ?[:.]?")


def _day_first(line: str) -> tuple[str, str]:
    """The day in front of a line and what follows it; no day where none stands there.

    Example
    -------
    >>> _day_first("12 mayo - vaca 341 - sana"), _day_first("34 RA ulcer")
    (('12 mayo', 'vaca 341 - sana'), ('', '34 RA ulcer'))
    """
    match = _SEPARATED.fullmatch(line)
    return (match[1], match[2]) if match is not None and is_day(match[1]) else ("", line)


def _cow_alone(line: str) -> str | None:
    """The number of a cow on a line of her own, with her name or without it, above what was found on her.

    Example
    -------
    >>> _cow_alone("Kuh 88 (Lotte)"), _cow_alone("Cow 12:"), _cow_alone("Barn 3")
    ('88', '12', None)
    """
    match = _COW_ALONE.fullmatch(line.strip())
    return match[2] if match is not None and _means_cow(match[1]) else None


def _tells_of_feet(text: str) -> bool:
    reading = read_findings(text)
    return bool(reading.findings or reading.nothing or (reading.action and not reading.unread))


def _are_cows(text: str) -> bool:
    """Whether numbers in front of a line are cows: "45, 2 claws" is one cow, and so is "45, 3"."""
    numbers = cows_named(text)
    return len(numbers) > 1 and min(map(len, numbers)) >= max(2, max(map(len, numbers)) - 1)


def _means_cow(word: str) -> bool:
    bare = plain(word)
    return bare in {form for form, _ in forms("cow_number")} or "*.cow" in heading_fields().get(
        squeezed_heading(bare), ()
    )
