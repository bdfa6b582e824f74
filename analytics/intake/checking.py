"""From a file to checked sheets: headings matched, cells read, the impossible set aside with reasons."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from analytics.intake.columns import Setting
from analytics.intake.dates import decide_order
from analytics.intake.fields import KIND_NAMES, KINDS
from analytics.intake.headings import Headings, find_headings, is_whole
from analytics.intake.reading import read_sheets
from analytics.intake.records import check_rows
from analytics.intake.sheet import CheckedSheet, RawSheet
from analytics.intake.survey import Survey
from analytics.intake.verdicts import Verdicts, judge, opening_notes
from analytics.mistake import Mistake
from analytics.progress import stage
from analytics.words import say

UNDERSTOOD_COLUMNS = ("field", "heading", "said", "understood_as", "rows")


def check_file(
    source: Path | bytes,
    name: str,
    *,
    farm: str | None = None,
    day_first: bool | None = None,
    today: dt.date | None = None,
    known_farms: Sequence[str] = (),
) -> list[CheckedSheet]:
    """Read a file and check every record in it.

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
    Mistake
        The file cannot be read, holds no known sheet, or its dates can be read two ways.

    Example
    -------
    >>> sheet, = check_file(b"date,farm,cow,foot,lesion\\n2026-03-14,Elm End,7,LH,ulcer\\n", "book.csv")
    >>> sheet.records.loc[0, ["cow", "foot", "lesion"]].to_list()
    ['7', 'LH', 'SU']
    """
    today = today or dt.date.today()
    stage(say("Reading {name}", name=name))
    raw = read_sheets(source, None, name) if isinstance(source, Path) else read_sheets(None, source, name)
    found = [(sheet, find_headings(sheet)) for sheet in raw]
    usable = [(sheet, headings) for sheet, headings in found if headings is not None and is_whole(headings)]
    if not usable:
        raise Mistake(_no_sheet(name, found))
    for sheet, headings in usable:
        _need_farm(sheet, headings, farm)
    rows = sum(len(sheet) for sheet, _ in usable)
    stage(say("Checking {rows} rows of {name}", rows=rows, name=name))
    surveys = [Survey(headings) for _, headings in usable]
    for (sheet, _), survey in zip(usable, surveys, strict=True):
        survey.add(sheet, first=True)
    order = decide_order((pair for survey in surveys for pair in survey.date_texts()), name, day_first)
    checked = [
        _check_sheet(sheet, survey, Setting(order, today, sheet.from_workbook), farm, known_farms)
        for (sheet, _), survey in zip(usable, surveys, strict=True)
    ]
    unknown = [
        sheet.source + _near(headings) for sheet, headings in found if headings is None or not is_whole(headings)
    ]
    if unknown:
        left = say("Not read, as no known headings were found: {tabs}.", tabs="; ".join(unknown))
        first = checked[0]
        checked[0] = CheckedSheet(
            first.kind, first.source, first.records, first.set_aside, first.rows_read, first.understood,
            (left, *first.notes),
        )  # fmt: skip
    return checked


def needs_farm(kind: str) -> bool:
    """Whether every row of that kind of sheet belongs to a farm; a limit of horn may be every farm's."""
    return any(each.name == "farm" and each.required for each in KINDS[kind])


def whole_headings(sheet: RawSheet, name: str, farm: str | None) -> Headings:
    """The headings of a sheet.

    Raises
    ------
    Mistake
        They make no known sheet, or the farm is told nowhere.
    """
    headings = find_headings(sheet)
    if headings is None or not is_whole(headings):
        raise Mistake(_no_sheet(name, [(sheet, headings)]))
    _need_farm(sheet, headings, farm)
    return headings


def _need_farm(sheet: RawSheet, headings: Headings, farm: str | None) -> None:
    if needs_farm(headings.kind) and "farm" not in headings.matches and not (farm or "").strip():
        raise Mistake(
            say("{source} has no farm column. Add one, or say which farm it is with --farm.", source=sheet.source)
        )


def _no_sheet(name: str, found: Sequence[tuple[RawSheet, Headings | None]]) -> str:
    near = max((h for _, h in found if h is not None), key=lambda h: len(h.matches), default=None)
    known = ", ".join(KIND_NAMES.values())
    if near is None or len(near.matches) < 2:
        return f"{name} has no headings that are understood in its first rows. It should be one of: {known}."
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
    )


def understood_table(verdicts: Verdicts) -> pd.DataFrame:
    """How headings and words were understood, one line a word: field, heading, said, understood_as, rows."""
    return pd.DataFrame(verdicts.told.understood, columns=list(UNDERSTOOD_COLUMNS))
