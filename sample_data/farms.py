"""The farms: how many cows, who trims and scores them when, and how each group is housed through the years.

Invented places; any likeness to a real farm is chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

START = date(2023, 11, 1)
END = date(2026, 10, 31)


@dataclass(frozen=True)
class Farm:
    """One demonstration farm and what sets it apart."""

    name: str
    cows: int
    groups: tuple[str, ...]
    first_tag: int
    breeds: dict[str, float]
    infectious: float
    """Herd effect on infectious lesions."""
    horn: float
    """Herd effect on horn lesions."""
    lame: float
    """Log-odds of a lame score for a cow with nothing recorded lately."""
    scale: str
    whole_herd: tuple[date, ...]
    """First day of each whole-herd visit."""
    days: int
    """How many days a whole-herd visit takes."""
    part_herd: tuple[date, ...]
    trimmers: tuple[str, ...]
    """Who holds the knife: by day of a whole-herd visit that takes several, else in turn by visit."""
    scorer: str
    measured: float
    """Share of the cows whose right hind claws are measured at whole-herd visits."""
    kind_left_blank: tuple[date, ...] = ()
    """Visits the trimmer did not label."""
    size_left_blank: tuple[date, ...] = ()
    """Visits where the herd size was not written down either."""


LARKMOOR = Farm(
    name="Larkmoor",
    cows=260,
    groups=("high", "low", "dry"),
    first_tag=1001,
    breeds={"Holstein": 1.0},
    infectious=0.25,
    horn=0.05,
    lame=-1.95,
    scale="1-5",
    whole_herd=(
        date(2023, 11, 13),
        date(2024, 3, 11),
        date(2024, 7, 8),
        date(2024, 11, 11),
        date(2025, 3, 10),
        date(2025, 7, 7),
        date(2025, 11, 10),
        date(2026, 3, 9),
        date(2026, 7, 6),
        date(2026, 10, 12),
    ),
    days=3,
    part_herd=(date(2024, 5, 20), date(2024, 9, 16), date(2025, 5, 19), date(2025, 9, 15), date(2026, 5, 18)),
    trimmers=("KV", "KV", "TB"),
    scorer="LP",
    measured=1.0,
)
NETHER_ASH = Farm(
    name="Nether Ash",
    cows=90,
    groups=("milking", "dry"),
    first_tag=11,
    breeds={"Holstein": 0.6, "Brown Swiss": 0.4},
    infectious=-0.1,
    horn=0.0,
    lame=-2.2,
    scale="1-5",
    whole_herd=(
        date(2023, 12, 5),
        date(2024, 4, 9),
        date(2024, 11, 19),
        date(2025, 3, 18),
        date(2025, 8, 19),
        date(2026, 2, 10),
        date(2026, 10, 20),
    ),
    days=1,
    part_herd=(date(2024, 8, 6), date(2026, 6, 16)),
    trimmers=("MO", "MO", "TB"),
    scorer="LP",
    measured=1.0,
    kind_left_blank=(date(2024, 9, 25), date(2024, 11, 19)),
    size_left_blank=(date(2024, 9, 25),),
)
WITHY_FLAT = Farm(
    name="Withy Flat",
    cows=160,
    groups=("milking", "dry"),
    first_tag=301,
    breeds={"Holstein": 0.8, "Jersey": 0.2},
    infectious=0.1,
    horn=-0.05,
    lame=-2.3,
    scale="1-5",
    whole_herd=(
        date(2023, 11, 28),
        date(2024, 6, 4),
        date(2024, 12, 3),
        date(2025, 5, 13),
        date(2025, 11, 25),
        date(2026, 6, 9),
    ),
    days=2,
    part_herd=(date(2024, 3, 5), date(2025, 3, 4), date(2026, 3, 3)),
    trimmers=("TB", "MO"),
    scorer="RN",
    measured=0.4,
    kind_left_blank=(date(2025, 5, 13), date(2025, 5, 14)),
)
LONG_HEATH = Farm(
    name="Long Heath",
    cows=200,
    groups=("milking", "dry"),
    first_tag=2001,
    breeds={"Holstein": 0.4, "Jersey": 0.6},
    infectious=-0.2,
    horn=0.05,
    lame=-2.55,
    scale="0-3",
    whole_herd=(
        date(2023, 12, 12),
        date(2024, 5, 14),
        date(2024, 9, 10),
        date(2025, 2, 18),
        date(2025, 8, 26),
        date(2026, 4, 14),
        date(2026, 9, 15),
    ),
    days=2,
    part_herd=(date(2024, 7, 16), date(2025, 6, 10), date(2026, 7, 14)),
    trimmers=("MO", "TB"),
    scorer="RN",
    measured=0.7,
    kind_left_blank=(date(2024, 9, 10), date(2024, 9, 11)),
)
OSIER_END = Farm(
    name="Osier End",
    cows=120,
    groups=("high", "low", "dry"),
    first_tag=501,
    breeds={"Holstein": 0.7, "Brown Swiss": 0.3},
    infectious=-0.15,
    horn=0.0,
    lame=-2.2,
    scale="1-5",
    whole_herd=(
        date(2023, 11, 21),
        date(2024, 5, 7),
        date(2024, 10, 22),
        date(2025, 4, 8),
        date(2025, 10, 14),
        date(2026, 1, 20),
        date(2026, 6, 23),
    ),
    days=1,
    part_herd=(date(2024, 8, 13), date(2025, 7, 15), date(2026, 9, 8)),
    trimmers=("KV",),
    scorer="LP",
    measured=1.0,
)
FARMS = (LARKMOOR, NETHER_ASH, WITHY_FLAT, LONG_HEATH, OSIER_END)


@dataclass(frozen=True)
class Stay:
    """How one group of one farm was housed over one period."""

    farm: str
    group: str
    starts_on: date
    ends_on: date | None
    housing: str
    floor: str
    bedding: str
    pasture: bool
    wetness: str | None


def _eve(day: date) -> date:
    return date.fromordinal(day.toordinal() - 1)


def _by_season(
    farm: str, indoors: tuple[str, str, str, str | None], spring: tuple[int, int], autumn: tuple[int, int]
) -> tuple[Stay, ...]:
    """Indoors over winter, out to grass between the two dates (month, day), for every year of the records."""
    housing, floor, bedding, wetness = indoors
    stays = []
    for group in ("milking", "dry"):
        stays.append(
            Stay(
                farm,
                group,
                date(2023, *spring),
                _eve(date(2023, *autumn)),
                "pasture",
                "grass",
                "",
                True,
                "wet-dry-cycles",
            )
        )
        begins = date(2023, *autumn)
        for year in (2024, 2025, 2026):
            out, back = date(year, *spring), date(year, *autumn)
            stays.append(Stay(farm, group, begins, _eve(out), housing, floor, bedding, False, wetness))
            ends = _eve(back) if back <= END else None
            stays.append(Stay(farm, group, out, ends, "pasture", "grass", "", True, "wet-dry-cycles"))
            begins = back
        if begins <= END:
            stays.append(Stay(farm, group, begins, None, housing, floor, bedding, False, wetness))
    return tuple(stays)


_BEFORE = date(2023, 5, 1)
STAYS: tuple[Stay, ...] = (
    Stay("Larkmoor", "high", _BEFORE, None, "freestall", "concrete", "mattress", False, "always-wet"),
    Stay("Larkmoor", "low", _BEFORE, None, "freestall", "concrete", "mattress", False, "always-wet"),
    Stay("Larkmoor", "dry", _BEFORE, None, "bedded-pack", "other", "straw", False, None),
    *_by_season("Nether Ash", ("tie-stall", "rubber", "shavings", "always-dry"), (5, 5), (10, 10)),
    Stay("Withy Flat", "milking", _BEFORE, None, "bedded-pack", "other", "straw", False, None),
    Stay("Withy Flat", "dry", _BEFORE, None, "bedded-pack", "other", "straw", False, None),
    *_by_season("Long Heath", ("bedded-pack", "other", "straw", None), (3, 20), (12, 1)),
    Stay("Osier End", "high", _BEFORE, None, "freestall", "rubber", "sand", False, "mixed"),
    Stay("Osier End", "low", _BEFORE, None, "freestall", "concrete", "sand", False, "mixed"),
    Stay("Osier End", "dry", _BEFORE, None, "bedded-pack", "other", "straw", False, None),
)


def stay_of(farm: str, group: str, on: date) -> Stay:
    """How a group was housed on a day."""
    for stay in STAYS:
        if (stay.farm, stay.group) == (farm, group) and stay.starts_on <= on <= (stay.ends_on or date.max):
            return stay
    raise KeyError(f"{farm}, {group}: no housing on {on}")
