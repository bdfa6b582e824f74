"""The list of cows with a lesion is what a plain look at the findings gives, and its beginning alone is the same."""

from __future__ import annotations

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.cows import cows_found
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import findings
from evenfoot.analytics.queries.selection import Selection

SELECTIONS = [Selection(), Selection(visits=("all",)), Selection(lesions=("SU",)), Selection(feet=("LH", "RH"))]


def in_plain_python(rows: pd.DataFrame) -> list[tuple[object, ...]]:
    out = []
    for (farm, cow), met in rows.groupby(["farm", "cow"]):
        said = [", ".join(sorted(set(met[name].dropna()))) for name in ("lesion", "foot")]
        worst = met["severity"].max()
        out.append((farm, cow, len(met), met["visit_date"].nunique(), None if pd.isna(worst) else int(worst),
                    met["visit_date"].max(), *said))  # fmt: skip
    return sorted(out, key=lambda row: (-row[2], -row[5].value, row[0], row[1]))


@pytest.mark.parametrize("selection", SELECTIONS)
def test_cows_are_those_of_the_findings(demo_ledger: Ledger, selection: Selection) -> None:
    found = cows_found(demo_ledger, selection)
    columns = ["farm", "cow", "findings", "visits", "worst", "last", "lesions", "feet"]
    rows = [
        tuple(None if name == "worst" and pd.isna(value) else value for name, value in zip(columns, row, strict=True))
        for row in found[columns].itertuples(index=False)
    ]
    assert rows == in_plain_python(fetch(demo_ledger, findings(selection)))
    assert len(found) == int(count(demo_ledger, selection, (), "cow").table["cases"].iloc[0])


def test_the_first_ones_alone_are_the_first_of_all(demo_ledger: Ledger) -> None:
    every = cows_found(demo_ledger, Selection())
    assert len(every) > 50
    pd.testing.assert_frame_equal(cows_found(demo_ledger, Selection(), 50), every.head(50))


def test_nobody_found(demo_ledger: Ledger) -> None:
    none = cows_found(demo_ledger, Selection(farms=("Nowhere",)), 10)
    assert none.empty
    assert {"lesions", "feet"} <= set(none.columns)
