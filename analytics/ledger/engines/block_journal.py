"""Blocks of the ledger's file that writing may spoil when the power goes, kept beside it until the writing is done.

What the engine knows of its tables stands in blocks that the old state of the file and the new one share. When it folds
its log into the file it writes such a block anew, 256 kB in one piece, while the old state is still the one that
counts. If the power goes in the middle of that, neither can be read. So these blocks, and the heads of the file, are
copied first, and put back before the file is next opened; the log then still holds the change.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger.atomic_write import OWNER_ALONE, settle
from evenfoot.analytics.ledger.file_locks import locked, still_named

HEADS = 3 * 4096
"""Bytes before the first block [measured on the engine's own files]."""

MARK = b"evenfoot blocks 1\n"
NUMBER = 8
"""Bytes in which a number is written."""


def kept_blocks(path: Path) -> Path:
    """Where the blocks of the ledger at *path* are kept while it is written."""
    return path.with_name(path.name + ".blocks")


@contextlib.contextmanager
def blocks_kept(connection: Any, handle: int | None, path: Path) -> Iterator[None]:
    """Keep the blocks while the block of code writes and closes the connection.

    The file is read through *handle*, which stays open until the engine has let go of the file: closing it earlier
    would take the engine's lock away. Where there is none, and where the blocks cannot be kept, the ledger is written
    all the same, as safe as the engine is.
    """
    try:
        if handle is None:
            forget_blocks(path)
        else:
            _keep(connection, handle, kept_blocks(path))
    except OSError:
        forget_blocks(path)
    yield
    if not path.with_name(path.name + ".wal").exists():
        # What was written is in the file, and counts. Whoever writes next may have blocks of its own there by now.
        undo_cut_short(path)


def forget_blocks(path: Path) -> None:
    """Delete what is kept: the writing is done, or the file is no longer the one it was."""
    with contextlib.suppress(OSError):
        kept_blocks(path).unlink()


def undo_cut_short(path: Path) -> bool:
    """Put the kept blocks back if writing was cut short before the new state of the file counted. Call it while nothing
    in this process has the file open.

    Returns
    -------
    bool
        Whether anything was put back. Nothing is while somebody is writing, where the new state counts already, and
        where no blocks are kept whole: then the writing had not begun.
    """
    if not kept_blocks(path).exists():
        return False
    try:
        file = path.open("r+b")
    except OSError:
        return False
    with file:
        if not locked(file, alone=True) or not still_named(file.fileno(), path):
            return False
        try:
            blocks = _whole(kept_blocks(path).read_bytes())
        except OSError:
            return False
        changed = False
        if blocks is not None and file.read(HEADS) == blocks.pop(0):
            for where, block in blocks.items():
                file.seek(where)
                if file.read(len(block)) != block:
                    changed = True
                    file.seek(where)
                    file.write(block)
            file.flush()
            os.fsync(file.fileno())
        forget_blocks(path)
        return changed


def _whole(content: bytes) -> dict[int, bytes] | None:
    """Place in the file -> bytes that are kept of it; None unless all that was to be kept is there."""
    body = content[len(MARK) + 32 :]
    if not content.startswith(MARK) or hashlib.sha256(body).digest() != content[len(MARK) : len(MARK) + 32]:
        return None
    size = int.from_bytes(body[:NUMBER], "big")
    rest = body[NUMBER + HEADS :]
    out = {0: body[NUMBER : NUMBER + HEADS]}
    for at in range(0, len(rest), NUMBER + size):
        number = int.from_bytes(rest[at : at + NUMBER], "big")
        out[HEADS + number * size] = rest[at + NUMBER : at + NUMBER + size]
    return out


def _keep(connection: Any, handle: int, out: Path) -> None:
    import duckdb

    try:
        [(size,)] = connection.execute("SELECT block_size FROM pragma_database_size()").fetchall()
        numbers = connection.execute("SELECT DISTINCT block_id FROM pragma_metadata_info() ORDER BY 1").fetchall()
    except duckdb.Error:
        return
    parts = [int(size).to_bytes(NUMBER, "big"), _read(handle, 0, HEADS)]
    for (number,) in numbers:
        parts += [int(number).to_bytes(NUMBER, "big"), _read(handle, HEADS + number * size, size)]
    body = b"".join(parts)
    with open(out, "wb", opener=lambda path, flags: os.open(path, flags, OWNER_ALONE)) as file:
        file.write(MARK + hashlib.sha256(body).digest() + body)
        file.flush()
        os.fsync(file.fileno())
    settle(out.parent)


def _read(handle: int, where: int, size: int) -> bytes:
    """So many bytes; a block that is not in the file yet is blank, and does no harm."""
    os.lseek(handle, where, os.SEEK_SET)
    content = bytearray()
    while len(content) < size and (piece := os.read(handle, size - len(content))):
        content += piece
    return bytes(content.ljust(size, b"\0"))
