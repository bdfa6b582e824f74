"""The SQL of questions, kept on disk from one run of the program to the next, as Python keeps what it compiles.

To build an expression and compile it takes longer than to answer it. What is kept belongs to one state of the source:
its name on disk is a digest of every file of ``analytics`` and of the libraries that compile, so after any change it is
not looked at again. Nothing that names a farm, a cow, a group or a person is kept, nor any text of an address that is
no word of the trade: the records of a farm are in its ledger and nowhere else. Whoever deletes the folder loses nothing
but the time.

The file is believed only where this user alone can have written it. What it holds is asked of ledgers that are open for
reading only, without any other file.
"""

from __future__ import annotations

import contextlib
import dataclasses
import datetime as dt
import functools
import hashlib
import importlib.util
import json
import os
import re
import stat
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.domain.feet import CLAWS, FEET, LIMBS
from evenfoot.analytics.domain.housing import FLOORS, HOUSINGS, WETNESS
from evenfoot.analytics.domain.lesions import FAMILIES, LESIONS
from evenfoot.analytics.domain.seasons import HEMISPHERES, SEASONS
from evenfoot.analytics.domain.visits import VISIT_KINDS
from evenfoot.analytics.ledger.schema import every_table

if TYPE_CHECKING:
    from evenfoot.analytics.queries.selection import Selection

MOST_BYTES = 8 * 2**20
"""Of SQL on disk for one state of the source: some thousand questions. [common practice, no source]"""

STATES = 3
"""States of the source whose SQL is left on disk. [common practice, no source]"""

NAMES_NOBODY = frozenset(
    (
        "since",
        "until",
        "visits",
        "lesions",
        "families",
        "housing",
        "floor",
        "seasons",
        "parity",
        "feet",
        "claws",
        "zones",
    )
) | {"severity", "hemisphere"}
"""Fields of a selection that may be narrowed in a question that is kept on disk: words of the trade, and dates."""

WORDS: frozenset[str] = frozenset(
    {
        *every_table(),
        *(column for columns in every_table().values() for column in columns),
        *LESIONS,
        *FAMILIES,
        *HOUSINGS,
        *FLOORS,
        *WETNESS,
        *SEASONS,
        *HEMISPHERES,
        *FEET,
        *LIMBS,
        *CLAWS,
        *VISIT_KINDS,
        *("all", "unknown", "other", "lameness", "side", "trim", "month", "quarter", "year", "season"),
    }
)
"""Texts of which a question may be made that is kept on disk."""

PARITY = re.compile(r"[0-9]{1,2}\+?")

COMPILERS = ("ibis", "sqlglot")
"""Libraries whose version decides what SQL is made."""


