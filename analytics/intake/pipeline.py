"""From a file to checked sheets: headings matched, cells read, the impossible set aside with reasons."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import pandas as pd

from evenfoot.analytics.domain.lexicon import forms, nearest
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.checks.column_validation import Verdicts, judge, opening_notes
from evenfoot.analytics.intake.checks.records import check_rows
from evenfoot.analytics.intake.checks.survey import Survey
from evenfoot.analytics.intake.fields import KIND_NAMES, KINDS
from evenfoot.analytics.intake.headings import Headings, find_headings, is_whole
from evenfoot.analytics.intake.layouts.cards import table_of_cards
from evenfoot.analytics.intake.layouts.conversion import counts_by_month, draft_if_needed, draft_of_counts, unfold
from evenfoot.analytics.intake.layouts.cow_lines import table_of_cows
from evenfoot.analytics.intake.layouts.cow_places import give_cows_rows
from evenfoot.analytics.intake.layouts.drafts import Draft, Facts, is_key, share_words
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.sheet_questions import date_texts, decide_days
from evenfoot.analytics.intake.layouts.table_records import Unfolded
from evenfoot.analytics.intake.parsing.column_values import Setting
from evenfoot.analytics.intake.parsing.dates import DateOrder
from evenfoot.analytics.intake.readers.dispatch import read_sheets
from evenfoot.analytics.intake.readers.json_objects import sheet_of_objects
from evenfoot.analytics.intake.sheet import CheckedSheet, RawSheet
from evenfoot.analytics.messages import Message, say, say_n
from evenfoot.analytics.progress import stage

UNDERSTOOD_COLUMNS = ("field", "heading", "said", "understood_as", "rows")


@dataclass(frozen=True)
class Understanding:
    """What a file says, with what it leaves open.

    Attributes
    ----------
    sheets : list of CheckedSheet
        As they would be stored, with the defaults of questions that are still open.
    answers : Answers
        The questions that were met, and the answers to them.
    unread : tuple of Message
        Tabs that hold no sheet that is understood.
    """

    sheets: list[CheckedSheet]
    answers: Answers
    unread: tuple[Message, ...] = ()


def check_file(
    source: Path | bytes,
    name: str,
    *,
    farm: str | None = None,
    day_first: bool | None = None,
    today: dt.date | None = None,
    known_farms: Sequence[str] = (),
) -> list[CheckedSheet]:
    """Read a file and check every record in it; what it leaves open is taken as is likeliest.

    Parameters
    ----------
    source : Path or bytes
    name : str
        What to call the file in messages.
    farm : str, optional
        Farm of sheets that have no farm column.
    day_first : bool, optional
        Whether 3/4/2026 is 3 April; without it the file's own rows decide.
    today : datetime.date, optional
        Later dates are not possible. The machine's day without it.
    known_farms : sequence of str
        Farms already in the ledger, for their spelling.

    Returns
    -------
    list of CheckedSheet
        One a sheet; a workbook may have several.

    Raises
    ------
    UserError
        The file cannot be read, holds no known sheet, or leaves something open that has no likely answer.

    Example
    -------
    >>> sheet, = check_file(b"date,farm,cow,foot,lesion\\n2026-03-14,Elm End,7,LH,ulcer\\n", "book.csv")
    >>> sheet.records.loc[0, ["cow", "foot", "lesion"]].to_list()
    ['7', 'LH', 'SU']
    """
    found = understand_file(
        source, name, farm=farm, day_first=day_first, today=today, known_farms=known_farms, answers=Answers()
    )
    for question in found.answers.blocking():
        if question.default == "aside":
            continue
        raise UserError(say("{name}: {question}", name=name, question=question.text))
    return found.sheets


def understand_file(
    source: Path | bytes,
    name: str,
    *,
    farm: str | None = None,
    day_first: bool | None = None,
    today: dt.date | None = None,
    known_farms: Sequence[str] = (),
    known_scales: Mapping[str, str] | None = None,
    answers: Answers | None = None,
) -> Understanding:
    """Read a file of any layout, check every record in it, and gather what it leaves open.

    Parameters
    ----------
    source, name, farm, day_first, today, known_farms
        As for :func:`check_file`.
    known_scales : mapping of str to str, optional
        Farm -> the scale of its scores so far.
    answers : Answers, optional
        Answers given before, and those that the layout is remembered for.

    Returns
    -------
    Understanding

    Raises
    ------
    UserError
        The file cannot be read, holds no known sheet, or an answer is none of its question's choices.
    """
    today = today or dt.date.today()
    answers = Answers() if answers is None else answers
    stage(say("Reading {name}", name=name))
    raw = read_sheets(source, None, name) if isinstance(source, Path) else read_sheets(None, source, name)
    facts = Facts(name, today, day_first, farm, tuple(known_farms))
    found = _understand(raw, facts, known_scales or {}, answers)
    if sum(map(len, raw)) <= MOST_ROWS_TRIED:
        _say_what_follows(answers, lambda given: _understand(raw, facts, known_scales or {}, given))
    return found


MOST_ROWS_TRIED = 500
WHOLE_COLUMNS = ("remarks", "cow-lists", "unseen")
MOST_READINGS_TRIED = 16
"""Rows and readings up to which every answer to a question about a column is tried out: 16 take 0.4 s of processor."""


def _say_what_follows(answers: Answers, read: Callable[[Answers], Understanding]) -> None:
    """Add to the choices of open questions about columns how many records each would give, where they differ."""
    asked = [one for one in answers.blocking() if one.id.startswith("column:") or one.id in WHOLE_COLUMNS]
    tried = 0
    for question in asked:
        tried += len(question.choices)
        if tried > MOST_READINGS_TRIED:
            return
        follows: dict[str, tuple[int, int]] = {}
        for choice in question.choices:
            try:
                sheets = read(Answers({**answers.given, question.id: choice.value}, accept=True)).sheets
            except UserError:
                sheets = []
            kept = [sheet for sheet in sheets if sheet.kind in ("trims", "locomotion")]
            findings = sum(int(sheet.records["lesion"].notna().sum()) for sheet in kept if sheet.kind == "trims")
            follows[choice.value] = (sum(len(sheet.records) for sheet in kept), findings)
        if len(set(follows.values())) > 1:
            told = tuple(
                replace(choice, says=_with_counts(choice.says, *follows[choice.value])) for choice in question.choices
            )
            answers.met[question.id] = replace(question, choices=told)


def _with_counts(says: Message, records: int, findings: int) -> Message:
    return say(
        "{choice} ({records}, {findings})", choice=says,
        records=say_n("{n} record", "{n} records", records),
        findings=say_n("{n} with a lesion", "{n} with a lesion", findings),
    )  # fmt: skip


def _understand(
    raw: Sequence[RawSheet], facts: Facts, known_scales: Mapping[str, str], answers: Answers
) -> Understanding:
    """The sheets of a file as they would be stored with some answers."""
    name, today, known_farms = facts.file, facts.today, facts.known_farms
    plain: list[tuple[RawSheet, Headings]] = []
    farms: list[str | None] = []
    drafts: list[Draft] = []
    order_of_sheets: list[tuple[str, int]] = []
    unread: list[tuple[RawSheet, Headings | None]] = []
    keys = [sheet for sheet in raw if len(raw) > 1 and is_key(sheet)]
    for sheet in raw:
        sheet = give_cows_rows(sheet, answers)
        headings = find_headings(sheet)
        cards = table_of_cards(sheet) if headings is None or not is_whole(headings) else None
        if cards is not None:
            sheet, headings = cards, find_headings(cards)
        draft = draft_if_needed(sheet, headings, facts, answers, keys)
        if draft is None and (headings is None or not is_whole(headings)):
            draft = draft_of_counts(sheet, facts)
            notes = table_of_cows(sheet, answers) if draft is None and len(raw) == 1 else None
            draft = draft if notes is None else draft_if_needed(notes, find_headings(notes), facts, answers, keys)
        if draft is not None:
            order_of_sheets.append(("draft", len(drafts)))
            drafts.append(draft)
        elif headings is not None and is_whole(headings):
            order_of_sheets.append(("plain", len(plain)))
            plain.append((sheet, headings))
            farms.append(_farm_of(sheet, headings, facts, answers))
        else:
            unread.append((sheet, headings))
    if not plain and not drafts and any(counts_by_month(sheet) for sheet, _ in unread):
        raise UserError(
            say("{name} counts by month and names no cow, so that nothing is read from it. Give the sheets of the "
                "visits, or a sheet of counts with the day of each visit.", name=name)
        )  # fmt: skip
    if not plain and not drafts:
        raise UserError(_no_sheet(name, unread or [(sheet, None) for sheet in raw]))
    surveys = [Survey(headings) for _, headings in plain]
    for (sheet, _), survey in zip(plain, surveys, strict=True):
        survey.add(sheet, first=True)
    texts = [pair for survey in surveys for pair in survey.date_texts()]
    for draft in drafts:
        texts += date_texts(draft)
    order = decide_days(texts, facts, answers)
    share_words(drafts)
    stage(say("Checking {rows} rows of {name}", rows=sum(map(len, raw)), name=name))
    checked: list[CheckedSheet] = []
    for sort, number in order_of_sheets:
        if sort == "plain":
            sheet, _ = plain[number]
            setting = Setting(order, today, sheet.from_workbook, known_scales)
            checked.append(_check_sheet(sheet, surveys[number], setting, farms[number], known_farms))
            continue
        for unfolded in unfold(drafts[number], facts, order, answers):
            checked.append(_check_unfolded(unfolded, Setting(order, today, False, known_scales), known_farms))
    left = tuple(
        say("Not read, as no known headings were found: {tab}.", tab=sheet.source + _near(headings))
        for sheet, headings in unread
        if not is_key(sheet)
    )
    if checked and any(sheet.commented for sheet in raw):
        told = say("{name} has comments on cells. They were not read: write into a cell what counts.", name=name)
        checked[0] = replace(checked[0], notes=(told, *checked[0].notes))
    if left and checked:
        checked[0] = replace(checked[0], notes=(*left, *checked[0].notes))
    return Understanding(checked, answers, left)


def check_records(
    records: Sequence[Mapping[str, str]], kind: str, source: str, *, today: dt.date, known_farms: Sequence[str] = ()
) -> CheckedSheet:
    """Check records whose fields are those of a kind of sheet; nothing is unfolded, guessed or asked about.

    Parameters
    ----------
    records : sequence of mapping of str to str
        Field -> text, one mapping a record, all with the same fields.
    kind : str
        A key of :data:`evenfoot.analytics.intake.fields.KINDS`.
    source : str
        What to call them in messages.
    today : datetime.date
    known_farms : sequence of str

    Returns
    -------
    CheckedSheet
    """
    sheet = replace(sheet_of_objects([dict(record) for record in records], source, kind), exact=True)
    headings = find_headings(sheet)
    if headings is None or headings.kind != kind:
        raise AssertionError(f"{source}: the fields of {kind} are not found")
    survey = Survey(headings)
    survey.add(sheet, first=True)
    return _check_sheet(sheet, survey, Setting(DateOrder(True, "option"), today, False, {}), None, known_farms)


def _check_unfolded(unfolded: Unfolded, setting: Setting, known_farms: Sequence[str]) -> CheckedSheet:
    survey = Survey(unfolded.headings)
    survey.add(unfolded.sheet, first=True)
    sheet = _check_sheet(unfolded.sheet, survey, setting, None, known_farms)
    notes = tuple(note for note in sheet.notes if not str(note).startswith(unfolded.sheet.source + " was read as"))
    opening = say(
        "{source} was read as a {kind}: {rows}, {records}.",
        source=unfolded.sheet.source,
        kind=KIND_NAMES[unfolded.headings.kind],
        rows=say_n("{n} row", "{n} rows", unfolded.rows),
        records=say_n("{n} record", "{n} records", len(sheet.records)),
    )
    return replace(
        sheet,
        notes=(opening, *unfolded.notes, *notes),
        sheet_rows=unfolded.rows,
        own_headings=unfolded.own_headings,
    )


def needs_farm(kind: str) -> bool:
    """Whether every row of that kind of sheet belongs to a farm; a limit of horn may be every farm's."""
    return any(each.name == "farm" and each.required for each in KINDS[kind])


