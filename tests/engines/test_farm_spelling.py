"""One farm has one name where several write at the same moment, on every engine but the embedded one."""

from __future__ import annotations

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.imports.add import add_sheets
from tests.engines.conftest import Maker
from tests.ledger.test_farm_spelling import SPELLINGS, at_once
from tests.sheets import checked

pytestmark = pytest.mark.long

ROUNDS = 5


def test_writers_of_two_spellings_take_turns(postgres_ledger: Maker) -> None:
    ledger = postgres_ledger()
    for n in range(ROUNDS):
        day = {"visit_date": "2026-03-02"}
        rows = [{"farm": f"{farm} {n}", "cow": str(cow), **day} for cow, farm in enumerate(SPELLINGS)]
        sheets = [checked("trims", [row]) for row in rows]
        errors = at_once([lambda one=one: add_sheets(ledger, [one], "a.csv", "") for one in sheets])  # type: ignore[misc]
        assert not errors
    assert len(ledger.farms()) == ROUNDS
    assert len(ledger.frame("SELECT * FROM trims")) == ROUNDS * len(SPELLINGS)


def test_a_registry_asks_to_bring_the_sheet_in_again(spark_ledger: Maker) -> None:
    ledger = spark_ledger()
    first, second = (
        [checked("trims", [{"farm": farm, "cow": "1", "visit_date": "2026-03-02"}])] for farm in SPELLINGS[:2]
    )
    add_sheets(ledger, first, "a.csv", "")
    with pytest.raises(UserError, match="came into the ledger as 'Racé Farm'"):
        add_sheets(ledger, second, "b.csv", "")
    assert ledger.farms() == ["Racé Farm"]
    assert add_sheets(ledger, first, "a.csv", "").already_known == 1
