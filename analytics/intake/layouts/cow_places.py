"""Cows that have no row of their own below a heading: named above the table, across it, or several in one cell."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from evenfoot.analytics.domain.lexicon import forms, heading_fields, meaning, phrases, plain, squeezed_heading
from evenfoot.analytics.intake.layouts.days import is_day
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.roles import read_heading
from evenfoot.analytics.intake.layouts.table_records import column_of
from evenfoot.analytics.intake.layouts.tables import Table, cow_column, find_tables, is_cow_like
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS, cows_named
from evenfoot.analytics.intake.sheet import RawColumn, RawSheet
from evenfoot.analytics.messages import say, say_n

MOST_LINES = 5000
"""Sheets kept by hand are no longer than this. [common practice, no source]"""
LEAST_DAYS = 2
LEAST_COWS = 2
"""Days down and cows across that make a sheet of scores turned on its side. [common practice, no source]"""


def give_cows_rows(sheet: RawSheet, answers: Answers) -> RawSheet:
    """The sheet with a row for every cow and, where it has none, a column that names her.

    Parameters
    ----------
    sheet : RawSheet
    answers : Answers
        Whether several numbers in a cell are several cows is asked.

    Returns
    -------
    RawSheet
        The sheet itself where its cows have rows, or where it is longer than sheets kept by hand.
    """
    if sheet.exact or not len(sheet) or not sheet.columns or len(sheet) > MOST_LINES:
        return sheet
    found = scores_turned(sheet) or findings_turned(sheet) or scores_in_lines(sheet)
    if found is not None:
        return found
    tables = find_tables(sheet)
    return _cow_from_above(sheet, tables) or _cows_apart(sheet, tables, answers) or sheet


def scores_turned(sheet: RawSheet) -> RawSheet | None:
    """A sheet of scores with the days down and the cows across, turned on its side; ``None`` for any other."""
    for head in range(min(len(sheet), 20)):
        cells = [" ".join(cell.split()) for cell in sheet.row(head)]
        cows = {place: cow for place, cell in enumerate(cells[1:], 1) if (cow := _cow_of(cell))}
        if len(cows) < LEAST_COWS or len(cows) < sum(bool(cell) for cell in cells[1:]):
            continue
        if not _is_cow_word(cells[0]) and not all(cells[place] != cow for place, cow in cows.items()):
            continue
        days = [row for row in range(head + 1, len(sheet)) if is_day(sheet.row(row)[0].strip())]
        filled = [row for row in range(head + 1, len(sheet)) if any(cell.strip() for cell in sheet.row(row))]
        if len(days) < LEAST_DAYS or days != filled[: len(days)]:
            continue
        below = [sheet.row(row) for row in days]
        if not all(_may_be_score(row[place]) for row in below for place in cows):
            continue
        rows = [sheet.row(row) for row in range(head)]
        rows.append(["Cow", *(row[0] for row in below)])
        rows += [[cow, *(row[place] for row in below)] for place, cow in cows.items()]
        rows += [sheet.row(row) for row in filled[len(days) :]]
        return _sheet_of(sheet, rows)
    return None


LEAST_HEADINGS = 3
"""Headings down the first column that make a table turned on its side. [common practice, no source]"""


def findings_turned(sheet: RawSheet) -> RawSheet | None:
    """A table with the cows across and its headings down the first column, turned; ``None`` for any other."""
    for head in range(min(len(sheet), 20)):
        cells = [" ".join(cell.split()) for cell in sheet.row(head)]
        cows = [place for place, cell in enumerate(cells[1:], 1) if _cow_of(cell)]
        if not _is_cow_word(cells[0]) or len(cows) < LEAST_COWS or len(cows) < sum(bool(cell) for cell in cells[1:]):
            continue
        below = []
        for row in range(head + 1, len(sheet)):
            if not any(cell.strip() for cell in sheet.row(row)):
                break
            below.append(sheet.row(row))
        known = sum(read_heading(row[0]) is not None for row in below)
        if known < LEAST_HEADINGS or known < len(below) / 2:
            continue
        rows = [sheet.row(row) for row in range(head)]
        rows.append(["Cow", *(row[0] for row in below)])
        rows += [[cells[place], *(row[place] for row in below)] for place in cows]
        rows += [sheet.row(row) for row in range(head + 1 + len(below), len(sheet))]
        return _sheet_of(sheet, rows)
    return None


_SCORE_LINE = re.compile(r"([^\d:=]{0,20}?)\s?([0-5])\s?[:=]\s?(\S.*)")
_COW_IN_LIST = re.compile(r"#?(\d{1,6})\s?(?:\(([^()]{1,40})\))?")


def scores_in_lines(sheet: RawSheet) -> RawSheet | None:
    """Lines such as "Score 2: 5, 9, 18" as a table of cows and scores; ``None`` for a sheet without them."""
    lines = [", ".join(" ".join(cell.split()) for cell in sheet.row(row) if cell.strip()) for row in range(len(sheet))]
    found = {row: listed for row, line in enumerate(lines) if (listed := _scores_listed(line)) is not None}
    if len({score for score, _ in found.values()}) < 3 or sum(len(cows) for _, cows in found.values()) < LEAST_COWS:
        return None
    first = min(found)
    rows: list[list[str]] = []
    numbers: list[int] = []
    for row, line in enumerate(lines):
        if row == first:
            rows.append(["Cow", "Locomotion score", "Note"])
            numbers.append(row + sheet.first_row)
        each = [[cow, found[row][0], note] for cow, note in found[row][1]] if row in found else [[line]]
        rows += each
        numbers += [row + sheet.first_row] * len(each)
    return _sheet_of(sheet, rows, numbers)


def _scores_listed(line: str) -> tuple[str, list[tuple[str, str]]] | None:
    """The score of a line and the cows listed behind it, each with what stands in brackets behind her.

    Example
    -------
    >>> _scores_listed("Score 3: 8 (LA), 31"), _scores_listed("Score 5: none"), _scores_listed("Cow 5: DD")
    (('3', [('8', 'LA'), ('31', '')]), ('5', []), None)
    """
    match = _SCORE_LINE.fullmatch(line)
    role = read_heading(match[1]) if match is not None and match[1].strip() else None
    if match is None or role is None or role.field != "locomotion_score":
        return None
    if _says_none(match[3]):
        return match[2], []
    cows = [_COW_IN_LIST.fullmatch(part.strip()) for part in re.split(r"[,;]", match[3].strip(" ,;."))]
    return (match[2], [(cow[1], cow[2] or "") for cow in cows if cow]) if all(cows) else None


def _cow_from_above(sheet: RawSheet, tables: Sequence[Table]) -> RawSheet | None:
    """A sheet of one cow, whose number stands in a line above each table or is the name of the tab."""
    if not tables or any(cow_column(table.roles, table.headings) is not None for table in tables):
        return None
    if not all(any(role is not None and role.code == "visit_date" for role in table.roles) for table in tables):
        return None
    said = [""] * len(sheet)
    cow = _cow_of(sheet.tab) or ""
    told = False
    for table in tables:
        above = [cow_told for line in table.lines if (cow_told := _cow_in_line(line))]
        cow = above[-1] if above else cow
        told = told or bool(above)
        for row in table.rows.tolist():
            said[row] = cow
    if not cow or (not told and not any(read_heading(word) for word in sheet.tab.split() if not word.isdecimal())):
        return None
    for row in range(len(sheet)):
        if any(sheet.row(row) == table.headings for table in tables):
            said[row] = "Cow"
    return replace(sheet, columns=[*sheet.columns, column_of(said)]) if "Cow" in said else None


def _cow_in_line(cells: Sequence[str]) -> str | None:
    """The number of the cow that a line names: "Cow: 118", or "Cow" and "118" in two cells."""
    line = " ".join(" ".join(cell.split()) for cell in cells if cell.strip())
    words = line.replace(":", " ").split()
    for word, number in pairwise(words):
        if _is_cow_word(word) and is_cow_like(number):
            return number.strip("#")
    return None


def _cows_apart(sheet: RawSheet, tables: Sequence[Table], answers: Answers) -> RawSheet | None:
    """The sheet with a row for each cow of a cell that names several."""
    lists: dict[int, tuple[int, tuple[str, ...]]] = {}
    none: dict[int, tuple[int, tuple[str, ...]]] = {}
    example = ""
    for table in tables:
        place = cow_column(table.roles, table.headings)
        for row in table.rows.tolist() if place is not None and place < len(sheet.columns) else ():
            text = sheet.columns[place].text(row) if place is not None else ""
            cows = cows_named(text)
            if place is not None and len(cows) > 1:
                lists[row] = (place, cows)
                example = example or f"'{' '.join(text.split())[:60]}'"
            elif place is not None and _says_none(text):
                none[row] = (place, ())
    if not lists:
        return None
    value = answers.ask(
        Question(
            "cow-lists", sheet.source,
            say_n("{n} row names several cows, such as {example}. Does what it says hold for each of them?",
                  "{n} rows name several cows, such as {example}. Does what they say hold for each of them?",
                  len(lists), example=example),
            choices([("each", say("yes: a record for each cow")), ("aside", say("no: set these rows aside"))]), "each",
        )
    )  # fmt: skip
    if value != "each":
        return None
    lists |= none
    order = [row for row in range(len(sheet)) for _ in range(len(lists[row][1]) if row in lists else 1)]
    positions = np.array(order, dtype=np.int64)
    columns: list[RawColumn] = []
    for place, column in enumerate(sheet.columns):
        if not any(at == place for at, _ in lists.values()):
            columns.append(column.among(positions))
            continue
        texts: list[str] = []
        for row in range(len(sheet)):
            texts += (
                lists[row][1]
                if row in lists and lists[row][0] == place
                else [column.text(row)] * (len(lists[row][1]) if row in lists else 1)
            )
        columns.append(column_of(texts))
    return replace(sheet, columns=columns, widths=sheet.widths[positions], numbers=sheet.row_numbers(positions))


def _cow_of(text: str) -> str | None:
    """The number of a cow that a heading or a tab is: "Kuh 12", "12"."""
    words = text.split()
    if len(words) == 1:
        return words[0].strip("#") if is_cow_like(words[0]) and not is_day(text) else None
    number = words[-1].strip("#") if words else ""
    return number if number and is_cow_like(number) and _is_cow_word(" ".join(words[:-1])) else None


def _is_cow_word(text: str) -> bool:
    bare = plain(text)
    return bool(bare) and (
        bare in {form for form, _ in forms("cow_number")}
        or bare == "cow"
        or "*.cow" in heading_fields().get(squeezed_heading(bare), ())
    )


def _says_none(text: str) -> bool:
    bare = plain(text)
    return meaning("nothing", text) is not None or meaning("no", text) is not None or bare in phrases("negation")


def _may_be_score(text: str) -> bool:
    bare = text.strip().casefold()
    return (
        bare in BLANKS
        or not any(letter.isdecimal() for letter in bare)
        or (re.fullmatch(r"[0-5](?:[.,]\d|[+-])?", bare) is not None)
    )


def _sheet_of(sheet: RawSheet, rows: Sequence[Sequence[str]], numbers: Sequence[int] | None = None) -> RawSheet:
    width = max(len(row) for row in rows)
    columns = [column_of([row[place] if place < len(row) else "" for row in rows]) for place in range(width)]
    return replace(
        sheet,
        columns=columns,
        widths=np.full(len(rows), width, dtype=np.int32),
        numbers=None if numbers is None else np.array(numbers, dtype=np.int64),
    )
