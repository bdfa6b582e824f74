"""What a figure found, in words: only what was tested is called likely real."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.dashboard.charts.findings import difference_of_groups

NONE = float("nan")
"""A p-value of a group that was not tested, or of a model that was not fitted."""

REFERENCE = ("B", 0.3, NONE, NONE, NONE)


def compared(rows: list[tuple[str, float, float, float, float]], adjusted: float = NONE) -> Answer:
    """A comparison of groups: name, share, p, p allowing for many tests, adjusted p; the first is the reference."""
    table = pd.DataFrame(rows, columns=["group", "prevalence", "p_value", "q_value", "adj_p_value"])
    table = table.assign(risk_ratio=np.where(table["p_value"].isna(), 1.0, 1.4), adj_odds_ratio=adjusted)
    return Answer("comparison", table, Basis(farms=1, visits=2, cows=90, trims=90))


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        # The highest and the lowest were never held against each other: the middle one is the reference.
        (
            [
                REFERENCE,
                ("A", 0.4, 0.2, 0.2, NONE),
                ("C", 0.2, 0.3, 0.3, NONE),
            ],
            "A: 40 of 100, B: 30 of 100; chance could do that",
        ),
        (
            [REFERENCE, ("A", 0.5, 0.01, 0.01, NONE)],
            "A: 50 of 100, B: 30 of 100; likely real",
        ),
        # Of three groups each has a part of the error: 0.03 is no sign then.
        (
            [REFERENCE, ("A", 0.4, 0.01, 0.01, 0.03), ("C", 0.3, 0.9, 0.9, 0.9)],
            "A: 40 of 100, B: 30 of 100; chance could do that",
        ),
        ([REFERENCE], ""),
    ],
)
def test_groups_are_held_against_the_reference(rows: list[tuple[str, float, float, float, float]], said: str) -> None:
    assert difference_of_groups(compared(rows), "group") == said


def test_a_difference_that_turns_round_with_the_rest_held_alike_is_not_called_real() -> None:
    rows = [REFERENCE, ("A", 0.5, 0.01, 0.01, 0.001)]
    assert difference_of_groups(compared(rows, 2.0), "group").endswith("likely real")
    assert difference_of_groups(compared(rows, 0.4), "group") == (
        "A: 50 of 100, B: 30 of 100; held alike it is the other way round"
    )
