"""How quickly a sheet comes in, beside the engine's own scan of the file and beside pandas doing the same checks."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import duckdb

from tests.scale import by_pandas
from tests.scale.ledgers import FOLDER, big_sheet
from tests.scale.table import Cost, best, costed, head, line

_IMPORT = """
import json, sys, time
from pathlib import Path
# Loaded before the clock starts, as the engine is before its scan.
import evenfoot.analytics.intake.checks.plausibility, duckdb, pyarrow.csv, pyarrow.compute
from evenfoot.analytics.intake.large_files import stream as large_files
from evenfoot.analytics.intake.large_files.stream import check_stream
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports import bulk
from tests.peak import peak_megabytes
path, place = map(Path, sys.argv[1:3])
# In pieces whatever its size; a small file with cells that are not plain is read whole otherwise.
large_files.LARGEST_UNFOLDED = 0
if sys.argv[3] == "unresolved":
    bulk.rebuild = lambda execute, farms: None
start = time.perf_counter(), time.process_time()
ledger = open_ledger(place)
stream = check_stream(path, path.name, big_from=0)
result = bulk.add_stream(ledger, stream, path.name, "0")
spent = time.perf_counter() - start[0], time.process_time() - start[1]
peak = peak_megabytes()
print(json.dumps({"spent": spent, "peak": peak, "rows": result.read, "set_aside": result.set_aside}))
"""


_CHECK = """
import json, sys, tempfile, time
from pathlib import Path
import evenfoot.analytics.intake.checks.plausibility
from evenfoot.analytics.intake.large_files import stream as large_files
from evenfoot.analytics.intake.large_files.stream import check_stream
from evenfoot.analytics.ledger.imports.record_stream import Taken
path = Path(sys.argv[1])
large_files.LARGEST_UNFOLDED = 0
start = time.perf_counter(), time.process_time()
with tempfile.TemporaryDirectory() as folder:
    taken = Taken(check_stream(path, path.name, big_from=0), Path(folder))
    for batch in taken.batches():
        pass
print(json.dumps([time.perf_counter() - start[0], time.process_time() - start[1]]))
"""


def checked_alone(sheet: Path) -> Cost:
    """Reading the sheet, every check, and which rows repeat, in a process of its own; nothing is stored."""
    told = subprocess.run([sys.executable, "-c", _CHECK, str(sheet)], stdout=subprocess.PIPE, text=True, check=True)
    return Cost(*json.loads(told.stdout.splitlines()[-1]))


def ledger_of_size(findings: int) -> tuple[Path, dict[str, Any]]:
    """A ledger of the big sheet, made anew in a process of its own, and what that took."""
    place = FOLDER / f"ledger-{findings}.duckdb"
    for old in (place, *FOLDER.glob(f"{place.stem}-*.parquet")):
        old.unlink(missing_ok=True)
    return place, _imported(findings, place, "resolved")


def stored_alone(findings: int) -> Cost:
    """The big sheet read, checked and stored in a process of its own, and nothing resolved for counting."""
    with tempfile.TemporaryDirectory(dir=FOLDER) as folder:
        return Cost(*_imported(findings, Path(folder) / "rows.duckdb", "unresolved")["spent"])


def _imported(findings: int, place: Path, how: str) -> dict[str, Any]:
    told = subprocess.run(
        [sys.executable, "-c", _IMPORT, str(big_sheet(findings)), str(place), how], stdout=subprocess.PIPE, text=True,
        check=True,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(told.stdout.splitlines()[-1])
    return found


def scan(sheet: Path) -> int:
    """The limit: the engine reads the file into a table of the same columns, and checks nothing."""
    place = FOLDER / "scan.duckdb"
    place.unlink(missing_ok=True)
    with duckdb.connect(str(place)) as connection:
        connection.execute("SET enable_progress_bar = false")
        connection.execute(f"CREATE TABLE sheet AS SELECT * FROM read_csv('{sheet}')")
        [(rows,)] = connection.execute("SELECT COUNT(*) FROM sheet").fetchall()
    place.unlink()
    return int(rows)


TABLES = ("trim_rows", "trims", "findings", "scores", "cows")


def _rows_of(place: Path) -> dict[str, int]:
    with duckdb.connect(str(place), read_only=True) as connection:
        counts = {name: connection.execute(f"SELECT COUNT(*) FROM {name}").fetchall() for name in TABLES}
    return {name: int(rows) for name, [(rows,)] in counts.items()}


def _beside_pandas(sheet: Path, place: Path, told: dict[str, Any], whole: Cost) -> None:
    """Pandas on the same sheet, once reading and checking only, once with the same tables stored."""
    rows = int(told["rows"])
    checked, (_, refused) = costed(lambda: by_pandas.checked(sheet))
    alone = checked_alone(sheet)
    line("  read and checked, nothing stored", f"{rows / alone.clock:,.0f}/s")
    line("pandas: read_csv and the same checks, nothing stored", f"{rows / checked.clock:,.0f}/s",
         f"time of Evenfoot's reading and checking: {checked.beside(alone)}")  # fmt: skip
    with tempfile.TemporaryDirectory(dir=FOLDER) as folder:
        stored, (counts, also_refused) = costed(lambda: by_pandas.stored(sheet, Path(folder)))
    line("pandas: the same, resolved and stored as Parquet", f"{rows / stored.clock:,.0f}/s",
         f"time of Evenfoot's whole import: {stored.beside(whole)}")  # fmt: skip
    if {refused, also_refused} != {int(told["set_aside"])}:
        raise SystemExit(f"pandas refuses {refused} rows, Evenfoot sets {told['set_aside']:.0f} aside")
    if counts != _rows_of(place):
        raise SystemExit(f"pandas stores {counts}, Evenfoot {_rows_of(place)}")


def run(findings: int) -> tuple[Path, dict[str, Any]]:
    """One size: print the rates side by side; gives the ledger made, and what that took."""
    sheet = big_sheet(findings)
    head(f"Import of {findings:,} findings ({sheet.stat().st_size / 1e6:,.0f} MB)")
    place, told = ledger_of_size(findings)
    rows = int(told["rows"])
    limit, _ = best(lambda: scan(sheet), 2)
    whole = Cost(*told["spent"])
    checked = Cost(*map(min, *(stored_alone(findings) for _ in range(2))))
    line("engine's own scan into a table of the same columns (limit)", f"{rows / limit.clock:,.0f}/s")
    line("Evenfoot: checked, stored, resolved for counting, committed", f"{rows / whole.clock:,.0f}/s",
         f"time of the limit: {whole.beside(limit)}")  # fmt: skip
    line("  of which checked and stored, without the resolving", f"{rows / checked.clock:,.0f}/s",
         f"time of the limit: {checked.beside(limit)}")  # fmt: skip
    if findings <= 1_000_000:
        _beside_pandas(sheet, place, told, whole)
    line("peak memory of the import", f"{told['peak']:,.0f} MB", f"ledger {place.stat().st_size / 1e6:,.0f} MB")
    return place, told
