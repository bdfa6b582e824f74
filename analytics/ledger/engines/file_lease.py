"""Short leases on a DuckDB file, so that several programs can use one ledger.

DuckDB lets one process write or many read. Nobody here holds the file: a reader takes a read-only lease
that is dropped when idle, a writer takes the file for the moment of a change. Who finds it taken waits
its turn for up to ten seconds and is then told who has it. Each waits by itself, and nobody waits for the waiting.

The file itself is never changed. A change is made in a copy of it, and the copy takes its place in one step when it
is whole and on the disk: whoever is killed or loses power in between leaves the ledger as it was. That costs the time
and the room of one copy for every change. A restore, an erasure and a person who copies files put another file there as
well. So whoever has opened the file and has its lock looks whether the path still names that file, and opens the path
again if not. A reader also looks whether the file is as it was when it was opened.
"""

from __future__ import annotations

import atexit
import contextlib
import math
import os
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, TypeVar

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.atomic_write import OWNER_ALONE, put_in_place
from evenfoot.analytics.ledger.engines.engine import NO_BAR, held, holding
from evenfoot.analytics.ledger.failures import Busy, explained, holder, not_kept, not_written, unreadable
from evenfoot.analytics.ledger.file_locks import holder_of, locked, still_named
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    import duckdb

WAIT_SECONDS = 10.0
"""How long to wait for the file before saying who has it."""

IDLE_SECONDS = 0.75
"""How long an unused read-only lease is kept: long enough for one page's panels, short for a writer."""

CHANGE = ".change"
"""Ends the name of the copy in which a change is made. Who has the ledger alone deletes one that is left."""

STILL_HELD_SECONDS = 1.0
"""Refusals no further apart than this are one holding of the file. Who comes during it is told when the first is."""

RETRY_SECONDS = 0.02
"""Between two attempts of a process to open a file that somebody has."""

FileState = tuple[int, int, int]
"""Number of the file, time of its last change in nanoseconds, and its size: another of another file, and of the same
file after any change."""

T = TypeVar("T")

CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
}


@dataclass(eq=False)
class Opened:
    """The engine on a file.

    Attributes
    ----------
    connection : duckdb.DuckDBPyConnection
    handle : int or None
        The same file, closed after the engine has let go of it: closing a handle takes every lock of the process on
        that file away. None where a system has no such locks and no open file can be replaced.
    state : FileState
        What the file was when it was opened.
    """

    connection: duckdb.DuckDBPyConnection
    handle: int | None
    state: FileState

    def close(self) -> None:
        try:
            self.connection.close()
        finally:
            if self.handle is not None:
                os.close(self.handle)


