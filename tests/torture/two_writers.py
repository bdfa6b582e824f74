"""Commands and pages that write and read at the same time: one waits or is told, and nothing is lost or doubled."""

from __future__ import annotations

import random
import sys
import threading
from collections.abc import Callable
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.selection import Selection
from tests.torture.forked import Tally, Work, run_together, start
from tests.torture.imports import sheet_of, state_of

SHEETS = 12
"""Different sheets that are brought in, each by several writers."""


def writer(path: str, seed: int, threads: int) -> Work:
    """One program with several pages: each brings sheets in that others bring in too, and one reads meanwhile."""

    def work(tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(path)
        added, told, errors = [], [], []
        done = threading.Event()

        def write(number: int) -> None:
            chance = random.Random(seed * 10 + number)
            for turn in range(4):
                sheets = [sheet_of(chance.randrange(SHEETS), 40) for _ in range(2)]
                while True:
                    try:
                        added.append(add_sheets(ledger, sheets, f"{seed}-{number}-{turn}.csv", "0" * 64).added)
                        break
                    except UserError as mistake:
                        told.append(str(mistake))
                    except BaseException as error:
                        errors.append(repr(error))
                        return

        def read() -> None:
            while not done.wait(0.01):
                try:
                    if ledger.exists:
                        seen = count(ledger, Selection(), ()).table
                        if len(seen) and int(seen["at_risk"].iloc[0]) % 40:
                            errors.append(f"a reader saw part of an import: {seen['at_risk'].iloc[0]} cows")
                except UserError as mistake:
                    told.append(str(mistake))
                except BaseException as error:
                    errors.append(repr(error))
                    return

        reader = threading.Thread(target=read)
        writers = [threading.Thread(target=write, args=(number,)) for number in range(threads)]
        for thread in (reader, *writers):
            thread.start()
        for thread in writers:
            thread.join()
        done.set()
        reader.join()
        tell("done")
        return sum(added), len(added), told, errors

    return work


def main() -> int:
    times, chance, folder = start(40)
    tally = Tally("writers at once")
    for turn in range(times):
        path = folder / f"ledger-{turn}.duckdb"
        programs = chance.randrange(2, 4)
        outcomes = run_together([writer(str(path), turn * 10 + n, chance.randrange(1, 3)) for n in range(programs)])
        added = imports = 0
        for outcome in outcomes:
            if outcome.crash or outcome.mistake:
                tally.fail(f"turn {turn}: {outcome.crash or outcome.mistake}")
                continue
            rows, number, told, errors = outcome.result
            added += rows
            imports += number
            for error in errors:
                tally.fail(f"turn {turn}: {error}")
            for sentence in told:
                tally.add(f"told: {' '.join(sentence.replace(str(path), 'it').split()[:9])}")
        tally.counts["imports"] += imports
        seen = state_of(str(path))
        if seen.crash or seen.mistake:
            tally.fail(f"turn {turn}: {seen.crash or seen.mistake}")
            continue
        findings, there = seen.result
        for finding in findings:
            tally.fail(f"turn {turn}: {finding}")
        kept = sum(rows for rows, _ in there.values())
        if len(there) != imports or kept != added or kept % 40:
            tally.fail(f"turn {turn}: {imports} imports added {added} rows; the ledger has {len(there)} and {kept}")
        tally.add(f"{programs} programs")
        path.unlink()
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
