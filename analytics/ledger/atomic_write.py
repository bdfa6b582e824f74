"""Giving a file its name so that it has it even if the power goes the next moment."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from evenfoot.analytics.ledger.file_locks import locked, still_named

OWNER_ALONE = 0o600
"""Permissions of every ledger, backup and draft: its owner reads and writes it, nobody else."""

FOLDER_ALONE = 0o700
"""Permissions of the folders that the program makes for itself."""


def put_in_place(draft: Path, path: Path) -> None:
    """Move a file that is whole and on the disk to *path*, in the place of what is there; for its owner alone.

    Raises
    ------
    OSError
        It cannot be moved.
    """
    keep_alone(draft)
    os.replace(draft, path)
    settle(path.parent)


def keep_alone(path: Path) -> None:
    """Let nobody but its owner read or write a file, where the disk has permissions; a memory stick has none."""
    with contextlib.suppress(OSError):
        path.chmod(OWNER_ALONE)


def put_where_none_is(draft: Path, path: Path) -> bool:
    """Move a file that is whole and on the disk to *path*, unless somebody has put one there that is not empty.

    Nothing of this process may have *path* open, or its locks would be lost: see
    :meth:`evenfoot.analytics.ledger.engines.file_lease.FileLease.alone`.

    Returns
    -------
    bool
        Whether it was moved.

    Raises
    ------
    OSError
        It cannot be moved.
    """
    try:
        os.link(draft, path)
    except FileExistsError:
        return _put_over_empty(draft, path)
    except OSError:
        # A file system without links: moving does not overwrite on the systems that have such.
        if path.exists():
            return _put_over_empty(draft, path)
        os.replace(draft, path)
    settle(path.parent)
    return True


def _put_over_empty(draft: Path, path: Path) -> bool:
    with path.open("r+b") as file:
        # With the lock, for somebody else may do the same, and write there the next moment.
        if not locked(file, alone=True) or not still_named(file.fileno(), path) or os.fstat(file.fileno()).st_size:
            return False
        if os.name == "nt":
            file.close()
        put_in_place(draft, path)
    return True


def settle(folder: Path) -> None:
    """Ask the system to put the names in a folder on the disk: a file that was synced may else be there without one
    [pub: POSIX, fsync()]. Where folders cannot be opened, the system sees to it by itself."""
    if os.name == "nt":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
