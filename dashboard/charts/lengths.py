"""Lengths as the reader has them: measures and sheets keep millimetres, a reader may want inches."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain.units import MM_PER_INCH, mm_to_inches
from evenfoot.dashboard.i18n.translation import words

MEANS = ("mean", "low", "high", "sd", "q1", "median", "q3")
RATES = ("mm_per_month", "low", "high", "raw_mean")

INCHES = {
    "toe_length_mm": "Toe length, in",
    "toe_length_after_mm": "Toe length after trimming, in",
    "heel_depth_mm": "Heel depth, in",
    "sole_thickness_mm": "Sole thickness, in",
    "toe_break_mm": "Toe broken off beyond the line, in",
    "expected_mm": "Expected toe, in",
    "limit_mm": "Limit, in",
    "left_mm": "Toe as left, in",
}
"""Columns of lengths -> their heading where they are shown in inches."""

TOE_LIMITS = {"expected_low", "expected_high"}
"""Lengths whose heading names no unit."""


def in_unit(mm: float) -> float:
    """A length in the reader's unit."""
    return mm if words().units == "mm" else mm_to_inches(mm)


def in_inches(column: str) -> bool:
    """Whether the numbers of a column are shown to this reader in inches."""
    return words().units == "in" and (column in INCHES or column in TOE_LIMITS)


def measured(table: pd.DataFrame) -> pd.DataFrame:
    """Rows measured in millimetres in the reader's unit, which their ``unit`` then says.

    Examples
    --------
    >>> from evenfoot.dashboard.i18n.translation import Words, speaking
    >>> rows = pd.DataFrame({"mean": [76.2, 48.0], "unit": ["mm", "degrees"]})
    >>> with speaking(Words(units="in")):
    ...     measured(rows).round(2).to_dict("list")
    {'mean': [3.0, 48.0], 'unit': ['in', 'degrees']}
    """
    if words().units == "mm" or table.empty or "unit" not in table:
        return table
    long = table["unit"] == "mm"
    columns = {
        name: table[name].astype(float).where(~long, table[name].astype(float) / MM_PER_INCH)
        for name in MEANS
        if name in table
    }
    return table.assign(**columns, unit=table["unit"].mask(long, "in"))


def grown(table: pd.DataFrame) -> pd.DataFrame:
    """Rates of growth in the reader's unit a month, under a heading of their own where that is inches."""
    if words().units == "mm" or table.empty:
        return table
    columns = {name: table[name].map(mm_to_inches) for name in RATES if name in table}
    return table.assign(**columns).rename(columns={"mm_per_month": "in_per_month", "raw_mean": "raw_mean_in"})
