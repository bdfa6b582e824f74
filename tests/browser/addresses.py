"""The addresses that the browser tests visit: every page of the program, by itself and drilled into."""

from __future__ import annotations

from evenfoot.dashboard.pages import PAGES

FARM = "Nether+Ash"
COW = "1420"
"""A farm and a cow of the demo herds with every kind of record."""


def address(path: str) -> str:
    """A page with one farm chosen, and a cow where it is of one cow."""
    return f"{path}?farms={FARM}" + (f"&cow={COW}" if path == "/cow" else "")


EVERY_PAGE = [address(path) + "&certainty=always" for path in PAGES]
"""One address a page, with all that stands behind its figures: a page added to the program is visited without a word
here."""

DRILLED = [
    "/lesions?farms=Larkmoor&lesions=SU&feet=RH&claws=lateral&zones=4",
    "/lesions?farms=Larkmoor&lesions=DD",
    "/comparison?by=season&farms=Larkmoor",
    "/change?farms=Larkmoor&lesions=DD",
    "/",
]
