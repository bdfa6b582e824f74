"""Worlds whose truth is known, for what goes by time at risk, by sire and by two people's grades.

Run with ``python -m tests.scale.worlds_rates``.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special, stats

from evenfoot.analytics.measures.lesions.family import with_lactation
from evenfoot.analytics.stats.cluster_rates import cluster_rate_ratios, cluster_rates
from evenfoot.analytics.stats.intervals import rate_ratio
from evenfoot.analytics.stats.kappa import kappa_limits
from evenfoot.analytics.stats.random_herd import random_herd_logit
from evenfoot.analytics.stats.survival import kaplan_meier, log_rank

Array = npt.NDArray[np.float64]

PREVALENCES = (0.1, 0.15, 0.2, 0.3, 0.5)
KAPPAS = (0.2, 0.4, 0.6, 0.8, 0.9, 0.95)


def tables_of_two(n: int) -> Array:
    """Every table that two people can make of *n* units with two grades: shape (tables, 2, 2)."""
    a, b, c = (x.ravel() for x in np.indices((n + 1,) * 3))
    kept = a + b + c <= n
    a, b, c = a[kept], b[kept], c[kept]
    return np.stack([a, b, c, n - a - b - c], axis=-1).reshape(-1, 2, 2).astype(float)


def large_sample_kappa(tables: Array) -> tuple[Array, Array]:
    """Kappa of tables of two grades and its large-sample standard error, written out anew (Fleiss, Cohen, Everitt)."""
    n = tables.sum((-1, -2))
    p = tables / n[:, None, None]
    rows, columns = p.sum(-1), p.sum(-2)
    same, chance = p[:, 0, 0] + p[:, 1, 1], (rows * columns).sum(-1)
    kappa = (same - chance) / (1 - chance)
    left = 1 - kappa
    first = sum(p[:, i, i] * (1 - (rows[:, i] + columns[:, i]) * left) ** 2 for i in (0, 1))
    second = left**2 * sum(p[:, i, 1 - i] * (columns[:, i] + rows[:, 1 - i]) ** 2 for i in (0, 1))
    inside = first + second - (kappa - chance * left) ** 2
    return kappa, np.sqrt(np.maximum(inside, 0.0) / n) / (1 - chance)


def exact_kappa_coverage(n: int) -> pd.DataFrame:
    """Coverage of the limits of kappa for two grades, summed over every table, where a kappa exists.

    Returns
    -------
    pandas.DataFrame
        prevalence (of both people), kappa, coverage, width, and large_sample (coverage of kappa plus and minus 1.96
        standard errors).
    """
    tables = tables_of_two(n)
    low, high = kappa_limits(tables)
    known = np.isfinite(low)
    tables, low, high = tables[known], low[known], high[known]
    centre, se = large_sample_kappa(tables)
    ways = special.gammaln(n + 1) - special.gammaln(tables + 1).sum((-1, -2))
    rows = []
    for p in PREVALENCES:
        for kappa in KAPPAS:
            apart = p * (1 - p) * (1 - kappa)
            shares = np.array([[p - apart, apart], [apart, 1 - p - apart]])
            chance = np.exp(ways + special.xlogy(tables, shares).sum((-1, -2)))
            chance /= chance.sum()
            held = (low - 1e-9 <= kappa) & (kappa <= high + 1e-9)
            wald = np.abs(centre - kappa) <= 1.96 * se
            rows.append((p, kappa, chance @ held, chance @ (high - low), chance @ wald))
    return pd.DataFrame(rows, columns=["prevalence", "kappa", "coverage", "width", "large_sample"])


def herds_over_time(
    farms: int, spread: float, per_100: float, repeats: int, rng: np.random.Generator
) -> tuple[pd.DataFrame, float]:
    """Farms of unlike size and rate: one row a repeat and farm, with its events and cow-months.

    Farms have 100 cows on average (log-normal, coefficient of variation 0.6), followed for 20 to 24 months; the rate
    of a farm is log-normal with *spread*, and cows of a farm differ as an exponential does. Returns the frame (world,
    farm, events, time) and the true mean rate a month.
    """
    shape = (repeats, farms)
    wide = np.sqrt(np.log(1.36))
    cows = np.maximum(rng.lognormal(np.log(100) - wide**2 / 2, wide, shape).round(), 15)
    time = cows * 24 * rng.uniform(0.8, 1.0, shape)
    rate = per_100 / 100 * np.exp(spread * rng.standard_normal(shape))
    events = rng.poisson(rate * time * rng.gamma(cows, 1 / cows))
    world, farm = np.indices(shape)
    frame = {"world": world.ravel(), "farm": farm.ravel(), "events": events.ravel(), "time": time.ravel()}
    return pd.DataFrame(frame), per_100 / 100 * float(np.exp(spread**2 / 2))


def rate_coverage(farms: int, spread: float, per_100: float, repeats: int, seed: int = 1) -> dict[str, float]:
    """Coverage of the limits of a rate, and of exact Poisson limits, which take every case for independent."""
    frame, truth = herds_over_time(farms, spread, per_100, repeats, np.random.default_rng(seed))
    found = cluster_rates(frame, ["world"], "farm")
    # Exact limits of a Poisson count (Garwood 1936, Biometrika 28:437).
    low = np.nan_to_num(stats.chi2.ppf(0.025, 2 * found["events"])) / 2 / found["time"]
    high = stats.chi2.ppf(0.975, 2 * found["events"] + 2) / 2 / found["time"]
    return {
        "coverage": float(((found["low"] <= truth) & (truth <= found["high"])).mean()),
        "poisson": float(((low <= truth) & (truth <= high)).mean()),
    }


def ratio_coverage(
    farms: int, spread: float, per_100: float, repeats: int, *, apart: bool = False, unlike: float = 0.2, seed: int = 1
) -> dict[str, float]:
    """Coverage of a rate ratio of 1.5 between two kinds of housing, farms differing by *spread* and in the ratio by
    *unlike* (log scale).

    Each farm has both kinds in a share of its own (the more, the higher its rate), or with *apart* one of them.
    """
    rng = np.random.default_rng(seed)
    held = crude = told = 0
    truth = np.log(1.5)
    for _ in range(repeats):
        frame, _ = herds_over_time(farms, 0.0, 1.0, 1, rng)
        farm = spread * rng.standard_normal(farms)
        share = (np.arange(farms) % 2).astype(float) if apart else special.expit(farm + rng.standard_normal(farms))
        effect = truth + unlike * rng.standard_normal(farms)
        time = np.concatenate([frame["time"] * share, frame["time"] * (1 - share)])
        rate = per_100 / 100 * np.exp(np.concatenate([farm + effect, farm]))
        both = pd.DataFrame({"farm": np.tile(np.arange(farms), 2), "kind": np.repeat(["one", "other"], farms)})
        both = both.assign(time=time, events=rng.poisson(rate * time))
        both = both[both["time"] > 0]
        found = cluster_rate_ratios(both, "kind", "other", "farm", within=not apart).loc["one"]
        sums = both.groupby("kind")[["events", "time"]].sum()
        _, low, high = rate_ratio(*sums.loc["one"], *sums.loc["other"])
        told += np.isfinite(found["low"])
        held += np.log(found["low"]) <= truth <= np.log(found["high"])
        crude += np.log(low) <= truth <= np.log(high)
    return {"coverage": held / max(told, 1), "poisson": crude / repeats}


def cases_to_follow(
    farms: int, spread: float, rng: np.random.Generator, *, per_farm: int = 60, effect: float = 0.0
) -> pd.DataFrame:
    """Cases of cows of farms whose rates of recurrence differ by *spread* (log scale): farm, cow, group, days, back.

    Half come back within a year on an average farm. A cow has up to three cases and a rate of her own (gamma, variance
    0.5); follow-up ends after 60 to 500 days. Groups go with the farm's rate (the worse the farm, the more of one), and
    multiply the rate by exp(*effect*).
    """
    own = spread * rng.standard_normal(farms)
    sizes = rng.integers(per_farm // 3, 2 * per_farm, farms)
    farm = np.repeat(np.arange(farms), sizes)
    cow = np.arange(len(farm)) // 2
    frailty = rng.gamma(2.0, 0.5, cow.max() + 1)[cow]
    group = rng.random(len(farm)) < special.expit(2 * own[farm])
    rate = np.log(2) / 365 * np.exp(own[farm] + effect * group) * frailty
    time = np.ceil(rng.exponential(1 / rate))
    end = np.ceil(rng.uniform(60, 500, len(farm)))
    columns = {"farm": farm, "cow": cow, "group": group.astype(int), "days": np.minimum(time, end), "back": time <= end}
    return pd.DataFrame(columns)


def still_free(spread: float, days: float = 180.0) -> float:
    """The true share still free in `cases_to_follow` without an effect: gamma over cows, normal over farms."""
    x, w = np.polynomial.hermite_e.hermegauss(60)
    hazard = np.log(2) / 365 * days * np.exp(spread * x)
    return float((w / w.sum()) @ (1 + 0.5 * hazard) ** -2.0)


def free_coverage(farms: int, spread: float, repeats: int, seed: int = 2) -> dict[str, float]:
    """Coverage of the limits of S(180), and of Greenwood's, which take every case for independent."""
    rng = np.random.default_rng(seed)
    truth, held, plain = still_free(spread), 0, 0
    for _ in range(repeats):
        cases = cases_to_follow(farms, spread, rng)
        robust = kaplan_meier(cases["days"], cases["back"], cluster=cases["farm"]).at(180).iloc[0]
        bare = kaplan_meier(cases["days"], cases["back"]).at(180).iloc[0]
        held += robust["low"] <= truth <= robust["high"]
        plain += bare["low"] <= truth <= bare["high"]
    return {"coverage": held / repeats, "greenwood": plain / repeats}


