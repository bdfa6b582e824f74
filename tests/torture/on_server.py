"""One ledger on a PostgreSQL server or in a registry's folder, and many programs at once: imports, undoing, erasures, a
backup put back, copies, readers.

Every import that was told as done is there, whole; what was undone or erased is not; of two backups put into an empty
place at one moment at most one is; a copy made in the middle of it all, and what a reader sees, is of one moment.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.copies import ERASED
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.selection import Selection
from tests.engines.servers import postgres_server
from tests.torture.forked import Tally, Work, run, run_together, start
from tests.torture.imports import sheet_of, state_of

ROWS = 5
"""Of one import."""

TURNS = 3
"""Of each program on one ledger."""

SHARED = 700_000
"""The number of the first sheet that every importer brings."""

TO_ERASE = 900_000
"""The number of the first farm that is erased."""

COPIES = 2
"""Of one ledger, a second apart."""

LATEST = 2.0
"""Seconds after which a program that writes begins, at the latest: now one is first, now another."""

SPARK_STARTS = 20.0
"""Seconds in which the reader of a registry has Spark ready; the others begin then."""

Outcomes = list[tuple[str, str]]
"""What was tried, and the file or farm it was about, or what was told."""


def tried(outcomes: Outcomes, what: str, about: str, act: Callable[[], Any]) -> Any:
    """Do it and note it; a sentence is noted too, and nothing else is an outcome."""
    try:
        done = act()
    except UserError as mistake:
        outcomes.append(("told", f"{what}: {mistake}"))
        return None
    outcomes.append((what, about))
    return done


def importer(address: str, number: int, wait: float, end: Path) -> Work:
    """Own sheets, of which every third is undone, and sheets that the other importers bring as well."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        ledger, outcomes = open_ledger(address), Outcomes()
        time.sleep(wait)
        for turn in range(TURNS):
            own, shared = f"{number}-{turn}.csv", f"{number}-shared-{turn}.csv"
            sheet = sheet_of(number * 1000 + turn, ROWS)
            done = tried(outcomes, "import", own, lambda s=sheet, f=own: add_sheets(ledger, [s], f, "0" * 64))  # type: ignore[misc]
            if done is not None and turn % 3 == 2:
                tried(outcomes, "undo", own, lambda n=done.import_no: undo_import(ledger, n))  # type: ignore[misc]
            sheet = sheet_of(SHARED + turn, ROWS)
            tried(outcomes, "shared import", shared, lambda s=sheet, f=shared: add_sheets(ledger, [s], f, "0" * 64))  # type: ignore[misc]
        end.touch()
        return outcomes

    return work


def eraser(address: str, number: int, wait: float) -> Work:
    """Farms that come in and are erased."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        ledger, outcomes = open_ledger(address), Outcomes()
        time.sleep(wait)
        for turn in range(TURNS - 1):
            farm = TO_ERASE + number * 100 + turn
            file = f"erased-{farm}.csv"
            sheet = sheet_of(farm, ROWS)
            if tried(outcomes, "to erase", file, lambda s=sheet, f=file: add_sheets(ledger, [s], f, "0" * 64)):  # type: ignore[misc]
                tried(outcomes, "erasure", f"Farm {farm}", lambda f=farm: erase_farm(ledger, f"Farm {f}"))  # type: ignore[misc]
        return outcomes

    return work


def restorer(address: str, backup: Path) -> Work:
    """Put the backup into a place that is empty, or no longer."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        outcomes = Outcomes()
        tried(outcomes, "restore", backup.name, lambda: restore(open_ledger(address), backup))
        return outcomes

    return work


