"""Ibis, loaded when something of it is first used.

It takes most of a second to load, and commands that ask no question (``check``, ``import``, ``verify``) do without.
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
