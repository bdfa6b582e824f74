"""The disk fills up at some moment of an import, an undoing, a backup or the making of a ledger.

Half of the turns run on a small file system of their own, where that can be mounted (as root, on Linux); the others
under a limit on the size of any file, which fails in the same places with another reason.
"""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up
from tests.torture.forked import Tally, no_file_beyond, run, start
from tests.torture.imports import sheet_of, state_of

SMALL = 24
"""Megabytes of the small file system."""

BEFORE = {"1.csv": (50, False), "2.csv": (50, False)}


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path | None]:
    """A file system of a few megabytes; None where this user may not mount one."""
    place = folder / "small"
    place.mkdir(exist_ok=True)
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={SMALL}m", "tmpfs", str(place)], capture_output=True, text=True
    )
    if done.returncode:
        yield None
        return
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=False)


def make(path: Path) -> None:
    def work(_tell: Callable[[Any], None]) -> None:
        for turn in (1, 2):
            add_sheets(open_ledger(str(path)), [sheet_of(turn, 50)], f"{turn}.csv", "0" * 64)

    told = run(work)
    assert not told.crash and not told.mistake, told.crash or told.mistake


def act(path: str, what: str, rows: int, limit: int | None) -> Any:
    def work(_tell: Callable[[Any], None]) -> None:
        ledger = open_ledger(path)
        with no_file_beyond(limit) if limit is not None else contextlib.nullcontext():
            if what in ("import", "make"):
                add_sheets(ledger, [sheet_of(3, rows)], "3.csv", "0" * 64)
            elif what == "undo":
                undo_import(ledger, 2)
            else:
                back_up(ledger, Path(path).with_name("copy.duckdb"))

    return run(work)


def room_taken(place: Path, free: int) -> None:
    """Leave so many bytes free."""
    left = shutil.disk_usage(place).free - free
    with (place / "filler").open("wb") as file:
        while left > 0:
            left -= file.write(bytes(min(left, 1 << 20)))


def main() -> int:
    times, chance, folder = start(200)
    tally = Tally("full disk")
    model = folder / "model.duckdb"
    make(model)
    with small_disk(folder) as disk:
        for turn in range(times):
            mounted = disk is not None and turn % 2 == 0
            place = disk if mounted and disk is not None else folder / "place"
            place.mkdir(exist_ok=True)
            for old in [*place.iterdir()]:
                shutil.rmtree(old) if old.is_dir() else old.unlink()
            what = chance.choice(("import", "import", "import", "undo", "backup", "make"))
            rows = chance.choice((20, 800, 8000))
            path = place / "ledger.duckdb"
            if what != "make":
                shutil.copyfile(model, path)
            size = model.stat().st_size
            limit = None
            if mounted:
                room_taken(place, chance.randrange(0, 6_000_000 if what == "make" else 3_000_000))
            else:
                limit = (
                    chance.randrange(0, size + 1_000_000) if chance.random() < 0.5 else size + chance.randrange(600_000)
                )
            told = act(str(path), what, rows, limit)
            how = f"{what}, {'small disk' if mounted else 'limited files'}"
            (place / "filler").unlink(missing_ok=True)
            if told.crash:
                tally.fail(f"turn {turn}, {how}: {told.crash}")
                continue
            if told.mistake and (
                "\n" in told.mistake or not told.mistake.endswith(("again.", "place.", "`.", "permissions."))
            ):
                tally.fail(f"turn {turn}, {how}: told unclearly: {told.mistake}")
            tally.add(f"{how}: {'told' if told.mistake else 'done'}")
            seen = state_of(str(path))
            if seen.crash or seen.mistake:
                tally.fail(f"turn {turn}, {how}: afterwards: {seen.crash or seen.mistake} (told: {told.mistake})")
                continue
            findings, there = seen.result
            for finding in findings:
                tally.fail(f"turn {turn}, {how}: {finding}")
            expected = {} if what == "make" else dict(BEFORE)
            if not told.mistake and what in ("import", "make"):
                expected["3.csv"] = (rows, False)
            if not told.mistake and what == "undo":
                expected["2.csv"] = (0, True)
            if there != expected:
                tally.fail(f"turn {turn}, {how}: holds {there}, not {expected} (told: {told.mistake})")
            left = [one.name for one in place.iterdir() if one.name.endswith((".draft", ".new"))]
            if left:
                tally.fail(f"turn {turn}, {how}: left {left}")
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
