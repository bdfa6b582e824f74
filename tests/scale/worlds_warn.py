"""Worlds whose truth is known for the control chart and the funnel.

Run with ``python -m tests.scale.worlds_warn``. It prints how often a herd on which nothing changes gives a signal in
two years after a baseline of one, how soon a doubling is seen, and how many of farms that differ as farms do lie
outside the funnel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from evenfoot.analytics.stats.baseline_chart import baseline_chart
from evenfoot.analytics.stats.funnel import funnel
from evenfoot.analytics.stats.yearly_wave import common_wave
from tests.scale.textbook_chart import p_chart

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


@dataclass(frozen=True)
class Outside:
    """Share of farms outside the funnel that should hold 998 of 1000: all, the smaller half and the larger half."""

    all: float
    small: float
    large: float
    farms: int


def outside_funnel(
    share: float,
    between: float,
    sizes: tuple[int, int],
    *,
    farms: int = 60,
    repeats: int = 100,
    seed: int = 0,
    beta: bool = False,
) -> Outside:
    """How many of farms that differ by chance as farms do, and in nothing else, lie outside the funnel.

    Their log odds are normal with standard deviation *between*, or their shares beta-distributed with the same mean and
    as wide; their numbers of cows lie between the two *sizes*.
    """
    rng = np.random.default_rng(seed)
    hits: dict[bool, list[np.ndarray]] = {True: [], False: []}
    for _ in range(repeats):
        n = np.exp(rng.uniform(*np.log(sizes), farms)).astype(int)
        p = special.expit(special.logit(share) + between * rng.normal(size=farms))
        if beta:
            size = 1 / (between**2 * share * (1 - share)) - 1
            p = rng.beta(share * size, (1 - share) * size, farms)
        found = funnel(rng.binomial(n, p), n, levels=(0.998,)).table["outside"].to_numpy() > 0
        for large in (True, False):
            hits[large].append(found[(n > np.median(n)) == large])
    small, large = (np.concatenate(hits[each]) for each in (False, True))
    both = np.concatenate([small, large])
    return Outside(float(both.mean()), float(small.mean()), float(large.mean()), len(both))


def wave_calls(world: World, *, months: int = 24, repeats: int = 400, seed: int = 0) -> float:
    """How many of herds without a season are told that they have one (p below .05)."""
    rng, month, called = np.random.default_rng(seed), np.arange(months), 0
    for _ in range(repeats):
        lame, scored = herd(rng, 120, 0.2, world, months=months)
        found = common_wave(month % 12 + 1.5, lame, scored, np.zeros(months), year=month / 12, time=month)
        called += found.p_value < 0.05
    return called / repeats


def _error(share: float, many: int) -> str:
    return f"{100 * share:5.1f} (±{100 * np.sqrt(max(share * (1 - share), 1 / many) / many):.1f})"


def main(repeats: int = 400) -> None:
    print(f"Of 100 herds with a signal in 24 months after a baseline of 12 ({repeats} herds each; Monte Carlo error)")
    print("p: textbook p-chart; a doubling: seen within 12 and 24 months, median months to it")
    print(
        f"{'cows':>5} {'lame':>5} {'sd':>5} {'rho':>4} {'season':>6} | {'nothing changes':>15} {'p':>6} "
        "|  2+  3+  4+ | doubled"
    )
    for cows, share in HERDS:
        for world in WORLDS:
            still = signals(cows, share, world, repeats=repeats)
            plain = signals(cows, share, world, repeats=repeats // 4, ours=False)
            twice = signals(cows, share, world, times=2.0, repeats=repeats // 4, seed=1)
            several = " ".join(f"{100 * each:3.0f}" for each in still.in_half_a_year[1:4])
            print(
                f"{cows:>5} {share:>5.0%} {world.wander:>5} {world.correlation:>4} {world.season:>6} | "
                f"{_error(still.two_years, repeats):>15} {100 * plain.two_years:6.0f} | {several} | "
                f"{100 * twice.one_year:.0f} {100 * twice.two_years:.0f} in {twice.months:.0f}",
                flush=True,
            )
    print("\nOf 1000 farms outside the funnel that should hold 998, 60 farms at a time")
    print(f"{'share':>6} {'sd':>4} {'cows':>12} {'shape':>7} | {'all':>12} {'small':>6} {'large':>6}")
    for share, between in ((0.2, 0.0), (0.2, 0.4), (0.2, 0.8), (0.05, 0.6), (0.4, 1.2)):
        for sizes in ((10, 40), (20, 400), (100, 1000)):
            for beta in (False, True) if 0 < between < 1 else (False,):
                out = outside_funnel(share, between, sizes, repeats=repeats // 2, beta=beta)
                error = 1000 * np.sqrt(0.002 / out.farms)
                print(
                    f"{share:>6.0%} {between:>4} {sizes[0]:>5} to {sizes[1]:>4} {'beta' if beta else 'logit':>7} | "
                    f"{1000 * out.all:5.1f} (±{error:.1f}) {1000 * out.small:6.1f} {1000 * out.large:6.1f}",
                    flush=True,
                )
    print("\nOf 100 herds without a season that are told to have one (p < .05), 24 and 36 months")
    for world in (World(0.0, 0.0, 1.0), World(0.3, 0.0, 1.0), World(0.25, 0.5, 1.0), World(0.3, 0.8, 1.0)):
        calls = [wave_calls(world, months=months, repeats=repeats) for months in (24, 36)]
        print(
            f"sd {world.wander} rho {world.correlation}: " + ", ".join(_error(each, repeats) for each in calls),
            flush=True,
        )


if __name__ == "__main__":
    main()
