"""Short leases on a DuckDB file, so that several programs can use one ledger.

DuckDB lets one process write or many read. Nobody here holds the file: a reader takes a read-only lease
that is dropped when idle, a writer takes the file for the moment of a change. Who finds it taken waits
its turn for up to ten seconds and is then told who has it.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import re
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from analytics.ledger.engine import NO_BAR
from analytics.ledger.failures import explained, holder, not_kept, unreadable
from analytics.ledger.file_locks import locked
from analytics.ledger.kept_blocks import blocks_kept, forget_blocks, undo_cut_short
from analytics.ledger.placing import put_in_place
from analytics.mistake import Mistake
from analytics.words import say

if TYPE_CHECKING:
    import duckdb

WAIT_SECONDS = 10.0
"""How long to wait for the file before saying who has it."""

IDLE_SECONDS = 0.75
"""How long an unused read-only lease is kept: long enough for one page's panels, short for a writer."""

CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
}


class FileLease:
    """Leases on one DuckDB file within this process. Use :func:`lease_of` to get the one for a path."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._turn = threading.Condition()
        self._shared: duckdb.DuckDBPyConnection | None = None
        self._readers = 0
        self._writing = False
        self._last_use = 0.0
        self._sweeper: threading.Thread | None = None

    @property
    def _wanted(self) -> Path:
        return self.path.with_name(self.path.name + ".write-wanted")

    @contextlib.contextmanager
    def reading(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor of this thread's own on the file, opened read-only.

        Raises
        ------
        Mistake
            There is no file, it is not a ledger, or another program kept it for longer than the wait.
        """
        with self._turn:
            until = time.monotonic() + WAIT_SECONDS
            while self._writing or self._somebody_waits_to_write():
                if self._readers == 0:
                    self._drop()
                if time.monotonic() > until:
                    break
                self._turn.wait(0.05)
            if self._writing:
                raise self._being_changed()
            if self._shared is None:
                self._shared = self._open(read_only=True)
            self._readers += 1
            cursor = self._shared.cursor()
        try:
            yield cursor
        except BaseException as error:
            told = unreadable(self.path, error)
            if told is None:
                raise
            raise told from None
        finally:
            cursor.close()
            with self._turn:
                self._readers -= 1
                self._last_use = time.monotonic()
                self._turn.notify_all()
                self._start_sweeper()

    @contextlib.contextmanager
    def writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """The file for one transaction: committed when the block ends, rolled back when it raises."""
        with self._alone():
            connection = self._open(read_only=False)
            with blocks_kept(connection, self.path):
                try:
                    connection.begin()
                    try:
                        yield connection
                    except BaseException:
                        with contextlib.suppress(Exception):
                            connection.rollback()
                        raise
                    connection.commit()
                except BaseException as error:
                    told = not_kept(self.path, error)
                    if told is None:
                        raise
                    raise told from None
                finally:
                    connection.close()

    @contextlib.contextmanager
    def still(self) -> Iterator[BinaryIO]:
        """The bytes of the file, for copying it: nobody writes to it here or elsewhere while the block runs.

        The engine's lock on the file belongs to the process, and the system drops it when any handle of the process
        on that file is closed. So the file is never read beside the engine: what is open here is closed first, and
        the same lock is taken on the handle that is given.

        Raises
        ------
        Mistake
            There is no file, or another program kept it for longer than the wait.
        """
        with self._alone():
            file = self._opened_still()
            try:
                yield file
            finally:
                file.close()

    @contextlib.contextmanager
    def replacing(self, draft: Path) -> Iterator[duckdb.DuckDBPyConnection]:
        """The file, kept from everybody while the block writes *draft* from it; then the draft takes its place.

        The file itself is not to be changed in the block.
        """
        with self._alone():
            connection = self._open(read_only=False)
            try:
                yield connection
                if os.name != "nt":
                    # While the lock is held: who waits for it finds the new file.
                    put_in_place(draft, self.path)
            except BaseException as error:
                told = not_kept(self.path, error)
                if told is None:
                    raise
                raise told from None
            finally:
                connection.close()
            if os.name == "nt":
                os.replace(draft, self.path)
            forget_blocks(self.path)

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        """This process's turn, with nothing of it open on the file."""
        with self._turn:
            until = time.monotonic() + WAIT_SECONDS
            while self._writing:
                if time.monotonic() > until:
                    raise self._being_changed()
                self._turn.wait(0.05)
            self._writing = True
        try:
            with self._turn:
                while self._readers and time.monotonic() < until:
                    self._turn.wait(0.05)
                if self._readers:
                    raise Mistake(say("The ledger {path} is still being read; try again in a moment.", path=self.path))
                self._drop()
            yield
        finally:
            with self._turn:
                self._writing = False
                self._turn.notify_all()

    def _being_changed(self) -> Mistake:
        return Mistake(f"The ledger {self.path} is being changed by another page; try again in a moment.")

    def _opened_still(self) -> BinaryIO:
        until = time.monotonic() + WAIT_SECONDS
        while True:
            try:
                file = self.path.open("rb")
            except FileNotFoundError:
                raise self._absent() from None
            except PermissionError:
                # Where there are no such locks, the writer lets nobody else open the file.
                if os.name != "nt" or time.monotonic() > until:
                    raise Mistake(
                        say("The ledger {path} may not be read; check its permissions.", path=self.path)
                    ) from None
            else:
                if locked(file, alone=False):
                    return file
                file.close()
                if time.monotonic() > until:
                    raise Mistake(
                        say(
                            "The ledger {path} is being changed by another program; try again when it has finished.",
                            path=self.path,
                        )
                    )
            time.sleep(0.05)

    def _absent(self) -> Mistake:
        return Mistake(f"There is no ledger at {self.path} yet; import a sheet with `evenfoot import FILE` first.")

    def drop_if_idle(self) -> None:
        """Let go of the file now, if nobody in this process is using it."""
        with self._turn:
            if self._readers == 0:
                self._drop()

    def end(self) -> None:
        """Let the sweeper finish and close what is open; called when the process ends."""
        if self._sweeper is not None:
            self._sweeper.join(5)
        with self._turn:
            if self._readers == 0:
                self._drop()

    def _drop(self) -> None:
        if self._shared is not None:
            self._shared.close()
            self._shared = None

    def _somebody_waits_to_write(self) -> bool:
        try:
            age = time.time() - self._wanted.stat().st_mtime
        except OSError:
            return False
        # A mark left behind by a program that was killed is old; one from the future, after the clock was moved, too.
        return abs(age) < WAIT_SECONDS + 1

    def _open(self, *, read_only: bool) -> duckdb.DuckDBPyConnection:
        import duckdb

        try:
            if self.path.stat().st_size == 0 and read_only:
                raise self._absent()
        except PermissionError:
            raise Mistake(
                say("The folder of the ledger {path} may not be entered; check its permissions.", path=self.path)
            ) from None
        except OSError:
            raise self._absent() from None
        until = time.monotonic() + WAIT_SECONDS
        asked = False
        undo_cut_short(self.path)
        try:
            while True:
                try:
                    # Nothing in the file can make a reader open another file. A writer uses a folder beside it.
                    config = CONFIG | {"enable_external_access": not read_only}
                    connection = duckdb.connect(str(self.path), read_only=read_only, config=config)
                    connection.execute(NO_BAR)
                    return connection
                except duckdb.Error as error:
                    text = str(error)
                    if not _HELD.search(text):
                        raise explained(self.path, error) from None
                    if time.monotonic() > until:
                        raise Mistake(
                            say(
                                "The ledger {path} is in use by {holder}; close it there or try again when it has "
                                "finished.",
                                path=self.path,
                                holder=holder(text),
                            )
                        ) from None
                    if not read_only and not asked:
                        with contextlib.suppress(OSError):
                            self._wanted.write_text(str(os.getpid()))
                            asked = True
                    time.sleep(0.02)
        finally:
            if asked:
                with contextlib.suppress(OSError):
                    self._wanted.unlink()

    def _start_sweeper(self) -> None:
        if self._shared is None or (self._sweeper is not None and self._sweeper.is_alive()):
            return
        self._sweeper = threading.Thread(target=self._sweep, name="ledger-lease", daemon=True)
        self._sweeper.start()

    def _sweep(self) -> None:
        while not _ending.wait(IDLE_SECONDS / 3):
            with self._turn:
                if self._shared is None:
                    return
                idle = time.monotonic() - self._last_use
                if self._readers == 0 and (idle > IDLE_SECONDS or self._somebody_waits_to_write()):
                    self._drop()
                    return


_HELD = re.compile(r"\block\b|used by another process", re.IGNORECASE)
"""How the engine says that another program has the file; it also speaks of blocks."""


_ending = threading.Event()


def _end_all() -> None:
    """A thread that is inside the engine while the interpreter goes away takes the whole process down with
    it, so the sweepers are stopped before that."""
    _ending.set()
    for lease in list(_leases.values()):
        lease.end()


atexit.register(_end_all)

_leases: dict[Path, FileLease] = {}
_leases_guard = threading.Lock()


def lease_of(path: Path) -> FileLease:
    """The process-wide :class:`FileLease` for *path*."""
    path = Path(os.path.abspath(path))
    with _leases_guard:
        if path not in _leases:
            _leases[path] = FileLease(path)
        return _leases[path]
