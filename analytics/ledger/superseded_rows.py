"""Rows that another took the place of: kept whole, so that they come back when the import is taken back."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pandas as pd

from evenfoot.analytics.ledger.checksums import changing
from evenfoot.analytics.ledger.schema import BOOKKEEPING, ROW_TABLES, STAMP, key_of
from evenfoot.analytics.ledger.staging_table import as_arrow, in_memory, insert_frame

COLUMNS = tuple(BOOKKEEPING["replaced_rows"])
REMOVED = ""
"""What stands for the row that took the place of one that was removed."""


def replace_rows(connection: Any, kind: str, number: int, rows: pd.DataFrame, new_keys: list[str]) -> None:
    """Take rows out of a row table and keep them, inside the caller's transaction.

    That they are kept is not yet in the sum of ``replaced_rows``; see
    :func:`evenfoot.analytics.ledger.imports.add.come_with_import`.

    Parameters
    ----------
    connection : connection
    kind : str
    number : int
        The import that has other versions of them.
    rows : pandas.DataFrame
        import_no, row_no, row_key and the fields, as they are in the table.
    new_keys : list of str
        For each row the key of the one that takes its place.
    """
    table, fields = ROW_TABLES[kind]
    plain = rows.reset_index(drop=True).astype(object)
    plain = plain.where(plain.notna(), None)
    kept = pd.DataFrame(
        {
            "import_no": number,
            "kind": kind,
            "farm": plain["farm"],
            "row_key": plain["row_key"],
            "of_import": plain["import_no"].astype("int64"),
            "row_no": plain["row_no"].astype("int64"),
            "new_key": new_keys,
            "content": [
                _content({str(k): v for k, v in row.items()}, fields) for row in plain[list(fields)].to_dict("records")
            ],
        }
    )
    keys = kept["row_key"].tolist()
    with changing(connection, table, "row_key IN (SELECT UNNEST(?))", [keys]):
        connection.execute(f"DELETE FROM {table} WHERE row_key IN (SELECT UNNEST(?))", [keys])
    insert_frame(connection, "replaced_rows", kept, BOOKKEEPING["replaced_rows"])


def bring_back(connection: Any, number: int) -> set[str]:
    """Bring back what import *number* replaced, once its own rows are gone; inside the caller's transaction.

    The caller has the sums of ``seen_again``, ``imports`` and ``replaced_rows`` follow.

    What took the place of a row may still be there, because a later import brought it too, or may have been replaced
    in its turn. Then the earlier row stays away, as that import's. What was the import's own and was replaced is
    another's that brought it again, or goes for good.

    Returns
    -------
    set of str
        Farms of the rows that came back.
    """
    connection.execute(
        """UPDATE replaced_rows SET of_import = other.import_no
        FROM (SELECT a.kind, a.row_key, MIN(a.import_no) AS import_no FROM seen_again a
              JOIN imports i ON i.import_no = a.import_no
              WHERE a.import_no <> ? AND i.undone_at IS NULL GROUP BY a.kind, a.row_key) AS other
        WHERE replaced_rows.of_import = ? AND replaced_rows.kind = other.kind
          AND replaced_rows.row_key = other.row_key""",
        [number, number],
    )
    farms: set[str] = set()
    for kind, (table, _) in ROW_TABLES.items():
        mine = _replaced(connection, kind, "import_no = ?", number)
        if len(mine):
            keys = mine["new_key"].tolist()
            held = connection.execute(
                f"SELECT row_key, import_no, row_key FROM {table} "
                "WHERE import_no > ? AND row_key IN (SELECT UNNEST(?)) UNION ALL "
                "SELECT row_key, CASE WHEN of_import = ? THEN import_no ELSE of_import END, "
                "CASE WHEN of_import = ? THEN new_key ELSE row_key END FROM replaced_rows "
                "WHERE kind = ? AND import_no > ? AND row_key IN (SELECT UNNEST(?))",
                [number, keys, number, number, kind, number, keys],
            ).fetchall()
            later = {key: (int(by), new) for key, by, new in held}
            for row_key, new_key in mine.loc[mine["new_key"].isin(later), ["row_key", "new_key"]].itertuples(
                index=False
            ):
                by, new = later[new_key]
                connection.execute(
                    "UPDATE replaced_rows SET import_no = ?, new_key = ? "
                    "WHERE import_no = ? AND kind = ? AND row_key = ?",
                    [by, new, number, kind, row_key],
                )
            back = mine[~mine["new_key"].isin(later)]
            if len(back):
                _put_back(connection, kind, back)
                farms |= set(back["farm"].dropna())
        connection.execute(
            "DELETE FROM replaced_rows WHERE kind = ? AND (import_no = ? OR of_import = ?)", [kind, number, number]
        )
    return farms


def removed_rows(cursor: Any, kind: str) -> list[dict[str, Any]]:
    """The fields of the records of a kind that were removed, without those that are there again."""
    table, _ = ROW_TABLES[kind]
    rows = cursor.execute(
        "SELECT content FROM replaced_rows WHERE kind = ? AND new_key = ? "
        f"AND row_key NOT IN (SELECT row_key FROM {table})",
        [kind, REMOVED],
    ).fetchall()
    return [json.loads(content) for (content,) in rows]


def rekey(connection: Any) -> None:
    """Work out the keys of the rows kept anew, after a row table got another field and before its own keys are."""
    for kind, (table, fields) in ROW_TABLES.items():
        kept = _replaced(connection, kind, "import_no > ?", 0)
        if kept.empty:
            continue
        connection.execute(
            f"""UPDATE replaced_rows SET new_key = other.new_key
            FROM (SELECT row_key, {key_of(fields)} AS new_key FROM {table}) AS other
            WHERE kind = ? AND replaced_rows.new_key = other.row_key""",
            [kind],
        )
        for before, after in dict(zip(kept["row_key"], keys_of(kind, kept), strict=True)).items():
            for column in ("row_key", "new_key"):
                connection.execute(
                    f"UPDATE replaced_rows SET {column} = ? WHERE kind = ? AND {column} = ?", [after, kind, before]
                )
            connection.execute(
                "UPDATE seen_again SET row_key = ? WHERE kind = ? AND row_key = ?", [after, kind, before]
            )


def wrong_keys(connection: Any) -> int:
    """How many rows are kept whose key is not the digest of their content, or whose content cannot be read."""
    wrong = 0
    for kind in ROW_TABLES:
        kept = _replaced(connection, kind, "import_no > ?", 0)
        readable = kept[[_is_readable(kind, one) for one in kept["content"]]]
        wrong += len(kept) - len(readable)
        if len(readable):
            wrong += sum(a != b for a, b in zip(readable["row_key"], keys_of(kind, readable), strict=True))
    return wrong


def keys_of(kind: str, kept: pd.DataFrame) -> list[str]:
    """The digests of the content of rows that are kept."""
    _, fields = ROW_TABLES[kind]
    typed = ", ".join(f'CAST("{name}" AS {sql}) AS "{name}"' for name, sql in fields.items())
    with in_memory() as memory:
        rows = _rows(kind, kept).assign(place=range(len(kept)))
        memory.register("frame_in", as_arrow(rows, {"place": "BIGINT", **fields}))
        found = memory.execute(
            f"SELECT {key_of(fields)} FROM (SELECT place, {typed} FROM frame_in) ORDER BY place"
        ).fetchall()
    return [key for (key,) in found]


def _put_back(connection: Any, kind: str, kept: pd.DataFrame) -> None:
    """Rows that are kept, into their table as they were. One that an import brought anew is its first owner's again."""
    table, fields = ROW_TABLES[kind]
    kept = kept.reset_index(drop=True)
    keys = kept["row_key"].tolist()
    there = connection.execute(
        f"SELECT row_key, import_no FROM {table} WHERE row_key IN (SELECT UNNEST(?))", [keys]
    ).fetchall()
    for key, owner in there:
        connection.execute("INSERT INTO seen_again VALUES (?, ?, ?)", [owner, kind, key])
        connection.execute(
            "UPDATE imports SET added = added - 1, already_known = already_known + 1 WHERE import_no = ?", [owner]
        )
    rows = _rows(kind, kept).assign(import_no=kept["of_import"], row_no=kept["row_no"], row_key=kept["row_key"])
    with changing(connection, table, "row_key IN (SELECT UNNEST(?))", [keys]):
        connection.execute(f"DELETE FROM {table} WHERE row_key IN (SELECT UNNEST(?))", [keys])
        insert_frame(connection, table, rows, {**STAMP, **fields})


