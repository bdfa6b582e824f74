"""The cows: who is in the herd on a day, in which lactation and group, and what she is prone to."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from evenfoot.sample_data import farms, truths

DRY_DAYS = 60
HIGH_UNTIL = 150


@dataclass(frozen=True)
class Found:
    """One finding, as a trimmer would write it down."""

    lesion: str
    detail: str | None
    foot: str
    claw: str | None
    zone: int | None
    severity: int | None
    dd_stage: str | None


@dataclass
class Sore:
    """A lesion a cow walks on."""

    lesion: str
    severity: int
    since: date
    until: date


@dataclass
class Cow:
    """One cow, what she was born with and what she has had."""

    tag: str
    born: date
    breed: str
    sire: str
    calvings: list[date]
    entered: date
    prone: dict[str, float]
    """Log-odds by lesion family, her sire's share included."""
    gait: float
    growth: float
    """Multiplies the toe growth of the table."""
    toes: dict[str, tuple[date, float]]
    """Right hind claws: when last trimmed and the toe length then, mm."""
    shed_offset: float
    had: dict[str, tuple[date, tuple[tuple[str, str | None], ...]]] = field(default_factory=dict)
    """Lesion code to the date and the sites it was last found at."""
    sores: list[Sore] = field(default_factory=list)
    coming: tuple[date, list[tuple[date, Found]]] | None = None
    """Day of the next whole-herd visit, and what it will find that hurts, each with the day it began."""
    acute: tuple[str, date] | None = None
    """A lesion come up between visits that nobody has seen yet, and since when."""
    left: date | None = None

    def here(self, on: date) -> bool:
        return self.entered <= on and (self.left is None or on < self.left)

    def parity(self, on: date) -> int:
        return sum(calved <= on for calved in self.calvings)

    def days_in_milk(self, on: date) -> int:
        return (on - max(calved for calved in self.calvings if calved <= on)).days

    def moves(self, groups: tuple[str, ...]) -> list[tuple[date, str]]:
        """Every change of group, oldest first."""
        moves = []
        for number, calved in enumerate(self.calvings):
            moves.append((calved, groups[0]))
            if len(groups) == 3:
                moves.append((calved + timedelta(days=HIGH_UNTIL), groups[1]))
            if number + 1 < len(self.calvings):
                moves.append((self.calvings[number + 1] - timedelta(days=DRY_DAYS), groups[-1]))
        return moves

    def group(self, on: date, groups: tuple[str, ...]) -> str:
        return [group for moved, group in self.moves(groups) if moved <= on][-1]


def _drawn(rng: np.random.Generator, shares: dict[str, float]) -> str:
    return str(rng.choice(list(shares), p=np.array(list(shares.values())) / sum(shares.values())))


def _calvings(rng: np.random.Generator, first: date) -> list[date]:
    calvings = [first]
    while calvings[-1] < farms.END + timedelta(days=400):
        calvings.append(calvings[-1] + timedelta(days=round(float(rng.normal(400, 22)))))
    return calvings


def new_cow(rng: np.random.Generator, farm: farms.Farm, tag: int, first_calving: date) -> Cow:
    """A heifer that calves for the first time on a day and joins the herd with it."""
    sire = str(rng.choice(list(truths.SIRES)))
    horn, infectious = truths.SIRES[sire]
    prone = {}
    for family, spread in truths.COW_SPREAD.items():
        from_sire = {"horn": horn, "infectious": infectious}.get(family, 0.0)
        own = float(rng.normal(0, (max(spread**2 - 0.15, 0.01) if from_sire else spread**2) ** 0.5))
        prone[family] = from_sire + own
    length = float(rng.normal(80, 2.5))
    return Cow(
        tag=str(tag),
        born=first_calving - timedelta(days=round(float(rng.normal(745, 30)))),
        breed=_drawn(rng, farm.breeds),
        sire=sire,
        calvings=_calvings(rng, first_calving),
        entered=first_calving,
        prone=prone,
        gait=float(rng.normal(0, truths.COW_GAIT_SPREAD)),
        growth=float(rng.normal(1, truths.COW_GROWTH_SPREAD)),
        toes={claw: (first_calving, length) for claw in ("lateral", "medial")},
        shed_offset=float(rng.uniform(-0.8, 0.8)),
    )


def founding_herd(rng: np.random.Generator, farm: farms.Farm) -> list[Cow]:
    """The cows on the first day: all lactations, calved at any time of the year behind them."""
    cows = []
    for number in range(farm.cows):
        lactations_done = min(int(rng.geometric(0.38)) - 1, 7)
        first = farms.START - timedelta(days=int(rng.integers(1, 400)) + 400 * lactations_done)
        cow = new_cow(rng, farm, farm.first_tag + number, first)
        # Trimmed before the records begin, last about four months ago.
        trimmed = max(first, farms.START - timedelta(days=int(rng.integers(90, 150))))
        left_at = {claw: float(rng.normal(*truths.LEFT_AT)) for claw in cow.toes}
        cow.toes = {claw: (trimmed, round(left_at[claw], 1)) for claw in cow.toes}
        cows.append(cow)
    return cows


def leaves(rng: np.random.Generator, cow: Cow, month: date) -> bool:
    """Whether a cow leaves the herd in a month."""
    odds = truths.LEAVES * (1 + truths.LEAVES_A_LACTATION * (min(cow.parity(month), 6) - truths.MIDDLING_PARITY))
    ulcer = cow.had.get("SU")
    if ulcer and (month - ulcer[0]).days < 150:
        odds *= truths.LEAVES_AFTER_ULCER
    return bool(rng.random() < max(odds, 0.005))
