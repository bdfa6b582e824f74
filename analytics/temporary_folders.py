"""Folders for what is needed for a moment, and those that a program left because it was killed."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

PREFIX = "evenfoot-"

STALE_SECONDS = 3600.0
"""A folder that does not say whose it is was left behind if nothing in it is younger. [common practice, no source]"""

_OF_PROGRAM = re.compile(rf"{PREFIX}(\d+)-.+")


@contextlib.contextmanager
def scratch_folder() -> Iterator[Path]:
    """A folder in the system's place for temporary files, deleted when the block ends.

    Its name has the number of this program, so that :func:`clear_left` knows whether anybody still needs it.
    """
    with tempfile.TemporaryDirectory(prefix=f"{PREFIX}{os.getpid()}-", ignore_cleanup_errors=True) as folder:
        yield Path(folder)


def clear_left(folder: Path | None = None, prefix: str = PREFIX) -> list[Path]:
    """Delete the folders that killed programs left.

    Parameters
    ----------
    folder : Path, optional
        Where they are; the system's place for temporary files without it.
    prefix : str
        How their names begin.

    Returns
    -------
    list of Path
        Folders that are still there: somebody may need them, or they cannot be deleted.
    """
    place = folder or Path(tempfile.gettempdir())
    try:
        found = sorted(path for path in place.glob(f"{prefix}*") if path.is_dir() and not path.is_symlink())
    except OSError:
        return []
    for path in found:
        if not _needed(path):
            shutil.rmtree(path, ignore_errors=True)
    return [path for path in found if path.exists()]


def _needed(path: Path) -> bool:
    """Whether a program may still be using a folder."""
    of_program = _OF_PROGRAM.fullmatch(path.name)
    if of_program and os.name != "nt":
        return _runs(int(of_program[1]))
    newest = 0.0
    with contextlib.suppress(OSError):
        newest = max(one.lstat().st_mtime for one in (path, *path.rglob("*")))
    return abs(time.time() - newest) < STALE_SECONDS


def _runs(program: int) -> bool:
    try:
        os.kill(program, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
