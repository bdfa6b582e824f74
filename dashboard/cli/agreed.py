"""``evenfoot agreed``: what farmer, trimmer and veterinarian agreed on, as a list, and every change of it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Any

import typer

from evenfoot.analytics.errors import UserError

agreed_app = typer.Typer(
    help="What farmer, trimmer and veterinarian agreed on.",
    invoke_without_command=True,
    epilog="Example: evenfoot agreed --farm Larkmoor --format csv -o agreed.csv",
)

LedgerOption = Annotated[
    str | None,
    typer.Option("--ledger", help="Path or duckdb:// address of the ledger.", envvar="EVENFOOT_LEDGER"),
]
Number = Annotated[str, typer.Argument(metavar="ID", help="Number of the agreement, as `evenfoot agreed` lists it.")]
Who = Annotated[str | None, typer.Option("--who", help="Who does it.")]
Due = Annotated[str | None, typer.Option("--due", help="By when, such as 2026-05-31.")]
LesionOption = Annotated[str | None, typer.Option("--lesion", help="The lesion it is for: a code or name.")]
Place = Annotated[str | None, typer.Option("--place", help="Where on the foot, in words.")]


@agreed_app.callback()
def agreed(
    context: typer.Context,
    farm: Annotated[list[str] | None, typer.Option("--farm", help="Only this farm; may be repeated.")] = None,
    on: Annotated[str | None, typer.Option("--on", help="As of this day; today without it.")] = None,
    removed: Annotated[bool, typer.Option("--removed", help="List those that were removed instead.")] = False,
    ledger: LedgerOption = None,
    format: Annotated[str, typer.Option("--format", help="text, csv or json.")] = "text",
    out: Annotated[Path | None, typer.Option("--out", "-o", help="File to write instead of printing.")] = None,
) -> None:
    """List what was agreed: overdue, open, done, and what became of the lesion."""
    if context.invoked_subcommand is None:
        _list(ledger, farm or [], on, removed, format, out)
        return
    for name in context.params:
        source = context.get_parameter_source(name)
        if source is not None and source.name == "COMMANDLINE":
            raise UserError(f"Write --{name} after '{context.invoked_subcommand}'.")


@agreed_app.command(
    "add", epilog="Example: evenfoot agreed add --farm Larkmoor --text 'rubber in the alleys' --who Anna"
)
def agreed_add(
    farm: Annotated[str, typer.Option("--farm", help="The farm.")],
    text: Annotated[str, typer.Option("--text", help="What is to be done.")],
    who: Who = None,
    due: Due = None,
    lesion: LesionOption = None,
    place: Place = None,
    on: Annotated[str | None, typer.Option("--on", help="The day it was agreed; today without it.")] = None,
    ledger: LedgerOption = None,
) -> None:
    """Write down what was agreed."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.agreements import add
    from evenfoot.dashboard.ui.tables import known_farms, lesion_code

    there = open_ledger(ledger)
    [name] = known_farms(there, [farm])
    number = add(
        there, name, text, agreed_on=_day(on, "--on"), who=who, due_on=_day(due, "--due"),
        lesion=lesion_code(lesion) if lesion else None, place=place,
    )  # fmt: skip
    print(f"Agreement {number} was written down.")


