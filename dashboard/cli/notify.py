"""``evenfoot notify``: farms are told, once a visit, when something is worse."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.notices import giving
from evenfoot.dashboard.i18n.translation import Words, speaking
from evenfoot.dashboard.report.mail import checked_address, mail_server, message, send
from evenfoot.dashboard.report.notices import calendar, open_notices, sentences, subject
from evenfoot.dashboard.ui.console import deliver, tell
from evenfoot.dashboard.ui.file_names import file_name
from evenfoot.dashboard.ui.tables import known_farms


def notify(
    address: str | None,
    farms: Sequence[str] = (),
    *,
    cows: bool = False,
    mail_to: Sequence[str] = (),
    folder: Path | None = None,
    language: str = "en",
    dry_run: bool = False,
) -> None:
    """Tell farms what is new: on standard output, by mail, as calendar files.

    What could not be told to a farm is not remembered, so that the next run tells it.

    Raises
    ------
    UserError
        There are no records, something given cannot be, or, at the end, a notice was not mailed or written.
    """
    ledger = open_ledger(address)
    if not ledger.farms():
        raise UserError(f"There are no records in {ledger.name} to tell of; import a sheet first.")
    people = [checked_address(one) for one in mail_to]
    words = Words(language)
    server = mail_server() if people and not dry_run else None
    notices = open_notices(ledger, known_farms(ledger, farms), cows=cows)
    failed = []
    for notice in notices:
        with speaking(words):
            title, said = subject(notice, words), sentences(notice, words)
            event = calendar(notice, words)
        text = "\n".join([title, *(f"  {line}" for line in said), ""])
        if dry_run:
            deliver(text, None)
            continue
        files = []
        try:
            with giving(ledger, notice.farm, notice.given) as still_to_give:
                if not still_to_give:
                    continue  # Another run gave it meanwhile.
                deliver(text, None)
                if folder is not None:
                    files = [folder / f"{file_name(notice.farm)}-{notice.given.on}.ics"]
                    _write(files[0], event)
                if server is not None:
                    send(server, message(server.sender, people, title, "\n\n".join(said), files))
        except UserError as mistake:
            failed.append(f"{notice.farm}: {mistake}")
    if not notices:
        tell("No farm has anything new to be told.")
    if failed:
        raise UserError(f"{len(failed)} of {len(notices)} notices were not given. {' '.join(failed)}")


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))
    except OSError as error:
        raise UserError(f"{path} cannot be written ({error.strerror}); choose another folder.") from None
    tell(f"Wrote {path}")
