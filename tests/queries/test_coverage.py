"""What a selection rests on: the same of a farm alone, added up from its days, and of the farm among others."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.coverage import covered
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

SPLIT = ["asked", "kind", "known"]


def of_both(ledger: Ledger, farm: str, source: str, **narrowed: object) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The farm alone, and asked for together with one that has no records."""
    found = (
        covered(ledger, Selection(farms=farms).with_(**narrowed), source) for farms in ((farm,), (farm, "No Farm"))
    )
    alone, among = (frame.sort_values(SPLIT).reset_index(drop=True) for frame in found)
    return alone, among[list(alone.columns)]


@pytest.mark.parametrize("source", ["trims", "scores"])
@pytest.mark.parametrize(
    "narrowed",
    [{}, {"visits": ("all",)}, {"visits": ("lame-cow", "recheck")}, {"parity": ("1",)}, {"visits": ("unknown",)}],
    ids=str,
)
def test_the_demo_herds(demo_ledger: Ledger, source: str, narrowed: dict[str, object]) -> None:
    for farm in demo_ledger.farms():
        alone, among = of_both(demo_ledger, farm, source, **narrowed)
        pd.testing.assert_frame_equal(alone, among, check_dtype=False)


@pytest.mark.parametrize("visits", [("whole-herd",), ("all",), ("unknown",)])
def test_days_of_several_kinds_and_of_none(tmp_path: Path, visits: tuple[str, ...]) -> None:
    kinds = [
        ("03-01", "whole-herd"),
        ("03-01", "recheck"),
        ("03-02", None),
        ("03-02", "unknown"),
        ("04-09", "lame-cow"),
    ]
    rows = [
        {"date": f"2026-{day}", "farm": "Elm", "cow": f"{cow}", "visit_kind": kind, "lesion": "none"}
        for place, (day, kind) in enumerate(kinds)
        for cow in range(place, place + 3)
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    alone, among = of_both(ledger, "Elm", "trims", visits=visits)
    assert len(alone) > 1
    pd.testing.assert_frame_equal(alone, among, check_dtype=False)


def test_a_farm_without_records_is_empty(demo_ledger: Ledger) -> None:
    found = covered(demo_ledger, Selection(farms=("No Farm",)))
    assert found.empty and {*SPLIT, "visits", "trims", "farms_all", "visits_all", "first", "last"} <= set(found.columns)
