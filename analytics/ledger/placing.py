"""Giving a file its name so that it has it even if the power goes the next moment."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def put_in_place(draft: Path, path: Path) -> None:
    """Move a file that is whole and on the disk to *path*, in the place of what is there.

    Raises
    ------
    OSError
        It cannot be moved.
    """
    os.replace(draft, path)
    settle(path.parent)


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
