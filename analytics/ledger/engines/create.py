"""A new ledger's file: it appears at its place with all its tables, or not at all."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.atomic_write import FOLDER_ALONE, keep_alone, put_where_none_is
from evenfoot.analytics.ledger.checksums import begin
from evenfoot.analytics.ledger.identity import give_id
from evenfoot.analytics.ledger.schema import SCHEMA_VERSION, create_statements

STALE_SECONDS = 3600.0
"""A draft this old was left behind by a program that was killed. [common practice, no source]"""


def make_file(path: Path) -> None:
    """Make an empty ledger at *path*, unless one is there by then. Nothing of this process may have it open.

    Raises
    ------
    UserError
        The file cannot be written.
    """
    import duckdb

    from evenfoot.analytics.ledger.engines.file_lease import CONFIG
    from evenfoot.analytics.ledger.failures import explained

    draft = path.with_name(f"{path.name}.{os.getpid()}-{time.monotonic_ns()}.new")
    try:
        path.parent.mkdir(mode=FOLDER_ALONE, parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(
            f"The folder {path.parent} cannot be made ({error.strerror}); choose another place with --ledger."
        ) from None
    try:
        connection = duckdb.connect(str(draft), config=CONFIG)
        try:
            make_tables(connection)
            # Closing would leave what does not fit in a log, and say nothing.
            connection.execute("CHECKPOINT")
        finally:
            connection.close()
        keep_alone(draft)
        put_aside_old_log(path)
        put_where_none_is(draft, path)  # Another program may have made a ledger there meanwhile; that one stays.
    except duckdb.Error as error:
        raise explained(path, error) from None
    except OSError as error:
        raise UserError(f"The ledger {path} cannot be written ({error.strerror}); choose another place.") from None
    finally:
        for left in (draft, draft.with_name(draft.name + ".wal")):
            with contextlib.suppress(OSError):
                left.unlink()
        _forget_stale(path)


def make_tables(connection: Any) -> None:
    """Make all tables of a ledger, empty but for what it says of itself, inside the caller's transaction."""
    for statement in create_statements():
        connection.execute(statement)
    connection.execute("INSERT INTO meta VALUES ('schema', ?)", [str(SCHEMA_VERSION)])
    give_id(connection)
    begin(connection)


def put_aside_old_log(path: Path) -> None:
    """The log of a ledger that was deleted is no part of the new one."""
    log = path.with_name(path.name + ".wal")
    if log.exists() and not path.exists():
        os.replace(log, path.with_name(f"{log.name}.{time.strftime('%Y-%m-%d-%H%M%S')}.old"))


def _forget_stale(path: Path) -> None:
    for left in path.parent.glob("*.new*"):
        if left.name.startswith(path.name + "."):
            with contextlib.suppress(OSError):
                if abs(time.time() - left.stat().st_mtime) > STALE_SECONDS:
                    left.unlink()
