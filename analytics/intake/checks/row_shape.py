"""Rows that are refused for their shape: something missing, something too much."""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import says_nothing_found
from evenfoot.analytics.intake.fields import KINDS
from evenfoot.analytics.intake.headings import Headings
from evenfoot.analytics.intake.sheet import Findings, Positions, Problem, RawSheet
from evenfoot.analytics.messages import say


def refuse_missing(kind: str, frame: pd.DataFrame, findings: Findings) -> None:
    """Rows without a field that every record needs, unless the cell has been refused already."""
    unread = {problem.field for problem in findings.problems}
    for field in KINDS[kind]:
        if not field.required:
            continue
        gone = frame[field.name].isna().to_numpy(copy=True)
        if field.name in unread:
            for problem in findings.problems:
                if problem.field == field.name:
                    gone[problem.positions] = False
        if gone.any():
            findings.problems.append(
                Problem(
                    np.flatnonzero(gone),
                    field.name,
                    say("There is no {field}.", field=field.name.replace("_", " ")),
                    say("{what}: fill it in, such as {example}.", what=field.what, example=field.example),
                )
            )


def refuse_overlong(sheet: RawSheet, headings: Headings, positions: Positions, findings: Findings) -> None:
    """A row with more cells than headings: somewhere a separator stands inside a cell, and all after it is shifted."""
    beyond = np.zeros(len(positions), dtype=bool)
    for column in sheet.columns[headings.width :]:
        says = np.array([bool(text.strip()) for text in column.texts], dtype=bool)
        beyond |= says[column.codes[positions]]
    if beyond.any():
        findings.problems.append(
            Problem(
                np.flatnonzero(beyond),
                "",
                say("The row has more cells than there are headings."),
                say("Put quotation marks around a cell that holds the separator, such as a decimal comma."),
            )
        )


def refuse_second_findings(sheet: RawSheet, headings: Headings, positions: Positions, findings: Findings) -> None:
    """Rows with something under a heading such as "Lesion 2"."""
    for number in headings.second_findings:
        column = sheet.columns[number]
        says = np.array([not says_nothing_found(text) for text in column.texts], dtype=bool)
        rows = np.flatnonzero(says[column.codes[positions]])
        if len(rows):
            findings.problems.append(
                Problem(
                    rows,
                    "",
                    say("A second finding in one row, under '{heading}'.", heading=headings.names[number]),
                    say("Give each its own row: one row a finding."),
                )
            )
