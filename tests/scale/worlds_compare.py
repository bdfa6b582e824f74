"""How often the limits of a comparison hold the truth, on farms whose truth is known.

Run with ``python -m tests.scale.worlds_compare``. Cows differ in proneness and are trimmed one to four times, farms
differ in how common the lesion is. Of three properties one (group, of the cow) doubles the odds of a sole ulcer on a
claw; one of the cow (floor) and one of the trim (housing) do nothing. Six other lesions know no property at all. What
is true of a farm follows from the proneness of its cows by quadrature.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import special

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.comparison import comparison
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

EFFECT = np.log(2.0)
COW_SPREAD = 1.2
FARM_SPREAD = 0.6
VISITS = 4
DAYS = ("2024-02-06", "2024-06-11", "2024-10-08", "2025-02-04")
PLACES = [(foot, claw) for foot in ("LF", "RF", "LH", "RH") for claw in ("lateral", "medial")]
OTHERS = {"WL": -4.0, "SH": -4.5, "DS": -5.0, "AC": -5.5, "BU": -6.0, "HF": -6.5}
_POINTS, _WEIGHTS = np.polynomial.hermite_e.hermegauss(40)


@dataclass(frozen=True)
class World:
    """A ledger of many farms, and the log odds of a sole ulcer on a claw of each farm's middle cow, group A."""

    ledger: Ledger
    centre: dict[str, float]


