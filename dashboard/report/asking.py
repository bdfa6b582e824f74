"""``evenfoot report``: what was typed becomes reports on disk."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from analytics.ledger import open_ledger
from analytics.mistake import Mistake
from analytics.tally.selection import read_date
from dashboard.report.letterhead import read_letterhead
from dashboard.report.request import SECTIONS, Request, Sender
from dashboard.report.writing import check_ending, write_report
from dashboard.tables import known_farms, read_prices


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
    hemisphere: str = "north",
) -> Request:
    """The request that the options of the command describe.

    Raises
    ------
    Mistake
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
        language=language,
        units=units,
        paper=paper,
        sections=wanted,
        remarks=_remarks(remarks),
        trimmer=trimmer,
        owner=owners.get(farm, Sender()),
        price=read_prices(price),
        currency=currency or "",
        hemisphere=hemisphere,
    )


def _remarks(path: Path | None) -> str:
    if path is None:
        return ""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise Mistake(f"The remarks {path} cannot be read; give a text file in UTF-8.") from None


def report_one(address: str | None, farm: str, out: Path, **options: object) -> list[Path]:
    """Write the report of one farm and give the files."""
    check_ending(out)
    ledger = open_ledger(address)
    [name] = known_farms(ledger, [farm])
    return write_report(ledger, request_of(name, **options), out)  # type: ignore[arg-type]