def copier(address: str, folder: Path, ends: list[Path]) -> Work:
    """Copies of the ledger while the importers are at work."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        ledger, outcomes = open_ledger(address), Outcomes()
        while not ledger.exists:
            time.sleep(0.1)
        while len(outcomes) < COPIES and not all(end.exists() for end in ends):
            time.sleep(1)
            out = folder / f"copy-{len(outcomes)}.duckdb"
            tried(outcomes, "copy", str(out), lambda o=out: back_up(ledger, o))  # type: ignore[misc]
        return outcomes

    return work


def reader(address: str, ends: list[Path]) -> Work:
    """Three questions in one snapshot, again and again: all of one moment, and of whole imports."""

    def work(_tell: Callable[[Any], None]) -> Outcomes:
        ledger, outcomes = open_ledger(address), Outcomes()
        while not all(end.exists() for end in ends):
            time.sleep(0.05)
            # There is no ledger before the first import.
            with contextlib.suppress(UserError), ledger.snapshot():
                counted = "SELECT COUNT(*) AS n FROM trim_rows"
                before = int(ledger.frame(counted)["n"].iloc[0])
                table = count(ledger, Selection(), ()).table
                cows = int(table["at_risk"].iloc[0]) if len(table) else 0
                after = int(ledger.frame(counted)["n"].iloc[0])
                same = before == after == cows and before % ROWS == 0
                outcomes.append(("reading", "") if same else ("wrong", f"a reader saw {before}, {cows}, {after} rows"))
        return outcomes

    return work


def one_round(tally: Tally, chance: random.Random, address: str, folder: Path, begin_at: float = 0.0) -> None:
    """All of them on an empty database; who writes begins after so many seconds."""
    backup = folder / "backup.duckdb"

    def begin(_tell: Callable[[Any], None]) -> None:
        add_sheets(open_ledger(str(backup)), [sheet_of(0, ROWS)], "first.csv", "0" * 64)

    told = run(begin)
    assert not told.crash and not told.mistake, told.crash or told.mistake
    ends = [folder / f"{number}.ended" for number in range(1, 4)]
    works = [restorer(address, backup) for _ in range(2)]
    works += [importer(address, n, begin_at + chance.uniform(0, LATEST), end) for n, end in enumerate(ends, 1)]
    works += [eraser(address, number, begin_at + chance.uniform(0, LATEST)) for number in range(2)]
    works += [copier(address, folder, ends), reader(address, ends)]
    done: dict[str, list[str]] = {}
    for outcome in run_together(works):
        if outcome.crash or outcome.mistake:
            tally.fail(outcome.crash or outcome.mistake or "")
            continue
        for what, about in outcome.result:
            done.setdefault(what, []).append(about)
            sentence = about.replace(address.rpartition("@")[2], "it")
            tally.add(what if what != "told" else f"told: {' '.join(sentence.split()[:12])}")
    if done.get("told"):
        print(*done["told"], sep="\n", flush=True)
    for wrong in done.get("wrong", ()):
        tally.fail(wrong)
    judge(tally, address, done)


def judge(tally: Tally, address: str, done: dict[str, list[str]]) -> None:
    """Whether what was told is so in the ledger, and every copy is whole."""
    restored = done.get("restore", [])
    if len(restored) > 1:
        tally.fail("two backups were put into one empty place")
    # A machine that does much else may keep a connection waiting for longer than the program waits.
    seen = next((told for told in (state_of(address) for _ in range(5)) if not told.mistake), state_of(address))
    if seen.crash or seen.mistake:
        tally.fail(f"the ledger cannot be read: {seen.crash or seen.mistake}")
        return
    findings, there = seen.result
    for finding in findings:
        tally.fail(f"the ledger: {finding}")
    undone, gone = done.get("undo", []), {f"erased-{farm.split()[1]}.csv" for farm in done.get("erasure", [])}
    whole = {*done.get("import", []), *done.get("to erase", []), *(["first.csv"] if restored else [])}
    for file in whole - gone - {*undone}:
        if there.get(file) != (ROWS, False):
            tally.fail(f"{file} was told as done; in the ledger: {there.get(file)}")
    for file, (rows, _) in there.items():
        if rows and "shared" not in file and file not in whole - gone - {*undone}:
            tally.fail(f"{file} holds {rows} rows, and was undone, erased or never told as done")
    for turn in range(TURNS):
        brought = [file for file in done.get("shared import", []) if file.endswith(f"-shared-{turn}.csv")]
        rows = sum(there[file][0] for file in brought if file in there)
        if not set(brought) <= set(there) or rows != (ROWS if brought else 0):
            tally.fail(f"sheet {turn}, which {len(brought)} brought, has {rows} rows")
    for copy in done.get("copy", []):
        kept = state_of(copy)
        if kept.crash or kept.mistake:
            tally.fail(f"{copy} cannot be read: {kept.crash or kept.mistake}")
            continue
        for finding in kept.result[0]:
            tally.fail(f"{copy}: {finding}")
        for file, (rows, undone_there) in kept.result[1].items():
            if "shared" not in file and rows != (0 if undone_there or file == ERASED else ROWS):
                tally.fail(f"{copy}: {file} holds {rows} of {ROWS} rows")


def main() -> int:
    parser = argparse.ArgumentParser()
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--server", default="", help="the address of a server without its database; else one is begun")
    where.add_argument("--registry", action="store_true", help="a registry's folder, read with Spark")
    times, chance, folder = start(40, parser)
    asked = parser.parse_args()
    tally = Tally("many on one registry" if asked.registry else "many on one server")
    if asked.registry:
        for turn in range(times):
            place = folder / str(turn)
            place.mkdir()
            one_round(tally, chance, f"pyspark://{place}/registry?buckets=4", place, SPARK_STARTS)
        return tally.finish()
    with (
        contextlib.nullcontext(asked.server) if asked.server else contextlib.contextmanager(postgres_server)() as server
    ):
        for turn in range(times):
            place = folder / str(turn)
            place.mkdir()

            def make(_tell: Callable[[Any], None], number: int = turn) -> str:
                from tests.engines.conftest import new_database

                return new_database(server, name=f"many_{number}")

            address = run(make).result
            one_round(tally, chance, address, place)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