def _farm_of(sheet: RawSheet, headings: Headings, facts: Facts, answers: Answers) -> str | None:
    """The farm of a sheet without a farm column: told by the user, else asked."""
    if not needs_farm(headings.kind) or "farm" in headings.matches or (facts.farm or "").strip():
        return facts.farm
    answers.remember([name for name in headings.names if name])
    return answers.ask(
        Question(
            "farm", sheet.source,
            say("{source} has no column for the farm. Which farm is it?", source=sheet.source),
            choices((farm, say("{farm}", farm=farm)) for farm in facts.known_farms[:SHOWN_FARMS]), None, free=True,
        )
    )  # fmt: skip


SHOWN_FARMS = 20


def lacks_farm(headings: Headings, farm: str | None) -> bool:
    """Whether the farm of a sheet of that kind is told nowhere."""
    return needs_farm(headings.kind) and "farm" not in headings.matches and not (farm or "").strip()


def need_farm(sheet: RawSheet, headings: Headings, farm: str | None) -> None:
    """Say that a sheet lacks its farm.

    Raises
    ------
    UserError
        The farm is told nowhere.
    """
    if lacks_farm(headings, farm):
        raise UserError(
            say("{source} has no farm column. Add one, or say which farm it is with --farm.", source=sheet.source)
        )


