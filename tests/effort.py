"""How much a test tries: ``make test-whole`` tries all of it, the others a part."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import TypeVar

T = TypeVar("T")

WHOLE = bool(os.environ.get("EVENFOOT_WHOLE_TESTS"))
"""Whether all is tried, which takes more than an hour."""


def tries(whole: int) -> int:
    """How often to try what ``make test-whole`` tries *whole* times: elsewhere a third of it, and once at least."""
    return whole if WHOLE else max(1, whole // 3)


def some(of: Iterable[T], every: int = 3, start: int = 0) -> list[T]:
    """All of *of* in ``make test-whole``; elsewhere one in *every*, the first being number *start*."""
    whole = list(of)
    return whole if WHOLE else whole[start % every :: every]
