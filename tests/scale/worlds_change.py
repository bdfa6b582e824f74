"""Herds whose truth is known, for `change-impact` and `trend`: how often they call what is not there, and find what is.

``python -m tests.scale.worlds_change`` prints the table; ``tests/stats/test_worlds_change.py`` holds a short form.
A herd of 60 to 250 cows is looked at every month, or at two visits a year. The logit of the share has a trend, a season
(odds ratio of peak to trough), and months that wander by a logit SD with an autocorrelation.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import special

from evenfoot.analytics.stats.change import compared_change, held_change
from evenfoot.analytics.stats.slope import monthly_slope


@dataclass(frozen=True)
class World:
    """What is true of a herd.

    Attributes
    ----------
    months : int
        Months on record; a change is made in the middle of them.
    trend : float
        Odds over the odds a year before.
    season : float
        Odds at the peak of the year over odds at its trough.
    wander, correlation : float
        Logit SD of months, and correlation of neighbours.
    effect : float
        Odds after the change over odds before it, at once and for good.
    share : float
        Share of cases at the start.
    same_cows : bool
        Whether the same cows are looked at again and again, each with a risk of her own; a third of them change in a
        year.
    of_year : tuple of int, optional
        Months of the year with visits; every month without it.
    """

    months: int = 48
    trend: float = 1.0
    season: float = 2.0
    wander: float = 0.3
    correlation: float = 0.0
    effect: float = 1.0
    share: float = 0.2
    same_cows: bool = False
    of_year: tuple[int, ...] | None = None

    @property
    def change(self) -> int:
        return self.months // 2


def herd(world: World, rng: np.random.Generator, peak: float | None = None) -> pd.DataFrame:
    """time, kind, cases, n: one row a month with records."""
    time = np.arange(world.months)
    wander = rng.normal(0, world.wander, world.months)
    for month in range(1, world.months):
        wander[month] = world.correlation * wander[month - 1] + math.sqrt(1 - world.correlation**2) * wander[month]
    peak = rng.uniform(0, 12) if peak is None else peak
    logit = (
        special.logit(world.share)
        + math.log(world.trend) * time / 12
        + math.log(world.season) / 2 * np.cos(2 * np.pi * (time - peak) / 12)
        + wander
        + math.log(world.effect) * (time >= world.change)
    )
    size = int(rng.integers(60, 251))
    if world.same_cows:
        n = np.full(world.months, size)
        risk, cases = rng.normal(0, 1, size), np.zeros(world.months, dtype=int)
        for month in time:
            new = rng.random(size) < 1 / 36
            risk[new] = rng.normal(0, 1, int(new.sum()))
            cases[month] = int((rng.random(size) < special.expit(logit[month] + risk)).sum())
    else:
        n = np.maximum(rng.poisson(size, world.months), 20)
        cases = rng.binomial(n, special.expit(logit))
    frame = pd.DataFrame({"time": time, "kind": "all", "cases": cases, "n": n})
    return frame if world.of_year is None else frame[frame["time"].mod(12).isin(world.of_year)].reset_index(drop=True)


@dataclass(frozen=True)
class Tally:
    """Of how many runs: answered, called (p below 0.05), held (the limits hold the truth), median width of limits."""

    runs: int
    answered: int
    called: float
    held: float
    width: float

    @property
    def error(self) -> float:
        """Monte Carlo standard error of *called*."""
        return math.sqrt(max(self.called * (1 - self.called), 1e-9) / max(self.answered, 1))


def of_change(world: World, runs: int, seed: int = 1) -> Tally:
    """The headline of `change-impact`."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(runs):
        terms = held_change(herd(world, rng), float(world.change)).terms.set_index("term")
        rows.append(tuple(float(x) for x in terms.loc["effect", ["low", "high", "p_value"]]))
    return _tally(rows, world.effect)


