"""The folder of a registry: changed whole or not at all, whoever is killed or writes at once. No Spark needed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.engines.registry import CONTENTS, RegistryFolder
from evenfoot.analytics.ledger.imports.add import add_sheets
from tests.engines.test_writing import trims
from tests.sheets import checked

pytestmark = pytest.mark.long

WRITER = """
import sys
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from tests.engines.test_writing import trims
from tests.sheets import checked
address, first, rounds = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
ledger = open_ledger(address)
print("ready", flush=True)
for number in range(rounds):
    low = 40 * number + first
    sheets = [checked("trims", trims("Ash", range(low, low + 30)) + trims(f"Elm {number % 3}", range(low, low + 30)))]
    add_sheets(ledger, sheets, f"{first}-{number}.csv", "0" * 64)
"""


def writer(address: str, first: int, rounds: int) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, address, str(first), str(rounds)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None and process.stdout.readline() == "ready\n"
    return process


def asked(folder: Path, sql: str) -> list[tuple[object, ...]]:
    """A question to the files that count, where TABLE(x) stands for a table."""
    contents = RegistryFolder(folder).contents()
    for table, files in contents.files.items():
        paths = [str(folder / name) for name in files.values()]
        sql = sql.replace(f"TABLE({table})", f"read_parquet({paths})")
    with duckdb.connect() as memory:
        return memory.execute(sql).fetchall()


@pytest.fixture
def registry(tmp_path: Path) -> tuple[Ledger, Path]:
    return open_ledger(f"pyspark://{tmp_path}/registry?buckets=4"), tmp_path / "registry"


def test_two_writers_take_turns_and_nothing_is_lost(registry: tuple[Ledger, Path]) -> None:
    ledger, folder = registry
    pair = [writer(ledger.address, 0, 5), writer(ledger.address, 15, 5)]
    for process in pair:
        _, said = process.communicate(timeout=600)
        assert process.returncode == 0, said
    rows = asked(folder, "SELECT COUNT(*), COUNT(DISTINCT row_key), COUNT(DISTINCT (farm, cow)) FROM TABLE(trim_rows)")
    cows = len({(farm, cow) for first in (0, 15) for n in range(5) for farm in ("Ash", f"Elm {n % 3}")
                for cow in range(40 * n + first, 40 * n + first + 30)})  # fmt: skip
    assert rows == [(cows, cows, cows)]
    told = asked(folder, "SELECT COUNT(DISTINCT import_no), SUM(added), SUM(rows_read) FROM TABLE(imports)")
    assert told == [(10, cows, 600)]
    assert asked(folder, "SELECT COUNT(*) FROM TABLE(trims)") == [(cows,)]


def test_a_writer_that_is_killed_leaves_whole_imports(registry: tuple[Ledger, Path]) -> None:
    ledger, folder = registry
    add_sheets(ledger, [checked("trims", trims("Ash", range(1000, 1003)))], "a.csv", "0" * 64)
    for first, wait in ((0, 0.1), (2000, 0.4), (4000, 0.8)):
        process = writer(ledger.address, first, 30)
        time.sleep(wait)
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=240)
        counted = asked(folder, "SELECT import_no, COUNT(*) FROM TABLE(trim_rows) GROUP BY 1 ORDER BY 1")
        assert counted == asked(folder, "SELECT import_no, added FROM TABLE(imports) WHERE added > 0 ORDER BY 1")
        assert asked(folder, "SELECT COUNT(DISTINCT (farm, cow)) FROM TABLE(trims)") == asked(
            folder, "SELECT COUNT(*) FROM TABLE(trim_rows)"
        )
    assert add_sheets(ledger, [checked("trims", trims("Oak", range(2)))], "b.csv", "0" * 64).added == 2


def test_a_full_disk_leaves_the_state_before(registry: tuple[Ledger, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    ledger, folder = registry
    add_sheets(ledger, [checked("trims", trims("Ash", range(3)))], "a.csv", "0" * 64)
    before = (folder / CONTENTS).read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, os.strerror(28))

    with monkeypatch.context() as patch:
        patch.setattr("evenfoot.analytics.ledger.engines.registry.os.replace", full)
        with pytest.raises(UserError, match=r"No space left on device.*nothing was changed"):
            add_sheets(ledger, [checked("trims", trims("Ash", range(3, 9)))], "b.csv", "0" * 64)
    assert (folder / CONTENTS).read_bytes() == before
    assert asked(folder, "SELECT COUNT(*) FROM TABLE(trim_rows)") == [(3,)]
    assert add_sheets(ledger, [checked("trims", trims("Ash", range(3, 9)))], "b.csv", "0" * 64).added == 6


def test_only_touched_buckets_are_written_anew(registry: tuple[Ledger, Path]) -> None:
    ledger, folder = registry
    farms = [f"Farm {number}" for number in range(8)]
    add_sheets(ledger, [checked("trims", [row for farm in farms for row in trims(farm, range(3))])], "a.csv", "0" * 64)
    before = RegistryFolder(folder).contents()
    add_sheets(ledger, [checked("trims", trims(farms[0], range(3, 5)))], "b.csv", "0" * 64)
    after = RegistryFolder(folder).contents()
    changed = {b for b, name in after.files["trims"].items() if before.files["trims"][b] != name}
    assert changed == {after.bucket_of(farms[0])} and len(after.files["trims"]) > 1
    assert after.changes == before.changes + 1


def test_files_that_no_longer_count_go_after_an_hour(registry: tuple[Ledger, Path]) -> None:
    ledger, folder = registry
    for number in range(2):
        add_sheets(ledger, [checked("trims", trims("Ash", range(number + 1)))], "a.csv", "0" * 64)
    old = set(folder.glob("trims/*.parquet"))
    assert len(old) == 2
    for path in folder.glob("*/*.parquet"):
        os.utime(path, (time.time() - 4000, time.time() - 4000))
    add_sheets(ledger, [checked("trims", trims("Ash", range(3)))], "a.csv", "0" * 64)
    kept = set(folder.glob("trims/*.parquet"))
    assert len(kept) == 1 and kept.isdisjoint(old)
    assert asked(folder, "SELECT COUNT(*) FROM TABLE(trims)") == [(3,)]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"changes": 1}', '"x"'])
def test_contents_that_make_no_sense_are_refused(registry: tuple[Ledger, Path], text: str) -> None:
    ledger, folder = registry
    folder.mkdir()
    (folder / CONTENTS).write_text(text)
    with pytest.raises(UserError, match="cannot be read as the contents of a registry"):
        _ = ledger.version


@pytest.mark.parametrize(
    "address", ["pyspark://", "pyspark:///", "pyspark:///x?buckets=none", "pyspark:///x?buckets=0"]
)
def test_addresses_that_make_no_sense_are_refused(address: str) -> None:
    with pytest.raises(UserError):
        open_ledger(address)
