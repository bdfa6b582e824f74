"""``evenfoot verify``, ``mend`` and ``history``: is the ledger whole, and what was done to it."""

from __future__ import annotations

import json
import sys

from analytics.ledger import open_ledger
from analytics.ledger.copying import forget, log_of
from analytics.mistake import Mistake
from dashboard.tables import csv_text

FORMATS = ("text", "csv", "json")


def verify(address: str | None) -> None:
    """Check the ledger; print one sentence for each thing found, and end with exit code 1 if there is any."""
    from analytics.ledger.verifying import verify

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
    from analytics.ledger.mending import mend

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
    """Erase a farm from the ledger and the accounts; say which backups still hold it, or delete them."""
    from analytics.ledger.erasing import erase_farm
    from dashboard.accounts.forgetting import forget_farm, left_of
    from dashboard.accounts.store import store_of
    from dashboard.tables import known_farms

    ledger = open_ledger(address)
    store = store_of(ledger)
    left = None
    try:
        [name] = known_farms(ledger, [farm])
    except Mistake:
        # An erasing may have been cut short when the ledger was done.
        left = left_of(store, farm)
        if left is None:
            raise
        name = left
    if not yes and input(f"All records of {name} will be erased for good. Type its name to go on: ").strip() != name:
        raise Mistake("Nothing was erased.")
    if left is not None:
        forget_farm(store, left)
        print(f"{left} was erased from the accounts {store.path}; the ledger {ledger.name} does not hold it.")
        return
    done = erase_farm(ledger, name)
    forget_farm(store, name)
    print(f"{name} was erased from {ledger.name}. Rows: {done.rows}. Imports concerned: {done.imports}.")
    for copy in done.copies:
        if delete_copies:
            forget(copy)
            forget(log_of(copy))
            print(f"Deleted {copy}")
        else:
            print(f"Still held by {copy}; delete it (--delete-copies does that at once).")
    for sentence in done.beyond:
        print(sentence)
    print("Reports, exports and backups kept elsewhere are not known to Evenfoot; delete them yourself.")


def print_history(address: str | None, format: str) -> None:
    """Print the history of changes, oldest first."""
    from analytics.ledger.history import history

    if format not in FORMATS:
        raise Mistake(f"'{format}' is not a format of the history; use text, csv or json.")
    lines = history(open_ledger(address))
    if format == "csv":
        sys.stdout.write(csv_text(lines))
        return
    if format == "json":
        print(lines.to_json(orient="records", date_format="iso", force_ascii=False))
        return
    for line in lines.to_dict("records"):
        farm = f" ({line['farm']})" if isinstance(line["farm"], str) else ""
        print(f"{line['noted_at']:%Y-%m-%d %H:%M} UTC  {line['who']}  {line['what']}: {line['subject']}{farm}")
        for when in ("before", "after"):
            if isinstance(line[when], str):
                said = ", ".join(f"{key} {value}" for key, value in json.loads(line[when]).items() if value is not None)
                print(f"    {when}: {said}")
