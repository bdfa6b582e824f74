"""A sheet as text, read as the import reads it, for tests of what is taken and what is asked."""

from __future__ import annotations

import datetime as dt
from typing import Any

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import Understanding, understand_file

TODAY = dt.date(2026, 11, 28)


def read(text: str | bytes, name: str = "sheet.csv", **given: str) -> Understanding:
    """What a sheet says, with answers to questions; ``_`` in the name of one stands for ``-``."""
    source = text.encode() if isinstance(text, str) else text
    answers = Answers({id.replace("_", "-"): value for id, value in given.items()}, accept=True)
    return understand_file(source, name, today=TODAY, answers=answers)


def records(found: Understanding) -> list[dict[str, Any]]:
    """The records of all sheets, with ``None`` for a blank cell."""
    out: list[dict[str, Any]] = []
    for sheet in found.sheets:
        frame = sheet.records.astype(object)
        out += frame.where(frame.notna(), None).to_dict("records")
    return out


def said(found: Understanding, *names: str) -> list[tuple[Any, ...]]:
    """Some fields of every record."""
    return [tuple(str(one[name])[:10] if name == "visit_date" else one.get(name) for name in names)
            for one in records(found)]  # fmt: skip


def asked(found: Understanding) -> set[str]:
    """Ids of the questions that stop an import until they are answered."""
    return {question.id for question in Answers({}, met=found.answers.met).blocking()}
