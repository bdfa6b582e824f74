"""Where a toe is long, a sole thin and a break deep: starting points a farm may change by breed and parity."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from evenfoot.analytics.domain import horn


@dataclass(frozen=True)
class HornException:
    """Other limits for some cows; what is ``None`` is not narrowed, or left as it was.

    Attributes
    ----------
    farm, breed : str, optional
        Whose cows.
    parity : tuple of (int, int), optional
        First and last lactation, both included.
    long_toe_mm, long_toe_angle_deg, thin_sole_mm, toe_break_mm : float, optional
        The limits that differ.
    """

    farm: str | None = None
    breed: str | None = None
    parity: tuple[int, int] | None = None
    long_toe_mm: float | None = None
    long_toe_angle_deg: float | None = None
    thin_sole_mm: float | None = None
    toe_break_mm: float | None = None

    def holds_for(self, farm: str | None, breed: str | None, parity: int | None) -> bool:
        """Whether a cow is one of those meant."""
        if self.farm is not None and self.farm != farm:
            return False
        if self.breed is not None and self.breed != breed:
            return False
        return self.parity is None or (parity is not None and self.parity[0] <= parity <= self.parity[1])


LIMITS = ("long_toe_mm", "long_toe_angle_deg", "thin_sole_mm", "toe_break_mm")

POSSIBLE: dict[str, tuple[float, float]] = {
    "long_toe_mm": (40.0, 150.0),
    "long_toe_angle_deg": (20.0, 80.0),
    "thin_sole_mm": (1.0, 15.0),
    "toe_break_mm": (0.0, 50.0),
}
"""What a limit can be set to; beyond is a slip of the pen. [common practice, no source]"""


def understand_limit(text: str) -> str | None:
    """The limit that a word names, with or without its unit.

    Examples
    --------
    >>> understand_limit("Long toe"), understand_limit("thin_sole_mm"), understand_limit("heel")
    ('long_toe_mm', 'thin_sole_mm', None)
    """
    word = re.sub(r"[\W_]+", "", text.casefold())
    for name in LIMITS:
        whole = name.replace("_", "")
        if word in (whole, re.sub("(mm|deg)$", "", whole)):
            return name
    return None


@dataclass(frozen=True)
class HornLimits:
    """The limits of a mature cow, and the exceptions to them. Never a verdict on a cow.

    Attributes
    ----------
    long_toe_mm : float
        Dorsal wall at which a toe is overgrown [pub: Irish Vet J 2015, 68:10, table 2].
    long_toe_angle_deg : float
        A toe of that length counts as long below this angle [pub: same].
    thin_sole_mm : float
        Soles of 5 to 7 mm are usual; thinner is thin [common practice, no source].
    toe_break_mm : float
        A break further than this beyond the ideal line can expose corium [common practice, no source].
    exceptions : tuple of HornException
        The last one that holds for a cow wins, limit by limit.

    Examples
    --------
    >>> jerseys = HornException(breed="Jersey", long_toe_mm=75)
    >>> limits = HornLimits(exceptions=(jerseys,))
    >>> limits.of("Ash", "Jersey", 2).long_toe_mm, limits.of("Ash", "Holstein", 2).long_toe_mm
    (75, 80.0)
    """

    long_toe_mm: float = horn.LONG_TOE_MM
    long_toe_angle_deg: float = horn.LONG_TOE_ANGLE_DEG
    thin_sole_mm: float = horn.SOLE_RANGE_MM[0]
    toe_break_mm: float = horn.TOE_BREAK_MM
    exceptions: tuple[HornException, ...] = ()

    def of(self, farm: str | None, breed: str | None, parity: int | None) -> HornLimits:
        """The limits of one cow, without exceptions left."""
        out = replace(self, exceptions=())
        for one in self.exceptions:
            if one.holds_for(farm, breed, parity):
                own = {name: getattr(one, name) for name in LIMITS if getattr(one, name) is not None}
                out = replace(out, **own)
        return out
