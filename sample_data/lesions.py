"""What is wrong with a cow's feet on the day she stands in the chute."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np

from sample_data import truths
from sample_data.herds import Cow

_MARGINAL = (16 * math.sqrt(3) / (15 * math.pi)) ** 2
"""Zeger, Liang & Albert 1988, Biometrics 44:1049: a logit's shrinkage when a normal effect is averaged over."""


@dataclass(frozen=True)
class Found:
    """One finding, as a trimmer would write it down."""

    lesion: str
    detail: str | None
    foot: str
    claw: str | None
    zone: int | None
    severity: int
    dd_stage: str | None


def _logit(share: float) -> float:
    return math.log(share / (1 - share))


def _expit(log_odds: float) -> float:
    return 1 / (1 + math.exp(-log_odds))


def _intercept(lesion: truths.Lesion, housing: str) -> float:
    """Log-odds for a cow with nothing special about her, so that the herd as a whole comes out at the share."""
    spread = truths.COW_SPREAD[lesion.family]
    return _logit(lesion.prevalence[housing]) * math.sqrt(1 + _MARGINAL * spread**2)


def log_odds(farm: truths.Farm, cow: Cow, on: date, lesion: truths.Lesion, stay: truths.Stay) -> float:
    """Log-odds that the cow has the lesion on the day; the one place where the truths come together."""
    total = _intercept(lesion, stay.housing) + cow.prone[lesion.family]
    total += {"infectious": farm.infectious, "horn": farm.horn}.get(lesion.family, 0.0)
    total += lesion.parity * (min(cow.parity(on), 6) - truths.MIDDLING_PARITY)
    total += truths.BREED[cow.breed].get(lesion.code, 0.0)
    if stay.floor == "concrete":
        total += math.log(truths.CONCRETE_ODDS.get(lesion.code, 1.0))
    if lesion.code == "DD" and not stay.pasture:
        total += truths.DD_WINTER * truths.yearly_wave(on, 1)
    if lesion.code in ("SU", "WL") and farm.name == truths.AUTUMN_FARM:
        total += truths.HORN_AUTUMN * truths.yearly_wave(on, 9)
    for change in truths.CHANGES:
        if (change.farm, change.lesion) == (farm.name, lesion.code) and on >= change.on:
            total += math.log(change.odds_ratio)
    before = _before(cow, lesion.code, on)
    total += truths.RECURS * ((before is not None) - 1.6 * lesion.prevalence[stay.housing])
    return total


def _before(cow: Cow, lesion: str, on: date) -> tuple[tuple[str, str | None], ...] | None:
    """The sites of the same lesion within the recurrence window, if any."""
    if lesion in cow.had and (on - cow.had[lesion][0]).days <= truths.RECURS_WITHIN:
        return cow.had[lesion][1]
    return None


def _pick(rng: np.random.Generator, shares: dict) -> object:  # type: ignore[type-arg]
    keys = list(shares)
    steps = np.cumsum(list(shares.values()))
    return keys[min(int(np.searchsorted(steps, rng.random() * steps[-1], side="right")), len(keys) - 1)]


def _sites(rng: np.random.Generator, cow: Cow, lesion: truths.Lesion, on: date, feet: set[str]):
    before = _before(cow, lesion.code, on)
    open_to = {site: share for site, share in lesion.claws.items() if site[0] in feet}
    if not open_to:
        return []
    if before and before[0] in open_to and rng.random() < truths.SAME_SITE:
        first = before[0]
    else:
        first = _pick(rng, open_to)
    sites = [first]
    rest = {site: share for site, share in open_to.items() if site != first}
    if rest and rng.random() < lesion.second:
        sites.append(_pick(rng, rest))
    return sites


def detail(rng: np.random.Generator, lesion: truths.Lesion, site: tuple[str, str | None]) -> Found:
    """One finding of a lesion at a site: its zone, severity and subtype."""
    drawn = rng.random()
    subtype, reached = None, 0.0
    for code, share in lesion.details.items():
        reached += share
        if drawn < reached:
            subtype = code
            break
    severity = int(rng.choice((1, 2, 3), p=lesion.severity))
    zone = _pick(rng, lesion.zones) if lesion.zones else None
    stage = _pick(rng, truths.DD_STAGES) if lesion.code == "DD" else None
    return Found(lesion.code, subtype, site[0], site[1], zone, severity, stage)  # type: ignore[arg-type]


ALL_FEET = frozenset({"LF", "RF", "LH", "RH"})


def findings(
    rng: np.random.Generator,
    farm: truths.Farm,
    cow: Cow,
    on: date,
    trimmer: str,
    feet: frozenset[str] = ALL_FEET,
    certain: str | None = None,
) -> list[Found]:
    """Everything found on the feet looked at; ``certain`` is a lesion that is there whatever the odds.

    The cow remembers what she had, whether or not the trimmer writes it down.
    """
    stay = truths.stay_of(farm.name, cow.group(on, farm.groups), on)
    sharp = truths.TRIMMER_ODDS.get(trimmer, {})
    found: list[Found] = []
    for lesion in truths.LESIONS.values():
        chance = _expit(log_odds(farm, cow, on, lesion, stay) + math.log(sharp.get(lesion.code, 1.0)))
        if rng.random() >= chance and lesion.code != certain:
            continue
        sites = _sites(rng, cow, lesion, on, set(feet))
        if sites:
            found += [detail(rng, lesion, site) for site in sites]
            cow.had[lesion.code] = (on, tuple(sites))
    return found


def site_of(rng: np.random.Generator, cow: Cow, lesion: truths.Lesion, on: date) -> tuple[str, str | None]:
    """Where a lesion that came up between visits sits."""
    site: tuple[str, str | None] = _sites(rng, cow, lesion, on, set(ALL_FEET))[0]
    return site
