"""Copies of the ledger's file that are of one moment, and the folder of those made by the program itself."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.atomic_write import FOLDER_ALONE, OWNER_ALONE, put_in_place, settle

if TYPE_CHECKING:
    from evenfoot.analytics.ledger.ledger import Ledger

KEPT_COPIES = 10
"""So many of the copies made before undoing stay in the folder; older ones go. [common practice, no source]"""

KEPT_BYTES = 2_000_000_000
"""Older copies go, too, when those made before undoing come to more than this. [common practice, no source]"""

FOLDER = "backups"


def log_of(path: Path) -> Path:
    """The engine's log of what is not yet in the file."""
    return path.with_name(path.name + ".wal")


def copy_before(ledger: Ledger, what: str, *, fold: bool = True) -> Path:
    """Copy the ledger into the folder ``backups`` beside it, before something is done that may be regretted.

    Of the copies made for the same reason, the newest :data:`KEPT_COPIES` are kept, or fewer of a large ledger.

    Parameters
    ----------
    ledger : Ledger
    what : str
        What is about to be done, in letters for a file name, such as ``undo-7``.
    fold : bool
        Whether a log that was left is brought into the ledger first; else it is copied beside.

    Returns
    -------
    Path
        The copy. It can be put back with ``evenfoot restore``.

    Raises
    ------
    UserError
        The copy cannot be written.
    """
    place = Path(ledger.name)
    folder = place.with_name(FOLDER)
    moment = f"{dt.datetime.now():%Y-%m-%d-%H%M%S-%f}"
    out = folder / f"{place.stem}-{moment}-before-{what}.duckdb"
    copy_file(ledger, out, fold=fold)
    _forget_old([copy for copy in kept_copies(ledger) if f"-before-{what.partition('-')[0]}" in copy.name])
    return out


def kept_copies(ledger: Ledger) -> list[Path]:
    """The copies that the program itself made of this ledger, oldest first."""
    place = Path(ledger.name)
    copies = place.with_name(FOLDER).glob(f"{literal(place.stem)}-????-??-??-*-before-*.duckdb")
    return sorted(copies, key=lambda path: path.name)


def _forget_old(copies: list[Path]) -> None:
    """The newest copy stays in any case."""
    room = KEPT_BYTES
    for place, copy in enumerate(reversed(copies)):
        with contextlib.suppress(OSError):
            room -= copy.stat().st_size
        if place and (place >= KEPT_COPIES or room < 0):
            forget(copy)
            forget(log_of(copy))


def copy_file(ledger: Ledger, out: Path, *, fold: bool = True) -> None:
    """Copy the ledger's file to *out*, which appears there only when it is whole.

    Raises
    ------
    UserError
        There is no ledger, or the copy cannot be written.
    """
    try:
        out.parent.mkdir(mode=FOLDER_ALONE, parents=True, exist_ok=True)
        if fold and log_of(Path(ledger.name)).exists():
            # Somebody was killed while writing. What is whole in the log goes into the file, which only a writer does.
            with contextlib.suppress(UserError), ledger.lease.writing():
                pass
        with ledger.lease.still() as file:
            copy_held(file, ledger, out)
    except OSError as error:
        raise _unwritten(out, error) from None


def copy_held(file: BinaryIO, ledger: Ledger, out: Path) -> None:
    """Copy the ledger's file to *out* while *file*, which
    :meth:`evenfoot.analytics.ledger.engines.file_lease.FileLease.still` gave, keeps it from changing; see
    :func:`copy_file`."""
    draft = out.with_name(f"{out.name}.{os.getpid()}.draft")
    try:
        file.seek(0)
        _written(file, draft)
        log = log_of(Path(ledger.name))
        if log.exists():
            with log.open("rb") as rest:
                _written(rest, log_of(out))
        put_in_place(draft, out)
        settle(out.parent.parent)
    except OSError as error:
        forget(log_of(out))
        raise _unwritten(out, error) from None
    finally:
        forget(draft)


def _unwritten(out: Path, error: OSError) -> UserError:
    return UserError(
        f"No copy of the ledger could be written to {out} ({error.strerror}); make room there or check the folder's "
        "permissions."
    )


def forget(path: Path) -> None:
    """Delete a file that nobody needs, if it is there and can be deleted."""
    with contextlib.suppress(OSError):
        path.unlink()


def _written(source: BinaryIO, out: Path) -> None:
    with open(out, "wb", opener=lambda path, flags: os.open(path, flags, OWNER_ALONE)) as file:
        shutil.copyfileobj(source, file, 1 << 20)
        file.flush()
        os.fsync(file.fileno())


def literal(text: str) -> str:
    """*text* as a pattern that means itself."""
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in text)
