"""``kill -9`` at random moments while imports are added and undone: whole imports stay, acknowledged ones all.

Then at random moments of what is done to a whole ledger (:mod:`.one_step`): it is the old one or the new one.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.torture.forked import Tally, run, start
from tests.torture.imports import import_on_and_on, state_of
from tests.torture.one_step import killed_at_random


def main() -> int:
    times, chance, folder = start(300)
    tally = Tally("killed while writing")
    path, first, acknowledged = Path(), 0, {}
    for turn in range(times):
        if turn % 15 == 0:
            for old in folder.glob("**/*.duckdb*"):
                old.unlink()
            path, first, acknowledged = folder / f"ledger-{turn}.duckdb", 0, {}
        rows = chance.choice((1, 40, 700, 6000))
        told = run(
            import_on_and_on(str(path), first, rows, undo=chance.random() < 0.3),
            kill_after=chance.uniform(0, 0.35 if rows < 1000 else 1.2),
        )
        if told.crash or told.mistake:
            tally.fail(f"turn {turn}: {told.crash or told.mistake}")
            continue
        log = path.with_name(path.name + ".wal").exists()
        tally.add("left a log" if log else "left no log")
        done = {value[1]: value[0] for value in told.said if isinstance(value, tuple)}
        acknowledged |= {number: (rows, what) for number, what in done.items()}
        first = max([first, *(number + 1 for number in done)]) + 1
        seen = state_of(str(path))
        if seen.crash or seen.mistake:
            tally.fail(f"turn {turn}: the ledger does not open: {seen.crash or seen.mistake}")
            continue
        findings, there = seen.result
        for finding in findings:
            tally.fail(f"turn {turn}: {finding}")
        for number, (kept, what) in acknowledged.items():
            holds, undone = there.get(f"{number}.csv", (0, False))
            if what == "undone" and not (undone and holds == 0):
                tally.fail(f"turn {turn}: import {number} was undone and is there")
            if what == "added" and not undone and holds != kept:
                tally.fail(f"turn {turn}: import {number} holds {holds} of {kept} rows")
        beyond = [file for file in there if int(file[:-4]) not in acknowledged]
        tally.add("killed after it was kept, before it was told" if beyond else "killed before it was kept")
        for file in beyond:
            holds, undone = there[file]
            acknowledged[int(file[:-4])] = (holds, "undone" if undone else "added")
            if holds != (0 if undone else rows):
                tally.fail(f"turn {turn}: {file} holds {holds} of {rows} rows")
        tally.add("killed")
    killed_at_random(tally, max(1, times * 2 // 5), chance, folder)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
