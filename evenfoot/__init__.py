"""Evenfoot: how common lameness and claw lesions are in dairy herds, from hoof trimmers' records.

The parts are ``evenfoot.analytics``, ``evenfoot.dashboard`` and ``evenfoot.sample_data``. An installed package holds
them as folders. In a checkout their folders lie at the top of the repository, and this folder holds links to them.
``evenfoot.open(path)`` asks a ledger from Python, see docs/python.md.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

if not Path(__file__).with_name("analytics").is_dir():
    # A checkout on a system without symbolic links: the parts are found where they lie.
    __path__.append(str(Path(__file__).parent.parent))


def __getattr__(name: str) -> Any:
    """``open`` and the version, read when they are first asked for: most of the program needs neither."""
    if name == "open":
        from evenfoot.dashboard.notebook import Herds

        return Herds
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import version

    return version("evenfoot")
