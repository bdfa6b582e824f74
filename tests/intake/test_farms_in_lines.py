"""Which farm a line above a table names: a name keeps all its words, and a greeting or a month is none."""

from __future__ import annotations

import datetime as dt

import pytest

from evenfoot.analytics.intake.layouts.context import read_lines
from evenfoot.analytics.intake.parsing.dates import DateOrder


@pytest.mark.parametrize(
    ("cells", "farm"),
    [
        (["Round Hill Farm, 3 May 2026"], "Round Hill Farm"),
        (["Thornby Manor", "4 May"], "Thornby Manor"),
        (["Farm: Elm End, 19 May 2026"], "Elm End"),
        (["Hi Martin, trimmer here. Hollin Bank, 14 May 2026"], "Hollin Bank"),
        (["Trimming, May 2026"], None),
    ],
)
def test_the_name_is_whole_or_not_taken(cells: list[str], farm: str | None) -> None:
    found = read_lines([cells], DateOrder(True, "option"), dt.date(2026, 11, 28))
    assert (found.values | found.guesses).get("farm") == farm
