"""A ledger that somebody keeps as Delta tables: one folder a table, each with its log, read and never written.

The logs are read here and in ``delta_table.py``, by ``deltalake``; the files they name are read by Spark.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.delta_table import DeltaFile, DeltaTableNow
from evenfoot.analytics.ledger.failures import read_only
from evenfoot.analytics.ledger.schema import every_table
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    from evenfoot.analytics.messages import Message

LOG = "_delta_log"

COMMIT = re.compile(r"\d{20}\.json")
"""Names of the files of a log that stand for one version each [pub: Delta Transaction Log Protocol]."""

UNREADABLE_PATH = set("[]{}*?\\%")
"""Letters in the folder's path that Spark takes for patterns, or the reader of logs for an address."""

TURNS = 5
"""How often a folder is looked at that changes while it is looked at."""


@dataclass(frozen=True)
class DeltaContents:
    """What is in the folder at one moment.

    Attributes
    ----------
    versions : int
        The sum of the tables' versions.
    changes : int
        A number that is another one whenever a table was changed or made anew.
    columns : dict
        Table -> column -> kind, as a ledger has them.
    kinds : dict
        Table -> column -> kind, as the Delta table has them.
    files : dict
        Table -> its files.
    """

    versions: int
    changes: int
    columns: dict[str, dict[str, str]]
    kinds: dict[str, dict[str, str]]
    files: dict[str, tuple[DeltaFile, ...]]


class DeltaFolder:
    """The folder; see the module."""

    def __init__(self, path: Path, name: str) -> None:
        self.path = path
        self._name = name
        self._guard = threading.Lock()
        self._newest: tuple[Newest, DeltaContents] | None = None

    @property
    def exists(self) -> bool:
        return any((self.path / table / LOG).is_dir() for table in every_table())

    def contents(self) -> DeltaContents:
        """What counts now.

        Raises
        ------
        UserError
            A table or column is missing, or reading would give something else than the table holds.
        """
        with self._guard:
            newest = self._look()
            for _ in range(TURNS):
                if self._newest is None or self._newest[0] != newest:
                    self._newest = (newest, self._read(newest))
                before, newest = newest, self._look()
                if before == newest:
                    break
            assert self._newest is not None
            return self._newest[1]

    def changing(self, farms: Iterable[str] | None) -> contextlib.AbstractContextManager[Any]:
        self._refuse()

    def whole_rows(self, connection: Any) -> str:
        self._refuse()

    def forget_now(self) -> None:
        self._refuse()

    def misplaced(self, contents: Any) -> Iterator[Message]:
        """Where rows lie is the business of who keeps the tables."""
        return iter(())

    def _refuse(self) -> NoReturn:
        raise read_only(self._name)

    def _look(self) -> Newest:
        return {table: _newest_commit(self.path / table / LOG) for table in every_table()}

    def _read(self, newest: Newest) -> DeltaContents:
        missing = sorted(table for table, commit in newest.items() if commit is None)
        if missing:
            raise UserError(
                say(
                    "The folder {name} lacks the Delta tables {missing}; all tables of a ledger have to be there, "
                    "empty where there is nothing, as `evenfoot export --format delta` writes them.",
                    name=self._name,
                    missing=", ".join(missing),
                )
            )
        if UNREADABLE_PATH & set(str(self.path)):
            raise UserError(
                say(
                    "Delta tables cannot be read from {name}, for a letter in the path that means something to Spark; "
                    "choose a folder without {letters}.",
                    name=self._name,
                    letters=" ".join(sorted(UNREADABLE_PATH & set(str(self.path)))),
                )
            )
        columns = every_table()
        tables = {table: DeltaTableNow(self.path / table, kinds) for table, kinds in columns.items()}
        told = json.dumps(sorted(newest.items()))
        return DeltaContents(
            sum(table.version for table in tables.values()),
            int.from_bytes(hashlib.blake2b(told.encode(), digest_size=6).digest(), "big"),
            columns,
            {name: table.kinds for name, table in tables.items()},
            {name: table.files for name, table in tables.items()},
        )


Newest = dict[str, tuple[str, int, int] | None]
"""Table -> its newest commit: the file's name, which is the version, time of writing and size."""


def _newest_commit(log: Path) -> tuple[str, int, int] | None:
    try:
        with os.scandir(log) as entries:
            commit = max((each for each in entries if COMMIT.fullmatch(each.name)), key=lambda each: each.name)
            stat = commit.stat()
    except (OSError, ValueError):
        return None
    return (commit.name, stat.st_mtime_ns, stat.st_size)
