"""The ``evenfoot`` command. Heavy parts are imported inside the commands that need them."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.cli.accounts_options import accounts
from evenfoot.dashboard.cli.agreed import agreed_app
from evenfoot.dashboard.cli.corrections import add_to as add_corrections
from evenfoot.dashboard.ui import console

app = typer.Typer(
    name="evenfoot",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Begin with: evenfoot import march.xlsx, then evenfoot serve",
    pretty_exceptions_enable=False,
)

app.add_typer(accounts, name="accounts")
app.add_typer(agreed_app, name="agreed")
add_corrections(app)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        print(f"evenfoot {version('evenfoot')}")
        raise typer.Exit


@app.callback()
def evenfoot(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", "-q", help="Print results, questions and errors alone: no notes.")
    ] = False,
) -> None:
    """Turn hoof trimming records into herd lameness answers."""
    console.quiet.set(quiet)


def _import_number(text: str) -> int:
    """The number of an import as somebody wrote it.

    Raises
    ------
    UserError
        It is no whole number.
    """
    if not text.isascii() or not text.isdigit():
        raise UserError(f"'{text}' is not the number of an import; `evenfoot imports` lists them.")
    return int(text)


def _measures(incomplete: str) -> list[tuple[str, str]]:
    """Measures that begin so, with their questions, for a shell that completes words."""
    from evenfoot.analytics.measures.catalogue import MEASURES

    return [(name, each.question) for name, each in MEASURES.items() if name.startswith(incomplete)]


class _TableCommand(TyperCommand):
    """``evenfoot table``, whose help lists the measures."""

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """The options, then every measure with its question, own options and columns."""
        from evenfoot.dashboard.ui.tables import measures_listed

        super().format_help(ctx, formatter)
        print(measures_listed())


LedgerOption = Annotated[
    str | None,
    typer.Option("--ledger", help="Path or duckdb:// address of the ledger.", envvar="EVENFOOT_LEDGER"),
]
FormatOption = Annotated[str, typer.Option("--format", help="text, csv or json.")]
OutOption = Annotated[Path | None, typer.Option("--out", "-o", help="File to write instead of printing.")]
FarmOfSheet = Annotated[str | None, typer.Option("--farm", help="Farm of a sheet that has no farm column.")]
DayFirst = Annotated[bool, typer.Option("--day-first", help="Read 03/04/2026 as 3 April.")]
MonthFirst = Annotated[bool, typer.Option("--month-first", help="Read 03/04/2026 as March 4.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print counts, questions and notes as JSON.")]
Given = Annotated[
    list[str] | None,
    typer.Option("--answer", metavar="ID=VALUE", help="Answer a question; can be repeated."),
]
Accept = Annotated[bool, typer.Option("--accept", help="Take the likeliest answer of every question.")]


@app.command("import", epilog="Example: evenfoot import march.xlsx --farm Larkmoor")
def import_files(
    files: Annotated[list[Path], typer.Argument(help="CSV, XLSX, XLS, ODS or JSON files, or the folder of an export.")],
    ledger: LedgerOption = None,
    farm: FarmOfSheet = None,
    day_first: DayFirst = False,
    month_first: MonthFirst = False,
    json: AsJson = False,
    answer: Given = None,
    accept: Accept = False,
) -> None:
    """Check sheets and add their rows to the ledger.

    Exit codes: 0 all in or known, 4 some rows set aside and the rest in, 3 a question is open and nothing written,
    2 not readable.
    """
    from evenfoot.dashboard.cli.import_sheets import given_answers, import_paths

    code = import_paths(
        files, ledger, farm, _date_order(day_first, month_first), json, dry_run=False,
        given=given_answers(answer or []), accept=accept,
    )  # fmt: skip
    if code:
        raise typer.Exit(code)


@app.command(epilog="Example: evenfoot check march.xlsx --records")
def check(
    files: Annotated[list[Path], typer.Argument(help="CSV, XLSX, XLS, ODS or JSON files, or the folder of an export.")],
    ledger: LedgerOption = None,
    farm: FarmOfSheet = None,
    day_first: DayFirst = False,
    month_first: MonthFirst = False,
    json: AsJson = False,
    answer: Given = None,
    accept: Accept = False,
    records: Annotated[
        bool, typer.Option("--records", help="Print the records as CSV, as they would be stored.")
    ] = False,
) -> None:
    """Do all that import does, but write nothing. Exit codes as of import."""
    from evenfoot.dashboard.cli.import_sheets import given_answers, import_paths

    code = import_paths(
        files, ledger, farm, _date_order(day_first, month_first), json, dry_run=True,
        given=given_answers(answer or []), accept=accept, records=records,
    )  # fmt: skip
    if code:
        raise typer.Exit(code)


layouts_app = typer.Typer(help="What is remembered of the layouts of sheets.", invoke_without_command=True)
app.add_typer(layouts_app, name="layouts")


@layouts_app.callback()
def layouts(context: typer.Context, ledger: LedgerOption = None) -> None:
    """List the layouts that are remembered, with the answers kept for each."""
    from evenfoot.dashboard.cli.import_sheets import list_layouts

    if context.invoked_subcommand is None:
        list_layouts(ledger)


@layouts_app.command("remove", epilog="Example: evenfoot layouts remove 3")
def layouts_remove(number: int, ledger: LedgerOption = None) -> None:
    """Forget a layout and its answers."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.layout_answers import remove_layout

    remove_layout(open_ledger(ledger), number)
    print(f"Layout {number} was removed.")


