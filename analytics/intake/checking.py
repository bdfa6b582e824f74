"""From a file to checked sheets: headings matched, cells read, the impossible set aside with reasons."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analytics.intake.checks import impossible
from analytics.intake.columns import Setting, date_pieces, is_blank, note_word, read_column, taken, weightier_words
from analytics.intake.dates import DateOrder, decide_order
from analytics.intake.farms import farm_names
from analytics.intake.fields import KIND_NAMES, KINDS, dtype_of, field_of
from analytics.intake.findings import Finding, Mismatch, join_finding, read_finding
from analytics.intake.headings import Headings, find_headings, is_whole
from analytics.intake.reading import read_sheets
from analytics.intake.refusals import refuse_missing, refuse_overlong, refuse_second_findings
from analytics.intake.scores import scales_of
from analytics.intake.setting_aside import bare_text
from analytics.intake.sheet import CheckedSheet, Findings, Positions, Problem, RawColumn, RawSheet
from analytics.intake.unreadable import Unreadable
from analytics.intake.vocabulary import read_stage
from analytics.mistake import Mistake
from analytics.words import Said, say

SET_ASIDE_COLUMNS = ("row", "column", "value", "reason", "remedy", "original")
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
    raw = read_sheets(source, None, name) if isinstance(source, Path) else read_sheets(None, source, name)
    found = [(sheet, find_headings(sheet)) for sheet in raw]
    usable = [(sheet, headings) for sheet, headings in found if headings is not None and is_whole(headings)]
    if not usable:
        raise Mistake(_no_sheet(name, found))
    for sheet, headings in usable:
        if "farm" not in headings.matches and not (farm or "").strip():
            raise Mistake(f"{sheet.source} has no farm column. Add one, or say which farm it is with --farm.")
    rows = [_record_rows(sheet, headings) for sheet, headings in usable]
    order = decide_order(_date_texts(usable, rows), name, day_first)
    checked = [
        _check_sheet(sheet, headings, positions, Setting(order, today, sheet.from_workbook), farm, known_farms)
        for (sheet, headings), positions in zip(usable, rows, strict=True)
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


def _record_rows(sheet: RawSheet, headings: Headings) -> Positions:
    """Positions of the rows under the headings that are not blank, nor the headings once more."""
    filled = np.zeros(len(sheet), dtype=bool)
    for number, column in enumerate(sheet.columns):
        if number not in headings.own:
            says = np.array([bool(text.strip()) for text in column.texts], dtype=bool)
            filled |= says[column.codes]
    filled[: headings.position + 1] = False
    return np.flatnonzero(filled & ~_repeats(sheet, headings))


def _repeats(sheet: RawSheet, headings: Headings) -> npt.NDArray[np.bool_]:
    """Rows that say the headings again, as on a new page of a printed list."""
    again = np.ones(len(sheet), dtype=bool)
    for column in sheet.columns:
        again &= column.codes == column.codes[headings.position]
    again[: headings.position + 1] = False
    return again


def _date_texts(usable: Sequence[tuple[RawSheet, Headings]], rows: Sequence[Positions]) -> list[tuple[str, int]]:
    out = []
    for (sheet, headings), positions in zip(usable, rows, strict=True):
        for match in headings.matches.values():
            if match.field.type in ("date", "dates", "moves"):
                column = sheet.columns[match.column].among(positions)
                for text, count in zip(column.texts, column.counts(), strict=True):
                    out += [(piece, int(count)) for piece in date_pieces(text, match.field.type)]
    return out


def _check_sheet(
    sheet: RawSheet,
    headings: Headings,
    positions: Positions,
    setting: Setting,
    farm: str | None,
    known_farms: Sequence[str],
) -> CheckedSheet:
    kind, findings = headings.kind, Findings()
    raw = {name: _neutral(sheet.columns[match.column].among(positions)) for name, match in headings.matches.items()}
    columns: dict[str, Any] = {}
    for field in KINDS[kind]:
        match = headings.matches.get(field.name)
        if field.type in ("lesion", "detail", "dd stage"):
            continue
        if match is None:
            columns[field.name] = taken([None], field, RawColumn(np.zeros(len(positions), dtype=np.int32), [""]))
        elif field.type == "farm":
            texts = [None if is_blank(text, "farm") else text for text in raw["farm"].texts]
            columns["farm"] = taken(farm_names(texts, known_farms, findings), field, raw["farm"])
        else:
            columns[field.name] = read_column(raw[field.name], match, setting, findings)
    if "farm" not in headings.matches:
        (name,) = farm_names([farm], known_farms, findings)
        columns["farm"] = [name] * len(positions)
        findings.notes.append(say("The file has no farm column; its rows were taken as {farm}.", farm=name))
    if kind == "trims":
        columns |= _findings_of(headings, raw, len(positions), findings)
    frame = pd.DataFrame({field.name: pd.Series(columns[field.name], dtype=dtype_of(field)) for field in KINDS[kind]})
    _fill_scale(kind, frame, headings, findings)
    if kind == "trims":
        # 0 beside no lesion says the same as leaving the severity out.
        frame["severity"] = frame["severity"].mask((frame["severity"] == 0) & frame["lesion"].isna())
    refuse_missing(kind, frame, findings)
    findings.problems += impossible(kind, frame, setting.today, findings.problems)
    if not sheet.from_workbook and not sheet.has_headings:
        refuse_overlong(sheet, headings, positions, findings)
    refuse_second_findings(sheet, headings, positions, findings)
    frame["note"] = _notes(sheet, headings, positions, raw, frame["note"], findings)
    frame["row"] = pd.array(positions + sheet.first_row, dtype="Int64")
    aside = _set_aside(sheet, headings, positions, findings.problems, farm)
    bad = np.zeros(len(positions), dtype=bool)
    for problem in findings.problems:
        bad[problem.positions] = True
    return CheckedSheet(
        kind,
        sheet.source,
        frame[~bad].reset_index(drop=True),
        aside,
        len(positions),
        pd.DataFrame(findings.understood, columns=list(UNDERSTOOD_COLUMNS)),
        (*_opening_notes(setting.order, sheet, headings, len(positions)), *findings.notes),
    )


def _neutral(column: RawColumn) -> RawColumn:
    return RawColumn(column.codes, [bare_text(text) for text in column.texts])


def _opening_notes(order: DateOrder, sheet: RawSheet, headings: Headings, rows: int) -> list[Said]:
    notes = [
        say(
            "{source} was read as a {kind}: {rows} rows.",
            source=sheet.source,
            kind=KIND_NAMES[headings.kind],
            rows=rows,
        )
    ]
    if order.told_by == "rows":
        how = "day first" if order.day_first else "month first"
        notes.append(say("Dates were read {how}; {n} cells can be read no other way.", how=how, n=order.deciding))
        if order.against:
            notes.append(say("{n} dates do not fit that order.", n=order.against))
    repeats = int(_repeats(sheet, headings).sum())
    if repeats:
        notes.append(say("{n} rows that repeat the headings were passed over.", n=repeats))
    if headings.kind == "trims" and "lesion" not in headings.matches:
        notes.append(say("There is no lesion column, so every row counts as nothing found."))
    return notes


def _findings_of(headings: Headings, raw: dict[str, RawColumn], rows: int, findings: Findings) -> dict[str, Any]:
    """Lesion, subtype and stage together; every distinct combination of the three cells is read once."""
    names = ("lesion", "lesion_detail", "dd_stage")
    blank = RawColumn(np.zeros(rows, dtype=np.int32), [""])
    columns = [raw.get(name, blank) for name in names]
    sizes = [len(column.texts) for column in columns]
    keys = np.ravel_multi_index([column.codes for column in columns], [max(1, size) for size in sizes])
    used, codes = np.unique(keys, return_inverse=True)
    results: list[Finding] = []
    spread = RawColumn(codes.astype(np.int32), [""] * len(used))
    counts, places = spread.counts(), spread.positions()
    for number, key in enumerate(used):
        parts = [int(part) for part in np.unravel_index(key, [max(1, size) for size in sizes])]
        texts = [column.texts[part] for column, part in zip(columns, parts, strict=True)]
        field = "lesion"
        try:
            finding = read_finding(texts[0])
            field = "dd_stage"
            stage = None if is_blank(texts[2], "dd stage") else read_stage(texts[2])
            field = "lesion_detail"
            finding = join_finding(finding, None if is_blank(texts[1], "detail") else texts[1], stage)
        except Unreadable as unreadable:
            field = unreadable.field if isinstance(unreadable, Mismatch) else field
            findings.problems.append(Problem(places[number], field, unreadable.reason, unreadable.remedy))
            # Not missing: a zone beside an unread lesion is no second mistake.
            finding = Finding("?")
        results.append(finding)
        if finding.lesion != "?" and "lesion" in headings.matches and texts[0].strip():
            said = finding.detail or finding.lesion or "nothing found"
            note_word(
                findings,
                headings.matches["lesion"],
                texts[0],
                f"{said} {finding.stage}" if finding.stage else said,
                int(counts[number]),
            )
    return {
        "lesion": taken([one.lesion for one in results], field_of("trims", "lesion"), spread),
        "lesion_detail": taken([one.detail for one in results], field_of("trims", "lesion_detail"), spread),
        "dd_stage": taken([one.stage for one in results], field_of("trims", "dd_stage"), spread),
    }


def _fill_scale(kind: str, frame: pd.DataFrame, headings: Headings, findings: Findings) -> None:
    score, scale = {"trims": ("locomotion_score", "locomotion_scale"), "locomotion": ("score", "scale")}.get(
        kind, ("", "")
    )
    if not score:
        return
    named = headings.matches[score].scale if score in headings.matches else None
    if named is not None:
        frame[scale] = frame[scale].fillna(named)
    frame[scale] = scales_of(frame[score], frame[scale], frame["farm"], findings)


def _notes(
    sheet: RawSheet,
    headings: Headings,
    positions: Positions,
    raw: dict[str, RawColumn],
    note: pd.Series,
    findings: Findings,
) -> pd.Series:
    """The note, with every column that is no field, and every action that says more, added to it."""
    additions: list[tuple[str, RawColumn]] = []
    if "action" in raw:
        rows = weightier_words(raw["action"])
        kept = np.zeros(len(positions), dtype=np.int32)
        kept[rows] = raw["action"].codes[rows] + 1
        additions.append((headings.matches["action"].heading, RawColumn(kept, ["", *raw["action"].texts])))
    kept_headings = []
    for number in sorted({*headings.extra, *headings.doubled}):
        column = _neutral(sheet.columns[number].among(positions))
        if any(text.strip() for text in column.texts):
            additions.append((headings.names[number], column))
            kept_headings.append(additions[-1][0])
    if kept_headings:
        findings.notes.append(
            say("Not understood and kept in the note: {headings}.", headings=", ".join(kept_headings))
        )
    if not additions:
        return note
    out = note.fillna("").to_numpy(dtype=object)
    for heading, column in additions:
        texts = [f"{heading}: {' '.join(text.split())}" if text.strip() else "" for text in column.texts]
        added = np.array(texts, dtype=object)[column.codes]
        both = (out != "") & (added != "")
        out = out + np.where(both, "; ", "").astype(object) + added
    joined = pd.Series(out, dtype="str")
    return joined.mask(joined == "")


def _set_aside(
    sheet: RawSheet, headings: Headings, positions: Positions, problems: Sequence[Problem], farm: str | None
) -> pd.DataFrame:
    lines: list[tuple[int, int, str, str, str, str, str]] = []
    originals: dict[int, str] = {}
    for place, problem in enumerate(problems):
        match = headings.matches.get(problem.field)
        for index in problem.positions.tolist():
            position = int(positions[index])
            if index not in originals:
                originals[index] = _original(sheet, headings, position, farm)
            value = "" if match is None else sheet.columns[match.column].text(position)
            heading = problem.field if match is None else match.heading
            lines.append(
                (position + sheet.first_row, place, heading, value, problem.reason, problem.remedy, originals[index])
            )
    lines.sort(key=lambda line: line[:2])
    frame = pd.DataFrame([(line[0], *line[2:]) for line in lines], columns=list(SET_ASIDE_COLUMNS))
    return frame.astype({name: "Int64" if name == "row" else "str" for name in SET_ASIDE_COLUMNS})


def _original(sheet: RawSheet, headings: Headings, position: int, farm: str | None) -> str:
    cells = {}
    for number, column in enumerate(sheet.columns):
        text = bare_text(column.text(position))
        if number not in headings.own and (text.strip() or column.text(headings.position).strip()):
            cells[headings.names[number]] = text
    if "farm" not in headings.matches and farm:
        cells["farm"] = farm
    return json.dumps(cells, ensure_ascii=False)
