"""``evenfoot export``, ``backup`` and ``restore``: records that leave, and come back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.dashboard.auth import store_of
from evenfoot.dashboard.auth.kept_note import write_note
from evenfoot.dashboard.ui.console import tell
from evenfoot.dashboard.ui.file_names import file_name
from evenfoot.dashboard.ui.tables import known_farms

FORMATS = ("ade", "parquet", "csv", "anonymous", "delta")


def export(address: str | None, format: str, out: Path, farms: Sequence[str]) -> None:
    """Write records in one of :data:`FORMATS`, and say what was written.

    Raises
    ------
    UserError
        The format is another one, there is nothing to export, or something is in the way.
    """
    if format not in FORMATS:
        raise UserError(f"'{format}' is not a format of an export; use ade, parquet, csv, anonymous or delta.")
    ledger = open_ledger(address)
    chosen = known_farms(ledger, farms)
    if not ledger.farms():
        raise UserError(f"There are no records in {ledger.name} to export; import a sheet first.")
    if format == "ade":
        _export_exchange(ledger, out, chosen or tuple(ledger.farms()))
        return
    if format == "anonymous":
        _export_anonymous(ledger, out, chosen)
        return
    if format == "delta":
        _export_delta(ledger, out, chosen)
        return
    from evenfoot.analytics.ledger.exports.folder import export_folder
    from evenfoot.analytics.ledger.exports.photos_folder import FOLDER as PHOTOS

    written = export_folder(ledger, out, format=format, farms=chosen)
    for name, count in written.items():
        print(f"Wrote {out / name}: {count} {'photos' if name == PHOTOS else 'rows'}")


def _export_anonymous(ledger: Ledger, out: Path, farms: Sequence[str]) -> None:
    from evenfoot.analytics.ledger.exports.anonymization import what_remains, write_anonymous

    done = write_anonymous(ledger, out, farms=farms)
    print(f"Wrote {out}: {len(done.table)} rows")
    tell(
        f"Each looks like those of at least {done.k} cows. Rows with lactation or housing left blank for it: "
        f"{done.blanked}. Rows left out: {done.left_out}. Rows held back because they would tell few cows from an "
        f"earlier export: {done.held_back}."
    )
    for sentence in what_remains(done.k):
        tell(sentence)


def _export_delta(ledger: Ledger, out: Path, farms: Sequence[str]) -> None:
    from evenfoot.analytics.ledger.exports.delta import export_delta

    if farms:
        raise UserError("Delta tables hold the whole ledger; leave --farm out, or take parquet or csv.")
    for table, rows in export_delta(ledger, out).items():
        print(f"Wrote {out / table}: {rows} rows")


def _export_exchange(ledger: Ledger, out: Path, farms: Sequence[str]) -> None:
    from evenfoot.analytics.ledger.exports.data_exchange import write_exchange

    single = out.suffix.casefold() == ".json"
    if single and len(farms) > 1:
        raise UserError(f"{out} would hold several farms; give a folder, or one farm with --farm.")
    trimmed = set(ledger.frame("SELECT DISTINCT farm FROM trim_rows")["farm"])
    for farm in farms:
        if farm not in trimmed:
            tell(f"{farm} has no trim records and is left out.")
            continue
        path = out if single else out / f"{file_name(farm)}.json"
        beside, behind = write_exchange(ledger, farm, path)
        print(f"Wrote {path}")
        if len(behind):
            listed = ", ".join(f"{row.field} ({row.rows})" for row in behind[behind["sheet"] == "trims"].itertuples())
            others = [kind for kind in dict.fromkeys(behind["sheet"]) if kind != "trims"]
            sheets = f" Whole sheets left behind: {', '.join(others)}." if others else ""
            tell(
                f"{farm}: the standard has no place for {listed or 'nothing of the trim sheets'}.{sheets} All is "
                f"listed in {beside.name}."
            )


def back_up(address: str | None, out: Path) -> None:
    """Copy the ledger and say where to."""
    from evenfoot.analytics.ledger.integrity import backup

    print(f"Wrote {backup.back_up(open_ledger(address), out)}")


def restore(address: str | None, source: Path, *, replace: bool) -> None:
    """Put a backup in the ledger's place and say what is in it."""
    from evenfoot.analytics.ledger.integrity import backup

    ledger = open_ledger(address)
    kept = backup.restore(ledger, source, replace=replace)
    # The backup may be from before there were accounts.
    write_note(ledger, store_of(ledger))
    print(f"Restored {ledger.name} from {source}. Farms in it: {len(ledger.farms())}.")
    if kept:
        print(f"The ledger that was there is kept as {kept}.")
