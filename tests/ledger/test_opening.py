"""Another program writes between the moment the file is opened and the moment it is locked."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.engines.servers import refuse_or_skip
from tests.torture.disk_record import missing
from tests.torture.imports import sheet_of

PROGRAM = """
import sys
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from tests.torture.imports import sheet_of
ledger = open_ledger(sys.argv[1])
if sys.argv[2] == "writes":
    add_sheets(ledger, [sheet_of(2, 5)], "late.csv", "0" * 64)
else:
    print(sorted(ledger.frame("SELECT farm FROM trim_rows")["farm"].unique()))
"""

LATE = "fcntl:delay_enter=500000"
"""Microseconds that the program waits before it takes a lock."""


@pytest.mark.parametrize("what", ["writes", "reads"])
def test_what_is_written_meanwhile_is_neither_lost_nor_half_seen(what: str, tmp_path: Path) -> None:
    if why := missing():
        refuse_or_skip(why.rstrip("."))
    ledger = open_ledger(str(tmp_path / "ledger.duckdb"))
    add_sheets(ledger, [sheet_of(0, 5)], "first.csv", "0" * 64)
    ledger.lease.drop_if_idle()
    trace = tmp_path / "trace"
    command = ["strace", "-f", "-qq", "-o", str(trace), "-e", "trace=openat,fcntl", "-e", f"inject={LATE}"]
    command += [sys.executable, "-c", PROGRAM, ledger.name, what]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as late:
        until = time.monotonic() + 120
        # By us; to read also by the engine to look whether it is one of its files, to read its heads, and to lock it.
        times = 1 if what == "writes" else 4
        while not trace.exists() or trace.read_text(errors="replace").count(f'"{ledger.name}", O_R') < times:
            assert time.monotonic() < until and late.poll() is None, late.communicate()
            time.sleep(0.005)
        add_sheets(ledger, [sheet_of(1, 5)], "meanwhile.csv", "0" * 64)
        ledger.lease.drop_if_idle()
        said, mistakes = late.communicate(timeout=120)
        assert late.returncode == 0, mistakes
    assert said.strip() == ("" if what == "writes" else "['Farm 0', 'Farm 1']")
    farms = ["Farm 0", "Farm 1", "Farm 2"] if what == "writes" else ["Farm 0", "Farm 1"]
    assert ledger.farms() == farms
    assert verify(ledger).findings == ()
