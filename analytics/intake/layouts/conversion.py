"""From the raw sheets of a file to sheets of one row a finding: what is told once, what is asked, what is left out."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

import numpy as np

from evenfoot.analytics.domain.lexicon import heading_fields, phrases, plain, squeezed_heading
from evenfoot.analytics.intake.headings import Headings, column_letters, find_headings, is_whole
from evenfoot.analytics.intake.layouts.count_lines import LOOKED_AT, counts_in_lines
from evenfoot.analytics.intake.layouts.drafts import Draft, Facts, draft_of, explain, farm_of_key, key_of_tab, settle
from evenfoot.analytics.intake.layouts.plain_sheets import is_plain
from evenfoot.analytics.intake.layouts.profiles import profile_of
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.roles import Role
from evenfoot.analytics.intake.layouts.sheet_questions import FINDING_ROLES, ask_words, counted_lesions, reads_remarks
from evenfoot.analytics.intake.layouts.table_records import (
    Piece,
    TableRecords,
    Unfolded,
    bare_cow,
    column_of,
    join_pieces,
)
from evenfoot.analytics.intake.layouts.tables import Table, begins_total, cow_column, find_tables
from evenfoot.analytics.intake.layouts.visits import ELSEWHERE
from evenfoot.analytics.intake.parsing.dates import DateOrder
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS
from evenfoot.analytics.intake.sheet import RawColumn, RawSheet
from evenfoot.analytics.messages import Message, say, say_n


def unfold(draft: Draft, facts: Facts, order: DateOrder, answers: Answers) -> list[Unfolded]:
    """The records of a draft: a trim sheet, a locomotion sheet, or both.

    Parameters
    ----------
    draft : Draft
        Settled.
    facts : Facts
    order : DateOrder
    answers : Answers

    Returns
    -------
    list of Unfolded
    """
    if all(_is_counts(roles) for roles in draft.roles):
        return [_counts_sheet(draft, facts, order, answers)]
    read_notes = reads_remarks(draft, answers)
    counts = counted_lesions(draft, answers)
    trims: list[Piece] = []
    scores: list[Piece] = []
    notes = _opening(draft)
    rows = sum(len(table.rows) for table in draft.tables)
    for turn in range(4):
        trims, scores = [], []
        draft.words.doubts.clear()
        draft.words.rows.clear()
        for number, table in enumerate(draft.tables):
            if not len(table.rows):
                continue
            table_notes: list[Message] = []
            maker = TableRecords(draft, number, facts, order, answers, table_notes)
            trims += maker.trims(read_notes=read_notes, counts=counts)
            scores += maker.scores()
            if turn == 0:
                notes += table_notes
        if not ask_words(draft, answers, max(rows, 1)):
            break
    trims += _cows_in_lines(draft, trims, answers)
    out: list[Unfolded] = []
    for kind, pieces in (("trims", trims), ("locomotion", scores)):
        if pieces:
            out.append(join_pieces(kind, pieces, draft, rows, tuple(dict.fromkeys(notes)) if not out else ()))
    return out


_COWS_IN_LINE = re.compile(r"(\D{1,59}[^\s\d]) ?[:=-] ?([#\w,;/ ]+?) ?\.?")
_COW_IN_LINE = re.compile(r"#?\w+")


def _cows_in_lines(draft: Draft, pieces: Sequence[Piece], answers: Answers) -> list[Piece]:
    """Cows listed in a line below the table as trimmed or sound, such as "nothing found: 2, 9, 17"."""
    if not pieces:
        return []
    out: list[Piece] = []
    for table in draft.tables:
        for cells in table.after:
            line = ", ".join(" ".join(cell.split()) for cell in cells if cell.strip())
            match = _COWS_IN_LINE.fullmatch(line)
            said = [] if match is None else re.split(r" ?[,;/] ?| ", match[2])
            if match is None or len(said) < 2 or not all(map(_is_cow_in_line, said)):
                continue
            reading = read_findings(match[1], taught=draft.words.taught)
            if reading.findings or not (reading.nothing or reading.action):
                continue
            cows = [bare_cow(cow) for cow in said]
            value = answers.ask(
                Question(
                    "cows-in-line", line[:60],
                    say_n("'{line}' lists {n} cow. Was it looked at and nothing found?",
                          "'{line}' lists {n} cows. Were they looked at and nothing found?", len(cows), line=line[:60]),
                    choices([("sound", say("yes: add them as sound")), ("leave", say("no: leave the line out"))]),
                    "sound",
                )
            )  # fmt: skip
            if value != "sound":
                continue
            last = pieces[-1]
            columns = {
                name: RawColumn(np.repeat(column.codes[-1:], len(cows)), column.texts)
                for name, column in last.columns.items()
                if name in ("visit_date", "farm", "trimmer", "herd_size", "visit_kind")
            }
            columns["cow"] = column_of(cows)
            out.append(Piece(np.repeat(last.numbers[-1:], len(cows)), columns, {}))
    return out


def _is_cow_in_line(word: str) -> bool:
    return _COW_IN_LINE.fullmatch(word) is not None and any(letter.isdecimal() for letter in word)


def _opening(draft: Draft) -> list[Message]:
    notes: list[Message] = []
    totals = sum(table.totals for table in draft.tables)
    repeats = sum(table.repeats for table in draft.tables)
    if totals:
        notes.append(
            say_n(
                "{n} row of totals or averages was left out.", "{n} rows of totals or averages were left out.", totals
            )
        )
    if repeats:
        notes.append(
            say_n(
                "{n} row that repeats the headings was passed over.",
                "{n} rows that repeat the headings were passed over.",
                repeats,
            )
        )
    others = [word for context in (*draft.contexts[-1:], draft.after) for word in context.others]
    if others:
        shown = "; ".join(f"'{one[:60]}'" for one in dict.fromkeys(others))
        notes.append(say("Lines that hold no record were left out: {lines}.", lines=shown))
    unread = dict.fromkeys(
        " ".join(heading.split()) or str(say("column {letters}", letters=column_letters(place)))
        for table, roles in zip(draft.tables, draft.roles, strict=True)
        for place, (heading, role) in enumerate(zip(table.headings, roles, strict=True))
        if role.kind == "skip" and role.field != ELSEWHERE and place < len(draft.sheet.columns)
        and profile_of([(draft.sheet.columns[place], table.rows)]).filled
    )  # fmt: skip
    if unread:
        notes.append(say("Columns that are no part of a trim were not read: {headings}.", headings=", ".join(unread)))
    return notes


def draft_if_needed(
    sheet: RawSheet, headings: Headings | None, facts: Facts, answers: Answers, keys: Sequence[RawSheet] = ()
) -> Draft | None:
    """The draft of a sheet that has to be unfolded; ``None`` for one that is read as it stands, or not at all.

    Parameters
    ----------
    sheet : RawSheet
    headings : Headings or None
        As the reader of plain sheets found them.
    facts : Facts
    answers : Answers
    keys : sequence of RawSheet
        Other tabs that explain words.
    """
    whole = headings is not None and is_whole(headings)
    if sheet.exact or (headings is not None and headings.own):
        return None
    tables = find_tables(sheet)
    if whole and headings is not None and headings.kind not in ("trims", "locomotion"):
        events = any(role is not None and role.kind == "event" for table in tables for role in table.roles)
        places = {
            role.code for table in tables for role in table.roles
            if role is not None and (role.kind in ("foot", "claw", "lesion") or role.field == "lesion")
        }  # fmt: skip
        found = len(places) >= 2 or "lesion" in places
        if not (events and headings.kind == "changes") and not (headings.kind == "register" and found):
            return None
    if not tables or not any(len(table.rows) for table in tables):
        return None
    answers.remember(list(dict.fromkeys(text for table in tables for text in table.headings if text.strip())))
    draft = draft_of(sheet, tables, facts)
    for key in keys:
        explain(draft, key_of_tab(key))
        draft.key_farm = draft.key_farm or farm_of_key(key, facts)
    settle(draft, answers)
    if counts_by_month(draft.sheet, draft.tables):
        return None
    if whole and headings is not None and draft.sheet is sheet and is_plain(draft, headings):
        return None
    if not any(_is_of_use(roles, _is_dated(draft)) for roles in draft.roles):
        return None
    if _sums_up(draft):
        return None
    return draft


def counts_by_month(sheet: RawSheet, tables: Sequence[Table] | None = None) -> bool:
    """Whether what stands in the place of the cow is a month in every row, but for sums: such a sheet names no cow."""
    tables = find_tables(sheet) if tables is None else tables
    said: list[str] = []
    for table in tables:
        cow = cow_column(table.roles, table.headings)
        if cow is None or cow >= len(sheet.columns):
            return False
        said += [text for row in table.rows.tolist() if (text := sheet.columns[cow].text(row).strip())]
        if len(said) > MOST_MONTHS:
            return False
    months = [text for text in said if plain(re.sub(r"\d", " ", text)) in phrases("month")]
    others = [text for text in said if text not in months and any(letter.isdecimal() for letter in text)]
    return len(months) >= 2 and not others and len(months) > len(said) / 2


MOST_MONTHS = 200
"""Rows above which a sheet is no summary by month. [common practice, no source]"""


def _is_counts(roles: Sequence[Role]) -> bool:
    """Whether the columns count cows with lesions, a visit a row, and name no cow."""
    fields = {role.field for role in roles if role.kind == "field"}
    lesions = sum(role.kind == "lesion" for role in roles)
    return "cow" not in fields and "foot" not in fields and lesions >= (1 if LOOKED_AT in fields else 2)


def _counts_sheet(draft: Draft, facts: Facts, order: DateOrder, answers: Answers) -> Unfolded:
    """Counts without cows: a record a visit and lesion."""
    pieces: list[Piece] = []
    notes = _opening(draft)
    rows = sum(len(table.rows) for table in draft.tables)
    for number, table in enumerate(draft.tables):
        maker = TableRecords(draft, number, facts, order, answers, notes)
        looked = _looked_at(table, draft.sheet)
        for place, role in enumerate(maker.roles):
            if role.kind != "lesion" or place >= len(draft.sheet.columns):
                continue
            column = draft.sheet.columns[place]
            said = np.array([text.strip().casefold() not in BLANKS for text in column.texts], dtype=bool)
            keep = np.flatnonzero(said[column.codes[table.rows]])
            if not len(keep):
                continue
            columns = {
                name: RawColumn(codes[keep], texts)
                for name, (codes, texts) in maker.shared().items()
                if name in ("visit_date", "farm", "trimmer", "herd_size")
            }
            columns["cases"] = RawColumn(column.codes[table.rows][keep], [text.strip() for text in column.texts])
            columns["lesion"] = RawColumn(np.ones(len(keep), np.int32), ["", role.lesion])
            if looked is not None:
                counted = draft.sheet.columns[looked]
                columns["looked_at"] = RawColumn(
                    counted.codes[table.rows][keep], [text.strip() for text in counted.texts]
                )
            maker.complete(columns, len(keep))
            pieces.append(Piece(draft.sheet.row_numbers(table.rows[keep]), columns, maker.own))
    notes.append(
        say("The sheet counts cows and names none: its figures are kept as counts, apart from records of cows.")
    )
    return join_pieces("counts", pieces, draft, rows, tuple(dict.fromkeys(notes)))


def _looked_at(table: Table, sheet: RawSheet) -> int | None:
    """The column that says how many cows were looked at."""
    for place, heading in enumerate(table.headings[: len(sheet.columns)]):
        if "counts.looked_at" in heading_fields().get(squeezed_heading(plain(heading)), ()):
            return place
    return None


def _is_dated(draft: Draft) -> bool:
    """Whether a line or the tab says the day of the visit."""
    return any(one.day is not None or "visit_date" in one.values for one in (*draft.contexts, draft.tab))


def _sums_up(draft: Draft) -> bool:
    """Whether a tab is called a total and holds counts without a day: of cows that have tabs of their own."""
    days = any(role.field == "visit_date" for roles in draft.roles for role in roles) or _is_dated(draft)
    return not days and begins_total(draft.sheet.tab or "") and all(_is_counts(roles) for roles in draft.roles)


def _is_of_use(roles: Sequence[Role], dated: bool) -> bool:
    """Whether the columns make records: a cow, and something about her feet or gait; *dated* where the day is told."""
    fields = {role.field for role in roles if role.kind == "field"}
    if "cow" not in fields:
        return _is_counts(roles)
    return (
        any(role.kind in (*FINDING_ROLES, "day", "action") for role in roles)
        or bool(fields & {"lesion", "foot", "claw", "locomotion_score", "toe_length_mm", "severity", "feet_seen"})
        or (("visit_date" in fields or dated) and bool(fields & {"note", "visit_kind", "herd_size", "action"}))
    )


def draft_of_counts(sheet: RawSheet, facts: Facts) -> Draft | None:
    """The draft of a sheet that holds no table, but lines that count cows; ``None`` where it has no such line."""
    counted, tables = counts_in_lines(sheet)
    if not tables:
        return None
    draft = draft_of(counted, tables, facts)
    draft.roles = [[role for role in table.roles if role is not None] for table in tables]
    return draft if all(_is_counts(roles) for roles in draft.roles) else None


def is_plain_head(head: RawSheet, name: str) -> bool:
    """Whether the first rows of a sheet are read as they stand."""
    return draft_if_needed(head, find_headings(head), Facts(name, dt.date.today()), Answers()) is None
