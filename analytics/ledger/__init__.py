"""Records at rest: the ledger, imports added and undone."""

from evenfoot.analytics.ledger.ledger import Ledger, default_path, open_ledger

__all__ = ["Ledger", "default_path", "open_ledger"]
