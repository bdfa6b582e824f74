"""What every distinct text of a sheet says, judged once for the whole sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.intake.checks.score_scale import farm_scales
from evenfoot.analytics.intake.checks.survey import OF_FINDING, OF_SCALE, ROW_BY_ROW, Survey
from evenfoot.analytics.intake.fields import KIND_NAMES, KINDS, field_of
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.column_values import (
    Distinct,
    Reading,
    Setting,
    describe,
    distinct_values,
    is_blank,
    note_word,
    read_texts,
    refuse_long,
    tell_words,
)
from evenfoot.analytics.intake.parsing.combinations import combined, rows_of
from evenfoot.analytics.intake.parsing.dates import DateOrder
from evenfoot.analytics.intake.parsing.farm_names import farm_names
from evenfoot.analytics.intake.parsing.lesion_cell import Finding, Mismatch, join_finding, read_finding
from evenfoot.analytics.intake.parsing.vocabulary import read_stage
from evenfoot.analytics.intake.sheet import Codes, Findings, Problem
from evenfoot.analytics.messages import Message, say, say_n


@dataclass
class Verdicts:
    """The values of a sheet's texts, and what can be said of the whole sheet.

    Attributes
    ----------
    setting : Setting
    farm : str or None
        The farm of every row, where the sheet has no column for it.
    readings : dict of str to Reading
        By field; those read row by row, and those of a finding, are not among them.
    values : dict of str to array
        The same as typed values, one a text.
    findings : FindingVerdicts or None
    scale_of : dict of str to str
        Farm -> the scale of scores that come without one.
    told : Findings
        Notes, and how the words were understood.
    """

    setting: Setting
    farm: str | None = None
    readings: dict[str, Reading] = field(default_factory=dict)
    values: dict[str, Distinct] = field(default_factory=dict)
    findings: FindingVerdicts | None = None
    scale_of: dict[str, str] = field(default_factory=dict)
    told: Findings = field(default_factory=Findings)
    row_by_row: dict[str, dict[str, Any]] = field(default_factory=dict)

    @property
    def farms(self) -> list[str]:
        """The farms of the sheet, in its order."""
        said = self.readings["farm"].values if "farm" in self.readings else [self.farm]
        return [farm for farm in dict.fromkeys(said) if farm is not None]

    def respell_farms(self, spelling: Mapping[str, str]) -> None:
        """Give farms another spelling, before any row is taken."""
        if self.farm is not None:
            self.farm = spelling.get(self.farm, self.farm)
        if "farm" in self.readings:
            said = self.readings["farm"]
            values = [None if farm is None else spelling.get(farm, farm) for farm in said.values]
            self.readings["farm"] = Reading(values, said.unread)
            self.values["farm"] = pd.array(values, dtype="str")
        self.scale_of = {spelling.get(farm, farm): scale for farm, scale in self.scale_of.items()}

    def read_more(self, name: str, rows: int) -> None:
        """Add rows of a field that is read row by row to how it was understood."""
        self.row_by_row[name]["rows"] += rows


def judge(survey: Survey, setting: Setting, farm: str | None, known_farms: list[str]) -> Verdicts:
    """Judge all that a survey has found.

    Parameters
    ----------
    survey : Survey
    setting : Setting
    farm : str or None
        Farm of a sheet that has no farm column.
    known_farms : list of str
        For their spelling.

    Returns
    -------
    Verdicts
    """
    headings = survey.headings
    verdicts = Verdicts(setting)
    told = verdicts.told
    for each in KINDS[headings.kind]:
        match = headings.matches.get(each.name)
        if match is None or (headings.kind == "trims" and each.name in OF_FINDING):
            continue
        if each.type in ROW_BY_ROW:
            note_word(told, match, "", describe(match, setting), 0)
            verdicts.row_by_row[each.name] = told.understood[-1]
            continue
        texts, rows = survey.texts[each.name].texts, survey.texts[each.name].rows
        if each.type == "farm":
            said = [t if n and not is_blank(t, "farm") else None for t, n in zip(texts, rows, strict=True)]
            unread = _too_long(said)
            said = [None if code in unread else text for code, text in enumerate(said)]
            reading = Reading(list(farm_names(said, known_farms, told)), unread)
        else:
            reading = tell_words(read_texts(texts, rows, match, setting), texts, rows, match, setting, told)
        verdicts.readings[each.name] = reading
        verdicts.values[each.name] = distinct_values(reading.values, each)
    if "farm" not in headings.matches and farm:
        (verdicts.farm,) = farm_names([farm], known_farms, told)
        told.notes.append(say("The file has no farm column; its rows were taken as {farm}.", farm=verdicts.farm))
    if headings.kind == "trims":
        verdicts.findings = judge_findings(survey, told)
    verdicts.scale_of = _scales(survey, verdicts)
    extra = [headings.names[number] for number in sorted(survey.told_extra)]
    if extra:
        told.notes.append(say("Not understood and kept in the note: {headings}.", headings=", ".join(extra)))
    return verdicts


def _too_long(texts: Sequence[str | None]) -> dict[int, Unreadable]:
    """The texts that are longer than a cell may be, by their place."""
    unread: dict[int, Unreadable] = {}
    for code, text in enumerate(texts):
        try:
            refuse_long(text or "")
        except Unreadable as unreadable:
            unread[code] = unreadable.with_traceback(None)
    return unread


def _scales(survey: Survey, verdicts: Verdicts) -> dict[str, str]:
    headings = survey.headings
    score, scale = OF_SCALE.get(headings.kind, ("", ""))
    if score not in headings.matches:
        return {}
    named = headings.matches[score].scale
    combinations = sorted(survey.scores)

    def column(place: int, name: str, absent: str | None) -> list[Any]:
        if name not in verdicts.readings:
            return [absent] * len(combinations)
        values = verdicts.readings[name].values
        return [values[numbers[place]] for numbers in combinations]

    scales = pd.Series(column(2, scale, None), dtype="str")
    return farm_scales(
        pd.Series(column(1, score, None), dtype="Int64"),
        scales if named is None else scales.fillna(named),
        pd.Series(column(0, "farm", verdicts.farm), dtype="str"),
        verdicts.told,
        verdicts.setting.known_scales,
    )


class FindingVerdicts:
    """What each combination of lesion, subtype and stage says."""

    def __init__(self) -> None:
        self.places: dict[tuple[int, ...], int] = {}
        self.results: list[Finding] = []
        self.unread: dict[int, tuple[str, Unreadable]] = {}
        self.values: dict[str, Distinct] = {}

    def spread(self, columns: list[Codes | None], rows: int) -> Codes:
        """Which combination stands in each row."""
        keys, shape = combined(columns, rows)
        used, codes = np.unique(keys, return_inverse=True)
        parts = np.unravel_index(used, shape)
        places = [self.places[key] for key in zip(*(part.tolist() for part in parts), strict=True)]
        return np.array(places, dtype=np.int32)[codes] if rows else np.empty(0, np.int32)

    def problems(self, codes: Codes) -> list[Problem]:
        """The rows whose combination cannot be."""
        if not self.unread:
            return []
        rows = rows_of(codes, self.unread, len(self.results))
        return [
            Problem(rows[place], name, why.reason, why.remedy)
            for place, (name, why) in self.unread.items()
            if place in rows
        ]


def judge_findings(survey: Survey, told: Findings) -> FindingVerdicts:
    """Read lesion, subtype and stage together, every distinct combination once."""
    headings = survey.headings
    texts = [survey.texts[name].texts if name in survey.texts else [""] for name in OF_FINDING]
    out = FindingVerdicts()
    for place, key in enumerate(sorted(survey.findings)):
        said = [column[number] for column, number in zip(texts, key, strict=True)]
        name = "lesion"
        try:
            refuse_long(said[0])
            finding = read_finding(said[0])
            name = "dd_stage"
            refuse_long(said[2])
            stage = None if is_blank(said[2], "dd stage") else read_stage(said[2])
            name = "lesion_detail"
            refuse_long(said[1])
            finding = join_finding(finding, None if is_blank(said[1], "detail") else said[1], stage)
        except Unreadable as unreadable:
            name = unreadable.field if isinstance(unreadable, Mismatch) else name
            out.unread[place] = name, unreadable.with_traceback(None)
            if name == "lesion":
                # Not missing: a zone beside an unread lesion is no second mistake.
                finding = Finding("?")
        out.places[key] = place
        out.results.append(finding)
        if finding.lesion != "?" and "lesion" in headings.matches and said[0].strip():
            word = finding.detail or finding.lesion or say("nothing found")
            note_word(
                told,
                headings.matches["lesion"],
                said[0],
                f"{word} {finding.stage}" if finding.stage else word,
                survey.findings[key],
            )
    for name, values in (
        ("lesion", [one.lesion for one in out.results]),
        ("lesion_detail", [one.detail for one in out.results]),
        ("dd_stage", [one.stage for one in out.results]),
    ):
        out.values[name] = distinct_values(values, field_of("trims", name))
    return out


def opening_notes(order: DateOrder, source: str, survey: Survey) -> list[Message]:
    """What is said first of a sheet: its kind, its rows, and how its dates were read."""
    headings = survey.headings
    notes = [
        say_n("{source} was read as a {kind}: {n} row.", "{source} was read as a {kind}: {n} rows.", survey.rows,
              source=source, kind=KIND_NAMES[headings.kind])
    ]  # fmt: skip
    if order.told_by == "rows":
        how = say("day first") if order.day_first else say("month first")
        notes.append(
            say_n(
                "Dates were read {how}; {n} cell can be read no other way.",
                "Dates were read {how}; {n} cells can be read no other way.",
                order.deciding,
                how=how,
            )
        )
        if order.against:
            notes.append(say("{n} dates do not fit that order.", n=order.against))
    if survey.repeats:
        notes.append(
            say_n(
                "{n} row that repeats the headings was passed over.",
                "{n} rows that repeat the headings were passed over.",
                survey.repeats,
            )
        )
    if headings.kind == "trims" and "lesion" not in headings.matches:
        notes.append(say("There is no lesion column, so every row counts as nothing found."))
    return notes
