"""Whether two answers are the same: whole numbers and words exactly, other numbers to nine digits."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.measures.answer import Answer

DIGITS = 1e-9
"""Sums of floating numbers come in another order in another engine; whole numbers may not differ at all."""


def differences(ours: Answer, theirs: Answer) -> list[str]:
    """What differs between two answers, in words; nothing when they are the same."""
    found = _between(ours.table, theirs.table, "table")
    for name in sorted(set(ours.extra) | set(theirs.extra)):
        if name not in ours.extra or name not in theirs.extra:
            found.append(f"extra {name}: only one has it")
        else:
            found += _between(ours.extra[name], theirs.extra[name], f"extra {name}")
    if ours.cautions != theirs.cautions:
        found.append(f"cautions: {ours.cautions} and {theirs.cautions}")
    for field in dataclasses.fields(ours.basis):
        one, other = getattr(ours.basis, field.name), getattr(theirs.basis, field.name)
        if one != other:
            found.append(f"basis.{field.name}: {one} and {other}")
    return found


def _between(ours: pd.DataFrame, theirs: pd.DataFrame, where: str) -> list[str]:
    if list(ours.columns) != list(theirs.columns):
        return [f"{where}: columns {list(ours.columns)} and {list(theirs.columns)}"]
    if len(ours) != len(theirs):
        return [f"{where}: {len(ours)} and {len(theirs)} rows"]
    return [
        f"{where}.{name}, row {row}: {one!r} and {other!r}"
        for name in ours.columns
        for row, (one, other) in enumerate(zip(ours[name].tolist(), theirs[name].tolist(), strict=True))
        if not _same(one, other)
    ]


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, (list, tuple, np.ndarray)) and isinstance(other, (list, tuple, np.ndarray)):
        return len(one) == len(other) and all(_same(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    lost, gone = bool(np.all(pd.isna(one))), bool(np.all(pd.isna(other)))
    if lost or gone:
        return lost and gone
    if (isinstance(one, float) and isinstance(other, (int, float))) or isinstance(other, float):
        if float(one).is_integer() and float(other).is_integer():
            return float(one) == float(other)
        return bool(np.isclose(one, other, rtol=DIGITS, atol=1e-12))
    return bool(one == other)
