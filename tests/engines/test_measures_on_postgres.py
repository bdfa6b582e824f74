"""The demo herds imported into PostgreSQL: the same rows at rest, and the same answer of every measure."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.cli.demo import build
from tests.effort import some
from tests.engines.alike import differences
from tests.engines.conftest import new_database
from tests.engines.tables import assert_same_records

pytestmark = pytest.mark.long

OPTIONS: dict[str, dict[str, Any]] = {"change-impact": {"change": dt.date(2025, 5, 1)}}
OF_ONE_FARM = ("visit-review",)


@pytest.fixture(scope="module")
def office(postgres: str) -> Ledger:
    return build(new_database(postgres))


def test_the_same_files_become_the_same_rows(demo_ledger: Ledger, office: Ledger) -> None:
    assert_same_records(demo_ledger, office)
    assert office.farms() == demo_ledger.farms()
    ours, theirs = (each.imports().drop(columns="imported_at") for each in (demo_ledger, office))
    assert ours.astype(str).equals(theirs.astype(str))


@pytest.mark.parametrize("name", some(MEASURES))
def test_every_measure_answers_the_same(demo_ledger: Ledger, office: Ledger, name: str) -> None:
    farms = (demo_ledger.farms()[0],) if name in OF_ONE_FARM else ()
    selection = Selection(farms=farms)
    ours, theirs = (answer(name, each, selection, **OPTIONS.get(name, {})) for each in (demo_ledger, office))
    assert differences(ours, theirs) == []