def build_world(folder: Path, farms: int, cows: int = 80, seed: int = 0, rare: float = -3.9) -> World:
    """A ledger of *farms* with about *cows* each."""
    rng = np.random.default_rng(seed)
    parts, centre = [], {}
    for number in range(farms):
        farm = f"Farm {number:03d}"
        centre[farm] = rare + FARM_SPREAD * float(np.clip(rng.standard_normal(), -2, 2))
        parts += list(_farm(rng, farm, centre[farm], int(rng.integers(cows // 2, cows * 3 // 2))))
    rows = pd.concat(parts, ignore_index=True)
    folder.mkdir(parents=True, exist_ok=True)
    return World(ledger_of(folder / "world.duckdb", checked("trims", rows.to_dict("records"))), centre)


def _farm(rng: np.random.Generator, farm: str, centre: float, cows: int) -> Iterator[pd.DataFrame]:
    """Rows of trims without a finding, and of findings."""
    group = rng.random(cows) < rng.uniform(0.3, 0.7)
    floor = rng.random(cows) < 0.5
    parity = rng.integers(1, 4, cows)
    proneness = COW_SPREAD * rng.standard_normal(cows)
    seen = rng.random((cows, VISITS)).argsort(axis=1) < rng.integers(1, VISITS + 1, cows)[:, None]
    cow, visit = np.nonzero(seen)
    trims = pd.DataFrame(
        {
            "farm": farm,
            "visit_kind": "whole-herd",
            "visit_date": np.array(DAYS)[visit],
            "cow": [f"{each}" for each in cow],
            "group": np.where(group[cow], "B", "A"),
            "floor": np.where(floor[cow], "rubber", "concrete"),
            "housing": np.where(rng.random(len(cow)) < 0.5, "pasture", "freestall"),
            "parity": parity[cow],
        }
    )
    own = proneness[cow]
    found = [("SU", rng.random((len(cow), 8)) < special.expit(centre + own + EFFECT * group[cow])[:, None])]
    found += [(code, rng.random((len(cow), 8)) < special.expit(odds + own)[:, None]) for code, odds in OTHERS.items()]
    none = np.ones(len(cow), dtype=bool)
    for code, hits in found:
        row, place = np.nonzero(hits)
        none[row] = False
        yield trims.iloc[row].assign(
            lesion=code, foot=[PLACES[each][0] for each in place], claw=[PLACES[each][1] for each in place]
        )
    yield trims[none].assign(lesion=None, foot=None, claw=None)


def true_risks(centre: float, per: str) -> tuple[float, float]:
    """Risks of groups B and A on a farm, counted *per* unit."""
    risks = []
    for effect in (EFFECT, 0.0):
        claw = special.expit(centre + COW_SPREAD * _POINTS + effect)
        claws = {"claw": [1], "foot": [2], "trim": [8], "cow": [8 * times for times in range(1, VISITS + 1)]}[per]
        risk = np.mean([1 - (1 - claw) ** each for each in claws], axis=0)
        risks.append(float(risk @ _WEIGHTS / _WEIGHTS.sum()))
    return risks[0], risks[1]


def true_ratios(world: World, farms: tuple[str, ...], per: str) -> tuple[float, float]:
    """Odds ratio (the middle of those of the farms) and risk ratio (of all their cows) of group B against A."""
    risks = np.array([true_risks(world.centre[farm], per) for farm in farms])
    logits = special.logit(risks)
    return float(np.exp((logits[:, 0] - logits[:, 1]).mean())), float(risks[:, 0].sum() / risks[:, 1].sum())


def covered(world: World, sets: list[tuple[str, ...]], per: str, **options: object) -> dict[str, tuple[float, int]]:
    """Share of limits that hold the truth, and of p-values below 0.05 where there is nothing, with how many they are.

    *sets* are the farms of each comparison.
    """
    hits: dict[str, list[bool]] = {name: [] for name in ("group or", "group rr", "floor or", "housing or", "rejected")}
    for farms in sets:
        odds, ratio = true_ratios(world, farms, per)
        for by, reference in (("group", "A"), ("floor", "concrete"), ("housing", "freestall")):
            answer = comparison(
                world.ledger,
                Selection(farms=farms, lesions=("SU",), visits=("all",)),
                by=(by,),
                reference=reference,
                per=per,
                **options,  # type: ignore[arg-type]
            )
            row = answer.table.iloc[1]
            true = odds if by == "group" else 1.0
            hits[f"{by} or"].append(bool(row["or_low"] <= true <= row["or_high"]))
            if by == "group":
                hits["group rr"].append(bool(row["rr_low"] <= ratio <= row["rr_high"]))
            else:
                hits["rejected"].append(bool(row["p_value"] < 0.05))
    return {name: (float(np.mean(each)), len(each)) for name, each in hits.items()}


def strata_covered(world: World, sets: list[tuple[str, ...]]) -> dict[str, tuple[float, int]]:
    """The same for lactations as strata: the pooled limits, those of each stratum, and how often strata disagree."""
    hits: dict[str, list[bool]] = {"pooled": [], "each stratum": [], "said to disagree": []}
    for farms in sets:
        odds, _ratio = true_ratios(world, farms, "trim")
        answer = comparison(
            world.ledger,
            Selection(farms=farms, lesions=("SU",), visits=("all",)),
            by=("group",),
            reference="A",
            per="trim",
            stratify="parity",
        )
        row, strata = answer.table.iloc[1], answer.extra["strata"]
        strata = strata[(strata["group"] == "B") & strata["or_low"].notna()]
        hits["pooled"].append(bool(row["mh_low"] <= odds <= row["mh_high"]))
        hits["each stratum"] += [bool(x) for x in (strata["or_low"] <= odds) & (odds <= strata["or_high"])]
        hits["said to disagree"].append(bool(row["homogeneity_p"] < 0.05))
    return {name: (float(np.mean(each)), len(each)) for name, each in hits.items()}


def discoveries(world: World, sets: list[tuple[str, ...]], per: str) -> tuple[float, int]:
    """Share of comparisons lesion by lesion that find any lesion where the floor does nothing to any."""
    found = []
    for farms in sets:
        answer = comparison(
            world.ledger,
            Selection(farms=farms, visits=("all",)),
            by=("floor",),
            reference="concrete",
            per=per,
            each_lesion=True,
        )
        found.append(bool((answer.extra["by_lesion"]["q_value"] < 0.05).any()))
    return float(np.mean(found)), len(found)


def unequal_looks(folder: Path, farms: int, seed: int = 1) -> dict[str, float]:
    """One lesion in ten trims everywhere; cows at pasture trimmed once, the others four times.

    Gives the shares that each housing is said to have, and how often p is below 0.05, by default and counted per cow.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(farms):
        for cow in range(120):
            for visit in range(1 if cow % 2 else 4):
                rows.append(
                    {
                        "farm": f"Farm {number:03d}",
                        "visit_kind": "whole-herd",
                        "visit_date": DAYS[visit],
                        "cow": str(cow),
                        "housing": "pasture" if cow % 2 else "freestall",
                        "lesion": "SU" if rng.random() < 0.1 else None,
                        "foot": "LH",
                    }
                )
    ledger = ledger_of(folder / "looks.duckdb", checked("trims", rows))
    out: dict[str, float] = {}
    for name, per in (("default", None), ("per cow", "cow")):
        shares = prevalence(ledger, Selection(visits=("all",)), by=("housing",), per=per).table.set_index("housing")[
            "prevalence"
        ]
        p = [
            float(
                comparison(
                    ledger, Selection(farms=(f"Farm {number:03d}",), visits=("all",)), reference="freestall", per=per
                )
                .table["p_value"]
                .iloc[1]
            )
            for number in range(farms)
        ]
        out |= {f"{name}, {housing}": float(share) for housing, share in shares.items()}
        out[f"{name}, p < 0.05"] = float(np.mean(np.array(p) < 0.05))
    return out


def pools(world: World, size: int, times: int, seed: int = 2) -> list[tuple[str, ...]]:
    """Random sets of *size* farms."""
    rng = np.random.default_rng(seed)
    names = list(world.centre)
    return [tuple(sorted(rng.choice(names, size, replace=False))) for _ in range(times)]


def main(farms: int = 160) -> None:
    def say(name: str, found: dict[str, tuple[float, int]]) -> None:
        told = ", ".join(
            f"{what} {share:.1%} (+/- {np.sqrt(share * (1 - share) / n):.1%})" for what, (share, n) in found.items()
        )
        print(f"{name}: {told}", flush=True)

    with tempfile.TemporaryDirectory() as folder:
        print("Coverage of nominal 95 % limits, and p below 0.05 where there is nothing")
        world = build_world(Path(folder), farms)
        alone = [(farm,) for farm in world.centre]
        for per in ("trim", "foot", "claw", "cow"):
            say(f"one farm, per {per}", covered(world, alone, per))
        for size, times in ((4, 40), (12, 40), (40, 30)):
            for per in ("trim", "claw"):
                say(f"{size} farms, per {per}", covered(world, pools(world, size, times), per))
        say("lactations as strata, one farm", strata_covered(world, alone))
        say("lactations as strata, 12 farms", strata_covered(world, pools(world, 12, 40)))
        say("any lesion found where none differs, one farm", {"per trim": discoveries(world, alone, "trim")})
        for name, share in unequal_looks(Path(folder), 40).items():
            print(f"unequal looks, {name}: {share:.1%}")


if __name__ == "__main__":
    main()
