"""A file becomes records: read, match headings, check, and set aside with a reason what cannot be right."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from evenfoot.analytics.intake.pipeline import check_file as check_file
    from evenfoot.analytics.intake.rejected_rows import write_set_aside as write_set_aside
    from evenfoot.analytics.intake.sheet import CheckedSheet as CheckedSheet

__all__ = ["CheckedSheet", "check_file", "write_set_aside"]

_FOUND_IN = {"CheckedSheet": "sheet", "check_file": "pipeline", "write_set_aside": "rejected_rows"}


def __getattr__(name: str) -> Any:
    """Each is loaded when it is first asked for: whoever only reads a ledger needs no checks of files."""
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_FOUND_IN[name]}"), name)
