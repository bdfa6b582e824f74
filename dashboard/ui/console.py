"""What the command writes: results to standard output or a file, notes to standard error."""

from __future__ import annotations

import sys
from contextvars import ContextVar
from pathlib import Path

from evenfoot.analytics.errors import UserError

quiet: ContextVar[bool] = ContextVar("quiet", default=False)
"""Whether notes are left out; each run of the command sets it."""

FORMATS = ("text", "csv", "json")
"""How a table can be written."""


def tell(line: str) -> None:
    """Print a note to standard error, unless the command was asked to be quiet."""
    if not quiet.get():
        print(line, file=sys.stderr)


def check_format(format: str) -> None:
    """Refuse what is no format.

    Raises
    ------
    UserError
    """
    if format not in FORMATS:
        raise UserError(f"'{format}' is not a format; use text, csv or json.")


def deliver(text: str, out: Path | None) -> None:
    """Print a result, or write it to a file.

    Raises
    ------
    UserError
        The file cannot be written.
    """
    if out is None:
        sys.stdout.write(text)
        sys.stdout.flush()
        return
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UserError(f"{out} cannot be written ({error.strerror}); choose another file with -o.") from error
    tell(f"Wrote {out}")
