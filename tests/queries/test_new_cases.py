"""New cases counted from sorted lists are those of a plain count, however days fall together."""

from __future__ import annotations

import datetime as dt
import itertools
import random
from collections import Counter, defaultdict
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.episodes import new_cases_question
from evenfoot.analytics.queries.selection import Selection
from tests.effort import some
from tests.sheets import checked, ledger_of

FIRST = dt.date(2025, 1, 5)


def trimmed(seed: int) -> list[dict[str, Any]]:
    """Several findings a day, on two claws, of two severities, at visits of two kinds, many a gap's length apart."""
    draw = random.Random(seed)
    return [
        {
            "farm": farm, "cow": str(cow), "visit_date": FIRST + dt.timedelta(days=day),
            "herd_size": 1, "visit_kind": "whole-herd" if day % 3 else "lame-cow", "lesion": draw.choice(["SU", "WL"]),
            "severity": draw.choice([1, 2]), "foot": "RH", "claw": draw.choice(["lateral", "medial"]),
        }
        for farm in ("Elm", "Fern")
        for cow in range(12)
        for day in draw.sample([0, 1, 2, 30, 89, 90, 91, 92, 120, 180, 181, 270, 300], 6)
        for _ in range(draw.randint(1, 3))
    ]  # fmt: skip


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ledger, list[dict[str, Any]]]:
    rows = trimmed(5)
    return ledger_of(tmp_path_factory.mktemp("l") / "l.duckdb", checked("trims", rows)), rows


SELECTIONS = (
    Selection(), Selection(visits=("all",)), Selection(visits=("lame-cow",)), Selection(severity=(2,)),
    Selection(since=FIRST + dt.timedelta(days=60), until=FIRST + dt.timedelta(days=200)),
    Selection(seasons=("spring",)),
    Selection(farms=("Elm", "Fern"), lesions=("SU",)), Selection(claws=("medial",)),
)  # fmt: skip


@pytest.mark.parametrize(("selection", "gap"), some(itertools.product(SELECTIONS, (1, 2, 90)), 4))
def test_lists_say_what_days_in_order_do(filled: tuple[Ledger, Any], selection: Selection, gap: int) -> None:
    ledger, _ = filled
    for by in ((), ("lesion",), ("farm", "month"), ("season", "lesion"), ("year",)):
        for place in ("cow", "claw"):
            by_lists, in_order = (
                fetch(ledger, new_cases_question(selection, by, place, gap, lists)) for lists in (True, False)
            )
            if by:
                by_lists, in_order = (
                    frame.sort_values(list(by)).reset_index(drop=True) for frame in (by_lists, in_order)
                )
            pd.testing.assert_frame_equal(by_lists, in_order)


@pytest.mark.parametrize("gap", [1, 2, 90])
@pytest.mark.parametrize("kinds", [("whole-herd",), ("lame-cow",), ("whole-herd", "lame-cow")])
def test_new_cases_equal_a_plain_count(
    filled: tuple[Ledger, list[dict[str, Any]]], kinds: tuple[str, ...], gap: int
) -> None:
    ledger, rows = filled
    days = defaultdict(dict)
    for row in rows:
        seen = days[row["farm"], row["cow"], row["lesion"]]
        seen[row["visit_date"]] = seen.get(row["visit_date"], False) or row["visit_kind"] in kinds
    wanted: Counter[str] = Counter()
    for (_, _, lesion), seen in days.items():
        before = None
        for day in sorted(seen):
            wanted[lesion] += seen[day] and (before is None or (day - before).days >= gap)
            before = day
    found = fetch(ledger, new_cases_question(Selection(visits=kinds), ("lesion",), "cow", gap, True))
    assert dict(zip(found["lesion"], found["new_cases"], strict=True)) == dict(wanted)