class SqlCache:
    """Texts by key, in one file that is only ever added to.

    Parameters
    ----------
    folder : Path, optional
        Where the file is; without one nothing is kept.
    """

    def __init__(self, folder: Path | None) -> None:
        self._file = folder / f"questions-{_state_of_source()}.txt" if folder else None
        self._texts: dict[str, str] = {}
        self._room = 0
        self._guard = threading.Lock()
        if self._file is not None:
            self._read()

    @property
    def known(self) -> int:
        """How many texts are kept."""
        return len(self._texts)

    def get(self, key: str) -> str | None:
        """The text kept under a key, if there is one."""
        return self._texts.get(key)

    def put(self, key: str, text: str) -> None:
        """Keep a text; where it cannot be written down, it is built again the next time."""
        if self._file is None or key in self._texts:
            return
        line = _line(key, text)
        with self._guard:
            if len(line) > self._room:
                return
            self._room -= len(line)
            self._texts[key] = text
            with contextlib.suppress(OSError):
                new = not self._file.exists()
                self._file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
                out = _opened(self._file, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
                try:
                    # One write, to the end: lines of two programs stay whole, and half a line is known by its digest.
                    os.write(out, line)
                finally:
                    os.close(out)
                if new:
                    self._drop_older()

    def _read(self) -> None:
        assert self._file is not None
        self._room = MOST_BYTES
        try:
            with open(_opened(self._file, os.O_RDONLY), "rb") as file:
                whole = file.read(MOST_BYTES)
        except OSError:
            return
        self._room -= len(whole)
        for line in whole.split(b"\n"):
            digest, _, said = line.partition(b" ")
            if digest and digest == _digest(said):
                key, text = json.loads(said)
                self._texts[key] = text

    def _drop_older(self) -> None:
        assert self._file is not None
        files = sorted(self._file.parent.glob("questions-*.txt"), key=lambda file: file.stat().st_mtime)
        for file in files[:-STATES]:
            file.unlink(missing_ok=True)


def _opened(file: Path, flags: int) -> int:
    """Open a file of this user's own, in a folder of this user's own; a link is not followed.

    Raises
    ------
    OSError
        It cannot be opened, or somebody else could have written it.
    """
    handle = os.open(file, flags | getattr(os, "O_NOFOLLOW", 0), 0o600)
    try:
        if os.name != "nt":
            found, around = os.fstat(handle), os.stat(file.parent)
            shared = found.st_mode & (stat.S_IRWXG | stat.S_IRWXO) or around.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
            if not stat.S_ISREG(found.st_mode) or shared or {found.st_uid, around.st_uid} != {os.geteuid()}:
                raise PermissionError(f"{file} is not this user's own")
    except BaseException:
        os.close(handle)
        raise
    return handle


def _line(key: str, text: str) -> bytes:
    said = json.dumps([key, text], ensure_ascii=True).encode()
    # A line that another program left half written is ended first.
    return b"\n" + _digest(said) + b" " + said + b"\n"


def _digest(said: bytes) -> bytes:
    return hashlib.blake2b(said, digest_size=8).hexdigest().encode()


def _state_of_source() -> str:
    """A digest of everything that decides what SQL a question has."""
    state = hashlib.blake2b(digest_size=12)
    own = Path(__file__).parent.parent
    files = sorted(own.rglob("*.py"))
    for library in COMPILERS:
        found = importlib.util.find_spec(library)
        if found is not None and found.origin:
            files += sorted(file for file in Path(found.origin).parent.glob("*.py") if "version" in file.name)
            files.append(Path(found.origin))
    for file in files:
        state.update(file.name.encode() + b"\0" + file.read_bytes())
    return state.hexdigest()


@functools.cache
def sql_cache() -> SqlCache:
    """What this program keeps, in the folder that the system has for such things."""
    import platformdirs

    try:
        return SqlCache(platformdirs.user_cache_path("evenfoot"))
    except OSError:
        return SqlCache(None)


def key_of(
    build: Any, selection: Selection, options: tuple[Any, ...], named: Mapping[str, Any], stand_ins: Mapping[str, Any]
) -> str | None:
    """The key of a question on disk, or ``None`` where it could name somebody.

    Parameters
    ----------
    build : callable
        What builds the question; only those of this package are known by the state of the source.
    selection : Selection
    options, named
        What else it is built from.
    stand_ins : mapping
        What fields of the selection hold in the place of a single farm and a single cow.
    """
    if not build.__module__.startswith("evenfoot.analytics.") or "<locals>" in build.__qualname__:
        return None
    for field in dataclasses.fields(selection):
        value = getattr(selection, field.name)
        if value in (field.default, stand_ins.get(field.name)):
            continue
        if field.name not in NAMES_NOBODY or not _names_nobody(value):
            return None
    values = [*options, *(value for _, value in sorted(named.items()))]
    if not all(map(_names_nobody, values)):
        return None
    said = f"{build.__module__}.{build.__qualname__} {selection!r} {options!r} {sorted(named.items())!r}"
    return hashlib.blake2b(said.encode(), digest_size=16).hexdigest()


def _names_nobody(option: Any) -> bool:
    """Whether an option is a number, a date, words of the trade, or limits of horn without exceptions."""
    from evenfoot.analytics.domain.horn_limits import HornLimits

    if isinstance(option, tuple):
        return all(map(_names_nobody, option))
    if isinstance(option, HornLimits):
        return not option.exceptions
    if isinstance(option, str):
        return option in WORDS or PARITY.fullmatch(option) is not None
    return option is None or isinstance(option, (bool, int, float, dt.date))
