"""How quick it is, beside peers doing the same in one run: ``python -m tests.scale`` or ``make bench``.

Prints one table. Nothing here is a test: times depend on the machine; the ratios are what to compare.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pandas as pd

from analytics.ledger import Ledger
from analytics.measures import kept
from analytics.measures.prevalence import prevalence
from analytics.tally.selection import Selection
from dashboard.demo import build
from tests.browser.conftest import start_server

COMMAND = [sys.executable, "-c", "from dashboard.cli import main; main()"]
REPEATS = 15


def seconds(work: Callable[[], Any], repeats: int = REPEATS) -> float:
    """Median time of a piece of work."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def say(what: str, value: float, beside: str = "") -> None:
    print(f"{what:<62}{value * 1000:>10.1f} ms  {beside}", flush=True)


def command_times(ledger: Path) -> None:
    """Whole commands, as a shell would run them."""
    for name, words in {
        "evenfoot --help": ["--help"],
        "evenfoot table prevalence": ["table", "prevalence", "--ledger", str(ledger)],
        "evenfoot table locomotion": ["table", "locomotion", "--ledger", str(ledger)],
        "evenfoot table comparison": ["table", "comparison", "--by", "housing", "--ledger", str(ledger)],
    }.items():
        run = lambda words=words: subprocess.run([*COMMAND, *words], capture_output=True, check=True)  # noqa: E731
        say(name, seconds(run, 5))
    say("python -c 'import pandas' (limit of any such command)", seconds(lambda: _python("import pandas"), 5))


def _python(code: str) -> None:
    subprocess.run([sys.executable, "-c", code], check=True)


def server_times(ledger: Path) -> None:
    """From the start of the server to its first page, and the views of one farm over HTTP."""
    start = time.perf_counter()
    process, address = start_server(ledger)
    try:
        say("serve: start to ready and first page answered", time.perf_counter() - start)
        time.sleep(3)
        for name, view in VIEWS.items():
            first = seconds(lambda view=view: _panel(address, *view), 1)
            again = [seconds(lambda view=view: _panel(address, *view), 1) for _ in range(40)]
            p95 = sorted(again)[int(len(again) * 0.95)]
            say(f"view over HTTP, first time: {name}", first, f"then p50 {statistics.median(again) * 1000:.1f}, "
                f"p95 {p95 * 1000:.1f} ms")  # fmt: skip
        memory = Path(f"/proc/{process.pid}/status")
        if memory.exists():
            size = next(line for line in memory.read_text().splitlines() if line.startswith("VmRSS"))
            print(f"server memory after these views: {int(size.split()[1]) / 1024:.0f} MB")
    finally:
        process.terminate()
        process.wait()


VIEWS = {
    "lesions by type, one farm": ("lesion-types", "/lesions", "?farms=Larkmoor"),
    "feet, claws and zones, one farm": ("lesion-feet", "/lesions", "?farms=Larkmoor"),
    "which cows, one farm": ("lesion-cows", "/lesions", "?farms=Larkmoor&lesions=SU"),
    "locomotion by month, one farm": ("locomotion-trend", "/locomotion", "?farms=Larkmoor"),
    "comparison of housing, all farms": ("comparison-risks", "/comparison", ""),
}


def _panel(address: str, name: str, path: str, search: str) -> bytes:
    place = {"name": name, "type": "panel"}
    body = {
        "output": '{"name":["MATCH"],"type":"panel"}.children',
        "outputs": {"id": place, "property": "children"},
        "inputs": [
            {"id": "address", "property": "search", "value": search},
            {"id": "narrow", "property": "data", "value": False},
        ],
        "state": [
            {"id": place, "property": "id", "value": place},
            {"id": "address", "property": "pathname", "value": path},
        ],
        "changedPropIds": ["address.search"],
    }
    asked = Request(
        f"{address}/_dash-update-component", json.dumps(body).encode(), {"Content-Type": "application/json"}
    )
    with urlopen(asked, timeout=60) as answer:
        return bytes(answer.read())


def count_times(ledger: Ledger) -> None:
    """One farm's lesions counted by Evenfoot, and the same by hand in pandas and in SQL, answers compared."""
    selection = Selection(farms=("Larkmoor",))
    with ledger.reading() as cursor:
        trims = cursor.execute("SELECT * FROM trims").df()
        findings = cursor.execute("SELECT * FROM findings").df()

    def ours() -> pd.DataFrame:
        kept.forget()
        return prevalence(ledger, selection, by=("lesion",)).table

    def by_pandas() -> pd.Series:
        here = findings[(findings["farm"] == "Larkmoor") & (findings["visit_kind"] == "whole-herd")]
        looked = trims[(trims["farm"] == "Larkmoor") & (trims["visit_kind"] == "whole-herd")]["cow"].nunique()
        return here.groupby("lesion")["cow"].nunique() / looked

    sql = """SELECT lesion, COUNT(DISTINCT cow) * 1.0 / (SELECT COUNT(DISTINCT cow) FROM trims
             WHERE farm = 'Larkmoor' AND visit_kind = 'whole-herd') AS share
             FROM findings WHERE farm = 'Larkmoor' AND visit_kind = 'whole-herd' GROUP BY lesion"""

    def by_sql() -> pd.DataFrame:
        with ledger.reading() as cursor:
            return cursor.execute(sql).df()

    mine = ours().set_index("lesion")["prevalence"].sort_index()
    pd.testing.assert_series_equal(mine, by_pandas().sort_index(), check_names=False)
    pd.testing.assert_series_equal(mine, by_sql().set_index("lesion")["share"].sort_index(), check_names=False)
    own, hand, raw = seconds(ours), seconds(by_pandas), seconds(by_sql)
    say("one farm's lesions with interval, basis and cautions", own)
    say("the same shares by hand in pandas, rows already in memory", hand, f"ratio {own / hand:.1f}")
    say("the same shares in raw SQL", raw, f"ratio {own / raw:.1f}")


def main() -> None:
    """Run everything on the demo herds."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.duckdb"
        start = time.perf_counter()
        ledger = build(str(path))
        rows = int(ledger.imports()["rows_read"].sum())
        took = time.perf_counter() - start
        say(f"demo ledger built from {rows:,} rows", took, f"{rows / took:,.0f} rows a second")
        count_times(ledger)
        ledger.lease.drop_if_idle()
        command_times(path)
        server_times(path)


if __name__ == "__main__":
    main()
