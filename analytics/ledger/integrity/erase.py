"""Erase one farm completely: the ledger is written anew without it, so that its bytes are gone, too."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import checksums
from evenfoot.analytics.ledger.file_copy import forget, log_of
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.farm_spelling import farms_there
from evenfoot.analytics.ledger.integrity.copies import ERASED, Copy, bytes_name, copies_with, names_it
from evenfoot.analytics.ledger.integrity.farm_mentions import FarmMentions
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import (
    BOOKKEEPING,
    DERIVED_TABLES,
    FARM_BOOKKEEPING,
    ROW_TABLES,
    create_statements,
)
from evenfoot.analytics.messages import Message, say

SHOWN_FARMS = 5


@dataclass(frozen=True)
class Erased:
    """What was erased.

    Attributes
    ----------
    rows : int
        Rows of sheets.
    imports : int
        Imports that held rows of the farm.
    copies : tuple of Copy
        Files in the folder of the ledger and in ``backups`` that still hold the farm, or may hold it.
    beyond : tuple of str
        Sentences on what is not in Evenfoot's hands, or could not be done.
    """

    rows: int
    imports: int
    copies: tuple[Copy, ...]
    beyond: tuple[str, ...] = ()


def erase_farm(ledger: Ledger, farm: str) -> Erased:
    """Erase a farm: its rows, what was derived from them, limits, agreements, photos, names, history, set-aside rows.

    A farm that has no rows any more is erased as well, if anything in the ledger still names it: rows of an import that
    was taken back stand in the file until it is written anew.

    Of an import that held nothing else, the name of the file and its digest go as well; of one that held other farms
    too, the counts are made less and set-aside rows that name the farm go. A ledger in a file is written anew to a
    second file, which then takes the first one's place, because an engine leaves the bytes of deleted rows where they
    were; elsewhere in one transaction.

    Parameters
    ----------
    ledger : Ledger
    farm : str
        As the ledger spells it.

    Raises
    ------
    UserError
        There is no such farm, or the new file cannot be written.
    """
    if not hasattr(ledger.engine, "lease"):
        return _erase_in_place(ledger, farm)
    with ledger.reading() as cursor:  # Of the newest layout from here on.
        rows, imports = counted(cursor, farm)
    if not is_named(ledger, farm):
        raise no_such_farm(ledger, farm)
    ledger.lease.drop_if_idle()
    place = Path(ledger.name)
    linked = place.stat().st_nlink > 1
    draft = place.with_name(f"{place.name}.{os.getpid()}.draft")
    try:
        with ledger.lease.replacing(draft) as connection:
            _write_without(connection, draft, farm)
    finally:
        forget(draft)
        forget(log_of(draft))
    beyond = [*told_by_others(ledger, farm)]
    if linked:
        beyond.append(
            say("The old file has another name on this disk (a hard link), and holds everything there; delete that.")
        )
    return Erased(rows, imports, tuple(copies_with(ledger, farm, tuple(ledger.farms()))), tuple(map(str, beyond)))


def is_named(ledger: Ledger, farm: str) -> bool:
    """Whether anything in a ledger names a farm: rows, bookkeeping, or bytes that deleted rows left in a file."""
    if not ledger.exists:
        return False
    with ledger.reading() as cursor:
        if counted(cursor, farm)[0] or names_it(cursor, FarmMentions(farm, farms_there(cursor))):
            return True
    if not hasattr(ledger.engine, "lease"):
        return False
    ledger.lease.drop_if_idle()
    return bytes_name(Path(ledger.name), farm)


def no_such_farm(ledger: Ledger, farm: str) -> UserError:
    """What to say of a farm that has no rows and is named nowhere."""
    return UserError(
        say(
            "There is no farm '{farm}' in {name}, and nothing in it names one; `evenfoot table prevalence --by farm` "
            "lists the farms.",
            farm=farm,
            name=ledger.name,
        )
    )


def counted(connection: Any, farm: str) -> tuple[int, int]:
    """Rows of sheets of a farm, and the imports they came with."""
    asked = f"SELECT COUNT(*), COUNT(DISTINCT import_no) FROM ({of_farm()}) AS of_farm"
    [(rows, imports)] = connection.execute(asked, [farm] * len(ROW_TABLES)).fetchall()
    return int(rows), int(imports)


def told_by_others(ledger: Ledger, farm: str) -> Iterator[Message]:
    """What to say where records of other farms have the name in a note or another field: they stay."""
    each = []
    for table, fields in ROW_TABLES.values():
        texts = [name for name, kind in fields.items() if kind == "VARCHAR" and name != "farm"]
        each.append(f"SELECT farm FROM {table} WHERE " + " OR ".join(f'LOWER("{name}") LIKE ?' for name in texts))
    agreed = " OR ".join(f'LOWER("{name}") LIKE ?' for name in ("text", "who", "place", "outcome"))
    each.append(f"SELECT farm FROM agreements WHERE {agreed}")
    sql = " UNION ".join(each)
    farms = ledger.frame(f"SELECT farm FROM ({sql}) AS named ORDER BY 1", [f"%{farm.lower()}%"] * sql.count("?"))
    if len(farms):
        listed = ", ".join(str(one) for one in farms["farm"][:SHOWN_FARMS])
        yield say(
            "Not erased: records of other farms have the name '{farm}' in a note or another field ({n} farms, such as "
            "{listed}). They are theirs; correct them there if the name is to go.",
            farm=farm,
            n=len(farms),
            listed=listed,
        )


def of_farm() -> str:
    """SQL of the import and digest of every row of a farm, with one ``?`` a row table for its name."""
    return " UNION ALL ".join(
        f"SELECT import_no, row_key FROM {table} WHERE farm = ?" for table, _ in ROW_TABLES.values()
    )


def _write_without(connection: Any, draft: Path, farm: str) -> None:
    """The whole ledger but one farm, into a new file."""
    [(ours,)] = connection.execute("SELECT CURRENT_DATABASE()").fetchall()
    source = '"' + ours.replace('"', '""') + '".main.'
    name = str(draft).replace("'", "''")
    connection.execute(f"ATTACH '{name}' AS without")
    connection.execute("USE without")
    connection.begin()
    try:
        for statement in create_statements():
            connection.execute(statement)
        connection.execute(f"INSERT INTO meta SELECT * FROM {source}meta")
        with checksums.changing_all(connection, source):
            for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *FARM_BOOKKEEPING]:
                connection.execute(
                    f"INSERT INTO {table} SELECT * FROM {source}{table} WHERE farm IS DISTINCT FROM ?", [farm]
                )
            for table in BOOKKEEPING:
                if table != "meta" and table not in FARM_BOOKKEEPING:
                    connection.execute(f"INSERT INTO {table} SELECT * FROM {source}{table}")
            scrub_imports(connection, source, farm)
        note(connection, "farm erased", subject="ledger")
        connection.commit()
    except BaseException:
        connection.rollback()
        raise
    finally:
        connection.execute("USE " + '"' + ours.replace('"', '""') + '"')
    connection.execute("CHECKPOINT without")
    connection.execute("DETACH without")


def scrub_imports(connection: Any, source: str, farm: str) -> None:
    """Take the farm out of what is kept of the imports: files, digests, notes, set-aside rows, counts.

    Parameters
    ----------
    connection : connection
        What holds the tables that are changed.
    source : str
        Stands before the name of a table that still has the farm's rows.
    farm : str
    """
    for kind, (table, _) in ROW_TABLES.items():
        gone = f"SELECT row_key FROM {source}{table} WHERE farm = ?"
        connection.execute(f"DELETE FROM seen_again WHERE kind = ? AND row_key IN ({gone})", [kind, farm])
        connection.execute(
            f"""UPDATE imports SET added = GREATEST(0, added - less.n)
            FROM (SELECT import_no, COUNT(*) AS n FROM {source}{table} WHERE farm = ? GROUP BY import_no) AS less
            WHERE imports.import_no = less.import_no""",
            [farm],
        )
    replaced = f"SELECT row_key FROM {source}replaced_rows WHERE farm = ?"
    connection.execute(f"DELETE FROM seen_again WHERE row_key IN ({replaced})", [farm])
    connection.execute(
        f"""UPDATE imports SET added = GREATEST(0, added - less.n)
        FROM (SELECT of_import, COUNT(*) AS n FROM {source}replaced_rows WHERE farm = ? GROUP BY of_import) AS less
        WHERE imports.import_no = less.of_import""",
        [farm],
    )
    others = " UNION ".join(
        f"SELECT import_no FROM {source}{table} WHERE farm IS DISTINCT FROM ?" for table, _ in ROW_TABLES.values()
    )
    others += f" UNION SELECT of_import FROM {source}replaced_rows WHERE farm IS DISTINCT FROM ?"
    # An import that was taken back has no rows that would say whose they were: its file and its rows set aside go.
    only = (
        f"SELECT import_no FROM imports WHERE undone_at IS NOT NULL OR (import_no NOT IN ({others}) AND import_no IN "
        "(SELECT import_no FROM (" + of_farm().replace("FROM ", f"FROM {source}") + ") AS of_farm "
        f"UNION SELECT of_import FROM {source}replaced_rows WHERE farm = ?))"
    )
    emptied = [number for (number,) in connection.execute(only, [farm] * 2 * (len(ROW_TABLES) + 1)).fetchall()]
    for number in emptied:
        connection.execute("DELETE FROM set_aside WHERE import_no = ?", [number])
        connection.execute("DELETE FROM seen_again WHERE import_no = ?", [number])
    named = FarmMentions(farm, farms_there(connection, source))
    for number, key, original, value in connection.execute(
        "SELECT import_no, row_no, original, value FROM set_aside"
    ).fetchall():
        if named.is_in(original) or named.is_in(value):
            connection.execute("DELETE FROM set_aside WHERE import_no = ? AND row_no = ?", [number, key])
    for number, file, notes in connection.execute("SELECT import_no, file, notes FROM imports").fetchall():
        empty = number in emptied
        kept = [] if empty else [line for line in json.loads(notes or "[]") if not named.is_in(line)]
        shown = ERASED if empty or named.is_in(file) else file
        connection.execute(
            """UPDATE imports SET file = ?, notes = ?, sha256 = CASE WHEN ? THEN '' ELSE sha256 END,
            already_known = CASE WHEN ? THEN 0 ELSE already_known END, added = CASE WHEN ? THEN 0 ELSE added END,
            set_aside = (SELECT COUNT(DISTINCT (source, row_no)) FROM set_aside s WHERE s.import_no = imports.import_no)
            WHERE import_no = ?""",
            [shown, json.dumps(kept), shown == ERASED, empty, empty, number],
        )
        if shown == ERASED:
            connection.execute("UPDATE history SET before = NULL, after = NULL WHERE subject = ?", [f"import {number}"])
    _scrub_remembered(connection, named)
    connection.execute("UPDATE imports SET rows_read = added + already_known + set_aside")
    for table in FARM_BOOKKEEPING:
        for (other,) in connection.execute(f"SELECT DISTINCT farm FROM {table} WHERE farm IS NOT NULL").fetchall():
            if named.is_it(other):
                connection.execute(f"DELETE FROM {table} WHERE farm = ?", [other])
    for number, before, after, subject in connection.execute(
        "SELECT history_no, before, after, subject FROM history"
    ).fetchall():
        if named.is_in(subject):
            connection.execute("DELETE FROM history WHERE history_no = ?", [number])
        elif named.is_in(before) or named.is_in(after):
            connection.execute("UPDATE history SET before = NULL, after = NULL WHERE history_no = ?", [number])


def _scrub_remembered(connection: Any, named: FarmMentions) -> None:
    """Take what names the farm out of the aliases and out of the answers kept for layouts."""
    for said, means in connection.execute("SELECT said, means FROM aliases").fetchall():
        if named.is_in(said) or named.is_in(means):
            connection.execute("DELETE FROM aliases WHERE said = ? AND means = ?", [said, means])
    for number, name, headings, answers in connection.execute(
        "SELECT layout_no, name, headings, answers FROM layouts"
    ).fetchall():
        if named.is_in(headings):
            connection.execute("DELETE FROM layouts WHERE layout_no = ?", [number])
            continue
        others = {
            question: value for question, value in json.loads(answers).items() if not named.is_in(f"{question} {value}")
        }
        connection.execute(
            "UPDATE layouts SET name = ?, answers = ? WHERE layout_no = ?",
            [
                ERASED if named.is_in(name) else name,
                json.dumps(others, ensure_ascii=False, sort_keys=True),
                number,
            ],
        )


def _erase_in_place(ledger: Ledger, farm: str) -> Erased:
    """Erase a farm of a server or a registry's folder in one transaction; then its bytes, where they can be reached.

    Raises
    ------
    UserError
        There is no such farm, or the ledger cannot be changed.
    """
    if not is_named(ledger, farm):
        raise no_such_farm(ledger, farm)
    with ledger.writing([farm] if ledger.dialect == "pyspark" else None) as connection:
        # Of a registry only the farm's own bucket is here to be changed; whose rows an import brought is asked of all.
        source = ledger.engine.whole_rows(connection)
        rows, imports = counted(connection, farm)
        with checksums.changing_all(connection):
            scrub_imports(connection, source, farm)
            for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *FARM_BOOKKEEPING]:
                connection.execute(f"DELETE FROM {table} WHERE farm = ?", [farm])
        note(connection, "farm erased", subject="ledger")
    told = tuple(map(str, told_by_others(ledger, farm)))
    return Erased(rows, imports, (), told + ledger.engine.forget_bytes())
