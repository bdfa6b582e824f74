"""``evenfoot report``: what was typed becomes reports on disk."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from evenfoot.analytics.clock import today
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.queries.selection import Selection, read_date
from evenfoot.dashboard.auth.history import note_report
from evenfoot.dashboard.auth.store import store_of
from evenfoot.dashboard.i18n.translation import Words, speaking
from evenfoot.dashboard.report.all_farms import report_all
from evenfoot.dashboard.report.blank_sheet import blank_sheet, due_cows
from evenfoot.dashboard.report.chute_list import first_list
from evenfoot.dashboard.report.letterhead import read_letterhead
from evenfoot.dashboard.report.mail import checked_address, mail_server, mail_text, message, send
from evenfoot.dashboard.report.printing import save_pdf
from evenfoot.dashboard.report.request import SECTIONS, Request, Sender
from evenfoot.dashboard.report.writing import check_ending, write_report
from evenfoot.dashboard.ui.tables import known_farms, read_prices


def request_of(
    farm: str,
    *,
    since: str | None = None,
    until: str | None = None,
    language: str = "en",
    units: str = "mm",
    paper: str = "A4",
    sections: str | None = None,
    cost: bool = False,
    price: Sequence[str] = (),
    currency: str | None = None,
    remarks: Path | None = None,
    letterhead: Path | None = None,
    next_visit: str | None = None,
    hemisphere: str = "north",
) -> Request:
    """The request that the options of the command describe.

    Raises
    ------
    UserError
        A date, section, price or file that cannot be used.
    """
    wanted = tuple(name for name in SECTIONS if name != "cost")
    if sections:
        wanted = tuple(part.strip() for part in sections.split(",") if part.strip())
    if cost or price:
        wanted = (*wanted, "cost")
    trimmer, owners = read_letterhead(letterhead) if letterhead else (Sender(), {})
    return Request(
        farm=farm,
        since=read_date(since, "--since") if since else None,
        until=read_date(until, "--until") if until else None,
        next_visit=read_date(next_visit, "--next-visit") if next_visit else None,
        language=language,
        units=UNIT_WORDS.get(units.casefold(), units),
        paper=PAPER_WORDS.get(paper.casefold(), paper),
        sections=wanted,
        remarks=_remarks(remarks),
        trimmer=trimmer,
        owner=owners.get(farm, Sender()),
        price=read_prices(price),
        currency=currency or "",
        hemisphere=hemisphere,
    )


UNIT_WORDS = {"metric": "mm", "millimetres": "mm", "us": "in", "inches": "in", "imperial": "in"}
PAPER_WORDS = {"a4": "A4", "letter": "Letter", "us letter": "Letter"}


def _remarks(path: Path | None) -> str:
    if path is None:
        return ""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise UserError(
            f"The remarks are to be in a text file in UTF-8, and {path} is none; write them there and give its name."
        ) from None


def report_one(address: str | None, farm: str, out: Path, **options: object) -> list[Path]:
    """Write the report of one farm and give the files."""
    check_ending(out)
    ledger = open_ledger(address)
    [name] = known_farms(ledger, [farm])
    files = write_report(ledger, request_of(name, **options), out, _tell)  # type: ignore[arg-type]
    note_report(store_of(ledger), [name])
    return files


def list_one(
    address: str | None, farm: str, out: Path, paper: str, language: str, *, blank: bool = False
) -> list[Path]:
    """Write the list for the chute of a farm's next planned visit, or a *blank* sheet of the cows due today.

    Raises
    ------
    UserError
        No visit is planned, the ending is another one than .html or .pdf, or there is no browser for a PDF.
    """
    if out.suffix.casefold() not in (".html", ".pdf"):
        raise UserError(f"The list cannot be written as '{out.name}'; end the name in .html or .pdf.")
    ledger = open_ledger(address)
    [name] = known_farms(ledger, [farm])
    with speaking(Words(language)):
        size = PAPER_WORDS.get(paper.casefold(), paper)
        if blank:
            page = blank_sheet(name, None, due_cows(ledger, name, today()), size)
        else:
            page = first_list(plan(ledger, Selection(farms=(name,))), size)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        if out.suffix.casefold() == ".pdf":
            save_pdf(page, out, _tell)
        else:
            out.write_text(page, encoding="utf-8")
    except OSError as error:
        raise UserError(f"{out} cannot be written ({error.strerror}); choose another place.") from None
    return [out]


def _tell(sentence: str) -> None:
    print(sentence, file=sys.stderr)


def report_every(
    address: str | None,
    folder: Path,
    *,
    formats: str = "pdf",
    since_last: bool = False,
    mail_to: Sequence[str] = (),
    dry_run: bool = False,
    **options: Any,
) -> None:
    """Write, and mail where asked, the reports of all farms; say what came of each.

    Raises
    ------
    UserError
        At the end, when any report could not be made or sent.
    """
    ledger = open_ledger(address)
    if not ledger.farms():
        raise UserError(f"There are no records in {ledger.name} to report on; import a sheet first.")
    people = [checked_address(one) for one in mail_to]
    letterhead = options.get("letterhead")
    owners = read_letterhead(letterhead)[1] if letterhead else {}
    template = request_of("", **options)
    server = mail_server() if people and not dry_run else None

    def deliver(farm: str, files: Sequence[Path]) -> None:
        assert server is not None
        words = Words(template.language)
        subject = words("Foot report, {farm}", farm=farm)
        send(server, message(server.sender, people, subject, mail_text(ledger, farm, words), files))

    outcomes = report_all(
        ledger,
        template,
        folder,
        formats=[part.strip() for part in formats.split(",") if part.strip()],
        since_last=since_last,
        owners=owners,
        dry_run=dry_run,
        deliver=deliver if server else None,
    )
    done = [outcome for outcome in outcomes if not outcome.trouble]
    if done and not dry_run:
        note_report(store_of(ledger), [outcome.farm for outcome in done])
    for outcome in done:
        for sentence in outcome.told:
            print(f"{outcome.farm}: {sentence}", file=sys.stderr)
        for path in outcome.files:
            print(f"{'Would write' if dry_run else 'Wrote'} {path}")
        if people:
            print(f"{'Would mail' if dry_run else 'Mailed'} the report of {outcome.farm} to {', '.join(people)}")
    if not outcomes:
        print("No farm has new records since its last report.")
    failed = [f"{outcome.farm}: {outcome.trouble}" for outcome in outcomes if outcome.trouble]
    if failed:
        raise UserError(f"{len(failed)} of {len(outcomes)} reports were not finished. {' '.join(failed)}")
