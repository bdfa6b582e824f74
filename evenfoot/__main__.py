"""``python -m evenfoot`` runs the command."""

from __future__ import annotations

from evenfoot.dashboard.cli.main import main

if __name__ == "__main__":
    main()
