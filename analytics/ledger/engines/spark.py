"""The ledger of a registry: Parquet files or Delta tables in a folder on shared storage, counted by Spark.

Spark reads; imports are made by the embedded engine on the farms they touch, see ``registry.py``. Delta tables are read
only, see ``delta_folder.py``. One Spark session serves the process and starts when it is first asked.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import threading
import warnings
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, unquote, urlsplit

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.data_frames import frame_of_arrow
from evenfoot.analytics.ledger.engines.delta_folder import DeltaContents, DeltaFolder
from evenfoot.analytics.ledger.engines.dialects import fill_in
from evenfoot.analytics.ledger.engines.engine import held, holding
from evenfoot.analytics.ledger.engines.registry import BUCKETS, Contents, RegistryFolder
from evenfoot.analytics.ledger.engines.spark_tables import make_known
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

    from evenfoot.analytics.messages import Message

STATES_KEPT = 2
"""States of the registry whose tables stay known to Spark: the newest, and the one who asked before it came."""

LOGGING = Path(__file__).with_name("spark-log.properties")

QUIET = {
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.driver.extraJavaOptions": f"-Dlog4j2.configurationFile=file:{LOGGING}",
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.execution.arrow.pyspark.enabled": "true",
    "spark.sql.variable.substitute": "false",
    "spark.sql.parser.escapedStringLiterals": "false",
}
"""Of every session: nothing is served over the network, days are days, and a text in a question is what it is, also
where it holds ``${env:HOME}`` or a backslash [pub: Apache Spark, Configuration]."""

HERE = {
    "spark.driver.bindAddress": "127.0.0.1",
    "spark.driver.host": "127.0.0.1",
}
"""Where Spark runs inside this machine: nobody else can connect to it."""

FEW_PARTS = {"spark.sql.shuffle.partitions": "8"}
"""Inside one machine rows are not dealt out too thinly, unless who uses it has settings of their own."""


class SparkResult:
    """What a statement gave back; see :class:`evenfoot.analytics.ledger.engines.engine.Result`."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table

    def fetchall(self) -> list[tuple[Any, ...]]:
        columns = [column.to_pylist() for column in self._table.columns]
        return list(zip(*columns, strict=True))

    def fetchone(self) -> tuple[Any, ...] | None:
        rows = self.fetchall()
        return rows[0] if rows else None

    def df(self) -> pd.DataFrame:
        return frame_of_arrow(self._table)


class SparkConnection:
    """The registry as it was at one moment; see :class:`evenfoot.analytics.ledger.engines.engine.Connection`."""

    def __init__(self, session: Any, contents: Contents | DeltaContents) -> None:
        self.session = session
        self.contents = contents

    def execute(self, sql: str, parameters: Sequence[Any] | None = None) -> SparkResult:
        return self.ask(fill_in(sql, "pyspark", tuple(parameters or ())))

    def ask(self, sql: str) -> SparkResult:
        """Run a question that is in Spark's own SQL."""
        with answering():
            return SparkResult(self.session.sql(sql).toArrow())


class SparkEngine:
    """A ledger in a registry folder; see :class:`evenfoot.analytics.ledger.engines.engine.Engine`."""

    dialect = "pyspark"

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        asked = parse_qs(parts.query)
        path = unquote(parts.path)
        if not path.strip("/"):
            raise UserError("The registry's folder is missing; write pyspark:///FOLDER, with the full path.")
        buckets = asked.get("buckets", [str(BUCKETS)])[0]
        if not buckets.isdigit() or not 1 <= int(buckets) <= 65536:
            raise UserError(f"'{buckets}' is not a number of buckets; give one from 1 to 65536.")
        self.address = address
        self.name = f"pyspark://{parts.netloc.rpartition('@')[2]}{path}"
        self._registry = RegistryFolder(Path(path), int(buckets))
        self._delta = DeltaFolder(Path(path), self.name)
        self.master = asked.get("master", [f"spark://{parts.netloc}" if parts.netloc else "local[*]"])[0]
        self._sessions: dict[int, Any] = {}
        self._guard = threading.Lock()

    @property
    def folder(self) -> RegistryFolder | DeltaFolder:
        """A folder without a registry's contents that holds Delta tables is theirs; any other is a registry's."""
        return self._delta if not self._registry.exists and self._delta.exists else self._registry

    @property
    def exists(self) -> bool:
        return self.folder.exists

    @property
    def version(self) -> tuple[int, ...]:
        """How many changes were committed so far; of Delta tables all versions together, and what tells them apart."""
        contents = self._contents()
        return (contents.versions, contents.changes) if isinstance(contents, DeltaContents) else (contents.changes, 0)

    @contextlib.contextmanager
    def reading(self) -> Iterator[SparkConnection]:
        if not self.exists:
            raise UserError(f"There is no ledger at {self.name} yet; import a sheet with `evenfoot import FILE` first.")
        contents = self._contents()
        yield SparkConnection(self._session(contents), contents)

    def snapshot(self, *, wait: bool = True) -> contextlib.AbstractContextManager[None]:
        """Nobody keeps readers of a folder out, so there is nothing to wait for."""
        return holding(self, self._contents())

    def _contents(self) -> Contents | DeltaContents:
        """The state of the folder that is read now."""
        mine: Contents | DeltaContents | None = held(self)
        return self.folder.contents() if mine is None else mine

    @contextlib.contextmanager
    def writing(self, farms: Iterable[str] | None = None) -> Iterator[Any]:
        """The touched farms in an embedded ledger; one at a time changes the registry."""
        with self.folder.changing(farms) as connection:
            yield connection

    def settle(self, connection: Any) -> None:
        """Files need nothing beside them."""

    def whole_rows(self, connection: Any) -> str:
        return self.folder.whole_rows(connection)

    def misplaced(self, connection: Any) -> Iterable[Message]:
        return self.folder.misplaced(connection.contents)

    def forget_bytes(self) -> tuple[str, ...]:
        self.folder.forget_now()
        return ("Snapshots and copies of the folder are in the hands of whoever keeps the storage.",)

    def tables(self, connection: Any) -> set[str]:
        if isinstance(connection, SparkConnection):
            return set(connection.contents.columns)
        rows = connection.execute(
            "SELECT table_name FROM information_schema.tables WHERE table_schema = 'main'"
        ).fetchall()
        return {name for (name,) in rows}

    def frame(self, connection: Any, sql: str) -> pd.DataFrame:
        found: pd.DataFrame = connection.ask(sql).df()
        return found

    def batches(
        self, connection: Any, sql: str, rows: int, parameters: Sequence[Any] | None = None
    ) -> Iterator[pa.RecordBatch]:
        """Rows partition by partition, so that one partition is here at a time."""
        import pyarrow as pa

        frame = connection.session.sql(fill_in(sql, "pyspark", tuple(parameters or ())))
        names = frame.columns
        part: list[Any] = []
        kinds = pa.schema([(each.name, _arrow_kind(each.dataType.simpleString())) for each in frame.schema.fields])
        for row in frame.toLocalIterator(prefetchPartitions=True):
            part.append(row)
            if len(part) == rows:
                yield _batch(part, names, kinds)
                part = []
        if part:
            yield _batch(part, names, kinds)

    def _session(self, contents: Contents | DeltaContents) -> Any:
        """A session that knows the tables of one state of the folder."""
        with self._guard:
            if contents.changes not in self._sessions:
                session = _spark(self.master).newSession()
                with answering():
                    make_known(session, self.folder.path, contents)
                self._sessions[contents.changes] = session
                for old in list(self._sessions)[:-STATES_KEPT]:
                    del self._sessions[old]
            return self._sessions[contents.changes]