def _no_sheet(name: str, found: Sequence[tuple[RawSheet, Headings | None]]) -> str:
    near = max((h for _, h in found if h is not None), key=lambda h: len(h.matches), default=None)
    known = ", ".join(KIND_NAMES.values())
    if near is None or len(near.matches) < 2:
        meant = max((_headings_meant(sheet) for sheet, _ in found), key=len, default={})
        pairs = ", ".join(f"'{said}' = {means}" for said, means in meant.items())
        ask = f" Did you mean {pairs}? Correct the headings." if meant else ""
        return f"{name} has no headings that are understood in its first rows.{ask} It should be one of: {known}."
    missing = [f"'{one}'" for one in near.missing]
    if not missing:
        telling = next(
            (each.name for each in reversed(KINDS[near.kind]) if each.telling and each.name == "lesion"),
            next(each.name for each in KINDS[near.kind] if each.telling and each.name not in near.matches),
        )
        missing = [f"such as '{telling}'"]
    return (
        f"{name} looks like a {KIND_NAMES[near.kind]}, but has no column {' and '.join(missing)}. "
        "Add it, or correct its heading."
    )


def _headings_meant(sheet: RawSheet) -> dict[str, str]:
    """Cell -> the heading it was probably meant to be, of the row among the first that has most of them."""
    best: dict[str, str] = {}
    for row in range(min(len(sheet), ROWS_OF_HEADINGS)):
        cells = [" ".join(column.text(row).split()) for column in sheet.columns[:MOST_HEADINGS]]
        words = [cell for cell in cells if cell and len(cell) <= LONGEST_HEADING]
        meant = {cell: means for cell in words if (means := nearest(_known_headings(), cell)) is not None}
        if len(meant) >= 2 and len(meant) > len(best):
            best = meant
    return best


