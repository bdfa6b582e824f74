"""How periods are written in tables: 2026-03 for a month, 2026-Q1 for a quarter."""

from __future__ import annotations

from typing import Any

import pandas as pd


def period_label(name: str, value: Any) -> str:
    """The label of a group value of grouping *name*.

    Examples
    --------
    >>> period_label("month", pd.Timestamp("2026-03-01"))
    '2026-03'
    >>> period_label("quarter", pd.Timestamp("2026-04-01"))
    '2026-Q2'
    >>> period_label("housing", "freestall")
    'freestall'
    """
    if isinstance(value, pd.Timestamp):
        if name == "quarter":
            return f"{value.year}-Q{value.quarter}"
        return f"{value:%Y-%m}" if name in ("month", "period", "from_month", "signal_month") else f"{value:%Y-%m-%d}"
    return str(value)