aliases_app = typer.Typer(help="Names in sheets that stand for other names.", invoke_without_command=True)
app.add_typer(aliases_app, name="aliases")


@aliases_app.callback()
def aliases(context: typer.Context, ledger: LedgerOption = None) -> None:
    """List the names of farms, cows and trimmers that are remembered to stand for others."""
    from evenfoot.dashboard.cli.import_sheets import list_aliases

    if context.invoked_subcommand is None:
        list_aliases(ledger)


@aliases_app.command("remove", epilog="Example: evenfoot aliases remove 2")
def aliases_remove(number: int, ledger: LedgerOption = None) -> None:
    """Take back what is remembered of a name."""
    from evenfoot.dashboard.cli.import_sheets import remove_alias

    remove_alias(ledger, number)


@app.command(epilog="Example: evenfoot imports --format csv -o imports.csv")
def imports(ledger: LedgerOption = None, format: FormatOption = "text", out: OutOption = None) -> None:
    """List the imports so far."""
    from evenfoot.dashboard.cli.maintenance import print_imports

    print_imports(ledger, format, out)


@app.command(epilog="Example: evenfoot undo 12")
def undo(
    number: Annotated[str, typer.Argument(help="Number of the import, as `evenfoot imports` lists it.")],
    ledger: LedgerOption = None,
    no_backup: Annotated[bool, typer.Option("--no-backup", help="Do not copy the ledger first.")] = False,
) -> None:
    """Take an import back. The ledger is copied into the folder backups beside it first."""
    from evenfoot.analytics.ledger import open_ledger
    from evenfoot.analytics.ledger.imports.add import undo_import

    removed = undo_import(open_ledger(ledger), _import_number(number), copy=not no_backup)
    print(f"Import {number} undone: {removed} rows taken out.")


@app.command(epilog="Example: evenfoot rejected 12 > to-correct.csv")
def rejected(
    number: Annotated[str | None, typer.Argument(help="Number of the import; all of them without it.")] = None,
    ledger: LedgerOption = None,
) -> None:
    """Print the held-back rows as CSV, to be fixed and imported again."""
    from evenfoot.analytics.intake import write_set_aside
    from evenfoot.analytics.ledger import open_ledger

    wanted = None if number is None else _import_number(number)
    sys.stdout.write(write_set_aside(open_ledger(ledger).set_aside(wanted)))


@app.command("set-aside", hidden=True)
def set_aside(
    number: Annotated[str | None, typer.Argument(help="Number of the import.")] = None, ledger: LedgerOption = None
) -> None:
    """The old name of rejected."""
    console.tell("This command is called `evenfoot rejected` now.")
    rejected(number, ledger)


