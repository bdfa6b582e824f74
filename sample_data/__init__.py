"""Demonstration herds: an invented scenario of our own, as sheets ready to import.

``FILES`` are the sheets that the demonstration loads, in order; ``MESSY`` is a notebook as a tired person
keeps it, for trying an import oneself.
"""

from __future__ import annotations

from pathlib import Path

HERDS = Path(__file__).resolve().parent / "herds"
FILES: tuple[Path, ...] = tuple(
    HERDS / name
    for name in (
        "register.csv",
        "housing.csv",
        "changes.csv",
        "larkmoor_trims.csv",
        "nether_ash_trims.csv",
        "withy_flat_trims.csv",
        "long_heath_trims.csv",
        "osier_end.xlsx",
        "locomotion.csv",
    )
)
MESSY: Path = HERDS / "messy_notebook.csv"
