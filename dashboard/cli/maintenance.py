"""``evenfoot verify``, ``mend`` and ``history``: is the ledger whole, and what was done to it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Hashable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import farm_finder
from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.ui.console import check_format, deliver
from evenfoot.dashboard.ui.tables import csv_text, known_farms, rendered

if TYPE_CHECKING:
    import pandas as pd

    from evenfoot.analytics.ledger.integrity.copies import Copy

IN_USE = (
    "A program is using this folder for a report or a copy, or it is somebody else's; look again when that has ended."
)

ELSEWHERE = (
    "Nothing is known of copies in other places: reports and exports that were given away or mailed, backups of the "
    "machine, snapshots of its disk, blocks that the disk has not written over yet, and the temporary folder of a "
    "server that has one of its own. Look there, and delete them yourself."
)


def verify(address: str | None) -> None:
    """Check the ledger; print one sentence for each thing found, and end with exit code 1 if there is any."""
    from evenfoot.analytics.ledger.integrity.verify import verify

    ledger = open_ledger(address)
    verdict = verify(ledger)
    for finding in verdict.findings:
        print(finding)
    if not verdict.whole:
        print(f"Evenfoot: the ledger {ledger.name} is not whole.", file=sys.stderr)
        sys.exit(1)
    print(
        f"The ledger {ledger.name} is whole. Imports: {verdict.imports}. Rows: {verdict.rows}. Every row, count and "
        "derived table was checked."
    )


def mend(address: str | None) -> None:
    """Put a log that cannot be read aside, and say which imports are there."""
    from evenfoot.analytics.ledger.integrity.repair import mend

    ledger = open_ledger(address)
    done = mend(ledger)
    newest = (
        f"The newest import in it is {done.last_import} ({done.last_file})." if done.last_import else "It is empty."
    )
    if done.log is None:
        print(f"The ledger {ledger.name} opens and is whole; nothing had to be mended. {newest}")
    else:
        print(
            f"The ledger {ledger.name} opens again and is whole. {newest} Bring in again what came after it. The log "
            f"that could not be read is kept as {done.log}."
        )


def erase_farm(address: str | None, farm: str, *, yes: bool, delete_copies: bool) -> None:
    """Erase a farm from the ledger and the accounts; say which files still hold it, or delete the ledger's copies.

    Everything that would be deleted is listed first, and asked about unless *yes* is given.

    Raises
    ------
    UserError
        There is no such farm, its name may mean several, somebody said no, or nobody can be asked.
    """
    from evenfoot.analytics.ledger.integrity.copies import copies_with
    from evenfoot.analytics.ledger.integrity.erase import erase_farm, is_named
    from evenfoot.analytics.ledger.integrity.farm_mentions import FarmMentions
    from evenfoot.analytics.temporary_folders import clear_left
    from evenfoot.dashboard.auth.forgetting import forget_farm, left_of
    from evenfoot.dashboard.auth.store import store_of

    ledger = open_ledger(address)
    store = store_of(ledger)
    there = ledger.farms()
    in_accounts = left_of(store, farm)
    name = farm_finder(there)(farm) or in_accounts or " ".join(farm.split())
    others = tuple(other for other in there if other != name)
    if in_accounts is not None and not FarmMentions(name, others).is_it(in_accounts):
        in_accounts = None  # The accounts hold only a farm of nearly the same name.
    copies = copies_with(ledger, name, others) if delete_copies and hasattr(ledger.engine, "lease") else []
    listed = [copy.path for copy in copies if copy.own]
    # An erasing may have been cut short when the ledger was done, or its copies may have been left.
    in_ledger = is_named(ledger, name)
    if not in_ledger and in_accounts is None and not listed:
        known_farms(ledger, [farm])
    for path in listed:
        print(f"To be deleted with it: {path}")
    if not yes:
        _confirm(name, len(listed))
    if in_ledger:
        done = erase_farm(ledger, name)
        print(f"{name} was erased from {ledger.name}. Rows: {done.rows}. Imports concerned: {done.imports}.")
        if not done.rows:
            print("It had no rows any more; what imports that were taken back had left of it in the file is gone.")
        copies = list(done.copies)
        for sentence in done.beyond:
            print(sentence)
    else:
        print(f"The ledger {ledger.name} does not hold {name}.")
    if in_accounts is not None:
        forget_farm(store, name, others)
        print(f"{name} was erased from the accounts {store.path}.")
    for copy in copies:
        _delete_or_tell(copy, delete=copy.path in listed)
    for folder in clear_left():
        print(f"Not deleted: {folder}. {IN_USE}")
    print(ELSEWHERE)


def _confirm(name: str, copies: int) -> None:
    """Ask whether a farm is really to be erased; a UserError unless its name is typed."""
    if not sys.stdin.isatty():
        raise UserError(
            f"Nothing was erased: {name} is erased only after a question, so add --yes where nobody answers."
        )
    with_copies = f", and files listed above deleted: {copies}" if copies else ""
    asked = f"All records of {name} will be erased for good{with_copies}. Type its name to go on: "
    try:
        typed = input(asked)
    except EOFError:
        typed = ""
    if typed.strip() != name:
        raise UserError("Nothing was erased.")


def _delete_or_tell(copy: Copy, *, delete: bool) -> None:
    if delete and copy.delete():
        print(f"Deleted {copy.path}")
    elif delete:
        print(f"Not deleted: {copy.path}. {copy.why} The system did not let it go; delete it yourself.")
    elif copy.own:
        print(f"Not deleted: {copy.path}. {copy.why} Delete it yourself, or at once with --delete-copies.")
    else:
        print(f"Not deleted: {copy.path}. {copy.why} Look at it, and delete it yourself.")


def print_imports(address: str | None, format: str, out: Path | None = None) -> None:
    """Print the imports so far, oldest first."""
    check_format(format)
    frame = open_ledger(address).imports()
    if frame.empty and format == "text":
        deliver("No imports yet.\n", out)
        return
    frame = frame.assign(
        imported_at=frame["imported_at"].dt.strftime("%Y-%m-%d %H:%M"),
        undone=frame["undone_at"].dt.strftime("%Y-%m-%d").fillna(""),
    )
    shown = ["import_no", "imported_at", "file", "kinds", "rows_read", "added", "already_known", "set_aside", "undone"]
    deliver(rendered(frame[shown], format), out)


def print_history(address: str | None, format: str, out: Path | None = None) -> None:
    """Print the history of changes, oldest first."""
    from evenfoot.analytics.ledger.history import history

    def who(line: Mapping[Hashable, Any]) -> str:
        return str(line["who"])

    write_history(history(open_ledger(address)), format, out, who)


def write_history(
    lines: pd.DataFrame, format: str, out: Path | None, who: Callable[[Mapping[Hashable, Any]], str]
) -> None:
    """Print lines of a history, of the ledger or of the accounts.

    Parameters
    ----------
    lines : pandas.DataFrame
        noted_at, who, what, subject, farm; and before and after (JSON) where they are kept.
    format : {"text", "csv", "json"}
    out : pathlib.Path, optional
    who : callable
        Says of a line who did it.

    Raises
    ------
    UserError
        Another format, or a file that cannot be written.
    """
    check_format(format)
    if format == "csv":
        deliver(csv_text(lines), out)
        return
    if format == "json":
        deliver(lines.to_json(orient="records", date_format="iso", force_ascii=False) + "\n", out)
        return
    told = []
    for line in lines.to_dict("records"):
        farm = f" ({line['farm']})" if isinstance(line["farm"], str) else ""
        told.append(f"{line['noted_at']:%Y-%m-%d %H:%M} UTC  {who(line)}  {line['what']}: {line['subject']}{farm}")
        for when in ("before", "after"):
            if isinstance(line.get(when), str):
                said = ", ".join(f"{key} {value}" for key, value in json.loads(line[when]).items() if value is not None)
                told.append(f"    {when}: {said}")
    deliver("".join(f"{line}\n" for line in told), out)