@agreed_app.command("done", epilog="Example: evenfoot agreed done 3 --on 2026-05-20 --note 'two alleys of three'")
def agreed_done(
    number: Number,
    on: Annotated[str | None, typer.Option("--on", help="The day it was done; today without it.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="How it came out.")] = None,
    ledger: LedgerOption = None,
) -> None:
    """Write down that it was done."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.agreements import mark_done

    mark_done(open_ledger(ledger), _number(number), done_on=_day(on, "--on"), outcome=note)
    print(f"Agreement {number} is done.")


@agreed_app.command("change", epilog="Example: evenfoot agreed change 3 --due 2026-06-30 --not-done")
def agreed_change(
    number: Number,
    text: Annotated[str | None, typer.Option("--text", help="What is to be done.")] = None,
    who: Who = None,
    due: Due = None,
    lesion: LesionOption = None,
    place: Place = None,
    on: Annotated[str | None, typer.Option("--on", help="The day it was agreed.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="How it came out.")] = None,
    not_done: Annotated[bool, typer.Option("--not-done", help="It is not done after all.")] = False,
    ledger: LedgerOption = None,
) -> None:
    """Change what is written down; an empty text, such as --who '', takes it out."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.agreements import change
    from evenfoot.dashboard.ui.tables import lesion_code

    changes: dict[str, Any] = {"text": text, "who": who, "place": place, "outcome": note}
    changes = {name: said for name, said in changes.items() if said is not None}
    changes |= {name: _day(said, option) for name, said, option in (("agreed_on", on, "--on"), ("due_on", due, "--due"))
                if said is not None}  # fmt: skip
    if lesion is not None:
        changes["lesion"] = lesion_code(lesion) if lesion else None
    if not_done:
        changes["done_on"] = None
    change(open_ledger(ledger), _number(number), changes)
    print(f"Agreement {number} was changed.")


@agreed_app.command("remove", epilog="Example: evenfoot agreed remove 3")
def agreed_remove(number: Number, ledger: LedgerOption = None) -> None:
    """Remove one from the lists; restore puts it back."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.agreements import remove

    remove(open_ledger(ledger), _number(number))
    print(f"Agreement {number} was removed; `evenfoot agreed restore {number}` puts it back.")


@agreed_app.command("restore", epilog="Example: evenfoot agreed restore 3")
def agreed_restore(number: Number, ledger: LedgerOption = None) -> None:
    """Put one back that was removed."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.agreements import restore

    restore(open_ledger(ledger), _number(number))
    print(f"Agreement {number} is back.")


def _list(address: str | None, farms: list[str], on: str | None, removed: bool, format: str, out: Path | None) -> None:
    """Print what was agreed; what it rests on goes to standard error."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.agreements import read
    from evenfoot.analytics.measures.catalogue import answer
    from evenfoot.analytics.queries.selection import Selection
    from evenfoot.dashboard.ui.console import check_format, deliver, tell
    from evenfoot.dashboard.ui.tables import known_farms, printable, rendered

    check_format(format)
    ledger = open_ledger(address)
    chosen = known_farms(ledger, farms)
    if removed:
        table = read(ledger, chosen, removed=True).rename(columns={"agreement_no": "number"})
        cautions: tuple[str, ...] = ()
    else:
        found = answer("agreed", ledger, Selection(farms=chosen), on=_day(on, "--on"))
        table, cautions = found.table, found.cautions if format == "text" and not found.empty else ()
    if format == "text":
        lines = [line for row in table.to_dict("records") for line in _lines(row)]
        deliver("".join(f"{line}\n" for line in lines or ["Nothing that was agreed is written down."]), out)
    else:
        deliver(rendered(printable(table), format), out)
    for sentence in cautions:
        tell(sentence)


def _lines(row: dict[Any, Any]) -> list[str]:
    """An agreement in one line or two."""
    from evenfoot.analytics.domain.lesions import LESIONS
    from evenfoot.dashboard.charts.labels import VERDICTS

    def given(name: str) -> Any:
        return None if row.get(name) is None or row[name] != row[name] else row[name]

    about = [str(given("who"))] if given("who") else []
    about += [f"by {row['due_on']:%Y-%m-%d}"] if given("due_on") else []
    about += [LESIONS[str(row["lesion"])].name] if given("lesion") else []
    about += [str(given("place"))] if given("place") else []
    state = f"done on {row['done_on']:%Y-%m-%d}" if given("done_on") else str(row.get("state", "removed"))
    state += f", {row['outcome']}" if given("outcome") else ""
    first = f"{row['number']}  {row['agreed_on']:%Y-%m-%d} {row['farm']}: {row['text']}"
    first += f" ({'; '.join(about)})" if about else ""
    since = [f"     {VERDICTS[row['verdict']]}. {row['since']}"] if given("since") else []
    return [f"{first}: {state}", *since]


def _number(text: str) -> int:
    """The number of an agreement as somebody wrote it.

    Raises
    ------
    UserError
        It is no whole number that could be one.
    """
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise UserError(f"'{text}' is not the number of an agreement; `evenfoot agreed` lists them.")
    return int(text)


def _day(text: str | None, option: str) -> dt.date | None:
    """A day as somebody wrote it; none where nothing was written."""
    from evenfoot.analytics.queries.selection import read_date

    return read_date(text, option) if text else None
