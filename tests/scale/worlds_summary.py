"""How often the summary calls a change on farms where nothing changes, and how often it sees a change that is there.

Run with ``python -m tests.scale.worlds_summary``. Farms are simulated cow by cow. Every cow has a proneness of her own
for every lesion and stays in the herd for years; visits differ from each other; lesions have a season.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from evenfoot.analytics.measures.lameness.summary import judge_farms
from evenfoot.analytics.queries.herd_visits import HerdVisits, number_visits

LESIONS = {
    "DD": 0.20, "HHE": 0.15, "SH": 0.10, "SU": 0.08, "WL": 0.06, "ID": 0.05, "IH": 0.04, "DS": 0.03, "TU": 0.02,
    "IP": 0.01, "TS": 0.01,
}  # fmt: skip
"""Share of cows with each lesion at a visit. [common practice, no source]"""

GAIT = {"lame": 0.20, "severe": 0.05}
COW_SD = 1.0
"""Spread of proneness between cows, log odds. [common practice, no source]"""
OF_A_COW = float(np.sqrt(1 + 0.346 * COW_SD**2))
"""Log odds of a cow for those of the herd: proneness that differs between cows draws the herd's towards even odds.
[pub: Zeger, Liang & Albert 1988, Biometrics 44:1049]"""
REPLACED = 0.3
"""Share of cows replaced in a year. [common practice, no source]"""
SEEN = 0.92
"""Share of the herd seen at a whole-herd visit. [common practice, no source]"""


@dataclass(frozen=True)
class World:
    """One kind of farm.

    ``visit_sd`` is in log odds. ``season`` is the odds ratio of peak to trough. ``shared`` says that a visit raises or
    lowers all lesions together. ``follows`` is the correlation of one visit's effect with the next's. ``lasts`` is the
    share of cows whose state is that of the visit before.
    """

    cows: int
    visits_a_year: int
    years: float
    visit_sd: float = 0.0
    season: float = 1.0
    shared: bool = False
    follows: float = 0.0
    lasts: float = 0.0


def simulate(rng: np.random.Generator, world: World, base: dict[str, float], effect: dict[str, float]) -> HerdVisits:
    """The visits of one farm. *effect* is added to the herd's log odds at the visits of the last 75 days."""
    names, prevalence = list(base), np.array(list(base.values()))
    visits = int(world.visits_a_year * world.years)
    day = np.round(np.arange(visits) * 365.25 / world.visits_a_year).astype(int)
    level = special.logit(prevalence) * OF_A_COW
    phase = rng.uniform(0, 1)
    prone = rng.normal(0, COW_SD, (len(base), world.cows))
    cow = np.arange(world.cows)
    next_cow = world.cows
    of_visit = np.zeros(len(base))
    was = np.zeros((len(base), world.cows), dtype=bool)
    looks, found = [], []
    for visit in range(visits):
        left = rng.random(world.cows) < REPLACED / world.visits_a_year
        cow = np.where(left, next_cow + np.arange(world.cows), cow)
        next_cow += world.cows
        prone[:, left] = rng.normal(0, COW_SD, (len(base), int(left.sum())))
        drawn = rng.normal(0, world.visit_sd, 1 if world.shared else len(base)) * np.ones(len(base))
        of_visit = drawn if visit == 0 else world.follows * of_visit + np.sqrt(1 - world.follows**2) * drawn
        wave = np.log(world.season) / 2 * np.cos(2 * np.pi * (day[visit] / 365.25 - phase))
        raised = np.array([effect.get(name, 0.0) for name in names]) * OF_A_COW * (day[visit] > day[-1] - 75)
        logit = (level + of_visit + wave + raised)[:, None] + prone
        ill = rng.random(logit.shape) < special.expit(logit)
        if visit:
            ill = np.where((rng.random(world.cows) < world.lasts) & ~left, was, ill)
        was = ill
        seen = rng.random(world.cows) < SEEN
        date = pd.Timestamp("2023-02-01") + pd.Timedelta(days=int(day[visit]))
        looks.append(pd.DataFrame({"visit_date": date, "cow": cow[seen].astype(str)}))
        for place, name in enumerate(names):
            found.append(pd.DataFrame({"visit_date": date, "cow": cow[seen & ill[place]].astype(str), "what": name}))
    told = {"farm": "A", "kind": "whole-herd", "scale": "1-5" if "lame" in base else ""}
    rows = pd.concat(found, ignore_index=True).assign(farm="A")
    if "lame" not in base:
        rows = pd.concat([rows, rows.assign(what="any")], ignore_index=True)
    nobody = pd.DataFrame({"farm": [], "visit_date": [], "who": []})
    return number_visits(pd.concat(looks, ignore_index=True).assign(**told), rows, nobody)


def verdicts(rng: np.random.Generator, world: World, effect: dict[str, float], *, monthly: bool = False) -> pd.Series:
    """The verdicts of one simulated farm by outcome; *monthly* adds scorings every month beside the trims."""
    scored = simulate(rng, World(**{**world.__dict__, "visits_a_year": 12}) if monthly else world, GAIT, effect)
    table, _ = judge_farms(["A"], scored, simulate(rng, world, LESIONS, effect))
    return table.set_index("what")["verdict"]


def any_verdict(worlds: list[World], farms: int, seed: int) -> float:
    """Share of stable farms, spread evenly over *worlds*, that get any verdict."""
    rng = np.random.default_rng(seed)
    called = [verdicts(rng, worlds[i % len(worlds)], {}).isin(["worse", "better"]).any() for i in range(farms)]
    return float(np.mean(called))


