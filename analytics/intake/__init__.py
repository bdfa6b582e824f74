"""A file becomes records: read, match headings, check, and set aside with a reason what cannot be right."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analytics.intake.checking import check_file as check_file
    from analytics.intake.setting_aside import write_set_aside as write_set_aside
    from analytics.intake.sheet import CheckedSheet as CheckedSheet

__all__ = ["CheckedSheet", "check_file", "write_set_aside"]

_FOUND_IN = {"CheckedSheet": "sheet", "check_file": "checking", "write_set_aside": "setting_aside"}


def __getattr__(name: str) -> Any:
    """Each is loaded when it is first asked for: whoever only reads a ledger needs no checks of files."""
    if name not in _FOUND_IN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_FOUND_IN[name]}"), name)
