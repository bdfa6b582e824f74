"""Fixtures shared by all tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.ledger import Ledger


@pytest.fixture(scope="session")
def demo_ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """The demo herds, built once a test process. Read only: a test that changes it makes its own."""
    from dashboard.demo import build

    place: Path = tmp_path_factory.mktemp("demo") / "demo.duckdb"
    return build(str(place))
