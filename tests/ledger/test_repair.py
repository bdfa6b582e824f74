"""A ledger whose log cannot be read is told of, mended without losing a whole import, and nothing is thrown away."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.file_copy import kept_copies, log_of
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.repair import mend
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.sheets import checked, ledger_of

ROW = {"farm": "Ash", "visit_date": "2026-03-02", "cow": "1"}

LEAVE_A_LOG = """
import os, sys, duckdb
from evenfoot.analytics.ledger.checksums import changing
c = duckdb.connect(sys.argv[1])
c.begin()
with changing(c, "imports"):
    c.execute("UPDATE imports SET file = 'in the log.csv'")
c.commit()
os._exit(0)
"""


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [ROW]))
    ledger.lease.drop_if_idle()
    subprocess.run([sys.executable, "-c", LEAVE_A_LOG, ledger.name], check=True)
    return ledger


def log(ledger: Ledger) -> Path:
    return Path(ledger.name + ".wal")


def test_a_log_that_was_left_is_read(ledger: Ledger) -> None:
    assert log(ledger).stat().st_size > 0
    assert ledger.imports()["file"].tolist() == ["in the log.csv"]
    assert mend(ledger).log is None
    assert verify(ledger).whole


def test_a_log_that_cannot_be_read_is_told_of_and_put_aside(ledger: Ledger) -> None:
    content = bytearray(log(ledger).read_bytes())
    content[len(content) // 2] ^= 255
    log(ledger).write_bytes(content)
    for ask in (ledger.imports, lambda: add_sheets(ledger, [checked("trims", [ROW])], "b.csv", "")):
        with pytest.raises(UserError, match=r"cut short while it was written.*evenfoot repair"):
            ask()
    assert "evenfoot repair" in verify(ledger).findings[0]
    done = mend(ledger)
    assert done.log is not None and done.log.read_bytes() == bytes(content)
    assert (done.last_import, done.last_file) == (1, "made-up.csv")
    assert verify(ledger).whole
    assert add_sheets(ledger, [checked("trims", [{**ROW, "cow": "2"}])], "b.csv", "").added == 1


def test_a_ledger_that_is_damaged_itself_is_not_mended(ledger: Ledger) -> None:
    torn, rest = Path(ledger.name).read_bytes()[:300_000], log(ledger).read_bytes()
    Path(ledger.name).write_bytes(torn)
    with pytest.raises(UserError, match="put a backup back"):
        mend(ledger)
    [copy] = kept_copies(ledger)
    assert (copy.read_bytes(), log_of(copy).read_bytes()) == (torn, rest)


def test_the_log_of_a_deleted_ledger_is_no_part_of_a_new_one(ledger: Ledger, tmp_path: Path) -> None:
    Path(ledger.name).unlink()
    with pytest.raises(UserError, match="no ledger"):
        mend(ledger)
    add_sheets(ledger, [checked("trims", [ROW])], "new.csv", "")
    assert ledger.imports()["file"].tolist() == ["new.csv"]
    assert [path.name for path in tmp_path.glob("*.old")]


def test_an_empty_file_becomes_a_ledger(tmp_path: Path) -> None:
    place = tmp_path / "l.duckdb"
    place.touch()
    assert not open_ledger(place).exists
    with pytest.raises(UserError, match="no ledger"):
        open_ledger(place).imports()
    assert len(ledger_of(place, checked("trims", [ROW])).imports()) == 1