def log_rank_rejections(
    farms: int, spread: float, repeats: int, *, effect: float = 0.0, seed: int = 3
) -> dict[str, float]:
    """Share of repeats with p < 0.05: within farms with farms as clusters, and of the plain test."""
    rng = np.random.default_rng(seed)
    found, plain = 0, 0
    for _ in range(repeats):
        cases = cases_to_follow(farms, spread, rng, effect=effect)
        days, back, group, farm = (cases[name] for name in ("days", "back", "group", "farm"))
        found += log_rank(days, back, group, strata=farm, cluster=farm).p_value < 0.05
        plain += log_rank(days, back, group).p_value < 0.05
    return {"rejected": found / repeats, "plain": plain / repeats}


def late_cows(repeats: int, *, honoured: bool, seed: int = 4) -> float:
    """Mean error of S(180) where two cows of three came 30 to 300 days after their case, and only if it had not come
    back.

    With *honoured* each is at risk from the day she came.
    """
    rng = np.random.default_rng(seed)
    truth, errors = 2.0 ** (-180 / 365), []
    for _ in range(repeats):
        time = np.ceil(rng.exponential(365 / np.log(2), 900))
        entry = np.where(rng.random(900) < 2 / 3, np.ceil(rng.uniform(30, 300, 900)), 0.0)
        end = np.ceil(rng.uniform(310, 700, 900))
        here = time > entry
        days, back = np.minimum(time, end)[here], (time <= end)[here]
        start = np.where(entry[here] > 0, entry[here], -1.0) if honoured else None
        errors.append(float(kaplan_meier(days, back, entry=start).at(180)["survival"].iloc[0]) - truth)
    return float(np.mean(errors))


