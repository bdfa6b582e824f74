"""Files around a ledger that may hold what it held: which of them are its own copies, and which still name a farm."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import re
import time
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.create import STALE_SECONDS
from evenfoot.analytics.ledger.file_copy import FOLDER, literal, log_of
from evenfoot.analytics.ledger.identity import id_of
from evenfoot.analytics.ledger.integrity.farm_mentions import SHORTEST_PART, FarmMentions
from evenfoot.analytics.ledger.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.schema import BOOKKEEPING, ROW_TABLES
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.temporary_folders import clear_left

MAGIC = slice(8, 12), b"DUCK"
"""Where a file of the embedded engine says what it is [measured on the engine's own files]."""

DRAFT = re.compile(r".+\.\d+\.draft")
"""The name of a copy that is being written: its own, the number of the program that writes it, and this ending."""

ERASED = "erased"
"""Stands in the place of a file's name that told of a farm, or of an import that was taken back."""

MOMENT = "????-??-??-*"
"""How a moment is written in the name of a copy, as a pattern."""

NAMING = {
    "imports": ("file", "notes"),
    "set_aside": ("value", "original"),
    "history": ("subject", "farm", "before", "after"),
    "aliases": ("farm", "said", "means"),
    "layouts": ("name", "headings", "answers"),
    "replaced_rows": ("farm",),
    "horn_limits": ("farm",),
    "agreements": ("farm",),
    "sheet_photos": ("farm",),
}
"""Tables of bookkeeping, and their columns that may name a farm."""


@dataclass(frozen=True)
class Copy:
    """A file that holds a farm, or may hold it.

    Attributes
    ----------
    path : Path
    own : bool
        Whether it is certainly a copy of this ledger and of nothing else, so that it may be deleted for it.
    why : Message
        What is known of it, in a sentence.
    """

    path: Path
    own: bool
    why: Message

    def delete(self) -> bool:
        """Delete it, with its log; whether it is gone."""
        for path in (log_of(self.path), self.path):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
        return not os.path.lexists(self.path)


@dataclass(frozen=True)
class _Known:
    """What copies of the ledger are known by: its id, its imports by number and moment, and its name."""

    name: str
    id: str | None
    imports: frozenset[tuple[int, dt.datetime]]

    def named_as_copy(self, path: Path) -> bool:
        """Whether the program itself gives such names to copies of a ledger of this name, and to its logs."""
        name, stem = literal(self.name), literal(Path(self.name).stem)
        if path.parent.name == FOLDER:
            patterns = (f"{stem}-{MOMENT}-before-*.duckdb", f"{stem}-{MOMENT}-log.wal")
        else:
            patterns = (f"{name}.{MOMENT}.old", f"{name}.wal.{MOMENT}.old")
        return any(fnmatchcase(path.name, pattern) for pattern in patterns)

    def is_own(self, path: Path, cursor: Any) -> bool:
        """Whether an open copy is one of this ledger.

        It bears the ledger's id, and its name or its imports say that it is a copy and no ledger that has gone on by
        itself; or it is from before ledgers had ids, and bears a name that the program gives.
        """
        there = id_of(cursor)
        if there != self.id:
            return there is None and self.named_as_copy(path)
        return self.named_as_copy(path) or _imports(cursor) <= self.imports


def copies_with(ledger: Ledger, farm: str, others: tuple[str, ...] = ()) -> list[Copy]:
    """Files beside a ledger, and in its folder ``backups``, that hold a farm or may hold it.

    Parameters
    ----------
    ledger : Ledger
        One in a file.
    farm : str
    others : tuple of str
        Farms of the ledger that are not meant.

    Returns
    -------
    list of Copy
        By path.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    place = Path(ledger.name)
    with ledger.reading() as cursor:
        known = _Known(place.name, id_of(cursor), _imports(cursor))
    named = FarmMentions(farm, others)
    given: Path = getattr(ledger.engine, "given", place)
    # Copies lie beside the ledger and in its folder of backups; also beside a link that leads to it.
    beside = dict.fromkeys((place.parent, given.parent))
    folders = [where for folder in beside for where in (folder, folder / FOLDER)]
    ours = {place, given, log_of(place), log_of(given)}
    found = [_looked_into(path, known, named) for path in _around(folders, ours)]
    left = [copy for folder in folders for copy in _left_in_work(folder, place.name)]
    return [*(copy for copy in found if copy is not None), *left]


def _imports(cursor: Any) -> frozenset[tuple[int, dt.datetime]]:
    return frozenset(cursor.execute("SELECT import_no, imported_at FROM imports").fetchall())


def _around(folders: list[Path], ours: set[Path]) -> list[Path]:
    """Files that may be copies: databases of the engine, what is named like one, and logs without their database."""
    found: set[Path] = set()
    for folder in folders:
        with contextlib.suppress(OSError):
            found |= {path for path in folder.iterdir() if path not in ours and _may_be_copy(path)}
    return sorted(found)


def _left_in_work(folder: Path, name: str) -> Iterator[Copy]:
    """Copies that another program has not finished, and folders in which one works; what nobody finishes any more is
    deleted."""
    for prefix in (".evenfoot-", f"{literal(name)}.tmp"):
        for left in clear_left(folder, prefix):
            yield Copy(left, False, say("A program works in this folder, or was killed in it a moment ago."))
    for draft in sorted(path for path in folder.glob("*.draft") if DRAFT.fullmatch(path.name)):
        copy = Copy(draft, False, say("This file is being written, or was left by a program that was just killed."))
        with contextlib.suppress(OSError):  # Finished or given up meanwhile.
            if abs(time.time() - draft.stat().st_mtime) > STALE_SECONDS:
                copy.delete()
        if draft.exists():
            yield copy


def _may_be_copy(path: Path) -> bool:
    if not path.is_file() or path.name.endswith(".draft"):
        return False
    if path.suffix in (".duckdb", ".old"):
        return True
    if path.suffix == ".wal":
        return not path.with_suffix("").exists()
    try:
        with path.open("rb") as file:
            return file.read(16)[MAGIC[0]] == MAGIC[1]
    except OSError:
        return False


def _looked_into(path: Path, known: _Known, named: FarmMentions) -> Copy | None:
    """What is to be said of a file; nothing where it certainly does not hold the farm."""
    if path.is_symlink():
        return Copy(path, False, say("This is a link to {target}, which is not looked into.", target=path.resolve()))
    if path.suffix == ".wal":
        return Copy(path, known.named_as_copy(path), say("This is a log that was put aside; it may hold the farm."))
    try:
        lease = open_ledger(str(path)).lease
        try:
            with lease.reading() as cursor:
                if not _is_ledger(cursor):
                    return None
                own = known.is_own(path, cursor)
                why = _holding(path, cursor, named, own=own)
        finally:
            lease.drop_if_idle()
    except Exception as error:
        import duckdb

        if not isinstance(error, UserError | duckdb.Error):
            raise
        return Copy(path, known.named_as_copy(path), say("This file cannot be looked into; it may hold the farm."))
    if why is None:
        return None
    if own and path.stat().st_nlink > 1:
        return Copy(path, False, say("This file has another name on this disk as well, under which it would stay."))
    if own:
        return Copy(path, True, why)
    return Copy(path, False, say("{why} It is not certainly a copy of this ledger.", why=why))


def _is_ledger(cursor: Any) -> bool:
    rows = cursor.execute("SELECT table_name FROM information_schema.tables WHERE table_schema = 'main'").fetchall()
    return {"meta", "imports", "trim_rows"} <= {name for (name,) in rows}


def _holding(path: Path, cursor: Any, named: FarmMentions, *, own: bool) -> Message | None:
    """What a ledger of any layout has of a farm. That imports were taken back tells only of a copy of one's *own*."""
    columns = {
        (table, column)
        for table, column in cursor.execute(
            "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = 'main'"
        ).fetchall()
    }
    for table, _ in ROW_TABLES.values():
        if (table, "farm") in columns:
            farms = cursor.execute(f"SELECT DISTINCT farm FROM {table} WHERE farm IS NOT NULL").fetchall()
            if any(named.is_it(farm) for (farm,) in farms):
                return say("This file holds its records.")
    if names_it(cursor, named, columns):
        return say("This file has no records of it, but names it: in imports, rows set aside, names or history.")
    undone = "SELECT COUNT(*) FROM imports WHERE undone_at IS NOT NULL AND file <> ?"
    if (own and cursor.execute(undone, [ERASED]).fetchall() != [(0,)]) or bytes_name(path, named.farm):
        return say("This file has no records of it, but may still have the bytes of some that were taken back.")
    return None


def names_it(cursor: Any, named: FarmMentions, columns: set[tuple[str, str]] | None = None) -> bool:
    """Whether the bookkeeping of a ledger names a farm.

    Parameters
    ----------
    cursor : connection
    named : FarmMentions
    columns : set of (str, str), optional
        (table, column) that are there; those of the newest layout without it.
    """
    there = columns or {(table, column) for table in BOOKKEEPING for column in BOOKKEEPING[table]}
    return any(named.is_in(text) for table, column in _naming(there) for text in _texts(cursor, table, column))


def bytes_name(path: Path, farm: str) -> bool:
    """Whether a farm's name stands in the bytes of a file as text; the engine may also have stored it otherwise.

    A name of few letters is not looked for: it stands within other words.
    """
    if len(farm) < SHORTEST_PART:
        return False
    needles = {text.encode() for text in (farm, farm.lower(), farm.upper(), unicodedata.normalize("NFD", farm))}
    kept = b""
    with contextlib.suppress(OSError), path.open("rb") as file:
        while piece := file.read(1 << 20):
            piece = kept + piece
            if any(needle in piece for needle in needles):
                return True
            kept = piece[-max(map(len, needles)) :]
    return False


def _naming(there: set[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    yield from ((table, column) for table, some in NAMING.items() for column in some if (table, column) in there)


def _texts(cursor: Any, table: str, column: str) -> Iterator[str]:
    rows = cursor.execute(f'SELECT DISTINCT "{column}" FROM {table} WHERE "{column}" IS NOT NULL').fetchall()
    return (text for (text,) in rows)
