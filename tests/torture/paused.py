"""A program is stopped (SIGSTOP) at a random moment of an import, as on a machine that sleeps; others work meanwhile.

Another program imports while it is stopped: it is served, or told in a sentence after its wait. When the first goes on,
it ends too, and what either was told as done is there.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.engines import file_lease
from evenfoot.analytics.ledger.imports.add import add_sheets
from tests.torture.forked import Tally, run, start
from tests.torture.imports import sheet_of, state_of

WAIT = 1.0
"""Seconds that a program waits for the file here, instead of ten."""

STOPPED = 2.5
"""Seconds for which the first is stopped: longer than the other waits."""


def importing(path: Path, turn: int, rows: int) -> Callable[[Callable[[Any], None]], Any]:
    def work(tell: Callable[[Any], None]) -> Any:
        file_lease.WAIT_SECONDS = WAIT
        ledger, sheet = open_ledger(str(path)), sheet_of(turn, rows)
        tell(os.getpid())
        ledger.farms()
        return add_sheets(ledger, [sheet], f"{turn}.csv", "0" * 64).added

    return work


def stop_and_go_on(path: Path, moment: float) -> None:
    """Stop whoever says its number in a file so many seconds later, for a while."""
    until = time.monotonic() + 30
    while not path.exists() and time.monotonic() < until:
        time.sleep(0.002)
    number = int(path.read_text())
    time.sleep(moment)
    try:
        os.kill(number, signal.SIGSTOP)
        time.sleep(STOPPED)
    finally:
        with contextlib.suppress(ProcessLookupError):  # It had ended.
            os.kill(number, signal.SIGCONT)


def main() -> int:
    times, chance, folder = start(60)
    tally = Tally("paused while writing")
    for turn in range(times):
        path, told_at = folder / f"ledger-{turn}.duckdb", folder / f"number-{turn}"
        first_rows, moment = chance.choice((200, 4000)), chance.uniform(0, 0.5)
        begun = run(importing(path, 0, 20))
        assert not begun.crash and not begun.mistake, begun.crash or begun.mistake

        def first(tell: Callable[[Any], None], path: Path = path, rows: int = first_rows, at: Path = told_at) -> Any:
            def said(value: Any) -> None:
                draft = at.with_suffix(".draft")
                draft.write_text(str(value))
                draft.rename(at)

            return importing(path, 1, rows)(said)

        results: dict[str, Any] = {}
        runner = threading.Thread(target=lambda work=first, into=results: into.update(first=run(work, limit=120)))
        stopper = threading.Thread(target=stop_and_go_on, args=(told_at, moment))
        runner.start()
        stopper.start()
        time.sleep(moment + 0.3)
        began = time.monotonic()
        second = run(importing(path, 2, 30), limit=120)
        took = time.monotonic() - began
        stopper.join()
        runner.join()
        expected = {"0.csv": (20, False)}
        for number, rows, told in ((1, first_rows, results["first"]), (2, 30, second)):
            if told.crash or (told.mistake and "\n" in told.mistake):
                tally.fail(f"turn {turn}: import {number}: {told.crash or told.mistake}")
            if not told.mistake and not told.crash:
                expected[f"{number}.csv"] = (rows, False)
        tally.add("the other told to wait" if second.mistake else "the other served")
        if took > STOPPED + 6 * WAIT:
            tally.fail(f"turn {turn}: the other waited {took:.1f} s")
        seen = state_of(str(path))
        if seen.crash or seen.mistake:
            tally.fail(f"turn {turn}: afterwards: {seen.crash or seen.mistake}")
            continue
        findings, there = seen.result
        for finding in findings:
            tally.fail(f"turn {turn}: {finding}")
        if there != expected:
            tally.fail(f"turn {turn}: holds {there}, not {expected}")
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
