"""A cell that cannot be understood: the reason, and what the person can do."""

from __future__ import annotations


class Unreadable(ValueError):
    """Raised by the readers of single cells; the row is then set aside with the reason and remedy."""

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.remedy = remedy
