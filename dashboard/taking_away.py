"""``evenfoot export``, ``backup`` and ``restore``: records that leave, and come back."""

from __future__ import annotations

import hashlib
import re
import string
import unicodedata
from collections.abc import Sequence
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.dashboard.accounts import store_of
from evenfoot.dashboard.accounts.kept_note import write_note
from evenfoot.dashboard.console import tell
from evenfoot.dashboard.tables import known_farms

FORMATS = ("ade", "parquet", "csv", "anonymous", "delta")
NAME_LETTERS = 60
"""Letters of a farm's name in the name of a file; some systems take 143 bytes for a whole name. [from memory]"""

DIGEST_DIGITS = 10
"""Hexadecimal digits of a farm's digest: among 10,000 farms two are alike once in some 20,000 times."""

RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})
"""Names that Windows keeps for devices, with any ending.
[pub: Microsoft, Naming Files, Paths, and Namespaces]"""


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

    written = export_folder(ledger, out, format=format, farms=chosen)
    for name, rows in written.items():
        print(f"Wrote {out / name}: {rows} rows")


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


def file_name(farm: str) -> str:
    """A file name for a farm: always the same for this farm, and never that of another farm.

    Every system takes it: small letters, digits and hyphens, at most 71. Words written as in ``Home Farm`` are told by
    their small letters alone. Every other name also gets a digest of itself.

    Parameters
    ----------
    farm : str

    Returns
    -------
    str
        Without an ending.

    Examples
    --------
    >>> [file_name(farm) for farm in ("Home Farm", "Home-Farm", "../x", "牧場", "Con")]
    ['home-farm', 'home-farm-d726f3221a', 'x-d6b96a97d1', 'farm-a438557551', 'con-3b6f52aa79']
    """
    plain = unicodedata.normalize("NFKD", farm).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain.casefold()).strip("-")
    words = name.split("-")
    tells_all = " ".join(word.capitalize() for word in words) == farm
    looks_digested = len(words[-1]) == DIGEST_DIGITS and set(words[-1]) <= set(string.hexdigits)
    if name and tells_all and len(name) <= NAME_LETTERS and name not in RESERVED and not looks_digested:
        return name
    digest = hashlib.sha256(farm.encode("utf-8", "surrogatepass")).hexdigest()[:DIGEST_DIGITS]
    return f"{name[:NAME_LETTERS].strip('-') or 'farm'}-{digest}"


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
