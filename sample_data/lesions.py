"""What is wrong with a cow's feet on the day she stands in the chute."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from typing import TypeVar

import numpy as np

from evenfoot.sample_data import farms, truths
from evenfoot.sample_data.herds import Cow, Found

_MARGINAL = (16 * math.sqrt(3) / (15 * math.pi)) ** 2
"""How a logit shrinks when a normal effect is averaged over (Zeger et al. 1988, Biometrics 44:1049)."""


def _logit(share: float) -> float:
    return math.log(share / (1 - share))


def _expit(log_odds: float) -> float:
    return 1 / (1 + math.exp(-log_odds))


def _intercept(lesion: truths.Lesion, housing: str) -> float:
    """Log-odds for a cow with nothing special about her, so that the herd comes out at the share."""
    spread = truths.COW_SPREAD[lesion.family]
    return _logit(lesion.prevalence[housing]) * math.sqrt(1 + _MARGINAL * spread**2)


def log_odds(farm: farms.Farm, cow: Cow, on: date, lesion: truths.Lesion, stay: farms.Stay) -> float:
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


def _before(cow: Cow, lesion: str, on: date) -> tuple[truths.Site, ...] | None:
    """The sites of the same lesion within the recurrence window, if any."""
    if lesion in cow.had and (on - cow.had[lesion][0]).days <= truths.RECURS_WITHIN:
        return cow.had[lesion][1]
    return None


_T = TypeVar("_T")


def _pick(rng: np.random.Generator, shares: dict[_T, float]) -> _T:
    keys = list(shares)
    steps = np.cumsum(list(shares.values()))
    return keys[min(int(np.searchsorted(steps, rng.random() * steps[-1], side="right")), len(keys) - 1)]


def _sites(rng: np.random.Generator, cow: Cow, lesion: truths.Lesion, on: date) -> list[truths.Site]:
    before = _before(cow, lesion.code, on)
    first = before[0] if before and rng.random() < truths.SAME_SITE else _pick(rng, lesion.claws)
    sites = [first]
    rest = {site: share for site, share in lesion.claws.items() if site != first}
    if rng.random() < lesion.second:
        sites.append(_pick(rng, rest))
    return sites


def detail(rng: np.random.Generator, lesion: truths.Lesion, site: truths.Site) -> Found:
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
    return Found(lesion.code, subtype, site[0], site[1], zone, severity, stage)


def draw(
    rng: np.random.Generator, farm: farms.Farm, cow: Cow, on: date, codes: Iterable[str], trimmer: str = ""
) -> list[Found]:
    """Which of the lesions the cow has on a day, and where; a sharp trimmer sees more of some."""
    stay = farms.stay_of(farm.name, cow.group(on, farm.groups), on)
    sharp = truths.TRIMMER_ODDS.get(trimmer, {})
    found: list[Found] = []
    for code in codes:
        lesion = truths.LESIONS[code]
        chance = _expit(log_odds(farm, cow, on, lesion, stay) + math.log(sharp.get(code, 1.0)))
        if rng.random() < chance:
            found += [detail(rng, lesion, site) for site in _sites(rng, cow, lesion, on)]
    return found


def remember(cow: Cow, found: list[Found], on: date) -> None:
    """Keep what was found and where, for what comes back later."""
    for code in {one.lesion for one in found}:
        cow.had[code] = (on, tuple((one.foot, one.claw) for one in found if one.lesion == code))


def site_of(rng: np.random.Generator, cow: Cow, lesion: truths.Lesion, on: date) -> truths.Site:
    """Where a lesion that came up between visits sits."""
    site: truths.Site = _sites(rng, cow, lesion, on)[0]
    return site