@app.command(
    cls=_TableCommand, epilog="Example: evenfoot table comparison --by housing --lesion SU --format csv -o su.csv"
)
def table(
    measure: Annotated[str, typer.Argument(help="One of the measures listed below.", autocompletion=_measures)],
    ledger: LedgerOption = None,
    farm: Annotated[list[str] | None, typer.Option("--farm", help="Only this farm; may be repeated.")] = None,
    since: Annotated[str | None, typer.Option(help="First date, such as 2026-01-31.")] = None,
    until: Annotated[str | None, typer.Option(help="Last date.")] = None,
    by: Annotated[str | None, typer.Option(help="Groupings, with commas between.")] = None,
    per: Annotated[str | None, typer.Option(help="cow, trim, foot or claw.")] = None,
    visits: Annotated[str, typer.Option(help="whole-herd, part-herd, lame-cow, recheck or all.")] = "whole-herd",
    lesion: Annotated[list[str] | None, typer.Option("--lesion", help="Code or name; may be repeated.")] = None,
    reference: Annotated[str | None, typer.Option(help="Group that the others are compared with.")] = None,
    adjust: Annotated[str | None, typer.Option(help="Covariates to adjust for, with commas between.")] = None,
    stratify: Annotated[str | None, typer.Option(help="Stratify the comparison by this.")] = None,
    baseline: Annotated[str | None, typer.Option(help="Baseline period, such as 2024-01-01..2024-12-31.")] = None,
    change: Annotated[str | None, typer.Option(help="Date of the change on the farm.")] = None,
    against: Annotated[str | None, typer.Option(help="Comparison farm that did not change.")] = None,
    gap_days: Annotated[int | None, typer.Option(help="Days without the lesion before it counts as new.")] = None,
    between: Annotated[str | None, typer.Option(help="Two people to compare, with a comma between.")] = None,
    price: Annotated[list[str] | None, typer.Option(help="Cost a case, such as SU=250; may be repeated.")] = None,
    currency: Annotated[str | None, typer.Option(help="Currency and year of the prices, such as EUR 2026.")] = None,
    on: Annotated[str | None, typer.Option(help="The day of a list or plan; today without it.")] = None,
    cows_a_day: Annotated[int | None, typer.Option(help="Cows the trimmer does in a day.")] = None,
    weekends: Annotated[bool, typer.Option("--weekends", help="Plan visits on Saturdays and Sundays too.")] = False,
    day_off: Annotated[list[str] | None, typer.Option("--day-off", help="No visit that day; may be repeated.")] = None,
    months: Annotated[int | None, typer.Option(help="Months taken together in a rolling window.")] = None,
    outcome: Annotated[str | None, typer.Option(help="lameness or lesion, where a measure takes both.")] = None,
    level: Annotated[float | None, typer.Option(help="Confidence level, such as 0.95.")] = None,
    hemisphere: Annotated[str, typer.Option(help="north or south: whose seasons.")] = "north",
    format: FormatOption = "text",
    out: OutOption = None,
) -> None:
    """Print one measure as a table, with what it rests on."""
    from evenfoot.dashboard.ui.tables import print_table

    print_table(
        measure,
        ledger,
        farms=farm or [],
        since=since,
        until=until,
        visits=visits,
        lesions=lesion or [],
        hemisphere=hemisphere,
        format=format,
        out=out,
        options={
            "by": by,
            "per": per,
            "reference": reference,
            "level": level,
            "adjust": adjust,
            "stratify": stratify,
            "baseline": baseline,
            "change": change,
            "against": against,
            "gap_days": gap_days,
            "between": between,
            "price": price,
            "currency": currency,
            "on": on,
            "cows_a_day": cows_a_day,
            "weekends": weekends or None,
            "day_off": day_off,
            "months": months,
            "outcome": outcome,
        },
    )


