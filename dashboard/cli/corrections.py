"""``evenfoot records``, ``correct`` and ``remove``: single records, put right one by one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenfoot.analytics.errors import UserError

LedgerOption = Annotated[
    str | None,
    typer.Option("--ledger", help="Path or duckdb:// address of the ledger.", envvar="EVENFOOT_LEDGER"),
]
Why = Annotated[str, typer.Option("--why", help="The reason, which the history keeps.")]
Ids = Annotated[list[str], typer.Argument(metavar="ID...", help="Ids of records, as `evenfoot records` lists them.")]

IdsAndFields = Annotated[
    list[str],
    typer.Argument(metavar="ID... FIELD=VALUE...", help="Ids of records, then the fields that are to be changed."),
]


def add_to(app: typer.Typer) -> None:
    """Add the commands to the program's."""
    app.command(epilog="Example: evenfoot records --farm Larkmoor --cow 1042 --format csv -o cow.csv")(records)
    app.command(epilog="Example: evenfoot correct 3fa91c foot=RH severity=2 --why 'wrong foot typed'")(correct)
    app.command(epilog="Example: evenfoot remove 3fa91c --why 'not our cow'")(remove)


def records(
    farm: Annotated[str, typer.Option("--farm", help="The farm.")],
    cow: Annotated[str | None, typer.Option("--cow", help="Only this cow.")] = None,
    since: Annotated[str | None, typer.Option("--since", help="From this day on, such as 2026-03-01.")] = None,
    ledger: LedgerOption = None,
    format: Annotated[str, typer.Option("--format", help="text, csv or json.")] = "text",
    out: Annotated[Path | None, typer.Option("--out", "-o", help="File to write instead of printing.")] = None,
) -> None:
    """List the records of a farm as they were written down, each with its id."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.corrections import list_records
    from evenfoot.analytics.queries.selection import read_date
    from evenfoot.dashboard.ui.console import check_format, deliver
    from evenfoot.dashboard.ui.tables import known_farms, rendered

    check_format(format)
    there = open_ledger(ledger)
    [name] = known_farms(there, [farm])
    table = list_records(there, farm=name, cow=cow, since=read_date(since, "--since") if since else None)
    deliver(rendered(table.dropna(axis="columns", how="all") if format == "text" else table, format), out)


def correct(ids_and_fields: IdsAndFields, why: Why, ledger: LedgerOption = None) -> None:
    """Write records anew with some fields changed; what they were is kept, and `evenfoot undo` takes it back."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.corrections import correct_records

    ids = [word for word in ids_and_fields if "=" not in word]
    changes = dict(word.split("=", 1) for word in ids_and_fields if "=" in word)
    if not changes:
        raise UserError("Say what is to be changed, such as foot=RH.")
    done = correct_records(open_ledger(ledger), ids, changes, why)
    print(
        f"Correction {done.number}: {_counted(done.records)} changed. Take it back with `evenfoot undo {done.number}`."
    )


def remove(ids: Ids, why: Why, ledger: LedgerOption = None) -> None:
    """Take records out; they are kept, and `evenfoot undo` brings them back."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.corrections import remove_records

    done = remove_records(open_ledger(ledger), ids, why)
    print(
        f"Correction {done.number}: {_counted(done.records)} removed. Take it back with `evenfoot undo {done.number}`."
    )


def _counted(records: int) -> str:
    return f"{records} record" if records == 1 else f"{records} records"
