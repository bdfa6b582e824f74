"""Places a ledger should not be in: read-only, gone, locked by another program, swapped for something else, or from
a time when the clock stood elsewhere. Afterwards it opens and is whole, and the person was told in one sentence."""

from __future__ import annotations

import os
import shutil
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.engines import file_lease
from evenfoot.analytics.ledger.file_copy import kept_copies
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from tests.torture.forked import Tally, Told, Work, run, start
from tests.torture.full_disk import BEFORE, make
from tests.torture.imports import sheet_of, state_of

Case = Callable[[Path], tuple[Told, str | None]]
"""Does the harm to the ledger at a path and something with it; what was told, and what has to be in it."""

FAR = 400 * 86400


def adding(path: Path) -> Work:
    return lambda _tell: add_sheets(open_ledger(str(path)), [sheet_of(3, 30)], "3.csv", "0" * 64).added


def undoing(path: Path) -> Work:
    return lambda _tell: undo_import(open_ledger(str(path)), 2)


def reading(path: Path) -> Work:
    return lambda _tell: len(open_ledger(str(path)).imports())


def _still_read(path: Path) -> None:
    told = run(reading(path), nobody=True)
    assert told.result == 2, told.crash or told.mistake


def read_only_file(path: Path) -> tuple[Told, str | None]:
    path.chmod(0o444)
    _still_read(path)
    told = run(adding(path), nobody=True)
    path.chmod(0o644)
    return told, "may not be changed"


def read_only_folder(path: Path) -> tuple[Told, str | None]:
    """Reading goes on; a change needs a log beside the file."""
    path.chmod(0o666)
    path.parent.chmod(0o555)
    _still_read(path)
    told = run(adding(path), nobody=True)
    path.parent.chmod(0o755)
    return told, "check the folder's permissions"


def undo_in_read_only_folder(path: Path) -> tuple[Told, str | None]:
    path.chmod(0o666)
    path.parent.chmod(0o555)
    told = run(undoing(path), nobody=True)
    path.parent.chmod(0o755)
    return told, "was not undone"


def unreadable_file(path: Path) -> tuple[Told, str | None]:
    path.chmod(0o000)
    told = run(reading(path), nobody=True)
    path.chmod(0o644)
    return told, "permissions"


def folder_that_cannot_be_entered(path: Path) -> tuple[Told, str | None]:
    path.parent.chmod(0o700)
    told = run(reading(path), nobody=True)
    path.parent.chmod(0o755)
    return told, "may not be entered" if os.getuid() == 0 else None


def new_in_read_only_folder(path: Path) -> tuple[Told, str | None]:
    folder = path.parent / "shut"
    folder.mkdir()
    folder.chmod(0o555)
    return run(adding(folder / "new.duckdb"), nobody=True), "permissions"


def folder_cannot_be_made(path: Path) -> tuple[Told, str | None]:
    return run(adding(path / "within" / "new.duckdb")), "cannot be made"


