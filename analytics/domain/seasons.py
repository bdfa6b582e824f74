"""Meteorological seasons: whole months, north and south."""

from __future__ import annotations

SEASONS: tuple[str, ...] = ("winter", "spring", "summer", "autumn")
HEMISPHERES: tuple[str, ...] = ("north", "south")
SEASON_OF_MONTH: dict[str, dict[int, str]] = {
    "north": {month: SEASONS[month % 12 // 3] for month in range(1, 13)},
    "south": {month: SEASONS[(month + 6) % 12 // 3] for month in range(1, 13)},
}
"""Hemisphere -> month 1-12 -> season."""
