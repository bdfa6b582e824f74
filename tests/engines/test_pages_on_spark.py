"""The dashboard over a registry's folder: its pages show what they show over a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.transfer import move
from evenfoot.dashboard.pages import PAGES, PANELS
from tests.auth.two_farms import two_farms
from tests.effort import WHOLE
from tests.engines.conftest import Maker
from tests.engines.panels import office_of, shown_by, unlike

pytestmark = pytest.mark.long

PATHS = ("/", "/lesions", "/comparison", "/farms")
FEW = tuple(PAGES[path].panels[0].name for path in PATHS)
"""The first panel of each; ``make test-whole`` draws all panels of all pages, which takes some minutes."""


@pytest.fixture(scope="module")
def pair(spark_ledger: Maker, tmp_path_factory: pytest.TempPathFactory) -> tuple[Ledger, Ledger]:
    """The same records in a file and in a registry."""
    farms = two_farms(tmp_path_factory.mktemp("farms") / "farms.duckdb")
    registry = spark_ledger()
    move(farms, registry)
    return farms, registry


def test_panels_are_the_same(pair: tuple[Ledger, Ledger], tmp_path: Path) -> None:
    names = tuple(PANELS) if WHOLE else FEW
    ours, theirs = (shown_by(office_of(each, tmp_path), "?visits=all&cow=1", names) for each in pair)
    assert {name: lines for name in names if (lines := unlike(ours[name], theirs[name]))} == {}