def of_comparison(world: World, runs: int, seed: int = 1, other_trend: float | None = None) -> Tally:
    """The change of a herd over that of another, which made none; the season is the same, the rest its own."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(runs):
        peak = float(rng.uniform(0, 12))
        still = replace(world, effect=1.0, trend=world.trend if other_trend is None else other_trend)
        found = compared_change(herd(world, rng, peak), herd(still, rng, peak), float(world.change))
        rows.append((found.low, found.high, found.p_value))
    return _tally(rows, world.effect)


def of_trend(world: World, runs: int, seed: int = 1) -> Tally:
    """The odds ratio a year of `trend`."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(runs):
        found = monthly_slope(herd(world, rng))
        rows.append((found.low, found.high, found.p_value))
    return _tally(rows, world.trend)


def _tally(rows: list[tuple[float, float, float]], truth: float) -> Tally:
    table = np.array(rows)
    known = table[np.isfinite(table[:, 2])]
    if not len(known):
        return Tally(len(table), 0, math.nan, math.nan, math.nan)
    return Tally(
        runs=len(table),
        answered=len(known),
        called=float((known[:, 2] < 0.05).mean()),
        held=float(((known[:, 0] < truth) & (truth < known[:, 1])).mean()),
        width=float(np.median(np.log(known[:, 1] / known[:, 0]))),
    )


TWICE_A_YEAR = (3, 9)

WORLDS: dict[str, World] = {
    "24 months, falling": World(24, trend=0.8),
    "24 months, falling, rho 0.5": World(24, trend=0.8, correlation=0.5),
    "24 months, falling, rho 0.8": World(24, trend=0.8, correlation=0.8),
    "36 months, rising": World(36, trend=1.35),
    "36 months, rising, rho 0.8": World(36, trend=1.35, correlation=0.8),
    "48 months, falling": World(48, trend=0.8),
    "48 months, falling, rho 0.5": World(48, trend=0.8, correlation=0.5),
    "60 months, rising": World(60, trend=1.35, share=0.1),
    "60 months, rising, rho 0.8": World(60, trend=1.35, correlation=0.8, share=0.1),
    "48 months, same cows, rho 0.5": World(48, trend=0.8, correlation=0.5, same_cows=True),
    "two visits a year, 12 years": World(144, trend=0.95, of_year=TWICE_A_YEAR),
}
"""Worlds in which nothing is changed."""

REAL: dict[str, World] = {
    "48 months, rising, odds halved": World(48, trend=1.35, effect=0.5),
    "48 months, rising, odds halved, rho 0.5": World(48, trend=1.35, effect=0.5, correlation=0.5),
    "60 months, rising, odds halved": World(60, trend=1.2, effect=0.5),
    "60 months, rising, odds halved, rho 0.5": World(60, trend=1.2, effect=0.5, correlation=0.5),
    "60 months, falling, odds halved, rho 0.5": World(60, trend=0.9, effect=0.5, correlation=0.5),
}
"""Worlds in which the odds are truly halved."""


def main(runs: int = 400) -> None:
    """Print how often a change and a trend are called, and how often their limits hold the truth."""
    print(f"{'':12}{'world':46}{'called':>9}{'+-':>6}{'limits hold':>13}{'answered':>10}")

    def line(what: str, name: str, found: Tally) -> None:
        print(
            f"{what:12}{name:46}{found.called:>9.1%}{found.error:>6.1%}{found.held:>13.1%}"
            f"{found.answered / found.runs:>10.0%}",
            flush=True,
        )

    for name, world in WORLDS.items():
        line("change", name, of_change(world, runs))
    for name, world in REAL.items():
        line("change", name, of_change(world, runs))
    for name in ("36 months, rising, rho 0.8", "48 months, falling, rho 0.5"):
        line("two farms", name, of_comparison(WORLDS[name], runs // 2, other_trend=1.0))
    for name, world in WORLDS.items():
        line("trend", name, of_trend(replace(world, trend=1.0, season=2.7), runs))
    line("trend", "48 months, odds 1.35 a year, rho 0.5", of_trend(World(48, trend=1.35, correlation=0.5), runs))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=400)
    main(parser.parse_args().runs)
