"""A file read, and compared with the ledger, in a process of its own, as :mod:`evenfoot.analytics.worker_process`
says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.isolated_reader import understand_limited
from evenfoot.analytics.intake.pipeline import Understanding
from evenfoot.analytics.ledger.imports.add import ImportResult, add_sheets
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, prepare_import
from evenfoot.analytics.ledger.ledger import Ledger, open_ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.worker_process import ask, run_limited

OPENED_AT_ONCE = ("duckdb", "postgres")
"""Engines that another process opens in a moment. Spark takes longer than a sheet."""

MOST_RECORDS = 200_000
"""Of a sheet for a ledger of another engine: it is compared in the process that asks. [common practice, no source]"""

Screen = Callable[[Mapping[str, Sequence[str | None]]], None]


def prepare_limited(
    ledger: Ledger,
    source: bytes,
    name: str,
    *,
    given: Mapping[str, str],
    accept: bool,
    farms: Sequence[str] | None,
    screen: Screen,
    count: bool,
) -> tuple[PreparedImport, ImportResult | None]:
    """As :func:`~evenfoot.analytics.ledger.imports.file_import.prepare_import`, within limits of time and memory.

    All that a file makes the program do is within them: reading it, looking for its farms, cows and visits in the
    ledger, and counting what is known.

    Parameters
    ----------
    ledger : Ledger
    source : bytes
    name, given, accept, farms, screen
        As there.
    count : bool
        Whether to count what would be added.

    Returns
    -------
    PreparedImport
    ImportResult or None
        Of a dry run, if asked for.

    Raises
    ------
    UserError
        As there; or the file takes too long or too much memory, or too many are being read.
    """
    if ledger.dialect not in OPENED_AT_ONCE:
        prepared = prepare_import(
            ledger, source, name, given=given, accept=accept, farms=farms, screen=screen, understand=_understand_few
        )
        return prepared, _counted(ledger, prepared) if count else None
    found: tuple[PreparedImport, ImportResult | None] = run_limited(
        _prepare, ledger.address, source, name, given, accept, farms, count, answer=screen
    )
    return found


def _prepare(
    address: str,
    source: bytes,
    name: str,
    given: Mapping[str, str],
    accept: bool,
    farms: Sequence[str] | None,
    count: bool,
) -> tuple[PreparedImport, ImportResult | None]:
    import duckdb

    ledger = open_ledger(address)
    try:
        prepared = prepare_import(ledger, source, name, given=given, accept=accept, farms=farms, screen=ask)
        result = _counted(ledger, prepared) if count else None
    except duckdb.OutOfMemoryException:
        raise MemoryError from None
    # It asks this process's ledger, and goes nowhere.
    prepared.answers.recall = None
    return prepared, result


def _counted(ledger: Ledger, prepared: PreparedImport) -> ImportResult:
    return add_sheets(
        ledger, prepared.sheets, prepared.file, "", revision_choice=prepared.revision_choice, dry_run=True
    )


def _understand_few(source: bytes, name: str, **options: Any) -> Understanding:
    found = understand_limited(source, name, **options)
    records = sum(len(sheet.records) for sheet in found.sheets)
    if records > MOST_RECORDS:
        raise UserError(
            say(
                "{name} has {records} records, and a page compares {most} at most with this ledger. Split it, or bring "
                "it in with `evenfoot import`.",
                name=name,
                records=records,
                most=MOST_RECORDS,
            )
        )
    return found
