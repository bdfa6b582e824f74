"""A file read in a process of its own, as :mod:`evenfoot.analytics.worker_process` says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import Understanding, understand_file
from evenfoot.analytics.intake.readers.raw_rows import RawRow, raw_rows
from evenfoot.analytics.worker_process import ask, run_limited


def understand_limited(source: Path | bytes, name: str, *, answers: Answers, **options: Any) -> Understanding:
    """As :func:`~evenfoot.analytics.intake.pipeline.understand_file`, within limits.

    Raises
    ------
    UserError
        As there; or the file takes too long or too much memory, or too many are being read.
    """
    recall = answers.recall
    found = run_limited(
        _understand, source, name, replace(answers, recall=None), recall is not None, options, answer=recall
    )
    vars(answers).update(vars(found.answers) | {"recall": recall})
    return replace(found, answers=answers)


def raw_rows_limited(data: bytes, name: str, most: int) -> dict[str, list[RawRow]]:
    """As :func:`~evenfoot.analytics.intake.readers.raw_rows.raw_rows`, within limits."""
    return run_limited(raw_rows, data, name, most)


def _understand(
    source: Path | bytes, name: str, answers: Answers, recalls: bool, options: Mapping[str, Any]
) -> Understanding:
    def recall(headings: Sequence[str]) -> Mapping[str, str]:
        found: Mapping[str, str] = ask(list(headings))
        return found

    answers.recall = recall if recalls else None
    found = understand_file(source, name, answers=answers, **options)
    answers.recall = None
    return found
