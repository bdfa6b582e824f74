"""Sheets that are read as they stand: one row a finding, every word known."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from evenfoot.analytics.domain.lexicon import meaning
from evenfoot.analytics.intake.checks.survey import Survey
from evenfoot.analytics.intake.headings import Headings, Match
from evenfoot.analytics.intake.layouts.drafts import Draft
from evenfoot.analytics.intake.layouts.profiles import DITTO
from evenfoot.analytics.intake.layouts.roles import Role
from evenfoot.analytics.intake.layouts.sheet_questions import (
    is_remark,
    lesions_by_row,
    lesions_in_remark,
    may_name_lesion,
)
from evenfoot.analytics.intake.layouts.table_records import (
    COW_AND_WORDS,
    THOUSANDS,
    bare_cow,
    is_plan,
    recheck_day,
    says_unseen,
    says_void,
)
from evenfoot.analytics.intake.layouts.tables import Table
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.column_values import is_blank
from evenfoot.analytics.intake.parsing.dates import DateOrder, read_day
from evenfoot.analytics.intake.parsing.finding_cell import healed_lesions
from evenfoot.analytics.intake.parsing.lesion_cell import read_finding
from evenfoot.analytics.intake.parsing.vocabulary import NOTHING, READERS
from evenfoot.analytics.intake.rejected_rows import bare_text
from evenfoot.analytics.intake.sheet import Positions, RawColumn


def is_plain(draft: Draft, headings: Headings) -> bool:
    """Whether the reader of plain sheets reads the sheet just so: one row a finding, every word known to it."""
    if len(draft.tables) != 1:
        return False
    (table,), (roles,) = draft.tables, draft.roles
    context = draft.contexts[0]
    if table.totals or table.after or len(roles) != len(headings.names):
        return False
    fields = {match.column: match for match in headings.matches.values()}
    if any(name not in headings.matches for name in (*context.values, *(["visit_date"] if context.day else []))):
        return False
    if "farm" not in headings.matches:
        return False
    for place, role in enumerate(roles):
        match = fields.get(place)
        if match is None:
            if role.kind not in ("note", "skip"):
                return False
            continue
        if (match.field.name == "note" and is_remark(role)) or role.kind == "skip":
            continue
        name = {
            "date": "visit_date",
            "score": "locomotion_score",
            "scale": "locomotion_scale",
            "scorer": "trimmer",
        }.get(match.field.name, match.field.name)
        if role.kind != "field" or role.field != name or role.number:
            return False
        if not _reads_plainly(draft.sheet.columns[place], table.rows, match):
            return False
    return not any(_names_new_lesion(draft, table, roles, place) for place, role in enumerate(roles) if is_remark(role))


def _reads_plainly(column: RawColumn, rows: Positions, match: Match) -> bool:
    used = (
        column.counts()
        if len(rows) == len(column.codes)
        else np.bincount(column.codes[rows], minlength=len(column.texts))
    )
    texts = [text for text, count in zip(column.texts, used.tolist(), strict=True) if count]
    if any(text.strip().casefold() in DITTO for text in texts):
        return False
    type = match.field.type
    if type in ("date", "farm", "cow") and match.field.required and any(not text.strip() for text in texts):
        return False
    if type == "cow":
        return all(
            bare_cow(text) == text.strip()
            and not THOUSANDS.fullmatch(text.strip())
            and not COW_AND_WORDS.fullmatch(text.strip())
            for text in texts[:PLAIN_COWS]
        )
    if type == "action" and any(is_plan(text) or says_unseen(text) for text in texts):
        return False
    if type == "lesion":
        return all(_reads(read_finding, bare_text(text)) for text in texts)
    if type == "date":
        return all(not text.strip() or text.strip().casefold() in NOTHING or _is_whole_day(text) for text in texts)
    reader = READERS.get(type)
    if reader is None or type in ("text", "label", "farm", "lower", "action"):
        return True
    return all(is_blank(bare_text(text), type) or _reads(reader, bare_text(text)) for text in texts)


PLAIN_COWS = 20_000


def _is_whole_day(text: str) -> bool:
    today = dt.date.today()
    for first in (True, False):
        try:
            read_day(text, DateOrder(first, "option"), today)
        except Unreadable:
            continue
        return True
    # What looks like a day and is none is set aside by the checks.
    return bool(re.search(r"\d{4}\D\d|\d\D\d{4}", text)) or not re.search(r"\d", text)


def is_plain_survey(survey: Survey) -> bool:
    """Whether every text of a surveyed sheet is read by the reader of plain sheets."""
    if survey.marked_cows:
        return False
    for name, texts in survey.texts.items():
        said = [text for text, rows in zip(texts.raw, texts.rows.tolist(), strict=True) if rows]
        column = RawColumn(np.arange(len(said), dtype=np.int32), said)
        if not _reads_plainly(column, np.arange(len(said)), survey.headings.matches[name]):
            return False
    return True


def _reads(reader: Any, text: str) -> bool:
    try:
        reader(text)
    except Unreadable:
        return False
    return True


def _names_new_lesion(draft: Draft, table: Table, roles: Sequence[Role], place: int) -> bool:
    """Whether a remark names a lesion that its row does not, or says that one is healed, or that a row is void."""
    if place >= len(draft.sheet.columns):
        return False
    column = draft.sheet.columns[place]
    codes = column.codes[table.rows]
    told: dict[int, set[str]] | None = None
    for code in np.unique(codes).tolist():
        text = column.texts[code]
        if healed_lesions(text) is not None or says_void(text) or says_unseen(text) or recheck_day(text):
            return True
        if meaning("action", text) in ("block", "wrap"):
            return True
        if not may_name_lesion(text):
            continue
        found = lesions_in_remark(text, {})
        if not found:
            continue
        told = lesions_by_row(draft, table, roles) if told is None else told
        if any(found - told.get(index, set()) for index in np.flatnonzero(codes == code).tolist()):
            return True
    return False
