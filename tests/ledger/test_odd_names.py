"""Ledgers with names and contents that no office gives them, told of in one sentence."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.engines.duckdb import TAKEN
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.erase import erase_farm

BOOK = b"date,farm,cow,lesion\n2026-03-14,Elm,1,ulcer\n2026-03-14,Oak,1,ulcer\n"


def _ledger(path: Path) -> Ledger:
    ledger = open_ledger(str(path))
    add_sheets(ledger, check_file(BOOK, "book.csv"), "book.csv", "0" * 64)
    return ledger


@pytest.mark.parametrize("name", ["select", "main", "temp", "table", "it's", 'a "b" c'])
def test_a_name_that_is_a_word_of_the_engine_is_no_trouble(tmp_path: Path, name: str) -> None:
    ledger = _ledger(tmp_path / f"{name}.duckdb")
    erase_farm(ledger, "Oak")
    assert ledger.farms() == ["Elm"]


@pytest.mark.parametrize("name", TAKEN)
def test_a_name_that_is_taken_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(UserError, match=f"{name.upper()}.duckdb"):
        open_ledger(str(tmp_path / f"{name.upper()}.duckdb"))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("said", ["x", "9" * 400, "-1", "", "\u0663", "1.5"])
def test_a_garbled_number_of_its_layout_is_told(tmp_path: Path, said: str) -> None:
    path = tmp_path / "book.duckdb"
    _ledger(path).lease.drop_if_idle()
    with duckdb.connect(str(path)) as connection:
        connection.execute("UPDATE meta SET value = ? WHERE name = 'schema'", [said])
        assert connection.execute("SELECT COUNT(*) FROM meta WHERE value = ?", [said]).fetchall() == [(1,)]
    with pytest.raises(UserError, match=r"does not say which layout|made by a newer"):
        open_ledger(str(path)).farms()
