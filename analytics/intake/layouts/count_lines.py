"""Lines that count cows and hold no table, such as "60 trimmed, 9 DD", as a table of counts."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from evenfoot.analytics.domain.lexicon import heading_fields, meaning, plain, squeezed_heading
from evenfoot.analytics.intake.layouts.roles import Role
from evenfoot.analytics.intake.layouts.tables import Table
from evenfoot.analytics.intake.sheet import RawColumn, RawSheet

LOOKED_AT = "looked_at"
MOST_LINES = 200
"""Rows of a sheet of such lines. [common practice, no source]"""
MOST_LETTERS = 300
"""Letters of a line of counts; a longer line is none, and is not looked at. [common practice, no source]"""
_COUNTED = re.compile(r"(\d{1,5})\s+(?:x\s+)?(\D{2,40})")
_COUNT_BEHIND = re.compile(r"(\D{2,40}?)\s*[:=]?\s*(\d{1,5})")


def counts_in_lines(sheet: RawSheet) -> tuple[RawSheet, list[Table]]:
    """The sheet with each line of counts as a row of numbers, and a table for each; no table where it has no such line.

    What stands in front of the counts of a line, such as the farm, is a line of its own.
    """
    tables: list[Table] = []
    rows: list[list[str]] = []
    lines: list[list[str]] = []
    for position in range(len(sheet) if len(sheet) <= MOST_LINES else 0):
        cells = [" ".join(cell.split()) for cell in sheet.row(position) if cell.strip()]
        line = ", ".join(cells)
        lead, counts = _counts_of(line) if len(line) <= MOST_LETTERS else ("", [])
        rows.append([number for _, number in counts])
        if not counts:
            lines.append(cells)
            continue
        headings = [word for word, _ in counts]
        roles = [
            Role("lesion", lesion=code) if (code := meaning("lesion", word)) is not None
            else Role("field", field=LOOKED_AT) for word in headings
        ]  # fmt: skip
        above = [*lines, *([[lead]] if lead else [])]
        tables.append(Table(headings, [*roles], np.array([position], dtype=np.int64), above))
    if not tables:
        return sheet, []
    columns = []
    for place in range(max(map(len, rows))):
        texts = [row[place] if place < len(row) else "" for row in rows]
        known = {text: code for code, text in enumerate(dict.fromkeys(["", *texts]))}
        columns.append(RawColumn(np.array([known[text] for text in texts], dtype=np.int32), list(known)))
    return replace(sheet, columns=columns), tables


def _counts_of(line: str) -> tuple[str, list[tuple[str, str]]]:
    """What stands in front of the counts of a line, and the words that are counted with their numbers.

    Example
    -------
    >>> _counts_of("Elm End, 2 March: 60 trimmed, 9 DD and 4 sole ulcers")
    ('Elm End, 2 March', [('trimmed', '60'), ('DD', '9'), ('sole ulcers', '4')])
    >>> _counts_of("60 trimmed and home by noon")
    ('', [])
    """
    for lead, rest in (("", line), *((line[: at.start()], line[at.end() :]) for at in re.finditer(r"[:;,.-]\s", line))):
        counts = [_counted(part.strip()) for part in re.split(r"[,;+&]|\s(?:and|und|y|en|et|e)\s", rest.strip(" ."))]
        named = [count for count in counts if count is not None]
        if len(named) == len(counts) and any(meaning("lesion", word) is not None for word, _ in named):
            return lead.strip(), named
    return "", []


def _counted(part: str) -> tuple[str, str] | None:
    """What a part of a line counts, and how many: a lesion, or the cows that were looked at."""
    match, behind = _COUNTED.fullmatch(part), _COUNT_BEHIND.fullmatch(part)
    word, number = (match[2], match[1]) if match else (behind[1], behind[2]) if behind else ("", "")
    looked_at = "counts.looked_at" in heading_fields().get(squeezed_heading(plain(word)), ())
    return (word.strip(), number) if looked_at or meaning("lesion", word) is not None else None
