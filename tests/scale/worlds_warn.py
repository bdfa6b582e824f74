"""Worlds whose truth is known for the control chart and the funnel.

Run with ``python -m tests.scale.worlds_warn``. It prints how often a herd on which nothing changes gives a signal in
two years after a baseline of one, how soon a doubling is seen, and how many of farms that differ as farms do lie
outside the funnel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.methods.baseline_chart import baseline_chart
from analytics.methods.control import p_chart

BASELINE, MONTHS = 12, 36
PRONENESS = 0.8
"""Standard deviation of cows' proneness on the logit scale: the same cows are lame again and again."""


@dataclass(frozen=True)
class World:
    """Months of a herd on the logit scale: standard deviation and correlation of neighbours, odds top to bottom."""

    wander: float
    correlation: float
    season: float


WORLDS = (
    World(0.0, 0.0, 1.0),
    World(0.15, 0.3, 1.0),
    World(0.25, 0.0, 1.8),
    World(0.3, 0.5, 2.7),
    World(0.25, 0.8, 1.8),
    World(0.3, 0.8, 1.0),
    World(0.3, 0.8, 2.7),
)

HERDS = ((40, 0.05), (40, 0.3), (120, 0.1), (120, 0.2), (400, 0.1), (400, 0.3))
"""Cows, and the share of them that is lame."""


def herd(
    rng: np.random.Generator, cows: int, share: float, world: World, *, times: float = 1.0, months: int = MONTHS
) -> tuple[np.ndarray, np.ndarray]:
    """Lame and scored cows of each month; after the baseline the share is *times* as high."""
    wider = np.sqrt(1 + 0.346 * PRONENESS**2)
    levels = special.logit(np.array([share, share * times])) * wider
    proneness, together = rng.normal(0, PRONENESS, cows), rng.normal(0, world.wander)
    top = rng.uniform(0, 12)
    lame, scored = np.zeros(months), np.zeros(months)
    for month in range(months):
        replaced = rng.random(cows) < 0.026
        proneness[replaced] = rng.normal(0, PRONENESS, int(replaced.sum()))
        fresh = world.wander * np.sqrt(1 - world.correlation**2)
        together = world.correlation * together + rng.normal(0, fresh) if month else together
        wave = 0.5 * np.log(world.season) * np.cos(2 * np.pi * (month - top) / 12)
        risk = special.expit(levels[int(month >= BASELINE)] + wave + together + proneness)
        seen = rng.random(cows) < 0.85
        lame[month], scored[month] = ((rng.random(cows) < risk) & seen).sum(), seen.sum()
    return lame, scored


@dataclass(frozen=True)
class Signals:
    """Of many herds: the share with a signal in two years and in one, the median months to the first (24 for none),
    and the share of herds with so many signals on one side within six months, for 1 to 6."""

    two_years: float
    one_year: float
    months: float
    in_half_a_year: tuple[float, ...]


def signals(
    cows: int, share: float, world: World, *, times: float = 1.0, repeats: int = 400, seed: int = 0, ours: bool = True
) -> Signals:
    """How many herds give a signal; with *ours* off those of the textbook's p-chart."""
    rng = np.random.default_rng(seed)
    first, most = [], []
    for _ in range(repeats):
        lame, scored = herd(rng, cows, share, world, times=times)
        month = np.arange(MONTHS)
        if ours:
            outside = baseline_chart(lame, scored, month < BASELINE, month).table["outside"].to_numpy()[BASELINE:]
        else:
            outside = p_chart(lame, scored, baseline=BASELINE).table["outside"].to_numpy()[BASELINE:]
        hits = np.flatnonzero(outside)
        first.append(int(hits[0]) + 1 if len(hits) else 2 * BASELINE + 1)
        most.append(max(int(np.convolve(outside == side, np.ones(6)).max()) for side in (1, -1)))
    months, runs = np.array(first), np.array(most)
    return Signals(
        float((months <= 24).mean()),
        float((months <= 12).mean()),
        float(np.median(np.minimum(months, 24))),
        tuple(float((runs >= k).mean()) for k in range(1, 7)),
    )
