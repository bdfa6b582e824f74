"""The locks that engines take on a ledger's file, taken by us to find out who has it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO


def locked(file: BinaryIO, *, alone: bool) -> bool:
    """Take the lock of a writing engine, or of a reading one; never waits.

    Parameters
    ----------
    file : BinaryIO
        Open for as long as the lock is to be held; for *alone* it has to be open for writing.
    alone : bool
        As a writing engine, beside which nobody has the file.

    Returns
    -------
    bool
        False while somebody has the file who cannot share it. Where a system has no such locks, who could open the
        file has it.
    """
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.lockf(file, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def still_named(handle: int, path: Path) -> bool:
    """Whether *path* still names the open file *handle*. Asked with the lock held, the answer stays true."""
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except OSError:
        return False