GONE = ("FILE_NOT_EXIST", "FileNotFoundException", "PATH_NOT_FOUND", "NoSuchFileException")
"""What Spark says of a file that was there when the question was planned [pub: Apache Spark, error conditions]."""


@contextlib.contextmanager
def answering() -> Iterator[None]:
    """What can befall a question that is right, as one sentence."""
    from py4j.protocol import Py4JError, Py4JNetworkError  # type: ignore[import-untyped]
    from pyspark.errors import PySparkException

    try:
        yield
    except (Py4JNetworkError, ConnectionError):
        raise UserError(say("Spark has stopped; start Evenfoot again.")) from None
    except (PySparkException, Py4JError) as error:
        if not any(mark in str(error) for mark in GONE):
            raise
        raise UserError(
            say(
                "A file of the registry went away while it was read, as happens when a farm is erased; ask again. If "
                "it stays so, look with `evenfoot verify`."
            )
        ) from None


_starting = threading.Lock()


def _spark(master: str) -> Any:
    """The process's Spark, started at the first call.

    Raises
    ------
    UserError
        The package, Java, or the cluster is missing.
    """
    warnings.filterwarnings("ignore", message="PySpark does not yet fully support pandas")
    try:
        from pyspark.sql import SparkSession
    except ImportError:
        raise UserError(
            "A registry folder needs the package pyspark; install Evenfoot with its 'spark' extra."
        ) from None
    with _starting:
        running = SparkSession.getActiveSession()
        if running is not None:
            return running
        if shutil.which("java") is None:
            raise UserError("Spark needs Java 17 or newer, which is not on this machine; install it and try again.")
        builder = SparkSession.builder.master(master).appName("evenfoot")
        settings = QUIET | (HERE if master.startswith("local") else {})
        if master.startswith("local") and "SPARK_CONF_DIR" not in os.environ:
            settings |= FEW_PARTS
        for name, value in settings.items():
            builder = builder.config(name, value)
        try:
            session = builder.getOrCreate()
        except Exception as error:
            raise UserError(f"Spark at {master} could not be started: {str(error).splitlines()[0]}") from None
        session.sparkContext.setLogLevel("ERROR")
        return session


def _arrow_kind(kind: str) -> Any:
    import pyarrow as pa

    return {
        "string": pa.string(),
        "int": pa.int32(),
        "bigint": pa.int64(),
        "double": pa.float64(),
        "boolean": pa.bool_(),
        "date": pa.date32(),
        "void": pa.string(),
        "timestamp_ntz": pa.timestamp("us"),
    }[kind]


def _batch(rows: list[Any], names: list[str], kinds: Any) -> pa.RecordBatch:
    import pyarrow as pa

    columns = [pa.array(column, kind.type) for column, kind in zip(zip(*rows, strict=True), kinds, strict=True)]
    return pa.RecordBatch.from_arrays(columns, names=names)


_engines: dict[str, SparkEngine] = {}


def spark_at(address: str) -> SparkEngine:
    """The process-wide engine for an address."""
    with _starting:
        if address not in _engines:
            _engines[address] = SparkEngine(address)
        return _engines[address]