@app.command(epilog="Example: evenfoot report Larkmoor -o larkmoor.pdf")
def report(
    farm: Annotated[str | None, typer.Argument(help="The farm.")] = None,
    out: Annotated[Path | None, typer.Option("-o", "--out", help="File to write: .html, .pdf or .xlsx.")] = None,
    all_farms: Annotated[bool, typer.Option("--all-farms", help="A report of every farm, into a folder.")] = False,
    folder: Annotated[Path | None, typer.Option("-d", "--folder", help="Folder of the reports of all farms.")] = None,
    since_last: Annotated[
        bool, typer.Option("--since-last", help="Only farms with new records since their last report there.")
    ] = False,
    formats: Annotated[str, typer.Option("--format", help="pdf, html, xlsx, with commas between.")] = "pdf",
    mail_to: Annotated[list[str] | None, typer.Option(help="Mail each report there; may be repeated.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be written and mailed.")] = False,
    ledger: LedgerOption = None,
    since: Annotated[str | None, typer.Option(help="First date; twelve months back without it.")] = None,
    until: Annotated[str | None, typer.Option(help="Last date; the newest record without it.")] = None,
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    units: Annotated[str, typer.Option(help="Lengths in mm or in.")] = "mm",
    paper: Annotated[str, typer.Option(help="A4 or Letter.")] = "A4",
    sections: Annotated[str | None, typer.Option(help="Sections wanted, with commas between.")] = None,
    cost: Annotated[bool, typer.Option("--cost", help="Add what lesions may cost.")] = False,
    price: Annotated[list[str] | None, typer.Option(help="Cost a case, such as SU=250; may be repeated.")] = None,
    currency: Annotated[str | None, typer.Option(help="Currency and year of the prices.")] = None,
    remarks: Annotated[Path | None, typer.Option(help="Text file with the trimmer's remarks.")] = None,
    letterhead: Annotated[Path | None, typer.Option(help="TOML file with names, addresses and logo.")] = None,
    next_visit: Annotated[str | None, typer.Option(help="Day of the next visit; the plan's without it.")] = None,
    hemisphere: Annotated[str, typer.Option(help="north or south: whose seasons.")] = "north",
    chute_list: Annotated[
        bool, typer.Option("--chute-list", help="The list of the farm's next planned visit, to lie beside the chute.")
    ] = False,
    chute_sheet: Annotated[
        bool, typer.Option("--chute-sheet", help="A sheet to write on at the chute, with the cows due today.")
    ] = False,
) -> None:
    """Write the report of a farm, or of all farms."""
    from evenfoot.dashboard.cli.report import list_one, report_every, report_one

    options = {
        "since": since, "until": until, "language": language, "units": units, "paper": paper, "sections": sections,
        "cost": cost, "price": price or (), "currency": currency, "remarks": remarks, "letterhead": letterhead,
        "next_visit": next_visit, "hemisphere": hemisphere,
    }  # fmt: skip
    if all_farms:
        if farm or out or folder is None or chute_list or chute_sheet:
            raise UserError("--all-farms goes with a folder, given with -d, and without a farm or -o.")
        report_every(
            ledger, folder, formats=formats, since_last=since_last, mail_to=mail_to or [], dry_run=dry_run, **options
        )
        return
    if farm is None or out is None:
        raise UserError("Give a farm and a file with -o, or --all-farms and a folder with -d.")
    if folder or since_last or mail_to or dry_run:
        raise UserError("-d, --since-last, --mail-to and --dry-run go with --all-farms.")
    if chute_list or chute_sheet:
        written = list_one(ledger, farm, out, paper, language, blank=chute_sheet)
    else:
        written = report_one(ledger, farm, out, **options)
    for path in written:
        print(f"Wrote {path}")