class FileLease:
    """Leases on one DuckDB file within this process. Use :func:`lease_of` to get the one for a path."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._turn = threading.Condition()
        self._shared: Opened | None = None
        self._readers = 0
        self._opening = False
        self._writing = False
        self._refused = ("", 0.0)
        self._held_since = 0.0
        self._last_use = 0.0
        self._sweeper: threading.Thread | None = None

    @property
    def _wanted(self) -> Path:
        return self.path.with_name(self.path.name + ".write-wanted")

    @property
    def state(self) -> FileState:
        """The state of the file that is there now; within a :meth:`snapshot` of the one that is read. Zeros without."""
        mine: Opened | None = held(self)
        return self._state_now() if mine is None else mine.state

    @contextlib.contextmanager
    def reading(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor of this thread's own on the file, opened read-only.

        Raises
        ------
        UserError
            There is no file, it is not a ledger, or another program kept it for longer than the wait.
        """
        with self._joined(WAIT_SECONDS) as opened:
            cursor = opened.connection.cursor()
            try:
                yield cursor
            finally:
                cursor.close()

    @contextlib.contextmanager
    def snapshot(self, *, wait: bool = True) -> Iterator[None]:
        """All that is read in the block, and by work begun in it, is read of one state. Nobody writes meanwhile.

        Parameters
        ----------
        wait : bool
            Whether to wait for a file that somebody has, as all others do.

        Raises
        ------
        UserError
            As :meth:`reading`; :class:`evenfoot.analytics.ledger.failures.Busy` if somebody has it.
        """
        with self._joined(WAIT_SECONDS if wait else 0.0) as opened, holding(self, opened):
            yield

    @contextlib.contextmanager
    def writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """The ledger for one transaction: committed when the block ends, as it was when it raises.

        Raises
        ------
        UserError
            There is no file, another program kept it for longer than the wait, or the disk has no room for a copy.
        """
        with self._on_a_copy() as (connection, copy, file):
            connection.begin()
            try:
                yield connection
            except BaseException:
                with contextlib.suppress(Exception):
                    connection.rollback()
                raise
            connection.commit()
            # Closing would leave what does not fit in a log, and say nothing.
            connection.execute("CHECKPOINT")
            connection.close()
            self._replace(copy, file)

    @contextlib.contextmanager
    def still(self, *, alone: bool = False) -> Iterator[BinaryIO]:
        """The bytes of the file, for copying it: nobody writes to it here or elsewhere while the block runs.

        The engine's lock on the file belongs to the process, and the system drops it when any handle of the process
        on that file is closed. So the file is never read beside the engine: what is open here is closed first, and
        the same lock is taken on the handle that is given.

        Parameters
        ----------
        alone : bool
            Whether nobody may read it either: for putting another file in its place.

        Raises
        ------
        UserError
            There is no file, or another program kept it for longer than the wait.
        """
        with self.alone():
            file = self._opened_still(alone)
            try:
                yield file
            finally:
                file.close()

    @contextlib.contextmanager
    def replacing(self, draft: Path) -> Iterator[duckdb.DuckDBPyConnection]:
        """A copy of the file, which is kept from everybody while the block writes *draft* from it; then the draft takes
        its place.
        """
        with self._on_a_copy() as (connection, copy, file):
            yield connection
            connection.close()
            _forget(copy)
            self._replace(draft, file)

    @contextlib.contextmanager
    def _on_a_copy(self) -> Iterator[tuple[duckdb.DuckDBPyConnection, Path, BinaryIO]]:
        """The engine on a copy of the file, the copy's path, and the file, which nobody else has meanwhile."""
        import duckdb

        copy = self.path.with_name(self.path.name + CHANGE)
        with self.alone():
            self._fold_log()
            connection = None
            try:
                file = self._opened_still(alone=True)
            except OSError as error:
                raise not_written(self.path, error) from None
            try:
                try:
                    _forget(copy)
                    _copied(file, copy)
                    connection = duckdb.connect(str(copy), config=CONFIG)
                    connection.execute(NO_BAR)
                except OSError as error:
                    raise not_written(self.path, error) from None
                except duckdb.Error as error:
                    raise explained(self.path, error) from None
                try:
                    yield connection, copy, file
                except BaseException as error:
                    told = not_kept(self.path, error)
                    if told is None:
                        raise
                    raise told from None
            finally:
                if connection is not None:
                    connection.close()
                # Once another file has taken the place of this one, whoever has that may have begun a copy of it.
                if not file.closed and still_named(file.fileno(), self.path):
                    _forget(copy)
                file.close()

    def _replace(self, draft: Path, file: BinaryIO) -> None:
        """Put a file that is whole in the place of the ledger, while *file* keeps it from everybody."""
        if not still_named(file.fileno(), self.path):
            raise self._changed_elsewhere()  # Somebody put a file there without asking for the lock.
        try:
            with draft.open("r+b") as written:
                os.fsync(written.fileno())
            if os.name == "nt":
                file.close()  # No file that is open can be replaced there.
            put_in_place(draft, self.path)
        except OSError as error:
            raise not_written(self.path, error) from None

    def _fold_log(self) -> None:
        """Bring in what a program that wrote to the file itself, and was killed, left in the engine's log."""
        import duckdb

        if not _log_of(self.path).exists() or not self.path.exists():
            return
        try:
            with duckdb.connect(str(self.path), config=CONFIG) as connection:
                connection.execute("CHECKPOINT")
        except duckdb.Error as error:
            if _HELD.search(str(error)):
                raise self._in_use(str(error)) from None
            raise explained(self.path, error) from None

    @contextlib.contextmanager
    def _joined(self, wait: float) -> Iterator[Opened]:
        """What this process has open to read, which stays open while the block runs."""
        opened = self._join(wait)
        try:
            yield opened
        except BaseException as error:
            told = unreadable(self.path, error)
            if told is None:
                raise
            raise told from None
        finally:
            with self._turn:
                self._readers -= 1
                self._last_use = time.monotonic()
                self._turn.notify_all()
                self._start_sweeper()

    def _join(self, wait: float) -> Opened:
        """Count as a reader as soon as the file can be had. Nothing is held meanwhile that others need.

        Whoever comes while the file has been held for long waits no longer than whoever came first: requests that had
        to queue for a thread would else wait once more.
        """
        until = time.monotonic() + wait
        while True:
            with self._turn:
                while not (step := self._step(late=time.monotonic() > min(until, self._held_until(wait)))):
                    self._turn.wait(0.05)
                if isinstance(step, Opened):
                    self._readers += 1
                    return step
                self._opening = True
            opened, refusal = None, ""
            try:
                opened, refusal = self._attempt()
            finally:
                with self._turn:
                    self._opening = False
                    self._shared = opened
                    if refusal:
                        now = time.monotonic()
                        if now > self._refused[1] + STILL_HELD_SECONDS:
                            self._held_since = now
                        self._refused = (refusal, now)
                    elif opened is not None:
                        self._refused = ("", 0.0)  # That holding is over.
                    self._turn.notify_all()

    def _held_until(self, wait: float) -> float:
        """When who waits so long has waited enough for the holding that goes on; never, if none does."""
        going_on = self._shared is None and time.monotonic() <= self._refused[1] + STILL_HELD_SECONDS
        return self._held_since + wait if going_on else math.inf

    def _step(self, *, late: bool) -> Opened | bool:
        """What a reader may do now: read what is open, open the file (True), or wait (False), unless it is late."""
        mine: Opened | None = held(self)
        if mine is not None and mine is self._shared and self._readers:
            return mine  # Who writes waits until the whole snapshot has been read.
        if self._opening:
            return False  # It is one attempt, and takes no time.
        if self._writing:
            if late:
                raise self._being_changed()
            return False
        wanted = not late and self._somebody_waits_to_write()
        changed = self._shared is not None and self._shared.state != self._state_now()
        if (wanted or changed) and self._readers == 0:
            self._drop()
        elif changed and late:
            raise self._still_read()
        elif wanted or changed:
            return False
        if self._shared is not None:
            return self._shared
        refusal, when = self._refused
        if not wanted and time.monotonic() > when + RETRY_SECONDS:
            return True
        if late:
            raise self._in_use(refusal)
        return False

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """This process's turn: nothing of it has the file open, whether or not there is one.

        Raises
        ------
        Busy
            Another thread had it for longer than the wait.
        """
        with self._turn:
            until = time.monotonic() + WAIT_SECONDS
            while self._writing:
                if time.monotonic() > until:
                    raise self._being_changed()
                self._turn.wait(0.05)
            self._writing = True
        try:
            with self._turn:
                while (self._readers or self._opening) and time.monotonic() < until:
                    self._turn.wait(0.05)
                if self._readers or self._opening:
                    raise self._still_read()
                self._drop()
            yield
        finally:
            with self._turn:
                self._writing = False
                self._turn.notify_all()

    def _opened_still(self, alone: bool) -> BinaryIO:
        by: str | None = None

        def attempt() -> BinaryIO | None:
            nonlocal by
            try:
                file = self.path.open("r+b" if alone else "rb")
            except FileNotFoundError:
                raise self._absent() from None
            except PermissionError:
                if os.name == "nt":
                    return None  # Where there are no such locks, the writer lets nobody else open the file.
                if alone:
                    raise UserError(
                        say("The ledger {path} may not be changed; check its permissions.", path=self.path)
                    ) from None
                raise UserError(
                    say("The ledger {path} may not be read; check its permissions.", path=self.path)
                ) from None
            if locked(file, alone=alone) and still_named(file.fileno(), self.path):
                return file
            by = holder_of(file)
            file.close()
            return None

        return self._waited(attempt, lambda: self._in_use_by(by) if by else self._changed_elsewhere(), ask=alone)

    def _waited(self, attempt: Callable[[], T | None], told: Callable[[], UserError], *, ask: bool) -> T:
        """What an attempt gives as soon as it gives something. Readers are asked to make room meanwhile, if at all."""
        until = time.monotonic() + WAIT_SECONDS
        asked = False
        try:
            while (found := attempt()) is None:
                if time.monotonic() > until:
                    raise told()
                if ask and not asked:
                    with contextlib.suppress(OSError):
                        self._wanted.write_text(str(os.getpid()))
                        asked = True
                time.sleep(RETRY_SECONDS)
            return found
        finally:
            if asked:
                with contextlib.suppress(OSError):
                    self._wanted.unlink()

    def _attempt(self) -> tuple[Opened | None, str]:
        """Open the file to read if it can be had now; else what the engine says of who has it. Nothing of this process
        is open.

        The path may come to name another file between its opening and its locking by the engine, which then would read
        what nobody sees any more.
        """
        import duckdb

        try:
            if self.path.stat().st_size == 0:
                raise self._absent()
        except PermissionError:
            raise UserError(
                say("The folder of the ledger {path} may not be entered; check its permissions.", path=self.path)
            ) from None
        except OSError:
            raise self._absent() from None
        opened = connection = handle = None
        try:
            handle = None if os.name == "nt" else os.open(self.path, os.O_RDONLY)
            # Nothing in the file can make a reader open another file.
            config = CONFIG | {"enable_external_access": False}
            connection = duckdb.connect(str(self.path), read_only=True, config=config)
            connection.execute(NO_BAR)
            stat = self.path.stat() if handle is None else os.fstat(handle)
            if handle is None or still_named(handle, self.path):
                opened = Opened(connection, handle, _state_of(stat))
            return opened, ""
        except FileNotFoundError:
            return None, ""
        except (OSError, duckdb.Error) as error:
            if not isinstance(error, OSError) and _HELD.search(str(error)):
                return None, str(error)
            if handle is not None and not still_named(handle, self.path):
                return None, ""
            raise explained(self.path, error) from None
        finally:
            if opened is None:
                if connection is not None:
                    connection.close()
                if handle is not None:
                    os.close(handle)

    def _state_now(self) -> FileState:
        try:
            return _state_of(self.path.stat())
        except OSError:
            return (0, 0, 0)

    def _absent(self) -> UserError:
        return UserError(f"There is no ledger at {self.path} yet; import a sheet with `evenfoot import FILE` first.")

    def _being_changed(self) -> UserError:
        return Busy(f"The ledger {self.path} is being changed by another page; try again in a moment.")

    def _still_read(self) -> UserError:
        return Busy(say("The ledger {path} is still being read; try again in a moment.", path=self.path))

    def _changed_elsewhere(self) -> UserError:
        return Busy(
            say(
                "The ledger {path} is being changed by another program; try again when it has finished.",
                path=self.path,
            )
        )

    def _in_use(self, refusal: str) -> UserError:
        return self._in_use_by(holder(refusal))

    def _in_use_by(self, holder: str) -> UserError:
        return Busy(
            say(
                "The ledger {path} is in use by {holder}; close it there or try again when it has finished.",
                path=self.path,
                holder=holder,
            )
        )

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


def _state_of(stat: os.stat_result) -> FileState:
    return (stat.st_ino, stat.st_mtime_ns, stat.st_size)


def _copied(file: BinaryIO, copy: Path) -> None:
    file.seek(0)
    with open(copy, "wb", opener=lambda path, flags: os.open(path, flags, OWNER_ALONE)) as out:
        shutil.copyfileobj(file, out, 1 << 20)


def _forget(copy: Path) -> None:
    """Delete the copy of a change, and what the engine keeps beside it."""
    for left in (copy, _log_of(copy)):
        with contextlib.suppress(OSError):
            left.unlink()
    shutil.rmtree(copy.with_name(copy.name + ".tmp"), ignore_errors=True)


def _log_of(path: Path) -> Path:
    return path.with_name(path.name + ".wal")


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
    """The process-wide :class:`FileLease` for *path*; one for all names that lead to a file by links.

    Links are followed here, once: whoever holds the lease has the same file until the end, and with it one log, one
    lock and one folder of backups.
    """
    path = Path(os.path.realpath(path))
    with _leases_guard:
        if path not in _leases:
            _leases[path] = FileLease(path)
        return _leases[path]
