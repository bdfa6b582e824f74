"""How quick it is, beside peers doing the same in one run: ``python -m tests.scale`` or ``make bench``.

Prints one table. Nothing here is a test: times depend on the machine; the ratios are what to compare. Sheets and
ledgers are made under ``build/scale`` and kept there; they may be deleted at any time.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from evenfoot.dashboard.cli.demo import build
from tests.scale import imports, viewers, views
from tests.scale.table import best, exponent, head, line, milliseconds

COMMAND = [sys.executable, "-c", "from evenfoot.dashboard.cli.main import main; main()"]
SIZES = (10_000, 100_000, 1_000_000)
FULL = (*SIZES, 10_000_000)
"""The largest takes some minutes and 5 GB of disk."""
FLAT_FROM = 100_000
"""What one farm's views are held against, and the least that is asked for over HTTP beside larger ones."""


def command_times(ledger: Path) -> None:
    """Whole commands, as a shell would run them."""
    head("Commands on the demo herds, from start to end")
    for name, words in {
        "evenfoot --help": ["--help"],
        "evenfoot table prevalence": ["table", "prevalence", "--ledger", str(ledger)],
        "evenfoot table locomotion": ["table", "locomotion", "--ledger", str(ledger)],
        "evenfoot table comparison": ["table", "comparison", "--by", "housing", "--ledger", str(ledger)],
    }.items():
        run = lambda words=words: subprocess.run([*COMMAND, *words], capture_output=True, check=True)  # noqa: E731
        line(name, milliseconds(best(run, 5)[0].clock))
    pandas, _ = best(lambda: subprocess.run([sys.executable, "-c", "import pandas"], check=True), 5)
    line("python -c 'import pandas' (the least such a command can take)", milliseconds(pandas.clock))


def growth(seconds: dict[int, dict[str, float]]) -> None:
    """How the times grow with the size."""
    head("Growth with the size")
    for name in dict.fromkeys(name for each in seconds.values() for name in each):
        times = {size: each[name] for size, each in seconds.items() if name in each}
        if len(times) < 2:
            continue
        told = f"time grows with the power {exponent(list(times), list(times.values())):.2f} of the size"
        largest = max(times)
        if FLAT_FROM in times and largest > FLAT_FROM and "one farm" in name:
            told += f"; {times[largest] / times[FLAT_FROM]:.2f}x from {FLAT_FROM:,} to {largest:,}"
        line(name, "", told)


def main() -> None:
    """Run the benchmarks at the sizes asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--full", action="store_true", help="up to ten million findings")
    parser.add_argument("--sizes", type=int, nargs="*", help="these numbers of findings instead")
    parser.add_argument(
        "--keep-ledgers", action="store_true", help="use ledgers of an earlier run where they are there"
    )
    words = parser.parse_args()
    began = time.monotonic()
    # What libraries warn of does not belong among the figures.
    os.environ.setdefault("PYTHONWARNINGS", "ignore")
    sizes = tuple(sorted(words.sizes)) if words.sizes else FULL if words.full else SIZES
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.duckdb"
        build(str(path)).lease.drop_if_idle()
        command_times(path)
    seconds: dict[int, dict[str, float]] = {}
    for size in sizes:
        place = imports.FOLDER / f"ledger-{size}.duckdb"
        if words.keep_ledgers and place.exists():
            told: dict[str, float] = {}
        else:
            place, took = imports.run(size)
            told = {"import": took["spent"][0]}
        seconds[size] = told | views.run(place, size)
        if size >= FLAT_FROM or size == sizes[-1]:
            seconds[size] |= viewers.run(place, size)
    if len(sizes) > 1:
        growth(seconds)
    line("the whole run", f"{(time.monotonic() - began) / 60:,.0f} min")


if __name__ == "__main__":
    main()
