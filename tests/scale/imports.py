"""How quickly a sheet comes in, beside the engine's own scan of the file and beside pandas doing the same checks."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from analytics.intake.checks import RANGES
from analytics.trade.feet import understand_claw, understand_foot
from analytics.trade.housing import understand_floor, understand_housing
from analytics.trade.lesions import parent_of, says_nothing_found, understand_lesion
from analytics.trade.visits import understand_visit_kind
from tests.scale.ledgers import FOLDER, big_sheet
from tests.scale.table import Cost, best, costed, head, line

_IMPORT = """
import json, resource, sys, time
from pathlib import Path
import analytics.intake.checks, pandera.pandas
from analytics.intake.streaming import check_stream
from analytics.ledger import bulk, open_ledger
spent = [0.0, 0.0]
rebuild = bulk.rebuild
def now():
    return time.perf_counter(), time.process_time()
def counted(*words):
    start = now()
    rebuild(*words)
    for place, (before, after) in enumerate(zip(start, now())):
        spent[place] += after - before
bulk.rebuild = counted
path, place = map(Path, sys.argv[1:])
start = now()
ledger = open_ledger(place)
stream = check_stream(path, path.name, big_from=0)
result = bulk.add_stream(ledger, stream, path.name, "0")
whole = [after - before for before, after in zip(start, now())]
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps({"whole": whole, "derived": spent, "peak": peak, "rows": result.read, "set_aside": result.set_aside}))
"""


_CHECK = """
import json, sys, tempfile, time
from pathlib import Path
import analytics.intake.checks, pandera.pandas
from analytics.intake.streaming import check_stream
from analytics.ledger.incoming import Taken
path = Path(sys.argv[1])
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
    sheet = big_sheet(findings)
    place = FOLDER / f"ledger-{findings}.duckdb"
    place.unlink(missing_ok=True)
    told = subprocess.run(
        [sys.executable, "-c", _IMPORT, str(sheet), str(place)], stdout=subprocess.PIPE, text=True, check=True
    )
    return place, json.loads(told.stdout.splitlines()[-1])


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


def by_pandas(sheet: Path) -> tuple[int, int]:
    """What a careful hand would write in pandas: read, understand the words, check; rows kept and refused."""
    frame = pd.read_csv(sheet, dtype="str", keep_default_na=False)
    text = frame.apply(lambda column: column.str.strip())
    none = text == ""
    out = pd.DataFrame(index=frame.index)
    bad = pd.Series(False, index=frame.index)
    for name in ("visit_date", "recheck_on"):
        out[name] = pd.to_datetime(text[name].mask(none[name]), format="%Y-%m-%d", errors="coerce")
        bad |= out[name].isna() & ~none[name]
    for name, understand in {
        "visit_kind": understand_visit_kind,
        "housing": understand_housing,
        "floor": understand_floor,
        "foot": understand_foot,
        "claw": understand_claw,
        "lesion": understand_lesion,
    }.items():
        words = {word: understand(word) for word in text[name].unique() if word}
        out[name] = text[name].map(words)
        nothing = text[name].map({word: says_nothing_found(word) for word in text[name].unique()})
        bad |= out[name].isna() & ~none[name] & ~(nothing if name == "lesion" else False)
    out["lesion"] = out["lesion"].map({code: parent_of(code) for code in out["lesion"].dropna().unique()})
    for name in ("herd_size", "parity", "zone", "severity", "locomotion_score"):
        out[name] = pd.to_numeric(text[name].mask(none[name]), errors="coerce").astype("Int64")
        low, high = RANGES[name][:2] if name in RANGES else (1, 5)
        bad |= (out[name].isna() & ~none[name]) | ((out[name] < low) | (out[name] > high)).fillna(False)
    bad |= out["visit_date"].isna() | none["farm"] | none["cow"] | (out["visit_date"] > pd.Timestamp.today())
    bad |= out["claw"].notna() & out["foot"].isna()
    bad |= (out["zone"].notna() | out["severity"].notna()) & out["lesion"].isna()
    bad |= out["recheck_on"] < out["visit_date"]
    for name in ("farm", "cow", "trimmer", "group", "breed", "action", "locomotion_scale", "dd_stage", "note"):
        out[name] = text[name].mask(none[name]).str.replace(r"\s+", " ", regex=True)
    kept = out[~bad].drop_duplicates()
    return len(kept), int(bad.sum())


def run(findings: int) -> tuple[Path, dict[str, Any]]:
    """One size: print the rates side by side; gives the ledger made, and what that took."""
    sheet = big_sheet(findings)
    head(f"Import of {findings:,} findings ({sheet.stat().st_size / 1e6:,.0f} MB)")
    place, told = ledger_of_size(findings)
    rows = int(told["rows"])
    limit, _ = best(lambda: scan(sheet), 2)
    whole, derived = Cost(*told["whole"]), Cost(*told["derived"])
    checked = Cost(whole.clock - derived.clock, whole.work - derived.work)
    line("engine's own scan into a table of the same columns (limit)", f"{rows / limit.clock:,.0f}/s")
    line("Evenfoot: checked, stored, resolved for counting, committed", f"{rows / whole.clock:,.0f}/s",
         f"time of the limit: {whole.beside(limit)}")  # fmt: skip
    line("  of which checked and stored, without the resolving", f"{rows / checked.clock:,.0f}/s",
         f"time of the limit: {checked.beside(limit)}")  # fmt: skip
    if findings <= 1_000_000:
        pandas, (_, refused) = costed(lambda: by_pandas(sheet))
        if refused != told["set_aside"]:
            raise SystemExit(f"pandas refuses {refused} rows, Evenfoot sets {told['set_aside']:.0f} aside")
        alone = checked_alone(sheet)
        line("  read and checked, nothing stored", f"{rows / alone.clock:,.0f}/s",
             f"time of the limit: {alone.beside(limit)}")  # fmt: skip
        line("pandas: read_csv and the same checks, nothing stored", f"{rows / pandas.clock:,.0f}/s",
             f"time of Evenfoot's reading and checking: {pandas.beside(alone)}")  # fmt: skip
    line("peak memory of the import", f"{told['peak']:,.0f} MB", f"ledger {place.stat().st_size / 1e6:,.0f} MB")
    return place, told
