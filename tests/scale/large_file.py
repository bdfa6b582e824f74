"""A file larger than memory, imported: ``python -m tests.scale.large_file [--gigabytes 5] [--memory 1500] [FOLDER]``.

Makes a trim sheet of so many gigabytes, imports it with the command in a process of its own, and prints the rate and
the most memory it held. Ends with an error where that was more than allowed, or rows are unaccounted for. Needs some
four times the file's size on the disk; FOLDER is made, and deleted at the end.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import time
from pathlib import Path

import duckdb

from tests.scale.ledgers import YEARS, farm_name, farm_year
from tests.scale.table import head, line

PATTERN = 20
"""Farms that are made up; the others hold what these do, under names of their own."""
HERE = "@@"


def write(path: Path, size: int) -> int:
    """Write a sheet of at least *size* bytes, year by year; gives its rows."""
    names = list(farm_year(0, YEARS[0]))
    years = [[_lines(number, year) for number in range(PATTERN)] for year in YEARS]
    turn = sum(len(text) + count * (len(farm_name(0)) - len(HERE)) for year in years for text, count in year)
    rows = 0
    with path.open("w", newline="") as file:
        file.write(",".join(names) + "\n")
        for year in years:
            for repeat in range(-(-size // turn)):
                for number, (text, count) in enumerate(year):
                    file.write(text.replace(HERE, farm_name(repeat * PATTERN + number)))
                    rows += count
    return rows


def _lines(number: int, year: int) -> tuple[str, int]:
    columns = {name: values.tolist() for name, values in farm_year(number, year).items()}
    columns["farm"] = [HERE] * len(columns["farm"])
    rows = [",".join(f'"{cell}"' if "," in cell else cell for cell in row) for row in zip(*columns.values())]  # noqa: B905
    return "\n".join(rows) + "\n", len(rows)


_WRITE = """
import sys
from pathlib import Path
from tests.scale.large_file import write
print(write(Path(sys.argv[1]), int(sys.argv[2])))
"""


def _run(command: list[str], environment: dict[str, str]) -> tuple[str, resource.struct_rusage]:
    """What a command prints, and what it alone has used."""
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    with process.stdout as out:
        told = out.read()
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 4):  # 4: rows were set aside and the rest is in
        raise SystemExit(f"The import ended with {process.returncode}: {told}")
    return told, used


def main() -> None:
    """Make the sheet, import it, and look what came in."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path("build/large"))
    parser.add_argument("--gigabytes", type=float, default=5)
    parser.add_argument("--memory", type=float, default=1500, help="megabytes allowed")
    words = parser.parse_args()
    room = words.folder.resolve()
    room.mkdir(parents=True)
    try:
        sheet, ledger = room / "sheet.csv", room / "ledger.duckdb"
        # By a process of its own: what the importing one is told to have held begins with what this one holds.
        size = str(int(words.gigabytes * 1e9))
        made = subprocess.run([sys.executable, "-c", _WRITE, str(sheet), size], stdout=subprocess.PIPE, check=True)
        rows = int(made.stdout)
        head(f"Import of {rows:,} rows ({sheet.stat().st_size / 1e6:,.0f} MB)")
        command = [
            sys.executable,
            "-c",
            "from evenfoot.dashboard.cli.main import main; main()",
            "import",
            str(sheet),
            "--json",
        ]
        start = time.perf_counter()
        told, used = _run([*command, "--ledger", str(ledger)], {**os.environ, "TMPDIR": str(room)})
        clock = time.perf_counter() - start
        line("rate", f"{rows / clock:,.0f}/s", f"{clock / 60:.1f} min, {used.ru_utime + used.ru_stime:,.0f} s of work")
        peak = used.ru_maxrss / 1024
        line("most memory held", f"{peak:,.0f} MB", f"ledger {ledger.stat().st_size / 1e6:,.0f} MB")
        with duckdb.connect(str(ledger), read_only=True) as connection:
            [counted] = connection.execute(
                "SELECT rows_read, added + already_known + set_aside, added, (SELECT COUNT(*) FROM trim_rows) "
                "FROM imports"
            ).fetchall()
        if counted[:2] != (rows, rows) or counted[2] != counted[3]:
            raise SystemExit(
                f"{rows} rows were written; read, accounted for, added, held: {counted}; {json.dumps(told)}"
            )
        if peak > words.memory:
            raise SystemExit(f"{peak:,.0f} MB were held, {words.memory:,.0f} are allowed.")
    finally:
        shutil.rmtree(room)


if __name__ == "__main__":
    main()
