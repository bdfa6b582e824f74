"""One call to the system fails, at each step in turn: read, write, put on the disk, name, allocate memory.

``strace`` lets the N-th call of a kind fail with an error, on the ledger's own files (or, for memory, anywhere), while
a sheet is imported or an import is undone. Whatever fails, what was told as done is there, and the rest is whole or not
there. The idea is that of SQLite's tests [pub: sqlite.org, How SQLite Is Tested, 3.1 and 3.2].
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from tests.torture.disk_record import missing
from tests.torture.forked import Tally, Told, run, start
from tests.torture.imports import sheet_of, state_of

CALLS = {
    "read": "read,pread64",
    "write": "write,pwrite64",
    "sync": "fsync,fdatasync",
    "length": "ftruncate,fallocate",
    "open": "openat",
    "name": "rename,renameat2,link,unlink",
    "memory": "mmap,brk",
}
"""Kind -> calls of it."""

ERRORS = {"memory": ("ENOMEM",), "open": ("EMFILE", "EIO", "EACCES")}
"""Kind -> errors it fails with; EIO and ENOSPC without an entry."""

STEPS = {"read": 40, "write": 60, "sync": 8, "length": 6, "open": 12, "name": 8, "memory": 120}
"""Kind -> the last step that may fail; an import makes about so many calls of it."""

BEFORE = {"1.csv": (50, False), "2.csv": (50, False)}
ROWS = 400


def act(path: Path, what: str, kind: str, error: str, step: int) -> Told:
    """Do *what* in a child of which one call fails."""

    def work(_tell: Callable[[Any], None]) -> None:
        ledger, sheet = open_ledger(str(path)), sheet_of(3, ROWS)
        of_ledger = [] if kind == "memory" else [f"-P{path.with_name(path.name + ending)}" for ending in ENDINGS]
        command = ["strace", "-f", "-qq", "-o", "/dev/null", *of_ledger]
        command += ["-e", f"inject={CALLS[kind]}:error={error}:when={step}", "-p", str(os.getpid())]
        watcher = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 20
        while "TracerPid:\t0\n" in Path("/proc/self/status").read_text() and time.monotonic() < until:
            time.sleep(0.01)
        if watcher.poll() is not None:
            raise RuntimeError("strace did not start")
        if what == "undo":
            undo_import(ledger, 2)
        else:
            add_sheets(ledger, [sheet], "3.csv", "0" * 64)

    return run(work, limit=120)


ENDINGS = ("", ".wal", ".draft", ".change", ".change.wal")
"""Endings of the ledger's own files."""


def main() -> int:
    times, chance, folder = start(300)
    tally = Tally("failing calls")
    if why := missing():
        print(why)
        return 1
    model = folder / "model.duckdb"
    for turn in (1, 2):
        told = run(
            lambda _tell, turn=turn: add_sheets(open_ledger(str(model)), [sheet_of(turn, 50)], f"{turn}.csv", "0")
        )
        assert not told.crash and not told.mistake, told.crash or told.mistake
    for turn in range(times):
        place = folder / f"{turn}"
        place.mkdir()
        path = place / "ledger.duckdb"
        shutil.copyfile(model, path)
        kind = list(CALLS)[turn % len(CALLS)]
        error = chance.choice(ERRORS.get(kind, ("EIO", "ENOSPC")))
        step, what = chance.randint(1, STEPS[kind]), chance.choice(("import", "import", "undo"))
        told = act(path, what, kind, error, step)
        how = f"turn {turn}, {what}, {error} at {kind} {step}"
        done = not told.crash and not told.mistake
        # Without memory a program may end in any way; the ledger may not.
        if told.crash and kind != "memory":
            tally.fail(f"{how}: {told.crash}")
        if told.mistake and "\n" in told.mistake:
            tally.fail(f"{how}: told unclearly: {told.mistake}")
        tally.add(f"{kind}: {'done' if done else 'told' if told.mistake else 'ended'}")
        seen = state_of(str(path))
        if seen.crash or seen.mistake:
            tally.fail(f"{how}: afterwards: {seen.crash or seen.mistake} (told: {told.mistake or told.crash})")
            continue
        findings, there = seen.result
        for finding in findings:
            tally.fail(f"{how}: {finding}")
        after = BEFORE | ({"2.csv": (0, True)} if what == "undo" else {"3.csv": (ROWS, False)})
        if there not in ([after] if done else [BEFORE, after]):
            tally.fail(f"{how}: holds {there} (told: {told.mistake or told.crash or 'done'})")
        shutil.rmtree(place)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
