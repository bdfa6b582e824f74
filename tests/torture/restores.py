"""Backups put back and farms erased while other programs import: what was told as done is in what is kept.

Several programs import; several others put a backup in the place of the ledger, or erase a farm, again and again. Every
import that was told as done must be in the ledger afterwards, or in one of the ledgers that were kept when a backup
took their place. A ledger in the middle of it all is whole.
"""

from __future__ import annotations

import random
import re
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.backup import restore
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from tests.torture.forked import Tally, Work, run, run_together, start
from tests.torture.imports import sheet_of, state_of

ROWS = 5
"""Of one import."""

IMPORTERS, CHANGERS = 2, 2
"""Programs that import, and that put backups back and erase, at the same time."""

A_ROUND = 50
"""Restores and erasures on one ledger before a new one is begun."""

Outcomes = list[tuple[str, str]]
"""What was tried, and the file of an import, or what was told."""


def importer(path: Path, number: int, end: Path) -> Work:
    """Import one sheet after another until the others have ended; gives the files that were told as done."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        ledger, chance = open_ledger(str(path)), random.Random(number)
        outcomes: Outcomes = []
        turn = 0
        while not end.exists():
            turn += 1
            time.sleep(chance.uniform(0, 0.3))
            file = f"{number}-{turn}.csv"
            try:
                done = add_sheets(ledger, [sheet_of(number * 100_000 + turn, ROWS)], file, "0" * 64)
                outcomes.append(("import", file) if done.added == ROWS else ("wrong", f"{file} added {done.added}"))
            except UserError as mistake:
                outcomes.append(("told", str(mistake)))
        return outcomes

    return work


def changer(path: Path, backup: Path, seed: int, times: int, end: Path) -> Work:
    """Put the backup back or erase a farm, so many times; the last program to finish says that it is the end."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        chance = random.Random(seed)
        ledger = open_ledger(str(path))
        outcomes: Outcomes = []
        for turn in range(times):
            what = chance.choice(("restore", "erasure"))
            try:
                if what == "restore":
                    restore(ledger, backup, replace=True)
                else:
                    number = 90_000_000 + seed * 1000 + turn
                    add_sheets(ledger, [sheet_of(number, ROWS)], f"erased-{number}.csv", "0" * 64)
                    erase_farm(ledger, f"Farm {number}")
                outcomes.append((what, ""))
            except UserError as mistake:
                outcomes.append(("told", str(mistake)))
            time.sleep(chance.uniform(0, 0.1))
        (end.parent / f"{seed}.ended").touch()
        if len(list(end.parent.glob("*.ended"))) == CHANGERS:
            end.touch()
        return outcomes

    return work


def one_round(tally: Tally, chance: random.Random, folder: Path, times: int) -> None:
    """So many restores and erasures by each of the programs, on a ledger of its own."""
    path, backup, end = folder / "ledger.duckdb", folder / "backup.duckdb", folder / "end"

    def begin(_tell: Callable[[Any], None]) -> None:
        for place, turn in ((path, 1), (backup, 2)):
            add_sheets(open_ledger(str(place)), [sheet_of(turn, ROWS)], f"first-{turn}.csv", "0" * 64)

    told = run(begin)
    assert not told.crash and not told.mistake, told.crash or told.mistake
    works = [importer(path, number, end) for number in range(1, IMPORTERS + 1)]
    works += [changer(path, backup, chance.randrange(10**6), times, end) for _ in range(CHANGERS)]
    done: list[str] = []
    for outcome in run_together(works):
        if outcome.crash or outcome.mistake:
            tally.fail(outcome.crash or outcome.mistake or "")
            end.touch()
            continue
        for what, said in outcome.result:
            if what == "import":
                done.append(said)
            elif what == "wrong":
                tally.fail(said)
            sentence = re.sub(r"'[^']*'", "...", said.replace(str(path), "it"))
            tally.add(what if what != "told" else f"told: {' '.join(sentence.split()[:8])}")
    judge(tally, path, done)


def judge(tally: Tally, path: Path, done: list[str]) -> None:
    """Whether every import told as done is there, whole, in the ledger or in one that was kept."""
    places = [path, *path.parent.glob(f"{path.name}.*.old")]

    def look(_tell: Callable[[Any], None]) -> dict[str, list[tuple[str, int]]]:
        counted = (
            "SELECT i.file, COUNT(t.row_key) AS n FROM imports i JOIN trim_rows t USING (import_no) GROUP BY i.file"
        )
        return {
            place.name: list(zip(*open_ledger(str(place)).frame(counted).to_dict("list").values(), strict=True))
            for place in places
        }

    for seen in (run(look), state_of(str(path))):
        if seen.crash or seen.mistake:
            tally.fail(f"what is there cannot be read: {seen.crash or seen.mistake}")
            return
        if isinstance(seen.result, tuple):
            for finding in seen.result[0]:
                tally.fail(f"{path.name}: {finding}")
            continue
        there = {file for files in seen.result.values() for file, _ in files}
        for place, files in seen.result.items():
            for file, rows in files:
                if rows != ROWS:
                    tally.fail(f"{place}: {file} holds {rows} of {ROWS} rows")
        for file in done:
            if file not in there:
                tally.fail(f"{file} was told as done and is nowhere")
    for left in path.parent.iterdir():
        if left.suffix in (".draft", ".wal", ".change"):
            tally.fail(f"left behind: {left.name}")


def main() -> int:
    times, chance, folder = start(1000)
    tally = Tally("restores and erasures beside imports")
    while times > 0:
        each = min(A_ROUND, times)
        place = folder / "round"
        place.mkdir()
        one_round(tally, chance, place, max(1, each // CHANGERS))
        shutil.rmtree(place)
        times -= each
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
