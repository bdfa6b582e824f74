"""How much is tried: ``make test`` tries a part, ``make test-long`` all of it."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import TypeVar

T = TypeVar("T")

LONG = bool(os.environ.get("EVENFOOT_LONG_TESTS"))
"""Whether all is tried, which takes more than an hour."""


def tries(long: int) -> int:
    """How often to try what ``make test-long`` tries so often: a third of it, and once at least, in ``make test``."""
    return long if LONG else max(1, long // 3)


def some(of: Iterable[T], every: int = 3, start: int = 0) -> list[T]:
    """All of *of* in ``make test-long``; one in *every*, the first being number *start*, in ``make test``."""
    whole = list(of)
    return whole if LONG else whole[start % every :: every]
