"""Who may see which farm."""

from dashboard.accounts.access import Access, access, is_loopback
from dashboard.accounts.store import Store, store_of
from dashboard.accounts.viewer import Viewer, current_viewer

__all__ = ["Access", "Store", "Viewer", "access", "current_viewer", "is_loopback", "store_of"]
