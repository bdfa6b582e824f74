"""The demo herds in a registry folder, counted by Spark: the same rows, and the same answer of every measure."""

from __future__ import annotations

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.transfer import move
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.queries.selection import Selection
from tests.effort import WHOLE
from tests.engines.alike import differences
from tests.engines.conftest import Maker
from tests.engines.tables import assert_same_records
from tests.engines.test_measures_on_postgres import OF_ONE_FARM, OPTIONS

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def registry(demo_ledger: Ledger, spark_ledger: Maker) -> Ledger:
    ledger = spark_ledger()
    assert move(demo_ledger, ledger) > 40_000
    return ledger


def test_the_rows_are_the_same(demo_ledger: Ledger, registry: Ledger) -> None:
    assert_same_records(demo_ledger, registry)
    assert registry.farms() == demo_ledger.farms()


FEW = ("prevalence", "incidence", "horn")
"""Asked in every run: each is another way to count. ``make test-whole`` asks all, which takes some minutes."""


@pytest.mark.parametrize("name", list(MEASURES) if WHOLE else FEW)
def test_every_measure_answers_the_same(demo_ledger: Ledger, registry: Ledger, name: str) -> None:
    farms = (demo_ledger.farms()[0],) if name in OF_ONE_FARM else ()
    ours, theirs = (
        answer(name, each, Selection(farms=farms), **OPTIONS.get(name, {})) for each in (demo_ledger, registry)
    )
    assert differences(ours, theirs) == []
