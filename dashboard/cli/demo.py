"""The ledger of the demo herds."""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path

from evenfoot.analytics.clock import SET_BY
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, default_path, open_ledger
from evenfoot.analytics.ledger.atomic_write import put_where_none_is
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.dashboard.ui.console import tell


def build(address: str | None) -> Ledger:
    """The demo ledger at *address*, built from the sample herds when it is absent.

    Built beside its place and moved there whole, so that an interrupted build leaves nothing half-made.

    Raises
    ------
    UserError
        A ledger with other records is at that place.
    """
    from evenfoot import sample_data

    ledger = open_ledger(address or os.environ.get("EVENFOOT_LEDGER") or default_path().with_name("demo.duckdb"))
    if ledger.exists:
        frame = ledger.imports()
        files = set(frame.loc[frame["undone_at"].isna(), "file"])
        _refuse_others(ledger, files, {path.name for path in sample_data.FILES})
        if not files:
            _fill(ledger)
        return ledger
    if not ledger.in_a_file:
        _fill(ledger)
        return ledger
    place = Path(ledger.name)
    draft_path = place.with_name(place.name + ".building")
    draft_path.unlink(missing_ok=True)
    draft = open_ledger(str(draft_path))
    _fill(draft)
    draft.lease.drop_if_idle()
    with contextlib.suppress(FileNotFoundError):
        draft_path.with_name(draft_path.name + ".wal").unlink()
    with ledger.lease.alone():
        put_where_none_is(draft_path, place)  # A ledger that was made there meanwhile stays.
    draft_path.unlink(missing_ok=True)
    return ledger


def stay_at_its_day() -> None:
    """Let the last day of the demo herds count as today in this process, unless another day is set.

    Their records end there. Counted from the present day they would grow older every day, until no cow is lame of
    late; every list says which day is taken as today.
    """
    from evenfoot.sample_data.farms import END

    os.environ.setdefault(SET_BY, END.isoformat())


def _fill(ledger: Ledger) -> None:
    from evenfoot import sample_data

    tell("Building the demo herds ...")
    for path in sample_data.FILES:
        sheets = check_file(path, path.name, known_farms=ledger.farms())
        add_sheets(ledger, sheets, path.name, hashlib.sha256(path.read_bytes()).hexdigest())


def _refuse_others(ledger: Ledger, files: set[str], demo_files: set[str]) -> None:
    if files and not files & demo_files:
        raise UserError(
            f"The ledger {ledger.name} holds other records than the demo herds; use `evenfoot serve` for it, or "
            "give the demo another place with --ledger."
        )