def notices_in_a_year(rng: np.random.Generator, world: World) -> int:
    """How many notices of a verdict worse one simulated farm gets in its last year, in which nothing changes.

    The farm is judged after each visit of the year, on what was known by then. A visit is told once, and a farm once in
    a calendar month, as ``evenfoot notify`` does.
    """
    scored, trimmed = simulate(rng, world, GAIT, {}), simulate(rng, world, LESIONS, {})
    days = trimmed.looks.groupby("visit")["visit_date"].max()
    months = set()
    for visit, day in days.tail(world.visits_a_year).items():
        table, _ = judge_farms(["A"], _until(scored, visit), _until(trimmed, visit))
        if (table["verdict"] == "worse").any():
            months.add((day.year, day.month))
    return len(months)


def _until(visits: HerdVisits, last: object) -> HerdVisits:
    looks, cases = (frame[frame["visit"] <= last].reset_index(drop=True) for frame in (visits.looks, visits.cases))
    return HerdVisits(looks, cases, visits.people)


def found_share(worlds: list[World], what: str, ratio: float, farms: int, seed: int) -> float:
    """Share of farms, spread over *worlds*, on which the herd's odds of *what* times *ratio* are called worse."""
    rng = np.random.default_rng(seed)
    effect = {what: float(np.log(ratio))}
    if what == "lame":
        called = [
            judge_farms(["A"], simulate(rng, worlds[i % len(worlds)], GAIT, effect), None)[0].set_index("what")[
                "verdict"
            ]
            for i in range(farms)
        ]
    else:
        called = [
            judge_farms(["A"], None, simulate(rng, worlds[i % len(worlds)], LESIONS, effect))[0].set_index("what")[
                "verdict"
            ]
            for i in range(farms)
        ]
    return float(np.mean([each[what] == "worse" for each in called]))


def spread(visit_sd: float, season: float, **more: object) -> list[World]:
    """Farms of 60 to 250 cows with 2 to 12 visits a year over two or three years."""
    return [
        World(cows, visits, years, visit_sd, season, **more)  # type: ignore[arg-type]
        for cows in (60, 100, 250)
        for visits in (2, 4, 12)
        for years in (2, 3)
    ]


STABLE = {
    "visits alike": spread(0.0, 1.0),
    "visits alike, season of odds ratio 2": spread(0.0, 2.0),
    "visits differ (SD 0.25)": spread(0.25, 1.0),
    "visits differ (SD 0.25), season of odds ratio 2": spread(0.25, 2.0),
    "a visit moves all lesions together (SD 0.25), season 2": spread(0.25, 2.0, shared=True),
    "visits follow each other (SD 0.25, correlation 0.6)": spread(0.25, 1.0, follows=0.6),
    "cows stay lame (half of them), visits differ": spread(0.25, 1.0, lasts=0.5),
    "visits differ more (SD 0.4)": spread(0.4, 1.0),
}
THERE = {
    "DD x 3, 100 cows, visits SD 0.25, 4 a year": ([World(100, 4, 3, 0.25)], "DD", 3.0),
    "DD x 3, 100 cows, visits SD 0.25, 2 a year": ([World(100, 2, 3, 0.25)], "DD", 3.0),
    "DD x 3, 100 cows, visits SD 0.25, 12 a year": ([World(100, 12, 2, 0.25)], "DD", 3.0),
    "DD x 2, 250 cows, visits alike, 4 a year": ([World(250, 4, 3)], "DD", 2.0),
    "DD x 2, 250 cows, visits alike, 2 a year": ([World(250, 2, 3)], "DD", 2.0),
    "DD x 2, 250 cows, visits alike, 12 a year": ([World(250, 12, 2)], "DD", 2.0),
    "lame x 2, 100 cows scored monthly": ([World(100, 12, 2)], "lame", 2.0),
    "lame x 2, 100 cows scored monthly, visits SD 0.25": ([World(100, 12, 2, 0.25)], "lame", 2.0),
}


def main(farms: int = 400, seed: int = 20) -> None:
    """Print both tables."""
    print(f"Farms on which nothing changes that get any verdict, of {farms} (at most 5 % wanted)")
    for name, worlds in STABLE.items():
        share = any_verdict(worlds, farms, seed)
        print(f"  {name:<62}{share:>7.1%}  +- {np.sqrt(share * (1 - share) / farms):.1%}", flush=True)
    print(f"Farms on which nothing changes that get a notice in a year, of {farms}, and notices a farm and year")
    for visits in (2, 4, 12):
        for name, visit_sd, season in (("visits alike", 0.0, 1.0), ("visits differ (SD 0.25), season 2", 0.25, 2.0)):
            rng = np.random.default_rng(seed)
            worlds = [World(cows, visits, 3, visit_sd, season) for cows in (60, 100, 250)]
            told = np.array([notices_in_a_year(rng, worlds[i % len(worlds)]) for i in range(farms)])
            said = f"{visits} visits a year, {name}"
            print(f"  {said:<62}{np.mean(told > 0):>7.1%}  {told.mean():.3f} a year", flush=True)
    print(f"Changes that are there and are called worse, of {farms} farms")
    for name, (worlds, what, ratio) in THERE.items():
        share = found_share(worlds, what, ratio, farms, seed)
        print(f"  {name:<62}{share:>7.1%}  +- {np.sqrt(share * (1 - share) / farms):.1%}", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--farms", type=int, default=400)
    parser.add_argument("--seed", type=int, default=20)
    words = parser.parse_args()
    main(words.farms, words.seed)
