"""The power goes: the end of the write-ahead log, or of the ledger itself, is torn off, blank, garbled or gone."""

from __future__ import annotations

import os
import random
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.engines.file_lease import Opened
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.repair import mend
from tests.torture.forked import Tally, Told, run, start
from tests.torture.imports import sheet_of, state_of

LOG_DAMAGES = ("torn off", "blank from there", "a bit flipped", "rubbish at the end", "gone", "untouched")
FILE_DAMAGES = ("torn off", "blank from there", "a bit flipped")


class Unfinished:
    """A connection whose process dies when it should be closed: what was committed is in the log only."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def __getattr__(self, name: str) -> Any:
        return getattr(self._connection, name)

    def close(self) -> None:
        os._exit(9)


def make(path: Path, rows: int) -> None:
    """A ledger with two imports in its file and a third in its log."""

    def first(_tell: Callable[[Any], None]) -> None:
        for turn in (1, 2):
            add_sheets(open_ledger(str(path)), [sheet_of(turn, 50)], f"{turn}.csv", "0" * 64)

    def last(_tell: Callable[[Any], None]) -> None:
        ledger = open_ledger(str(path))
        attempt = ledger.lease._attempt

        def unfinished(*, read_only: bool) -> tuple[Opened | None, str]:
            opened, refusal = attempt(read_only=read_only)
            if opened is not None and not read_only:
                opened.connection = Unfinished(opened.connection)  # type: ignore[assignment]
            return opened, refusal

        ledger.lease._attempt = unfinished  # type: ignore[method-assign]
        add_sheets(ledger, [sheet_of(3, rows)], "3.csv", "0" * 64)

    for work in (first, last):
        told = run(work)
        assert not told.crash and not told.mistake, told.crash or told.mistake


def damage(place: Path, how: str, chance: random.Random) -> None:
    if how == "gone":
        place.unlink()
        return
    content = bytearray(place.read_bytes())
    where = chance.randrange(len(content))
    if how == "torn off":
        content = content[:where]
    elif how == "blank from there":
        content[where:] = bytes(len(content) - where)
    elif how == "a bit flipped":
        content[where] ^= 1 << chance.randrange(8)
    elif how == "rubbish at the end":
        content += chance.randbytes(chance.randrange(1, 5000))
    place.write_bytes(content)


def mended(path: Path) -> Told:
    return run(lambda _tell: str(mend(open_ledger(str(path)))))


def judge(tally: Tally, what: str, path: Path, rows: int, *, file_hurt: bool) -> None:
    seen = state_of(str(path))
    if seen.crash:
        tally.fail(f"{what}: {seen.crash}")
        return
    if seen.mistake:
        tally.add(f"{what}: told")
        if "\n" in seen.mistake:
            tally.fail(f"{what}: told in more than a line: {seen.mistake}")
        if file_hurt:
            return
        after = mended(path)
        if after.crash or after.mistake:
            tally.fail(f"{what}: cannot be mended: {after.crash or after.mistake}")
            return
        seen = state_of(str(path))
        if seen.crash or seen.mistake:
            tally.fail(f"{what}: after mending: {seen.crash or seen.mistake}")
            return
    findings, there = seen.result
    if file_hurt and findings:
        tally.add(f"{what}: found by verify")
        return
    for finding in findings:
        tally.fail(f"{what}: {finding}")
    expected = {"1.csv": (50, False), "2.csv": (50, False)}
    if there == expected | {"3.csv": (rows, False)}:
        tally.add(f"{what}: all three imports whole")
    elif there == expected and not file_hurt:
        tally.add(f"{what}: the imports before whole, the last one not there")
    else:
        tally.fail(f"{what}: holds {there}")


def main() -> int:
    times, chance, folder = start(300)
    tally = Tally("torn by a power cut")
    models = {}
    for rows in (1, 60, 2500, 9000):
        models[rows] = folder / f"model-{rows}.duckdb"
        make(models[rows], rows)
    for turn in range(times):
        rows = chance.choice(list(models))
        path = folder / "ledger.duckdb"
        log = path.with_name(path.name + ".wal")
        for old in folder.glob("ledger.duckdb*"):
            old.unlink()
        shutil.copyfile(models[rows], path)
        source = models[rows].with_name(models[rows].name + ".wal")
        if source.exists():
            shutil.copyfile(source, log)
        if turn % 3 < 2 and log.exists():
            how = chance.choice(LOG_DAMAGES)
            if how != "untouched":
                damage(log, how, chance)
            judge(tally, f"log {how}", path, rows, file_hurt=False)
        else:
            how = chance.choice(FILE_DAMAGES)
            damage(path, how, chance)
            judge(tally, f"file {how}", path, rows, file_hurt=True)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
