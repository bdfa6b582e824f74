"""The locks that engines take on a ledger's file, taken by us to find out who has it."""

from __future__ import annotations

import contextlib
import os
import struct
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


_FLOCK = "hhqqi4x"
"""``struct flock`` of 64-bit Linux: type, whence, start, length, process."""


def holder_of(file: BinaryIO) -> str | None:
    """The program that has a file which could not be locked alone, as it is told to people; ``None`` if nobody says.

    Example
    -------
    >>> import tempfile
    >>> with tempfile.TemporaryFile() as free:
    ...     print(holder_of(free))
    None
    """
    try:
        import fcntl
    except ImportError:
        return None
    asked = struct.pack(_FLOCK, fcntl.F_WRLCK, os.SEEK_SET, 0, 0, 0)
    try:
        kind, _, _, _, process = struct.unpack(_FLOCK, fcntl.fcntl(file, fcntl.F_GETLK, asked))
    except (OSError, struct.error):
        return None
    if kind == fcntl.F_UNLCK or process <= 0:
        return None
    program = "a program"
    with contextlib.suppress(OSError):
        program = Path(os.readlink(f"/proc/{process}/exe")).name
    return f"{program} (process {process})"


def still_named(handle: int, path: Path) -> bool:
    """Whether *path* still names the open file *handle*. Asked with the lock held, the answer stays true."""
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except OSError:
        return False