def _replaced(connection: Any, kind: str, where: str, number: int) -> pd.DataFrame:
    found = connection.execute(
        f"SELECT {', '.join(COLUMNS)} FROM replaced_rows WHERE kind = ? AND {where} "
        "ORDER BY import_no, of_import, row_no",
        [kind, number],
    ).fetchall()
    return pd.DataFrame(found, columns=list(COLUMNS))


def _content(row: dict[str, Any], fields: dict[str, str]) -> str:
    """A row's fields as JSON, without those that say nothing."""
    plain: dict[str, object] = {}
    for name, sql in fields.items():
        value = row[name]
        if value is None:
            continue
        if sql == "DATE":
            plain[name] = f"{pd.Timestamp(value):%Y-%m-%d}"
        elif sql in ("INTEGER", "DOUBLE"):
            plain[name] = int(value) if sql == "INTEGER" else float(value)
        else:
            plain[name] = bool(value) if sql == "BOOLEAN" else str(value)
    return json.dumps(plain, ensure_ascii=False)


def _is_readable(kind: str, content: object) -> bool:
    """Whether the fields of a row that is kept are what its table can hold."""
    _, fields = ROW_TABLES[kind]
    try:
        as_arrow(_rows(kind, pd.DataFrame({"content": [content]})), fields)
    except (ValueError, TypeError, AttributeError):
        return False
    return True


def _rows(kind: str, kept: pd.DataFrame) -> pd.DataFrame:
    """The fields of rows that are kept, as they were."""
    _, fields = ROW_TABLES[kind]
    read = [json.loads(content) for content in kept["content"]]
    frame = pd.DataFrame({name: [row.get(name) for row in read] for name in fields}, dtype=object)
    for name, sql in fields.items():
        if sql == "DATE":
            frame[name] = frame[name].map(dt.date.fromisoformat, na_action="ignore")
    return frame
