"""A ledger whose writing was cut short so that the engine cannot read the end of its log."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.atomic_write import FOLDER_ALONE
from evenfoot.analytics.ledger.failures import Damaged
from evenfoot.analytics.ledger.file_copy import FOLDER, copy_before, log_of
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.ledger import Ledger


@dataclass(frozen=True)
class Mended:
    """What was done.

    Attributes
    ----------
    log : Path or None
        Where the log was put; None when nothing had to be done.
    last_import : int
        The newest import that is in the ledger, 0 without any.
    last_file : str
    """

    log: Path | None
    last_import: int = 0
    last_file: str = ""


def mend(ledger: Ledger) -> Mended:
    """Put a log that cannot be read aside, so that the ledger opens as it was before the change that was cut short.

    The log holds only what was committed since the ledger was last closed, which is the one change that was under
    way. It is kept in the folder ``backups``, beside a copy of all as it was; nothing is deleted.

    Raises
    ------
    UserError
        There is no ledger, or it is damaged beyond its log.
    """
    path = Path(ledger.name)
    if not ledger.exists:
        raise UserError(
            f"There is no ledger at {path}; look where it is, or put a backup back with `evenfoot restore`."
        )
    put: Path | None = None
    if log_of(path).exists():
        copy_before(ledger, "mend", fold=False)
    try:
        with ledger.lease.writing():
            pass
    except Damaged:
        if not log_of(path).exists():
            raise
        put = path.with_name(FOLDER) / f"{path.stem}-{dt.datetime.now():%Y-%m-%d-%H%M%S-%f}-log.wal"
        _put_aside(log_of(path), put)
        try:
            with ledger.lease.writing():
                pass
        except UserError:
            # The log was not what kept it shut.
            with contextlib.suppress(OSError):
                os.replace(put, log_of(path))
            raise
    verdict = verify(ledger)
    if not verdict.whole:
        raise Damaged(
            f"The ledger {path} opens, but is not whole: {verdict.findings[0]} Put a backup back with "
            "`evenfoot restore`."
        )
    newest = ledger.frame("SELECT import_no, file FROM imports ORDER BY import_no DESC LIMIT 1")
    if newest.empty:
        return Mended(put)
    return Mended(put, int(newest["import_no"].iloc[0]), str(newest["file"].iloc[0]))


def _put_aside(log: Path, place: Path) -> None:
    try:
        place.parent.mkdir(mode=FOLDER_ALONE, exist_ok=True)
        os.replace(log, place)
    except OSError as error:
        raise UserError(f"The log {log} cannot be put into {place.parent} ({error.strerror}).") from None
