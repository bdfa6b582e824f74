"""The licences of what Evenfoot needs to run: ``python -m tests.supply.licences`` writes docs/licences.md."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from importlib.metadata import distribution

from packaging.utils import canonicalize_name

from tests.supply.needed import ROOT, needed

PAGE = ROOT / "docs" / "licences.md"

ACCEPTED = re.compile(
    r"MIT(-0|-CMU)?|BSD([ -].*)?|[023]-clause BSD|0BSD|Apache.*|PSF-2\.0|Python Software Foundation.*|ISC.*|"
    r"Mozilla Public License 2\.0.*|MPL-2\.0|(GNU )?L(esser )?GPL.*|GNU Lesser General Public License.*|"
    r"GNU Library or Lesser General Public License.*|LGPL-3\.0-only.*|HPND|Zlib|Unlicense.*|The Unlicense.*|CC0-1\.0|"
    r"Zope Public License|ZPL-2\.1|MIT License|MIT No Attribution.*|Dual License|BSD License|Python-2\.0",
    re.IGNORECASE,
)
"""Licences under which a package may be needed: free ones that ask nothing of whoever uses Evenfoot."""


def licences() -> list[dict[str, str]]:
    """Name, Version and License of every package needed, by name."""
    names = [distribution(name).metadata["Name"] for name in needed()]
    made = subprocess.run(
        [sys.executable, "-m", "piplicenses", "--format=json", "--from=mixed", "--with-system", "--packages", *names],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found = json.loads(made.stdout)
    return sorted(found, key=lambda each: canonicalize_name(each["Name"]))


def refused(licence: str) -> list[str]:
    """The parts of a licence expression that are not accepted; of alternatives one accepted is enough."""
    parts = [part.strip(" ()") for part in re.split(r";|\bAND\b", licence)]
    return [
        part for part in parts if not any(ACCEPTED.fullmatch(each.strip(" ()")) for each in re.split(r"\bOR\b", part))
    ]


def page() -> str:
    """The list as Markdown."""
    rows = "\n".join(f"| {each['Name']} | {each['Version']} | {_short(each['License'])} |" for each in licences())
    return (
        "# Licences\n\nEvenfoot is under the MIT licence. To run, with its extras for PostgreSQL and for signing in "
        "elsewhere, it needs these packages; `make licences` writes this list anew.\n\n"
        f"| package | version | licence |\n| --- | --- | --- |\n{rows}\n"
    )


def _short(licence: str) -> str:
    return " ".join(licence.split()).replace("|", "/")[:120]


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"Wrote {PAGE.relative_to(ROOT)}")
