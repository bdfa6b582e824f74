"""Keeping a copy of a whole ledger, and putting one back: one file, whole or not at all."""

from __future__ import annotations

import datetime as dt
import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.atomic_write import put_in_place, put_where_none_is
from evenfoot.analytics.ledger.engines.create import put_aside_old_log
from evenfoot.analytics.ledger.failures import Damaged
from evenfoot.analytics.ledger.file_copy import copy_file, copy_held, forget, log_of
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.integrity.verify import unread
from evenfoot.analytics.ledger.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.migrations import migrate
from evenfoot.analytics.ledger.schema import SCHEMA_VERSION
from evenfoot.analytics.ledger.transfer import move
from evenfoot.analytics.temporary_folders import scratch_folder


def back_up(ledger: Ledger, out: Path) -> Path:
    """Copy the ledger to *out*, or into the folder *out* under a name with the date and time.

    Nobody can write while the copy is made, so it is of one moment. It appears under its name only when it is
    whole and can be opened.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    UserError
        There is no ledger, a file of that name is there already, or it cannot be written.
    """
    if out.is_dir():
        out = out / f"evenfoot-{dt.datetime.now():%Y-%m-%d-%H%M%S}.duckdb"
    if out.exists():
        raise UserError(f"{out} is there already; give the backup another name.")
    with ledger.reading():
        pass  # A UserError unless it is a ledger.
    if ledger.in_a_file:
        _placed(ledger, out, put_in_place)
        return out
    with scratch_folder() as room:
        draft = room / "backup.duckdb"
        move(ledger, open_ledger(str(draft)))
        _placed(open_ledger(str(draft)), out, put_in_place)
    return out


def restore(ledger: Ledger, backup: Path, *, replace: bool = False) -> Path | None:
    """Put a backup in the place of the ledger. On a server or in a registry the place must be empty.

    Parameters
    ----------
    ledger : Ledger
        Where it goes.
    backup : Path
    replace : bool
        Whether a ledger that is there may be replaced. It is kept beside, under a name with the date and time.

    Returns
    -------
    Path or None
        Where the old ledger was put, if there was one.

    Raises
    ------
    UserError
        The backup is not a ledger, there is one already, or something cannot be read or written.
    """
    if not backup.is_file():
        raise UserError(f"There is no file {backup}; check the name.")
    if not ledger.in_a_file:
        _move_in(backup, ledger)
        return None
    place = Path(ledger.name)
    if place.resolve() == backup.resolve():
        raise UserError(f"{backup} is the ledger itself; give the backup.")
    kept: Path | None = None
    if ledger.exists:
        if not replace:
            raise _there_already(place)
        kept = place.with_name(f"{place.name}.{dt.datetime.now():%Y-%m-%d-%H%M%S-%f}.old")

    def swap(draft: Path, final: Path) -> None:
        _note_in(draft, backup)
        if kept:
            _replace(ledger, draft, kept)
            return
        with ledger.lease.alone():
            put_aside_old_log(final)
            if not put_where_none_is(draft, final):
                raise _there_already(place)

    _placed(open_ledger(str(backup)), place, swap)
    return kept


def _move_in(backup: Path, ledger: Ledger) -> None:
    """Everything a file holds, into a ledger on a server or in a registry. The file stays."""
    with scratch_folder() as room:
        copy = room / "backup.duckdb"
        copy_file(open_ledger(str(backup)), copy)
        source = open_ledger(str(copy))
        try:
            move(source, ledger, lambda connection: _note(connection, backup))
        finally:
            source.lease.drop_if_idle()


def _note_in(draft: Path, backup: Path) -> None:
    """Bring the draft up to date and note in it where it is from, so that all of it comes in one step."""
    ledger = open_ledger(str(draft))
    try:
        with ledger.lease.writing() as connection:
            layout = ledger.layout(connection)
            if layout < SCHEMA_VERSION:
                migrate(connection, layout)
            _note(connection, backup)
    finally:
        ledger.lease.drop_if_idle()
    if log_of(draft).exists():
        # The engine keeps in its log what did not fit into the file, and says nothing.
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _note(connection: Any, backup: Path) -> None:
    note(connection, "backup put back", subject="ledger", after={"backup": backup.name})


def _there_already(place: Path) -> UserError:
    return UserError(
        f"There is a ledger at {place} already; give another place with --ledger, or add --replace, which keeps the "
        "old one beside it."
    )


def _replace(ledger: Ledger, draft: Path, kept: Path) -> None:
    """The old ledger is kept and the draft takes its place, while nobody else has the file: what was done before is in
    what is kept, and whoever waits finds the new file."""
    place = Path(ledger.name)
    with ledger.lease.still(alone=True) as file:
        copy_held(file, ledger, kept)
        if os.name == "nt":
            file.close()
        log_of(place).unlink(missing_ok=True)
        put_in_place(draft, place)


def _placed(source: Ledger, final: Path, place: Callable[[Path, Path], None]) -> None:
    """Copy to a draft beside its place, look whether it can be opened, then move it there."""
    draft = final.with_name(f"{final.name}.{os.getpid()}.draft")
    try:
        copy_file(source, draft)
        _check(draft, source.name)
        place(draft, final)
    except OSError as error:
        raise UserError(f"{final} cannot be written ({error.strerror}); choose another place.") from None
    finally:
        forget(draft)
        forget(log_of(draft))


def _check(draft: Path, name: str) -> None:
    """A UserError unless the copy of *name* is a ledger that this program can open and read to its end."""
    ledger = open_ledger(str(draft))
    lease = ledger.lease
    try:
        if log_of(draft).exists():
            # What is in the log has to go into the file, which only a writer does.
            with lease.writing():
                pass
        with lease.reading() as cursor:
            ledger.layout(cursor)
            if any(unread(cursor)):
                raise Damaged(name)
    except Damaged:
        raise UserError(f"{name} is damaged and cannot be put back; take another backup.") from None
    except UserError as mistake:
        said = str(mistake).replace(str(draft), name)
        raise UserError(f"{name} is not a ledger that can be put back: {said}") from None
    finally:
        lease.drop_if_idle()
