"""A report becomes a file: HTML, PDF or a workbook, by the ending of its name."""

from __future__ import annotations

from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.report.contents import Contents, collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.printing import Tell, nobody, save_pdf
from evenfoot.dashboard.report.request import Request
from evenfoot.dashboard.report.workbook import save_workbook

ENDINGS = (".html", ".pdf", ".xlsx")


def write_report(ledger: Ledger, request: Request, out: Path, tell: Tell = nobody) -> list[Path]:
    """Write one report.

    Without a browser a PDF cannot be made; the HTML is then written in its place before the UserError is raised.

    Parameters
    ----------
    ledger : Ledger
    request : Request
    out : Path
        Ends in .html, .pdf or .xlsx.
    tell : callable, optional
        Takes a sentence that whoever makes the report should know, such as letters the machine has no font for.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    UserError
        The ending is another one, the farm has no records, there is no browser, or the file cannot be written.
    """
    check_ending(out)
    return save(collect(ledger, request), out, tell)


def check_ending(out: Path) -> None:
    if out.suffix.casefold() not in ENDINGS:
        raise UserError(f"A report cannot be written as '{out.name}'; end the name in .html, .pdf or .xlsx.")


def save(contents: Contents, out: Path, tell: Tell = nobody) -> list[Path]:
    """Write what has been worked out; see :func:`write_report`."""
    check_ending(out)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        if out.suffix.casefold() == ".html":
            out.write_text(document(contents), encoding="utf-8")
            return [out]
        if out.suffix.casefold() == ".xlsx":
            save_workbook(contents, out)
            return [out]
        save_pdf(document(contents), out, tell)
        return [out]
    except OSError as error:
        raise UserError(f"{out} cannot be written ({error.strerror}); choose another place.") from None
