"""Ibis, loaded when something of it is first used.

Where the SQL of a question is kept from an earlier run nothing of Ibis is needed, and loading it takes longer than the
answer does.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any


class LazyModule:
    """Stands for a module until something of it is used."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, attribute: str) -> Any:
        return getattr(importlib.import_module(self._name), attribute)


if TYPE_CHECKING:
    import ibis as ibis
else:
    ibis = LazyModule("ibis")
