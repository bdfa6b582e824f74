"""Who may see which farm."""

from evenfoot.dashboard.accounts.access import Access, access, is_loopback
from evenfoot.dashboard.accounts.store import Store, store_of
from evenfoot.dashboard.accounts.viewer import Viewer, current_viewer

__all__ = ["Access", "Store", "Viewer", "access", "current_viewer", "is_loopback", "store_of"]