@cache
def _known_headings() -> tuple[str, ...]:
    """Names of fields, those first that a sheet cannot be without, and what columns are called in every language."""
    fields = [field for kind in KINDS.values() for field in kind]
    fields.sort(key=lambda field: not (field.required or field.name in ("lesion", "foot")))
    named = [field.name.replace("_", " ") for field in fields]
    return (*dict.fromkeys([*named, "date", *(word.text for _, word in forms("heading"))]),)


ROWS_OF_HEADINGS, MOST_HEADINGS, LONGEST_HEADING = 5, 20, 30
"""First rows, columns and letters of a cell among which misspelt headings are sought. [common practice, no source]"""


def _near(headings: Headings | None) -> str:
    if headings is None or len(headings.matches) < 3 or not headings.missing:
        return ""
    return f" (nearly a {KIND_NAMES[headings.kind]}, but without {', '.join(headings.missing)})"


def _check_sheet(
    sheet: RawSheet, survey: Survey, setting: Setting, farm: str | None, known_farms: Sequence[str]
) -> CheckedSheet:
    headings = survey.headings
    verdicts = judge(survey, setting, farm, list(known_farms))
    checked = check_rows(sheet, headings, survey, verdicts, farm, first=True)
    return CheckedSheet(
        headings.kind,
        sheet.source,
        checked.records,
        checked.set_aside,
        checked.rows_read,
        understood_table(verdicts),
        (*opening_notes(setting.order, sheet.source, survey), *verdicts.told.notes),
        own_headings=tuple(name for name in headings.names if name),
        blanked=checked.blanked,
    )


def understood_table(verdicts: Verdicts) -> pd.DataFrame:
    """How headings and words were understood, one line a word: field, heading, said, understood_as, rows."""
    return pd.DataFrame(verdicts.told.understood, columns=list(UNDERSTOOD_COLUMNS))
