"""The power goes while the system still holds writes that are not on the disk yet.

Imports and every change of a whole ledger are done once under ``strace``. Then, for a random moment of it, a folder is
made as a disk may hold it: what was asked to the disk is there, of the rest none, all, some, or the first of it.
What was told to be done must be there; the rest is there whole or not at all.
"""

from __future__ import annotations

import os
import random
import shutil
import sys
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.repair import mend
from tests.torture.disk_record import Record, missing
from tests.torture.forked import Tally, run, start
from tests.torture.imports import sheet_of, state_of
from tests.torture.one_step import CHANGES, Known

IMPORTS = ((1, 40), (2, 3000), (3, 1), (4, 700))
"""Turn and rows of each import, the first of which makes the ledger."""

UNDONE = 2
"""The turn that is taken back at the end."""


def act(what: str, folder: Path, told: Path) -> None:
    """Do what is to be recorded, saying in the file *told* what is done as soon as it is."""
    said = os.open(told, os.O_WRONLY | os.O_CREAT)

    def tell(value: Any) -> None:
        os.write(said, f"{value}\n".encode())

    if what == "imports":
        ledger = open_ledger(str(folder / "ledger.duckdb"))
        numbers = {}
        for turn, rows in IMPORTS:
            numbers[turn] = add_sheets(ledger, [sheet_of(turn, rows)], f"{turn}.csv", "0" * 64).import_no
            tell(f"added {turn}")
        undo_import(ledger, numbers[UNDONE])
        tell(f"undone {UNDONE}")
    else:
        [change] = [one for one in CHANGES if one.name == what]
        change.work(folder)(tell)


def record(what: str, folder: Path) -> Record:
    told = folder.with_name("told")
    words = "import sys; from pathlib import Path; from tests.torture.power_cut import act; "
    words += "act(sys.argv[1], *map(Path, sys.argv[2:]))"
    try:
        return Record.of([sys.executable, "-c", words, what, str(folder), str(told)], folder, told)
    finally:
        told.unlink(missing_ok=True)


def judge_imports(tally: Tally, what: str, place: Path, told: list[str]) -> None:
    """Whether every import is there whole or not at all, and those told are."""
    path = place / "ledger.duckdb"
    seen = state_of(str(path))
    if seen.mistake:
        tally.add("imports: told that the log cannot be read, mended")
        mended = run(lambda _tell: str(mend(open_ledger(str(path)))))
        if mended.crash or mended.mistake:
            tally.fail(f"{what}: told {seen.mistake!r}, and cannot be mended: {mended.crash or mended.mistake}")
            return
        seen = state_of(str(path))
    if seen.crash or seen.mistake:
        tally.fail(f"{what}: {seen.crash or seen.mistake}")
        return
    findings, there = seen.result
    for finding in findings:
        tally.fail(f"{what}: {finding}")
    for turn, rows in IMPORTS:
        holds, undone = there.get(f"{turn}.csv", (0, False))
        if f"added {turn}" in told and f"{turn}.csv" not in there:
            tally.fail(f"{what}: import {turn} was told and is not there")
        if holds not in (0, rows) or (holds == 0 and f"{turn}.csv" in there and not undone):
            tally.fail(f"{what}: import {turn} holds {holds} of {rows} rows")
        if undone and turn != UNDONE:
            tally.fail(f"{what}: import {turn} was never taken back")
    if f"undone {UNDONE}" in told and there.get(f"{UNDONE}.csv") != (0, True):
        tally.fail(f"{what}: taking back import {UNDONE} was told and is not so")
    more = len(there) > sum(line.startswith("added") for line in told)
    tally.add(f"imports: {'one that was not told yet is whole' if more else 'what was told is whole'}")


def cut_short(tally: Tally, what: str, times: int, chance: random.Random, folder: Path) -> None:
    """Record one piece of work, and look at what disks may hold of it at random moments."""
    known = None
    before = folder / "recorded"
    shutil.rmtree(before, ignore_errors=True)
    if what == "imports":
        before.mkdir()
    else:
        [change] = [one for one in CHANGES if one.name == what]
        known = Known.by_doing(change, folder / f"known-{CHANGES.index(change)}")
        known.laid_out(before)
    done = record(what, before)
    for turn in range(times):
        place, in_order = folder / "after", turn % 2 == 0
        cut = chance.choice(done.telling()) if turn % 4 < 2 else chance.randrange(len(done.events) + 1)
        done.lay_out(cut, place, chance, names_in_order=in_order)
        told = done.told_before(cut)
        how = f"power cut, names {'in order' if in_order else 'each by itself'}"
        if known is None:
            judge_imports(tally, f"{how}: imports", place, told)
        else:
            known.judge(tally, how, place, done="done" in told)


def main() -> int:
    times, chance, folder = start(1000)
    tally = Tally("power cut")
    if why := missing():
        print(why)
        return 0
    for what in ("imports", *(change.name for change in CHANGES)):
        cut_short(tally, what, max(1, times * (3 if what == "imports" else 1) // (len(CHANGES) + 3)), chance, folder)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
