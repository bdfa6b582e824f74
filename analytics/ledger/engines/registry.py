"""A registry's ledger as a folder of Parquet files on shared storage, and how it is changed whole or not at all.

Farms are dealt to buckets by a digest of their name. A table is one file a bucket; a file is never altered, a change
writes new files of the buckets it touches and then puts a new table of contents in the place of the old, in one
step. Who reads goes by the contents they found, so a crash leaves the state before the change, and a reader is never
halfway. The change itself is made by the embedded engine, on the rows of the touched buckets only.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.engine import NO_BAR
from evenfoot.analytics.ledger.failures import unreadable_table
from evenfoot.analytics.ledger.schema import ROW_TABLES
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.temporary_folders import scratch_folder

CONTENTS = "evenfoot.json"
LOCK = "evenfoot.lock"

BUCKETS = 256
"""Buckets of a new registry: at a thousand million findings some four million each, which one machine rewrites in
memory. Another number can be given when the folder is made."""

WAIT_SECONDS = 60.0
KEEP_SECONDS = 3600.0
"""How long files stay that no longer count, for who is still reading them."""

BEFORE = "before_"
"""Begins the names of views on the rows of all farms as they were before a change."""

WHOLE = "all"
"""The bucket of tables that are not dealt out by farm."""


@dataclass(frozen=True)
class Contents:
    """What is in the folder at one moment.

    Attributes
    ----------
    changes : int
        How many changes were committed.
    buckets : int
    columns : dict
        Table -> its columns and their types.
    files : dict
        Table -> bucket -> the file's name below the folder.
    """

    changes: int = 0
    buckets: int = BUCKETS
    columns: dict[str, dict[str, str]] = field(default_factory=dict)
    files: dict[str, dict[str, str]] = field(default_factory=dict)

    def bucket_of(self, farm: str | None) -> str:
        digest = hashlib.blake2b((farm or "").encode(), digest_size=8).digest()
        return str(int.from_bytes(digest, "big") % self.buckets)


class RegistryFolder:
    """The folder; see the module."""

    def __init__(self, path: Path, buckets: int = BUCKETS) -> None:
        self.path = path
        self._new_buckets = buckets

    @property
    def exists(self) -> bool:
        return (self.path / CONTENTS).is_file()

    def contents(self) -> Contents:
        """What counts now; nothing where there is no registry yet.

        Raises
        ------
        UserError
            The table of contents cannot be read.
        """
        try:
            found = json.loads((self.path / CONTENTS).read_text(encoding="utf-8"))
            return Contents(found["changes"], found["buckets"], found["columns"], found["files"])
        except FileNotFoundError:
            return Contents(buckets=self._new_buckets)
        except (OSError, ValueError, KeyError, TypeError):
            raise UserError(
                f"{self.path / CONTENTS} cannot be read as the contents of a registry; choose another folder, or put "
                "the folder back from a copy."
            ) from None

    @contextlib.contextmanager
    def changing(self, farms: Iterable[str] | None) -> Iterator[Any]:
        """The rows of the touched farms' buckets in an embedded ledger, put back in one step when the block ends.

        Parameters
        ----------
        farms : iterable of str, optional
            The farms that may be written to; without it all are there.

        Raises
        ------
        UserError
            Somebody else is changing the registry, or the folder cannot be written.
        """
        try:
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UserError(f"The folder {self.path} cannot be made ({error.strerror}); choose another.") from None
        with self._alone(), scratch_folder() as room:
            before = self.contents()
            touched = None if farms is None else {before.bucket_of(farm) for farm in farms}
            import duckdb

            memory = duckdb.connect(str(room / "change.duckdb"), config={"temp_directory": str(room)})
            try:
                memory.execute(NO_BAR)
                self._take_out(memory, before, touched)
                memory.begin()
                yield memory
                memory.commit()
                self._put_back(memory, before, touched)
            except OSError as error:
                raise UserError(
                    f"The registry {self.path} could not be written ({error.strerror}); nothing was changed."
                ) from None
            finally:
                memory.close()

    def whole_rows(self, memory: Any) -> str:
        """Views on rows, cows, limits and agreements of all farms as they were; gives what their names begin with."""
        contents = self.contents()
        needed = {table: "import_no, row_key, farm" for table, _ in ROW_TABLES.values()}
        needed |= {"replaced_rows": "of_import, row_key, farm", "cows": "farm", "horn_limits": "farm"}
        needed |= {"agreements": "farm"}
        for table, columns in needed.items():
            files = [str(self.path / name) for name in contents.files.get(table, {}).values()]
            rows = f"read_parquet({_listed(files)})" if files else table
            memory.execute(f"CREATE OR REPLACE TEMP VIEW {BEFORE}{table} AS SELECT {columns} FROM {rows}")
        return BEFORE

    def forget_now(self) -> None:
        """Delete what no longer counts at once. Who is just reading it is told to ask again."""
        with self._alone():
            self._forget_old({name for each in self.contents().files.values() for name in each.values()}, 0.0)

    def misplaced(self, contents: Contents) -> Iterator[Message]:
        """Sentences on files that are gone or torn, and on rows that do not lie in the bucket of their farm."""
        import duckdb

        with duckdb.connect() as memory:
            for files in contents.files.values():
                for bucket, name in files.items():
                    try:
                        farms = _farms(memory, self.path / name) if bucket != WHOLE else []
                    except duckdb.Error as error:
                        yield unreadable_table(str(self.path / name), error)
                        continue
                    if any(contents.bucket_of(farm) != bucket for farm in farms):
                        yield say(
                            "The file {name} holds rows of farms that belong to another bucket; put the folder back "
                            "from a copy.",
                            name=name,
                        )

    def _take_out(self, memory: Any, contents: Contents, touched: set[str] | None) -> None:
        for table, columns in contents.columns.items():
            listed = ", ".join(f'"{name}" {kind}' for name, kind in columns.items())
            memory.execute(f"CREATE TABLE {table} ({listed})")
            files = [
                str(self.path / name)
                for bucket, name in contents.files.get(table, {}).items()
                if touched is None or bucket == WHOLE or bucket in touched
            ]
            if files:
                memory.execute(f"INSERT INTO {table} BY NAME SELECT * FROM read_parquet(?)", [files])

    def _put_back(self, memory: Any, before: Contents, touched: set[str] | None) -> None:
        change = before.changes + 1
        columns = _columns(memory)
        files: dict[str, dict[str, str]] = {}
        for table, kinds in columns.items():
            kept = before.files.get(table, {})
            if "farm" in kinds and table != "history":
                files[table] = {} if touched is None else {b: f for b, f in kept.items() if b not in touched}
                files[table] |= self._write_buckets(memory, table, kinds, before, change)
            else:
                files[table] = self._write(memory, table, f"SELECT * FROM {table}", WHOLE, change)
        after = {"evenfoot": "registry", "changes": change, "buckets": before.buckets}
        after |= {"columns": columns, "files": files}
        draft = self.path / f"{CONTENTS}.{os.getpid()}.draft"
        with draft.open("w", encoding="utf-8") as out:
            json.dump(after, out, indent=1)
            out.flush()
            os.fsync(out.fileno())
        os.replace(draft, self.path / CONTENTS)
        self._forget_old({name for each in files.values() for name in each.values()})

    def _write_buckets(
        self, memory: Any, table: str, kinds: dict[str, str], contents: Contents, change: int
    ) -> dict[str, str]:
        farms = [farm for (farm,) in memory.execute(f"SELECT DISTINCT farm FROM {table}").fetchall()]
        together: dict[str, list[str | None]] = {}
        for farm in farms:
            together.setdefault(contents.bucket_of(farm), []).append(farm)
        order = "farm, visit_date" if "visit_date" in kinds else "farm"
        out: dict[str, str] = {}
        for bucket, members in together.items():
            named = [farm for farm in members if farm is not None]
            where = "farm IN (SELECT UNNEST($1))" + (" OR farm IS NULL" if None in members else "")
            sql = f"SELECT * FROM {table} WHERE {where} ORDER BY {order}"
            out |= self._write(memory, table, sql, bucket, change, [named])
        return out

    def _write(
        self, memory: Any, table: str, sql: str, bucket: str, change: int, values: list[Any] | None = None
    ) -> dict[str, str]:
        """One file of one table, safely on the disk; none when there are no rows."""
        name = f"{table}/{bucket}-{change}.parquet"
        place = self.path / name
        place.parent.mkdir(exist_ok=True)
        found = memory.sql(sql, params=values) if values else memory.sql(sql)
        import pyarrow.parquet as pq

        writer = None
        for batch in found.to_arrow_reader(100_000):
            if batch.num_rows:
                writer = writer or pq.ParquetWriter(place, batch.schema, compression="zstd")
                writer.write_batch(batch)
        if writer is None:
            return {}
        writer.close()
        with place.open("rb") as file:
            os.fsync(file.fileno())
        return {bucket: name}

    def _forget_old(self, counted: set[str], keep: float = KEEP_SECONDS) -> None:
        """Delete files that have not counted for some time: of past states, and of changes that never ended."""
        old = time.time() - keep
        for path in self.path.glob("*/*.parquet"):
            if path.relative_to(self.path).as_posix() not in counted:
                with contextlib.suppress(OSError):
                    if not keep or path.stat().st_mtime < old:
                        path.unlink()

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        """Nobody else changes the registry meanwhile; the system gives the lock back when a process ends."""
        try:
            import fcntl
        except ImportError:
            raise UserError("A registry folder can be changed on Linux and macOS only; read it from here.") from None
        try:
            file = (self.path / LOCK).open("a")
        except OSError as error:
            raise UserError(f"The registry {self.path} cannot be written ({error.strerror}).") from None
        with file:
            until = time.monotonic() + WAIT_SECONDS
            while True:
                try:
                    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    break
                except OSError:
                    if time.monotonic() > until:
                        raise UserError(
                            f"The registry {self.path} is being changed by somebody else; try again when it is done."
                        ) from None
                    time.sleep(0.05)
            yield


def _farms(memory: Any, path: Path) -> list[str | None]:
    return [farm for (farm,) in memory.execute("SELECT DISTINCT farm FROM read_parquet(?)", [str(path)]).fetchall()]


def _listed(texts: list[str]) -> str:
    """Texts as a list of literals."""
    return "[" + ", ".join("'" + text.replace("'", "''") + "'" for text in texts) + "]"


def _columns(memory: Any) -> dict[str, dict[str, str]]:
    rows = memory.execute(
        "SELECT table_name, column_name, data_type FROM information_schema.columns WHERE table_schema = 'main' "
        "AND table_catalog = current_database() ORDER BY table_name, ordinal_position"
    ).fetchall()
    out: dict[str, dict[str, str]] = {}
    for table, column, kind in rows:
        out.setdefault(table, {})[column] = kind
    return out
