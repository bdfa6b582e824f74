"""Rows and the verdicts on their texts become records, and rows set aside with their reasons."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import says_nothing_found
from evenfoot.analytics.intake.checks.column_validation import Verdicts
from evenfoot.analytics.intake.checks.plausibility import WRITE_LESION, impossible
from evenfoot.analytics.intake.checks.row_shape import refuse_missing, refuse_overlong, refuse_second_findings
from evenfoot.analytics.intake.checks.score_scale import fill_scales
from evenfoot.analytics.intake.checks.survey import OF_FINDING, OF_SCALE, ROW_BY_ROW, Survey, record_rows
from evenfoot.analytics.intake.fields import KINDS, dtype_of
from evenfoot.analytics.intake.headings import Headings
from evenfoot.analytics.intake.parsing.column_values import KEPT_WORDS, distinct_values, read_texts
from evenfoot.analytics.intake.rejected_rows import bare_text
from evenfoot.analytics.intake.sheet import Codes, Findings, Positions, Problem, RawColumn, RawSheet
from evenfoot.analytics.messages import say

SET_ASIDE_COLUMNS = ("row", "column", "value", "reason", "remedy", "original")


@dataclass(frozen=True)
class CheckedRows:
    """Records and set-aside rows of one piece of a sheet; see
    :class:`~evenfoot.analytics.intake.sheet.CheckedSheet`."""

    records: pd.DataFrame
    set_aside: pd.DataFrame
    rows_read: int
    blanked: int = 0

    def __len__(self) -> int:
        return len(self.records)

    def table(self, schema: Any) -> Any:
        """The records as an Arrow table of a schema of dictionaries."""
        import pyarrow as pa

        plain = pa.schema(
            [(one.name, one.type.value_type if pa.types.is_dictionary(one.type) else one.type) for one in schema]
        )
        table = pa.Table.from_pandas(self.records, plain, preserve_index=False)
        columns = [
            column.dictionary_encode() if pa.types.is_dictionary(one.type) else column
            for column, one in zip(table.columns, schema, strict=True)
        ]
        return pa.Table.from_arrays(columns, schema=schema)


def check_rows(
    piece: RawSheet,
    headings: Headings,
    survey: Survey,
    verdicts: Verdicts,
    farm: str | None,
    *,
    first: bool,
    rows: Positions | None = None,
    counted: bool = False,
) -> CheckedRows:
    """Check the rows of a piece of a sheet that was surveyed and judged.

    Parameters
    ----------
    piece : RawSheet
    headings : Headings
    survey : Survey
    verdicts : Verdicts
    farm : str or None
        Farm of a sheet that has no farm column.
    first : bool
        Whether the headings stand in this piece.
    rows : array of int, optional
        Row numbers of a piece that holds records alone.
    counted : bool
        Whether its texts were counted before.

    Returns
    -------
    CheckedRows
    """
    kind, findings = headings.kind, Findings()
    if rows is None:
        positions, _ = record_rows(piece, headings, first=first)
        rows = piece.row_numbers(positions)
    else:
        positions = np.arange(len(piece))
    codes = {
        name: texts.numbers(piece.columns[headings.matches[name].column].texts)[
            piece.columns[headings.matches[name].column].codes[positions]
        ]
        for name, texts in survey.texts.items()
    }
    columns: dict[str, Any] = {}
    for field in KINDS[kind]:
        match = headings.matches.get(field.name)
        if kind == "trims" and field.name in OF_FINDING:
            continue
        if match is None:
            value = verdicts.farm if field.type == "farm" else None
            columns[field.name] = distinct_values([value], field).take(np.zeros(len(positions), dtype=np.int32))
        elif field.type in ROW_BY_ROW:
            column = neutral(piece.columns[match.column].among(positions))
            counts = column.counts()
            reading = read_texts(column.texts, counts, match, verdicts.setting)
            findings.problems += reading.problems(field.name, column.codes)
            if not counted:
                said = np.array([value is not None for value in reading.values], dtype=bool)
                verdicts.read_more(field.name, int(counts[said].sum()))
            columns[field.name] = distinct_values(reading.values, field).take(column.codes)
        else:
            findings.problems += verdicts.readings[field.name].problems(field.name, codes[field.name])
            columns[field.name] = verdicts.values[field.name].take(codes[field.name])
    if verdicts.findings is not None:
        places = verdicts.findings.spread([codes.get(name) for name in OF_FINDING], len(positions))
        findings.problems += verdicts.findings.problems(places)
        columns |= {name: values.take(places) for name, values in verdicts.findings.values.items()}
    frame = pd.DataFrame({field.name: pd.Series(columns[field.name], dtype=dtype_of(field)) for field in KINDS[kind]})
    _fill_scale(frame, headings, verdicts)
    if kind == "trims":
        # 0 beside no lesion says the same as leaving the severity out.
        frame["severity"] = frame["severity"].mask((frame["severity"] == 0) & frame["lesion"].isna())
    refuse_missing(kind, frame, findings)
    findings.problems += impossible(kind, frame, verdicts.setting.today, findings.problems)
    if not piece.from_workbook and not piece.has_headings:
        refuse_overlong(piece, headings, positions, findings)
    refuse_second_findings(piece, headings, positions, findings)
    additions = additions_to_note(headings, survey, codes, lambda number: piece.columns[number].among(positions))
    frame["note"] = _notes(frame["note"], additions)
    frame["row"] = pd.array(rows, dtype="Int64")
    bad = np.zeros(len(positions), dtype=bool)
    blanked: list[Problem] = []
    says_nothing = np.zeros(len(positions), dtype=bool)
    if "lesion" in codes and findings.problems:
        nothing = [bool(text.strip()) and says_nothing_found(text) for text in survey.texts["lesion"].texts]
        says_nothing = np.array(nothing, dtype=bool)[codes["lesion"]]
    unreadable: dict[str, Any] = {}
    for problem in findings.problems:
        if problem.field in OF_LESION and problem.remedy != WRITE_LESION:
            unreadable.setdefault(problem.field, np.zeros(len(positions), dtype=bool))[problem.positions] = True
    for problem in findings.problems:
        if problem.field not in BLANKED.get(kind, ()):
            bad[problem.positions] = True
            continue
        blanked.append(problem)
        if problem.field in OF_LESION:
            # Without a lesion in the row, it may be the lesion that is missing; but not where the row says that nothing
            # was found, and the cell cannot be right whatever was.
            silent = frame["lesion"].isna().to_numpy() & ~(says_nothing & unreadable.get(problem.field, False))
            bad[problem.positions[silent[problem.positions]]] = True
    lines: list[Problem] = []
    cells = 0
    blank: dict[str, Any] = {}
    for problem in findings.problems:
        kept = problem.positions[~bad[problem.positions]]
        if not any(problem is one for one in blanked) or not len(kept):
            lines.append(problem)
            continue
        # A cell is listed once, with the first reason.
        listed = blank.setdefault(problem.field, np.zeros(len(positions), dtype=bool))
        kept = kept[~listed[kept]]
        listed[kept] = True
        cells += len(kept)
        frame.loc[kept, problem.field] = pd.NA
        if len(kept):
            lines.append(replace(problem, positions=kept, remedy=LEFT_BLANK))
        lost = problem.positions[bad[problem.positions]]
        if len(lost):
            lines.append(replace(problem, positions=lost))
    aside = _set_aside(piece, headings, positions, rows, lines, farm)
    if not bad.any():
        return CheckedRows(frame, aside, len(positions), cells)
    return CheckedRows(frame[~bad].reset_index(drop=True), aside, len(positions), cells)


BLANKED: dict[str, tuple[str, ...]] = {
    "trims": (
        "trimmer", "visit_kind", "herd_size", "group", "housing", "floor", "bedding", "parity", "calving_date", "breed",
        "sire", "feet_seen", "foot", "claw", "zone", "lesion_detail", "severity", "dd_stage", "toe_length_mm",
        "toe_length_after_mm", "toe_angle_deg", "heel_depth_mm", "sole_thickness_mm", "shed_stage", "toe_break_mm",
        "action", "recheck_on", "locomotion_score", "locomotion_scale",
    ),
    "locomotion": ("scale", "scorer", "group", "herd_size"),
    "register": ("breed", "sire"),
}  # fmt: skip
"""Fields that a record can be without: a cell that cannot be right is left blank and listed, the row is kept."""
OF_LESION = ("claw", "zone", "lesion_detail", "severity", "dd_stage")
"""Fields that say something of a lesion."""
LEFT_BLANK = say("The cell was left blank and the row kept. Correct the cell and import it again.")


def neutral(column: RawColumn) -> RawColumn:
    return RawColumn(column.codes, [bare_text(text) for text in column.texts])


def _fill_scale(frame: pd.DataFrame, headings: Headings, verdicts: Verdicts) -> None:
    score, scale = OF_SCALE.get(headings.kind, ("", ""))
    if not score:
        return
    named = headings.matches[score].scale if score in headings.matches else None
    if named is not None:
        frame[scale] = frame[scale].fillna(named)
    frame[scale] = fill_scales(frame[score], frame[scale], frame["farm"], verdicts.scale_of)


def additions_to_note(
    headings: Headings, survey: Survey, codes: Mapping[str, Codes], column_at: Callable[[int], RawColumn]
) -> list[RawColumn]:
    """What is added to the note: every column that is no field, and every action and lesion whose words say more than
    what they are read as.

    Parameters
    ----------
    headings, survey
    codes : mapping of str to array of int
        Field -> for each row the text of its cell.
    column_at : callable
        The column at a place, its rows the records.
    """
    added: list[tuple[str, RawColumn]] = []
    for name, says_more in KEPT_WORDS.items():
        if name in codes:
            kept = [text if says_more(text) else "" for text in survey.texts[name].texts]
            if any(kept):
                added.append((headings.matches[name].heading, RawColumn(codes[name], kept)))
    for number in sorted(survey.told_extra):
        added.append((headings.names[number], neutral(column_at(number))))
    return [
        RawColumn(
            column.codes,
            [f"{heading}: {' '.join(text.split())}" if text.strip() else "" for text in column.texts],
        )
        for heading, column in added
    ]


def _notes(note: pd.Series, additions: Sequence[RawColumn]) -> pd.Series:
    """The note with the additions after it."""
    if not additions:
        return note
    out = note.fillna("").to_numpy(dtype=object)
    for column in additions:
        added = np.array(column.texts, dtype=object)[column.codes]
        both = (out != "") & (added != "")
        out = out + np.where(both, "; ", "").astype(object) + added
    joined = pd.Series(out, dtype="str")
    return joined.mask(joined == "")


def _set_aside(
    piece: RawSheet,
    headings: Headings,
    positions: Positions,
    rows: Positions,
    problems: Sequence[Problem],
    farm: str | None,
) -> pd.DataFrame:
    lines: list[tuple[int, int, str, str, str, str, str]] = []
    originals: dict[int, str] = {}
    for place, problem in enumerate(problems):
        match = headings.matches.get(problem.field)
        for index in problem.positions.tolist():
            position = int(positions[index])
            if index not in originals:
                originals[index] = _original(piece, headings, position, farm)
            value = "" if match is None else piece.columns[match.column].text(position)
            heading = problem.field if match is None else match.heading
            lines.append((int(rows[index]), place, heading, value, problem.reason, problem.remedy, originals[index]))
    lines.sort(key=lambda line: line[:2])
    return set_aside_frame([(line[0], *line[2:]) for line in lines])


def set_aside_frame(lines: Sequence[tuple[int, str, str, str, str, str]]) -> pd.DataFrame:
    """Lines as a table of rows set aside: the columns of ``SET_ASIDE_COLUMNS``."""
    frame = pd.DataFrame(lines, columns=list(SET_ASIDE_COLUMNS))
    return frame.astype({name: "Int64" if name == "row" else "str" for name in SET_ASIDE_COLUMNS})


def _original(piece: RawSheet, headings: Headings, position: int, farm: str | None) -> str:
    cells = {}
    for number, column in enumerate(piece.columns):
        text = bare_text(column.text(position))
        if number not in headings.own and (text.strip() or headings.cells[number].strip()):
            cells[headings.names[number]] = text
    if "farm" not in headings.matches and farm:
        cells["farm"] = farm
    return json.dumps(cells, ensure_ascii=False)