@app.command(epilog="Example: evenfoot notify --mail-to ann@example.org --calendar notices/")
def notify(
    ledger: LedgerOption = None,
    farm: Annotated[list[str] | None, typer.Option("--farm", help="Only this farm; may be repeated.")] = None,
    cows: Annotated[bool, typer.Option("--cows", help="Tell also where a cow alone is for the veterinarian.")] = False,
    mail_to: Annotated[list[str] | None, typer.Option(help="Mail each notice there; may be repeated.")] = None,
    calendar: Annotated[Path | None, typer.Option(help="Folder for a calendar file (.ics) a notice.")] = None,
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Print what would be told; remember nothing.")] = False,
) -> None:
    """Tell of farms that have become worse since they were last told of: for cron and the Task Scheduler.

    A visit is told of once, and a farm once in a calendar month. Exit codes: 0 all told, or nothing new; 2 something
    could not be told, and is tried again by the next run.
    """
    from evenfoot.dashboard.cli.notify import notify

    notify(
        ledger, farm or [], cows=cows, mail_to=mail_to or [], folder=calendar, language=language, dry_run=dry_run
    )  # fmt: skip


@app.command(epilog="Example: evenfoot export --format csv -o records/")
def export(
    out: Annotated[
        Path, typer.Option("-o", "--out", help="Folder, or a file for one farm's ade export or an anonymous one.")
    ],
    format: Annotated[
        str, typer.Option("--format", help="ade (ICAR Animal Data Exchange), parquet, csv, anonymous or delta.")
    ] = "csv",
    ledger: LedgerOption = None,
    farm: Annotated[list[str] | None, typer.Option("--farm", help="Only this farm; may be repeated.")] = None,
) -> None:
    """Take the records along, in open formats.

    An anonymous export has one row a cow, half-year and kind of visit, without numbers of cows, and herds under random
    names that change each half-year. The ledger remembers it: rows that would tell fewer than five cows from an earlier
    one are held back. Who knows the size of a herd, or a cow's lesions, may still know them in it; give it only to
    people who promise not to look.
    """
    from evenfoot.dashboard.cli.export import export

    export(ledger, format, out, farm or [])


@app.command(epilog="Example: evenfoot backup ledger-copy.duckdb")
def backup(
    out: Annotated[Path, typer.Argument(help="File to write, or a folder to put it into.")],
    ledger: LedgerOption = None,
) -> None:
    """Copy the whole ledger to one file."""
    from evenfoot.dashboard.cli.export import back_up

    back_up(ledger, out)


@app.command(epilog="Example: evenfoot restore ledger-copy.duckdb --replace")
def restore(
    source: Annotated[Path, typer.Argument(help="A backup.")],
    ledger: LedgerOption = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace the ledger that is there; it is kept.")] = False,
) -> None:
    """Put a backup in the ledger's place."""
    from evenfoot.dashboard.cli.export import restore

    restore(ledger, source, replace=replace)


@app.command("erase-farm", epilog="Example: evenfoot erase-farm Larkmoor")
def erase_farm(
    farm: Annotated[str, typer.Argument(help="The farm.")],
    ledger: LedgerOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask; needed where nobody can be asked.")] = False,
    delete_copies: Annotated[
        bool,
        typer.Option(
            "--delete-copies", help="Delete this ledger's own copies that hold the farm; they are listed first."
        ),
    ] = False,
) -> None:
    """Erase a farm and everything recorded of it, for good.

    Files beside the ledger that still hold it are told of. Nothing is known of copies in other places: reports and
    exports that were given away, backups of the machine, snapshots of its disk.
    """
    from evenfoot.dashboard.cli.maintenance import erase_farm

    erase_farm(ledger, farm, yes=yes, delete_copies=delete_copies)


@app.command(epilog="Example: evenfoot verify --ledger old.duckdb")
def verify(ledger: LedgerOption = None) -> None:
    """Check that the ledger is whole. Exit code 1 when it is not."""
    from evenfoot.dashboard.cli.maintenance import verify

    verify(ledger)


@app.command(epilog="Example: evenfoot repair --ledger old.duckdb")
def repair(ledger: LedgerOption = None) -> None:
    """Open a ledger again whose writing was cut short, and say what is in it."""
    from evenfoot.dashboard.cli.maintenance import mend

    mend(ledger)


@app.command("mend", hidden=True)
def mend(ledger: LedgerOption = None) -> None:
    """The old name of repair."""
    console.tell("This command is called `evenfoot repair` now.")
    repair(ledger)