def deleted_while_read(path: Path) -> tuple[Told, str | None]:
    """The reader that has it open finishes its answer; the next is told."""
    safe = path.with_name("safe")
    shutil.copyfile(path, safe)

    def work(_tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(str(path))
        with ledger.reading() as cursor:
            path.unlink()
            assert cursor.execute("SELECT COUNT(*) FROM trim_rows").fetchall() == [(100,)]
        ledger.lease.drop_if_idle()
        return len(ledger.imports())

    told = run(work)
    os.replace(safe, path)
    return told, "There is no ledger"


def deleted_while_written(path: Path) -> tuple[Told, str | None]:
    """The file is gone with all that was in it; what is made next is whole, and a backup goes back."""
    copy = path.with_name("copy.duckdb")

    def work(_tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(str(path))
        back_up(ledger, copy)
        with ledger.writing() as connection:
            connection.execute("INSERT INTO meta VALUES ('x', 'y')")
            path.unlink()
        ledger.lease.drop_if_idle()
        add_sheets(ledger, [sheet_of(3, 30)], "3.csv", "0" * 64)
        assert ledger.imports()["file"].tolist() == ["3.csv"]
        restore(ledger, copy, replace=True)

    return run(work), None


def another_ledger_moved_there(path: Path) -> tuple[Told, str | None]:
    other = path.with_name("other.duckdb")
    make(other)

    def work(_tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(str(path))
        ledger.imports()
        os.replace(other, path)
        ledger.lease.drop_if_idle()
        return len(ledger.imports())

    told = run(work)
    assert told.result == 2
    return told, None


def a_folder_stands_there(path: Path) -> tuple[Told, str | None]:
    return run(reading(path.parent)), "is a folder"


def a_folder_to_write_to(path: Path) -> tuple[Told, str | None]:
    return run(adding(path.parent)), "is a folder"


def locked_by_another(path: Path, work: Work) -> tuple[Told, str | None]:
    """Another program keeps the file open for writing for longer than anybody waits."""
    code = "import duckdb, sys, time; c = duckdb.connect(sys.argv[1]); print(1, flush=True); time.sleep(60)"
    import subprocess

    with subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        other.stdout.readline()

        def impatient(tell: Callable[[Any], None]) -> Any:
            file_lease.WAIT_SECONDS = 0.4
            return work(tell)

        told = run(impatient)
        other.kill()
    return told, "in use by"


def locked_for_reading(path: Path) -> tuple[Told, str | None]:
    return locked_by_another(path, reading(path))


def locked_for_writing(path: Path) -> tuple[Told, str | None]:
    return locked_by_another(path, adding(path))


def locked_for_copying(path: Path) -> tuple[Told, str | None]:
    told, _ = locked_by_another(path, lambda _tell: str(back_up(open_ledger(str(path)), path.with_name("copy.duckdb"))))
    return told, "in use by"


def clock_moved(path: Path, by: float) -> tuple[Told, str | None]:
    """The file, and the mark of a writer that was killed, bear a time far from now; nobody waits for the mark."""
    mark = path.with_name(path.name + ".write-wanted")
    mark.write_text("1")
    for one in (path, mark):
        os.utime(one, (time.time() + by, time.time() + by))

    def work(_tell: Callable[[Any], None]) -> Any:
        file_lease.WAIT_SECONDS = 240.0
        ledger = open_ledger(str(path))
        began = time.monotonic()
        before = ledger.version
        ledger.imports()
        add_sheets(ledger, [sheet_of(3, 30)], "3.csv", "0" * 64)
        assert ledger.version != before
        undo_import(ledger, 3)
        assert len(kept_copies(ledger)) == 1
        assert time.monotonic() - began < file_lease.WAIT_SECONDS / 2, "waited for a mark from another time"

    return run(work), None


def clock_ahead(path: Path) -> tuple[Told, str | None]:
    return clock_moved(path, FAR)


def clock_behind(path: Path) -> tuple[Told, str | None]:
    return clock_moved(path, -FAR)


def half_a_copy_in_backups(path: Path) -> tuple[Told, str | None]:
    """A copy that was cut short is no copy: it never bears the name of one, and cannot be put back."""
    torn = path.with_name("torn.duckdb")
    torn.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    return run(lambda _tell: restore(open_ledger(str(path)), torn, replace=True)), "cannot be put back"


def threads_at_the_start(path: Path) -> tuple[Told, str | None]:
    """Two pages make the same new ledger at the same moment."""
    new = path.with_name("new.duckdb")

    def work(_tell: Callable[[Any], None]) -> Any:
        threads = [
            threading.Thread(
                target=lambda n=n: add_sheets(open_ledger(str(new)), [sheet_of(n, 30)], f"{n}.csv", "0" * 64)  # type: ignore[misc]
            )
            for n in range(3)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return len(open_ledger(str(new)).imports())

    told = run(work)
    assert told.result == 3
    return told, None


CASES: tuple[Case, ...] = (
    read_only_file,
    read_only_folder,
    undo_in_read_only_folder,
    unreadable_file,
    folder_that_cannot_be_entered,
    new_in_read_only_folder,
    folder_cannot_be_made,
    deleted_while_read,
    deleted_while_written,
    another_ledger_moved_there,
    a_folder_stands_there,
    a_folder_to_write_to,
    locked_for_reading,
    locked_for_writing,
    locked_for_copying,
    clock_ahead,
    clock_behind,
    half_a_copy_in_backups,
    threads_at_the_start,
)


def main() -> int:
    times, _, folder = start(len(CASES) * 5)
    folder.chmod(0o755)
    tally = Tally("places")
    model = folder / "model.duckdb"
    make(model)
    for turn in range(times):
        case = CASES[turn % len(CASES)]
        name = case.__name__.replace("_", " ")
        place = folder / f"{turn}"
        place.mkdir()
        path = place / "ledger.duckdb"
        shutil.copyfile(model, path)
        told, said = case(path)
        if told.crash:
            tally.fail(f"{name}: {told.crash}")
        elif said is None and told.mistake:
            tally.fail(f"{name}: told {told.mistake}")
        elif said is not None and (told.mistake is None or said not in told.mistake or "\n" in told.mistake):
            tally.fail(f"{name}: told {told.mistake!r}, not '{said}'")
        seen = state_of(str(path))
        if seen.crash or seen.mistake:
            tally.fail(f"{name}: afterwards {seen.crash or seen.mistake}")
        else:
            findings, there = seen.result
            there = {file: rows for file, rows in there.items() if file in BEFORE}
            if findings or there != BEFORE:
                tally.fail(f"{name}: afterwards {findings} {there}")
        tally.add(name)
        shutil.rmtree(place)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
