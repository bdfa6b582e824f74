"""What went wrong with the ledger's file, in sentences for people."""

from __future__ import annotations

import errno
import re
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import Message, say

FULL = ("No space left", "File too large", "isk quota", "not enough space", "There is not enough space")
"""What systems say when a disk is full."""


def read_only(name: str) -> UserError:
    """What to tell who would change a ledger that somebody else keeps."""
    return UserError(
        say(
            "The ledger {name} can only be read; import into a file, a PostgreSQL database or a registry's folder, "
            "and have the tables brought over from there.",
            name=name,
        )
    )


def unreadable_table(what: str, error: Exception) -> Message:
    """What to say of something that the engine could not read."""
    return say(
        "{what} cannot be read ({error}); put a backup back with `evenfoot restore`.",
        what=what,
        error=str(error).splitlines()[0],
    )


class Damaged(UserError):
    """The bytes of the ledger are not what they were when they were written."""


class Busy(UserError):
    """Somebody else has the ledger, and has had it for longer than one waits."""


def explained(path: Path, error: Exception) -> UserError:
    """Why the engine would not open a file, in a sentence."""
    text = str(error)
    if path.is_dir():
        return UserError(
            f"{path} is a folder; give the file of the ledger with --ledger, such as {path / 'ledger.duckdb'}."
        )
    if any(words in text for words in FULL):
        return _full(path)
    if "not a valid DuckDB" in text or "Serialization" in text:
        return UserError(f"{path} is not an Evenfoot ledger; choose another file with --ledger.")
    if any(words in text for words in SHUT):
        return _shut(path)
    if "does not exist" in text or "No such file" in text:
        return UserError(f"The folder of the ledger {path} does not exist; create it or choose another path.")
    if "WAL" in text or "write-ahead" in text.lower():
        return Damaged(
            f"The ledger {path} was cut short while it was written, and the end of its log {path.name}.wal cannot be "
            "read; `evenfoot repair` puts the log aside and says which imports are there."
        )
    return Damaged(
        f"The ledger {path} cannot be opened ({_first_line(text)}); put a backup back with `evenfoot restore`."
    )


SHUT = ("ermission denied", "ead-only file system", "not permitted")
"""What systems say when something may not be written."""


def _shut(path: Path) -> UserError:
    return UserError(f"The ledger {path} may not be opened for writing; check the folder's permissions.")


def _full(path: Path) -> UserError:
    return UserError(
        f"The disk of the ledger {path} is full, so nothing of this change was kept; make room and try again."
    )


def not_written(path: Path, error: OSError) -> UserError:
    """What to tell when the system would not write the copy in which a change is made, or put it in its place."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return _full(path)
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return _shut(path)
    return UserError(
        f"The ledger {path} could not be written ({error.strerror}), so nothing of this change was kept; check the "
        "disk, look with `evenfoot verify`, and try again."
    )


def not_kept(path: Path, error: BaseException) -> UserError | None:
    """What to tell when the engine failed in the middle of a change; None for any other error."""
    import duckdb

    text = str(error)
    if isinstance(error, duckdb.OutOfMemoryException):
        return UserError(
            f"There is not enough memory for this change of the ledger {path}, so nothing of it was kept; close other "
            "programs, or bring the records in in parts."
        )
    if isinstance(error, duckdb.Error) and any(words in text for words in FULL):
        return _full(path)
    if not _is_failure(error) and not (isinstance(error, duckdb.TransactionException) and "ailed to commit" in text):
        return None
    if any(words in text for words in SHUT):
        return _shut(path)
    return UserError(
        f"The ledger {path} could not be written ({_first_line(text)}), so nothing of this change was kept; check the "
        "disk, look with `evenfoot verify`, and try again."
    )


def unreadable(path: Path, error: BaseException) -> UserError | None:
    """What to tell when the engine failed while it read; None for any other error."""
    if not _is_failure(error):
        return None
    return Damaged(
        f"The ledger {path} cannot be read ({_first_line(str(error))}); look with `evenfoot verify`, or put a backup "
        "back with `evenfoot restore`."
    )


def _is_failure(error: BaseException) -> bool:
    """Whether the file or the disk failed, and not the question."""
    import duckdb

    kinds = (duckdb.IOException, duckdb.FatalException, duckdb.InternalException, duckdb.SerializationException)
    # A block whose checksum is wrong is told by the most general error there is.
    return isinstance(error, kinds) or (isinstance(error, duckdb.Error) and "Corrupt" in str(error))


def _first_line(text: str) -> str:
    return text.splitlines()[0][:200] if text else "no reason given"


def holder(text: str) -> str:
    """Who has the file, from what the engine says of its lock."""
    found = re.search(r"held in (?P<program>.+?) \(PID (?P<pid>\d+)\)", text)
    if found:
        return f"{Path(found['program']).name} (process {found['pid']})"
    return "another program"