@app.command(epilog="Example: evenfoot history --format json")
def history(ledger: LedgerOption = None, format: FormatOption = "text", out: OutOption = None) -> None:
    """List who changed what, and when."""
    from evenfoot.dashboard.cli.maintenance import print_history

    print_history(ledger, format, out)


@app.command(epilog="Example: evenfoot limits --set long_toe_mm=75 --breed Jersey")
def limits(
    ledger: LedgerOption = None,
    set_to: Annotated[str | None, typer.Option("--set", help="A limit and its value, such as long_toe_mm=75.")] = None,
    farm: Annotated[str | None, typer.Option("--farm", help="Only for this farm.")] = None,
    breed: Annotated[str | None, typer.Option(help="Only for this breed.")] = None,
    parity: Annotated[str | None, typer.Option(help="Only for these lactations, such as 1 or 2-4.")] = None,
    remove: Annotated[
        int | None, typer.Option("--remove", "--forget", help="Take the limit of this number back.")
    ] = None,
) -> None:
    """List, set or take back the limits of horn, by farm, breed and parity."""
    from evenfoot.dashboard.cli.limits import change_limits

    change_limits(ledger, set_to, farm, breed, parity, remove)


@app.command(epilog="Example: evenfoot share Larkmoor --days 14")
def share(
    farm: Annotated[str | None, typer.Argument(help="The farm whose report the link shows.")] = None,
    days: Annotated[int, typer.Option(help="How many days the link lasts.")] = 14,
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    list_links: Annotated[bool, typer.Option("--list", help="List the links there are.")] = False,
    revoke: Annotated[str | None, typer.Option(help="Make the link of this mark useless.")] = None,
    public_name: Annotated[
        list[str] | None, typer.Option(help="Name people reach the server by.", envvar="EVENFOOT_PUBLIC_NAME")
    ] = None,
    ledger: LedgerOption = None,
) -> None:
    """Make a link that shows one farm's report without an account."""
    from evenfoot.dashboard.cli.accounts import share

    share(ledger, farm, days=days, language=language, show=list_links, revoke=revoke, names=public_name or [])


@app.command(epilog="Example: evenfoot serve --port 8060")
def serve(
    ledger: LedgerOption = None,
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen on.")] = 8050,
    behind_proxy: Annotated[bool, typer.Option("--behind-proxy", help="A proxy that ends TLS is in front.")] = False,
    proxy: Annotated[str, typer.Option(help="Address of that proxy.")] = "127.0.0.1",
    public_name: Annotated[
        list[str] | None, typer.Option(help="Name people reach it by; may be repeated.", envvar="EVENFOOT_PUBLIC_NAME")
    ] = None,
) -> None:
    """Serve the dashboard: on this machine alone, or to those who have an account."""
    from evenfoot.dashboard.web.server import run

    run(ledger, host, port, behind_proxy=behind_proxy, proxy=proxy, public_names=public_name or [])


@app.command(epilog="Example: evenfoot demo --port 8060")
def demo(
    ledger: LedgerOption = None,
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port to listen on.")] = 8050,
) -> None:
    """Build the ledger of the demo herds if it is absent, then serve it."""
    from evenfoot.dashboard.cli.demo import build, stay_at_its_day
    from evenfoot.dashboard.web.server import check_address, refuse_other_machines, run

    check_address(host, port)
    refuse_other_machines(host)
    stay_at_its_day()
    run(build(ledger), host, port)


def _date_order(day_first: bool, month_first: bool) -> bool | None:
    if day_first and month_first:
        raise UserError("--day-first and --month-first cannot both hold; give one of them.")
    return True if day_first else False if month_first else None


def main() -> None:
    """Run the command; a mistake of the user's ends in one sentence and exit code 2."""
    # Whatever the program or its parts write (ledgers, logs, caches, temporary files, reports) is its owner's alone.
    os.umask(0o077)
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A terminal that cannot show the name of a farm gets its code points.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        app()
    except UserError as mistake:
        print(f"Evenfoot: {mistake}", file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
