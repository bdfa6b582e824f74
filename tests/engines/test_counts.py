"""Counts on every engine against an independent count in plain Python sets, to the last digit."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.measures.lesions.incidence import incidence
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.lame_counts import count_scorings
from evenfoot.analytics.queries.monthly_series import monthly
from evenfoot.analytics.queries.selection import Selection
from tests.effort import WHOLE
from tests.engines.conftest import Maker
from tests.queries.test_counts import DAYS, EVERY, FEET, plain_count
from tests.queries.test_cow_periods import trimmed
from tests.queries.test_lame_months import breed_of, mixed
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

SELECTIONS = (Selection(visits=("all",)), Selection(), Selection(farms=("O'Hara's",)))
EACH = {"postgres": 3, "pyspark": 12}
"""Over the three selections every question is asked, or a quarter of them where an answer takes a second; in
``make test`` a third of that."""


def herd(seed: int) -> list[dict[str, Any]]:
    """Sheet rows of some 60 trims, with everything missing somewhere."""
    draw = random.Random(seed)
    rows: list[dict[str, Any]] = []
    places = [(farm, str(cow), day) for farm in ("O'Hara's", "Birch\\") for cow in range(9) for day in DAYS]
    for farm, cow, day in draw.sample(places, 60):
        trim = {
            "farm": farm,
            "cow": cow,
            "visit_date": day,
            "visit_kind": draw.choice(["whole-herd", "whole-herd", "lame-cow"]),
            # A herd of one, so that whoever is looked at is enough of it.
            "herd_size": 1,
            "housing": draw.choice(["freestall", "pasture", None]),
            "parity": draw.choice([1, 2, 3, 5, None]),
            "trimmer": draw.choice(["KV", None]),
            "feet_seen": draw.choice([None, None, "RH", "LH RH"]),
        }
        for _ in range(draw.randint(1, 3)):
            lesion = draw.choice(["DD", "SU", "WL", "IH", None])
            foot = draw.choice([*FEET, None])
            rows.append(
                {
                    **trim,
                    "foot": foot,
                    "claw": draw.choice(["lateral", "medial", None]) if foot else None,
                    "lesion": lesion,
                    "zone": draw.choice([0, 3, 4, 10, None]) if lesion else None,
                    "severity": draw.choice([1, 2, 3]) if lesion else None,
                    "dd_stage": draw.choice(["M0", "M2", None]) if lesion == "DD" else None,
                }
            )
    return rows


@pytest.fixture(scope="module")
def filled(elsewhere: Maker) -> tuple[Ledger, list[dict[str, Any]]]:
    ledger, rows = elsewhere(), herd(3)
    add_sheets(ledger, [checked("trims", rows)], "made-up.csv", "0" * 64)
    return ledger, rows


@pytest.mark.parametrize("selection", SELECTIONS, ids=["all visits", "whole-herd", "one farm"])
def test_counts_equal_a_plain_count(filled: tuple[Ledger, list[dict[str, Any]]], selection: Selection) -> None:
    ledger, rows = filled
    kept = [
        row
        for row in rows
        if (selection.all_visits or row["visit_kind"] == "whole-herd")
        and (not selection.farms or row["farm"] in selection.farms)
    ]
    step = EACH[ledger.dialect] * (1 if WHOLE else 3)
    for by, per in EVERY[SELECTIONS.index(selection) % step :: step]:
        table = count(ledger, selection, by, per).table
        got = {tuple(row[name] for name in by): (row["cases"], row["at_risk"]) for row in table.to_dict("records")}
        assert got == plain_count(kept, by, per), (by, per)


def test_any_name_of_a_farm_is_only_a_name(elsewhere: Maker) -> None:
    names = ["x' OR '1'='1", "'; DROP TABLE trims; --", "Birch\\", "a\\' OR 1=1 --", "$1", "50% of it", "Ærø – 牛"]
    rows = [
        {"farm": name, "cow": str(cow), "visit_date": DAYS[0], "visit_kind": "whole-herd", "lesion": "SU"}
        for place, name in enumerate(names, start=1)
        for cow in range(place)
    ]
    ledger = elsewhere()
    add_sheets(ledger, [checked("trims", rows)], "made-up.csv", "0" * 64)
    assert ledger.farms() == sorted(names)
    for place, name in enumerate(names, start=1):
        if ledger.dialect == "postgres" or place % 2:
            assert count(ledger, Selection(farms=(name,)), ()).table["at_risk"].sum() == place, name
    assert count(ledger, Selection(), ()).table["at_risk"].sum() == len(rows)


def test_counts_by_period_are_the_same_everywhere(elsewhere: Maker, tmp_path: Path) -> None:
    """Cows of months and quarters, laid out as bits, over the seam of two numbers, and a farm alone in a group."""
    bred = [{"farm": farm, "cow": str(cow), "breed": breed_of(farm, str(cow))}
            for farm in ("Elm", "Fern", "Gorse") for cow in range(8)]  # fmt: skip
    sheets = checked("trims", trimmed(4)), checked("locomotion", mixed(7)), checked("register", bred)
    theirs, ours = elsewhere(), ledger_of(tmp_path / "l.duckdb", *sheets)
    add_sheets(theirs, sheets, "made-up.csv", "0" * 64)
    everyone, some = Selection(), Selection(farms=("Elm", "Gorse"))
    for selection, by in (
        (everyone, ("month", "housing")),
        (some, ("quarter", "lesion")),
        (everyone, ("farm", "quarter")),
    ):
        pd.testing.assert_frame_equal(count(ours, selection, by).table, count(theirs, selection, by).table)
    for selection, by in ((everyone, ("quarter", "breed")), (some, ("month",))):
        one, other = (count_scorings(ledger, selection, by) for ledger in (ours, theirs))
        pd.testing.assert_frame_equal(one.table, other.table)
        pd.testing.assert_frame_equal(one.sums["lame"], other.sums["lame"])
        assert one.kinds == other.kinds
    pd.testing.assert_frame_equal(monthly(ours, everyone, "lesion"), monthly(theirs, everyone, "lesion"))
    one, other = (incidence(ledger, everyone, by=("lesion",)).table for ledger in (ours, theirs))
    pd.testing.assert_frame_equal(one, other)
