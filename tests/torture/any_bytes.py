"""Ten thousand spoiled and random files, and some made to do harm: no traceback, no hang, no memory without bound.

Every file is checked as ``evenfoot check`` does; one in ten is also added to a ledger. Rows read = added + already
known + set aside, always, and at the end the ledger is whole.
"""

from __future__ import annotations

import pickle
import resource
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import write_set_aside
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.intake.books import add_up
from tests.torture.files import formulas, mutants
from tests.torture.forked import Tally, Told, run, start
from tests.torture.harmful import harmful

_T = TypeVar("_T")

SLOWEST = 10.0
"""Seconds of a processor that one file may take; a machine that does other work as well takes longer by the clock."""

MOST_MEMORY = 1500
"""Megabytes beyond what the program has before the first file."""

BATCH = 250

LONG = (
    "two hundred thousand farms.csv", "hundred thousand lesions.csv", "hundred thousand dates.csv", "zip bomb.xlsx",
    "zip bomb beside.xlsx", "cells that do not say where.xlsx",
)  # fmt: skip
"""Harmful files that take seconds to make or to read; a short run leaves them to the long one."""


def memory() -> float:
    """The most this process has ever had, in megabytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def check_sentence(said: str) -> None:
    """Raise unless something is said in one sentence."""
    if not said or "\n" in said or len(said) > 1500:
        raise AssertionError(f"told in no sentence: {said[:2000]!r}")


def take(name: str, content: bytes, path: Path, *, add: bool) -> str:
    """What becomes of one file, with what is likeliest for what it leaves open; all but rows or one sentence raises."""
    ledger = open_ledger(str(path))
    answers = Answers(accept=True)
    try:
        sheets = understand_file(
            content, name, farm="Elm", day_first=True, known_farms=("Elm",), answers=answers
        ).sheets
        for question in answers.met.values():
            check_sentence(str(question.text))
        result = add_sheets(ledger, sheets, name, "0" * 64, dry_run=not add)
    except UserError as mistake:
        check_sentence(str(mistake))
        return "told"
    if result.read != result.added + result.already_known + result.set_aside:
        raise AssertionError(f"{result}")
    if result.read != sum(sheet.rows_read for sheet in sheets):
        raise AssertionError(f"{result}")
    for sheet in sheets:
        add_up(sheet)
        write_set_aside(sheet.set_aside)
    return "rows" if result.added else "no new row"


def batch(files: list[tuple[str, bytes]], path: Path) -> Callable[[Callable[[Any], None]], Any]:
    def work(tell: Callable[[Any], None]) -> None:
        take("first.csv", b"date,farm,cow,lesion\n2026-03-14,Elm,1,ulcer\n", path, add=True)
        resource.setrlimit(resource.RLIMIT_AS, (12 << 30, 12 << 30))
        for number, (name, content) in enumerate(files):
            tell((number, "begun", 0.0, 0.0))
            began, had = time.process_time(), memory()
            try:
                outcome = take(name, content, path, add=number % 10 == 0)
            except BaseException:
                import traceback

                outcome = traceback.format_exc()
            tell((number, outcome, time.process_time() - began, memory() - had))

    return work


def judge(tally: Tally, files: list[tuple[str, bytes]], told: Told, keep: Path, kind: str) -> tuple[float, float]:
    slowest = most = 0.0
    last = -1
    for number, outcome, seconds, grown in told.said:
        name, content = files[number]
        last = number
        if outcome == "begun":
            continue
        slowest, most = max(slowest, seconds), max(most, grown)
        wrong = outcome if outcome not in ("told", "rows", "no new row") else ""
        if seconds > SLOWEST:
            wrong += f" took {seconds:.1f} s"
        if grown > MOST_MEMORY:
            wrong += f" took {grown:.0f} MB"
        if wrong:
            place = keep / f"{len(tally.wrong)}-{name}"
            place.write_bytes(content[:20_000_000])
            tally.fail(f"{kind} {name} (kept as {place}): {wrong}")
        tally.add(f"{kind}: {outcome if not wrong else 'wrong'}")
    if told.crash or told.mistake:
        name, content = files[last]
        place = keep / f"crash-{len(tally.wrong)}-{name}"
        place.write_bytes(content[:20_000_000])
        tally.fail(f"{kind} {name} (kept as {place}): {told.crash or told.mistake}")
    return slowest, most


def in_batches(files: Iterator[_T], size: int) -> Iterator[list[_T]]:
    waiting: list[_T] = []
    for file in files:
        waiting.append(file)
        if len(waiting) == size:
            yield waiting
            waiting = []
    if waiting:
        yield waiting


def main() -> int:
    times, chance, folder = start(10_000)
    tally = Tally("any bytes")
    keep = Path("build") / "spoiled"
    keep.mkdir(parents=True, exist_ok=True)
    slowest = most = 0.0
    path = folder / "ledger.duckdb"
    for files in in_batches(mutants(times, chance), BATCH):
        told = run(batch(files, path), limit=BATCH * SLOWEST)
        seconds, grown = judge(tally, files, told, keep, "spoiled")
        slowest, most = max(slowest, seconds), max(most, grown)
    print(f"spoiled: slowest {slowest:.2f} s, most memory {most:.0f} MB", flush=True)
    attacks = [*harmful(), ("formulas.csv", formulas)]
    short = 0 < times < 1000
    if short:
        attacks = [one for one in attacks if one[0] not in LONG]
    for together in in_batches(iter(attacks), len(attacks) if short else 1):
        files = [(name, pickle.loads(pickle.dumps(make()))) for name, make in together]
        told = run(batch(files, path), limit=SLOWEST * 12)
        seconds, grown = judge(tally, files, told, keep, "harmful")
        outcome = told.said[-1][1].splitlines()[-1] if told.said else told.crash
        named = f"{len(files)} files, the last" if short else files[0][0]
        print(f"harmful: {named}: {outcome}, {seconds:.2f} s, {grown:.0f} MB", flush=True)

    def whole(_tell: Callable[[Any], None]) -> Any:
        return tuple(map(str, verify(open_ledger(str(path))).findings))

    seen = run(whole)
    for finding in seen.result or ((seen.crash or seen.mistake,) if seen.crash or seen.mistake else ()):
        tally.fail(f"the ledger at the end: {finding}")
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