def daughters_of_many_ages(
    rng: np.random.Generator, *, sires: int = 20, cows: int = 600, odds: float = 1.5
) -> pd.DataFrame:
    """Daughters whose risk goes by lactation (*odds* a lactation, to the fourth) and farm, not by sire.

    Sires differ in how old their daughters are; a cow is trimmed one to three times. Returns farm, sire, times, parity,
    daughters, cases.
    """
    mean = rng.uniform(1, 4, sires)
    sire, farm = rng.integers(0, sires, cows), rng.integers(0, 3, cows)
    last = np.clip(np.round(rng.normal(mean[sire], 0.8)), 1, 6).astype(int)
    times = rng.integers(1, 4, cows)
    case = np.zeros(cows, dtype=bool)
    for back in range(3):
        parity = np.clip(last - back // 2, 1, 4)
        risk = special.expit(-2.5 + 0.5 * (farm - 1) + np.log(odds) * (parity - 1))
        case |= (back < times) & (rng.random(cows) < risk)
    frame = pd.DataFrame({"farm": farm.astype(str), "sire": sire.astype(str), "times": times})
    frame = frame.assign(parity=np.minimum(last, 4), cases=case.astype(int), daughters=1)
    return frame.groupby(["farm", "sire", "times", "parity"], as_index=False)[["cases", "daughters"]].sum()


def sire_rejections(repeats: int, *, held: bool = True, odds: float = 1.5, seed: int = 5) -> float:
    """Share of repeats in which sires that do not differ are said to (p < 0.05), the lactation *held* alike or not."""
    rng = np.random.default_rng(seed)
    found = 0
    for _ in range(repeats):
        rows = daughters_of_many_ages(rng, odds=odds)
        rows = with_lactation(rows if held else rows.assign(parity=0))
        columns = ["farm", "times", *(["parity"] if held else [])]
        fitted = random_herd_logit(rows, "cases", columns, "sire", n="daughters", nodes=7, profile=False)
        found += bool(fitted.converged and fitted.sd_p_value < 0.05)
    return found / repeats


def main() -> None:
    """Print what is covered and how often nothing is taken for something, Monte Carlo error beside it."""

    def share(value: float, repeats: int) -> str:
        return f"{100 * value:5.1f} +/- {100 * np.sqrt(max(value * (1 - value), 0.0) / repeats):.1f} %"

    def told(name: str, found: dict[str, float], repeats: int) -> None:
        print(f"  {name}: " + ", ".join(f"{key} {share(value, repeats)}" for key, value in found.items()))

    print("Rates of farms: coverage, and that of exact Poisson limits")
    for farms in (4, 6, 10, 20, 40):
        for spread in (0.3, 0.5, 0.8):
            for per_100 in (0.3, 2.0):
                name = f"{farms:3d} farms, log SD {spread}, {per_100} a 100 cow-months"
                told(name, rate_coverage(farms, spread, per_100, 2000), 2000)
    print("Rate ratio of 1.5: coverage, and that of exact limits of the crude ratio")
    for farms in (4, 10, 40):
        told(f"{farms:3d} farms, within", ratio_coverage(farms, 0.5, 2.0, 300), 300)
    told(" 40 farms, each of one kind", ratio_coverage(40, 0.5, 2.0, 300, apart=True), 300)
    print("Share still free after 180 days: coverage, and that of Greenwood's limits")
    for farms in (4, 10, 40):
        for spread in (0.3, 0.8):
            told(f"{farms:3d} farms, log SD {spread}", free_coverage(farms, spread, 300), 300)
    print("Log-rank test of groups that do not differ, on farms that do: p < 0.05")
    for farms in (4, 10, 40):
        told(f"{farms:3d} farms", log_rank_rejections(farms, 0.8, 300), 300)
    print("Cows that came late: mean error of the share still free after 180 days")
    for honoured, name in ((True, "at risk from the day they came"), (False, "from the case on")):
        print(f"  {name}: {late_cows(50, honoured=honoured):+.3f}")
    print("Kappa, two grades, 30 pairs, over all tables: coverage, and that of large-sample limits")
    for row in exact_kappa_coverage(30).to_dict("records"):
        held, plain = (f"{100 * row[name]:.1f} %" for name in ("coverage", "large_sample"))
        print(f"  prevalence {row['prevalence']}, kappa {row['kappa']}: {held}, {plain}")
    print("Sires that do not differ, daughters of unlike age: p < 0.05")
    for held_alike, name in ((True, "lactation held alike"), (False, "not held")):
        print(f"  {name}: {share(sire_rejections(200, held=held_alike), 200)}")


if __name__ == "__main__":
    main()
