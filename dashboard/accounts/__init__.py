"""Who may see which farm."""

from dashboard.accounts.viewer import Viewer, current_viewer, refuse_other_machines

__all__ = ["Viewer", "current_viewer", "refuse_other_machines"]
