"""Keeping a copy of a whole ledger, and putting one back: one file, whole or not at all."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from analytics.ledger.ledger import Ledger, open_ledger
from analytics.mistake import Mistake


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
    Mistake
        There is no ledger, a file of that name is there already, or it cannot be written.
    """
    if out.is_dir():
        out = out / f"evenfoot-{dt.datetime.now():%Y-%m-%d-%H%M%S}.duckdb"
    if out.exists():
        raise Mistake(f"{out} is there already; give the backup another name.")
    with ledger.reading():
        _placed(Path(ledger.name), out, os.replace)
    return out


def restore(ledger: Ledger, backup: Path, *, replace: bool = False) -> Path | None:
    """Put a backup in the place of the ledger.

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
    Mistake
        The backup is not a ledger, there is one already, or something cannot be read or written.
    """
    _check(backup)
    place = Path(ledger.name)
    if place.resolve() == backup.resolve():
        raise Mistake(f"{backup} is the ledger itself; give the backup.")
    kept: Path | None = None
    if ledger.exists:
        if not replace:
            raise Mistake(
                f"There is a ledger at {place} already; give another place with --ledger, or add --replace, which "
                "keeps the old one beside it."
            )
        kept = place.with_name(f"{place.name}.{dt.datetime.now():%Y-%m-%d-%H%M%S}.old")
        with ledger.reading():
            _placed(place, kept, os.replace)
    _placed(backup, place, lambda draft, final: _swap(ledger, draft, final))
    return kept


def _swap(ledger: Ledger, draft: Path, place: Path) -> None:
    """The draft takes the ledger's place while nobody in this process holds it."""
    ledger.lease.drop_if_idle()
    _log_of(place).unlink(missing_ok=True)
    os.replace(draft, place)


def _placed(source: Path, final: Path, place: Callable[[Path, Path], None]) -> None:
    """Copy to a draft beside its place, look whether it can be opened, then move it there."""
    draft = final.with_name(f"{final.name}.{os.getpid()}.draft")
    try:
        final.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, draft)
        if _log_of(source).exists():
            shutil.copyfile(_log_of(source), _log_of(draft))
        _check(draft)
        place(draft, final)
    except OSError as error:
        raise Mistake(f"{final} cannot be written ({error.strerror}); choose another place.") from None
    finally:
        draft.unlink(missing_ok=True)
        _log_of(draft).unlink(missing_ok=True)


def _log_of(path: Path) -> Path:
    """The engine's log of what is not yet in the file."""
    return path.with_name(path.name + ".wal")


def _check(path: Path) -> None:
    """A Mistake unless there is a ledger at *path* that this program can open and read."""
    if not path.is_file():
        raise Mistake(f"There is no file {path}; check the name.")
    ledger = open_ledger(str(path))
    if _log_of(path).exists():
        # What is in the log has to go into the file, which only a writer does.
        with ledger.writing():
            pass
    try:
        ledger.imports()
    except Mistake as mistake:
        raise Mistake(f"{path} is not a ledger that can be put back: {mistake}") from None
    finally:
        ledger.lease.drop_if_idle()
