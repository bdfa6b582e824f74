"""How often 95 % limits hold the truth: shares of clusters, comparisons, rates, recurrence and agreement.

Run with ``python -m tests.scale.coverage``. The parts on comparisons and rates stand in modules of their own. Here
herds differ in size (log-normal, median 70 cows) and in risk (normal on the logit scale); feet and claws lie within
cows of one herd.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from evenfoot.analytics.stats.cluster import cluster_proportion
from tests.scale import worlds_compare, worlds_rates


@dataclass(frozen=True)
class World:
    """One make-believe kind of data. ``icc`` is on the latent (logit) scale."""

    name: str
    icc: float
    units: int | None


# Latent ICC 0.14 and 0.33: the middles of the ranges for horn and infectious lesions [pub: Cramer et al.
# 2008, J Dairy Sci 91:3888]. Within-cow likeness of feet and claws: 0.25 and 0.2 [common practice, no
# source].
WORLDS = (
    World("cows in herds, horn lesion", 0.14, None),
    World("cows in herds, infectious lesion", 0.33, None),
    World("feet in cows", 0.25, 4),
    World("claws in cows", 0.2, 8),
)
CLUSTERS = (10, 20, 50, 200)
PREVALENCES = (0.05, 0.15, 0.30)


def intercept(p: float, spread: float) -> float:
    """The logit intercept whose population-average risk is *p* when the logit spreads by *spread*."""
    x, w = np.polynomial.hermite_e.hermegauss(60)
    w = w / w.sum()
    return float(optimize.brentq(lambda a: float((w * special.expit(a + spread * x)).sum() - p), -20, 20))


def coverage(
    world: World, p: float, k: int, repeats: int, rng: np.random.Generator, *, adjust: bool = True
) -> tuple[float, float, float]:
    """Share of *repeats* whose limits hold *p*, its Monte Carlo standard error, and the median width."""
    spread = float(np.sqrt(world.icc / (1 - world.icc) * np.pi**2 / 3))
    if world.units is None:
        n = np.maximum(rng.lognormal(np.log(70), 0.6, (repeats, k)).round(), 5).astype(int)
    else:
        n = np.full((repeats, k), world.units)
    risk = special.expit(intercept(p, spread) + spread * rng.standard_normal((repeats, k)))
    m = rng.binomial(n, risk)
    found = cluster_proportion(m.sum(1), n.sum(1), (m * m).sum(1), (m * n).sum(1), (n * n).sum(1), k, adjust=adjust)
    held = float(np.mean((found.low <= p) & (p <= found.high)))
    width = float(np.median(found.high - found.low))
    return held, float(np.sqrt(max(held * (1 - held), 1e-6) / repeats)), width


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20)
    options = parser.parse_args(arguments)
    rng = np.random.default_rng(options.seed)
    print(f"Coverage of nominal 95 % limits, {options.repeats} repeats a cell (textbook limits in brackets)")
    print(f"{'units':34}{'prevalence':>11}" + "".join(f"{f'{k} clusters':>18}" for k in CLUSTERS))
    for world in WORLDS:
        for p in PREVALENCES:
            cells = []
            for k in CLUSTERS:
                ours = coverage(world, p, k, options.repeats, rng)[0]
                plain = coverage(world, p, k, options.repeats, rng, adjust=False)[0]
                cells.append(f"{f'{ours:.3f} ({plain:.3f})':>18}")
            print(f"{world.name:34}{p:>11.0%}" + "".join(cells))
    print("\nComparisons")
    worlds_compare.main()
    print("\nRates, recurrence, agreement and sires")
    worlds_rates.main()
    return 0


if __name__ == "__main__":
    sys.exit(main())
