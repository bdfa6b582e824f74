"""How much is tried: ``make test`` tries a part, ``make test-long`` all of it."""

from __future__ import annotations

import os

LONG = bool(os.environ.get("EVENFOOT_LONG_TESTS"))
"""Whether all is tried, which takes more than an hour."""


def tries(long: int) -> int:
    """How often to try what ``make test-long`` tries so often: a third of it, and once at least, in ``make test``."""
    return long if LONG else max(1, long // 3)
