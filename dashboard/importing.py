"""``evenfoot import`` and ``evenfoot check``: files in, counts and reasons out."""

from __future__ import annotations

import contextlib
import hashlib
import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from analytics.intake import CheckedSheet, check_file
from analytics.intake.streaming import check_stream
from analytics.ledger import Ledger, open_ledger
from analytics.ledger.adding import ImportResult, add_sheets
from analytics.ledger.bulk import add_stream
from analytics.mistake import Mistake

SHOWN_REASONS = 5


def import_paths(
    files: Sequence[Path],
    address: str | None,
    farm: str | None,
    day_first: bool | None,
    as_json: bool,
    *,
    dry_run: bool,
) -> None:
    """Import or check files one after another; a file that cannot be read does not stop the others.

    Raises
    ------
    Mistake
        At the end, when any file could not be read.
    """
    ledger = open_ledger(address)
    unread: list[str] = []
    for path in files:
        try:
            with working(f"Reading {path.name}"):
                digest = _digest(path)
                sheets, result = _add(ledger, path, digest, farm, day_first, dry_run=dry_run)
        except Mistake as mistake:
            unread.append(str(mistake))
            continue
        if as_json:
            counts = {
                "read": result.read,
                "added": result.added,
                "already_known": result.already_known,
                "set_aside": result.set_aside,
                "import": result.import_no or None,
            }
            print(json.dumps(counts if len(files) == 1 else {"file": path.name, **counts}))
        else:
            print(_sentence(result, dry_run))
        for line in explain(sheets, result):
            print(line, file=sys.stderr)
    if unread:
        raise Mistake(" ".join(unread))


def _add(
    ledger: Ledger, path: Path, digest: str, farm: str | None, day_first: bool | None, *, dry_run: bool
) -> tuple[Sequence[CheckedSheet], ImportResult]:
    """Check a file and add it; one too large for memory goes into the embedded ledger piece by piece."""
    known = ledger.farms()
    if ledger.dialect == "duckdb":
        stream = check_stream(path, path.name, farm=farm, day_first=day_first, known_farms=known)
        if stream is not None:
            result = add_stream(ledger, stream, path.name, digest, dry_run=dry_run)
            return [stream.without_records()], result
    sheets = check_file(path, path.name, farm=farm, day_first=day_first, known_farms=known)
    return sheets, add_sheets(ledger, sheets, path.name, digest, dry_run=dry_run)


def explain(sheets: Sequence[CheckedSheet], result: ImportResult) -> list[str]:
    """Notes on how the file was understood, and the first reasons rows were set aside."""
    lines = [str(note) for sheet in sheets for note in sheet.notes]
    lines += [str(question) for question in result.questioned]
    shown = 0
    for sheet in sheets:
        for row in sheet.set_aside.itertuples(index=False):
            if shown == SHOWN_REASONS:
                break
            shown += 1
            found = f" '{row.value}'" if isinstance(row.value, str) and row.value else ""
            lines.append(f"Set aside: {sheet.source}, row {row.row}, {row.column}{found}: {row.reason} {row.remedy}")
    if result.set_aside:
        where = f"evenfoot set-aside {result.import_no}" if result.import_no else "evenfoot import"
        lines.append(f"{result.set_aside} rows were set aside; `{where}` gives them to be fixed and imported again.")
    return lines


def _sentence(result: ImportResult, dry_run: bool) -> str:
    would = "would be " if dry_run else ""
    number = "" if dry_run else f" Import {result.import_no}."
    return (
        f"{result.file}: {result.read} rows read, {result.added} {would}added, {result.already_known} already "
        f"known, {result.set_aside} set aside.{number}"
    )


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except IsADirectoryError:
        raise Mistake(f"{path} is a folder; give the files in it.") from None
    except FileNotFoundError:
        raise Mistake(f"There is no file {path}; check the name.") from None
    except OSError as error:
        raise Mistake(f"{path} cannot be read: {error.strerror}.") from None


@contextlib.contextmanager
def working(what: str) -> Iterator[None]:
    """A spinner on standard error while something long runs; silent when it is not a terminal."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(what):
        yield
