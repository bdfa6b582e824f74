"""Who may see which farm."""

from evenfoot.dashboard.auth.access import Access, access, is_loopback
from evenfoot.dashboard.auth.store import Store, store_of
from evenfoot.dashboard.auth.viewer import Viewer, current_viewer

__all__ = ["Access", "Store", "Viewer", "access", "current_viewer", "is_loopback", "store_of"]
