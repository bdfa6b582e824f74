"""Horn: how long the toes have grown, how much has been shed, and what the trimmer leaves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from evenfoot.sample_data import farms, truths
from evenfoot.sample_data.herds import Cow

SEASONS = (
    ("winter", "winter", "spring", "spring", "spring", "summer", "summer", "summer") + ("autumn",) * 3 + ("winter",)
)
DAYS_A_MONTH = 365.25 / 12


@dataclass(frozen=True)
class Measured:
    """What the gauge said of one claw."""

    toe_length_mm: float
    toe_length_after_mm: float
    toe_angle_deg: int
    heel_depth_mm: int
    sole_thickness_mm: float
    shed_stage: int
    toe_break_mm: float | None


def grown(farm: farms.Farm, cow: Cow, claw: str, since: date, until: date) -> float:
    """Net growth of the toe between two days, mm: the table, season by season and stall by stall."""
    total, day = 0.0, since
    while day < until:
        step = min(7, (until - day).days)
        stay = farms.stay_of(farm.name, cow.group(day, farm.groups), day)
        total += truths.net_growth(stay.housing, stay.floor, SEASONS[day.month - 1], claw) * step / DAYS_A_MONTH
        day += timedelta(days=step)
    return total * cow.growth


def shed_stage(rng: np.random.Generator, farm: farms.Farm, cow: Cow, on: date) -> int:
    """How far the old horn has been shed, 0 to 5.

    Feet that stay wet and feet that stay dry keep their horn; partly dry ground sheds it in part and
    unevenly; on grass after a winter indoors the cycle starts and runs [common practice, no source].
    """
    stay = farms.stay_of(farm.name, cow.group(on, farm.groups), on)
    if stay.wetness == "wet-dry-cycles":
        months = (on - stay.starts_on).days / DAYS_A_MONTH + cow.shed_offset
        return max(0, int(6 * (months % truths.SHED_CYCLE_MONTHS) / truths.SHED_CYCLE_MONTHS)) if months > 0 else 0
    if stay.wetness == "mixed":
        return int(rng.choice((0, 1, 2, 3), p=(0.3, 0.3, 0.25, 0.15)))
    if stay.wetness is None:
        return int(rng.random() < 0.08)
    return 0


def measure_and_trim(rng: np.random.Generator, farm: farms.Farm, cow: Cow, claw: str, on: date) -> Measured:
    """Read the gauge before and after trimming one right hind claw, and remember the length left."""
    since, left = cow.toes[claw]
    true_length = left + grown(farm, cow, claw, since, on)
    broken = None
    if true_length > 88 and rng.random() < 0.02:
        broken = round(float(rng.uniform(3, 14)), 1)
        true_length = max(true_length - 12, 70)
    after_true = min(float(rng.normal(*truths.LEFT_AT)), true_length)
    found = true_length + float(rng.normal(0, truths.MEASURING_ERROR))
    after = min(after_true, found)
    cow.toes[claw] = (on, after)
    long = found - 76
    stage = shed_stage(rng, farm, cow, on)
    stay = farms.stay_of(farm.name, cow.group(on, farm.groups), on)
    thin = 0.6 if stay.housing == "pasture" else 0.2 if stay.floor == "concrete" else 0.0
    return Measured(
        toe_length_mm=round(found, 1),
        toe_length_after_mm=round(after, 1),
        toe_angle_deg=round(52 - 0.45 * long + float(rng.normal(0, 2))),
        heel_depth_mm=round(38 + 0.2 * long - (3 if stage >= 4 else 0) + float(rng.normal(0, 3))),
        sole_thickness_mm=max(3.0, round(float(rng.normal(6.3 - thin, 0.7)), 1)),
        shed_stage=stage,
        toe_break_mm=broken,
    )
