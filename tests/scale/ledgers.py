"""Big trim sheets, made up: every farm like every other in size, so that a ledger grows by farms alone.

A farm has 400 stalls, is visited three times a year for eight years, and has about ten thousand findings.
What a farm's year holds depends on the farm and the year only, so the same farm stands in every size. The
sheet comes year by year, as a registry's yearly files would, and one row in a thousand cannot be right.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import numpy as np
import pyarrow as pa

FOLDER = Path("build/scale")
FINDINGS_A_FARM = 10_000
STALLS = 400
YEARS = range(2018, 2026)
VISITS_A_YEAR = 3
DAYS_A_VISIT = 2
WRONG = 0.001
NOTED = 0.02

_LESIONS = ("DD", "SU", "WL", "SH", "HHE", "IH", "white line abscess", "heel erosion", "IP", "TU")
_COMMON = (0.26, 0.12, 0.14, 0.14, 0.13, 0.07, 0.06, 0.04, 0.02, 0.02)
_ZONES = (10, 4, 3, 5, 6, 0, 3, 6, 0, 1)
_FEET = ("LF", "RF", "LH", "RH")
_OFTEN = (0.12, 0.12, 0.38, 0.38)
_HOUSED = (("freestall", "concrete"), ("tie stall", "rubber"), ("bedded pack", "straw"), ("freestall", "rubber"))
_BREEDS = ("Holstein", "Jersey", "Brown Swiss")


def farm_name(number: int) -> str:
    """What a made-up farm is called."""
    return f"Farm {number:05d}"


def farm_year(number: int, year: int, stalls: int = STALLS, visits: int = VISITS_A_YEAR) -> dict[str, np.ndarray]:
    """The rows of one farm's year, as columns of text in the order of the sheet."""
    rng = np.random.default_rng([number, year])
    of_farm = np.random.default_rng(number)
    housing, floor = _HOUSED[int(of_farm.integers(len(_HOUSED)))]
    breed = _BREEDS[int(of_farm.integers(len(_BREEDS)))]
    ease = float(of_farm.normal(0, 0.35))
    start = np.datetime64(f"{year}-01-10") + int(of_farm.integers(20))
    blocks = []
    for visit in range(visits):
        stall = np.arange(stalls)
        # Each fourth year another cow stands in the stall.
        cow = 1000 + stall + stalls * ((year + stall) // 4 - YEARS[0] // 4)
        parity = 1 + (year + stall) % 4
        day = start + 118 * visit + rng.integers(DAYS_A_VISIT, size=stalls)
        chance = 1 / (1 + np.exp(-(-0.25 + ease + 0.15 * parity)))
        ill = rng.random(stalls) < chance
        findings = np.where(ill, 1 + rng.choice(4, size=stalls, p=(0.4, 0.29, 0.18, 0.13)), 0)
        score = 1 + rng.binomial(4, np.where(ill, 0.28, 0.06))
        rows = np.repeat(stall, np.maximum(findings, 1))
        found = np.repeat(findings > 0, np.maximum(findings, 1))
        blocks.append((visit, rows, found, day[rows], cow[rows], parity[rows], score[rows]))
    visit = np.concatenate([np.full(len(block[1]), block[0]) for block in blocks])
    stall, found, day, cow, parity, score = (np.concatenate([block[k] for block in blocks]) for k in range(1, 7))
    size = len(stall)
    which = rng.choice(len(_LESIONS), size=size, p=_COMMON)
    blank = np.full(size, "", dtype=object)

    def where(found: np.ndarray, values: np.ndarray) -> np.ndarray:
        return np.where(found, values.astype(object), blank)

    lesion = where(found, np.array(_LESIONS, dtype=object)[which])
    wrong = rng.random(size) < WRONG
    lesion[wrong] = "squishy"
    zone = np.array(_ZONES)[which].astype(str)
    scored = visit != 1
    return {
        "visit_date": day.astype(str).astype(object),
        "farm": np.full(size, farm_name(number), dtype=object),
        "trimmer": np.full(size, f"Trimmer {number % 40:02d}", dtype=object),
        "visit_kind": np.where(visit == 2, "", "whole-herd").astype(object),
        "herd_size": np.full(size, str(stalls + 20), dtype=object),
        "cow": cow.astype(str).astype(object),
        "group": np.where(stall % 3 == 0, "first calvers", np.where(stall % 3 == 1, "high", "low")).astype(object),
        "housing": np.full(size, housing, dtype=object),
        "floor": np.full(size, floor, dtype=object),
        "parity": parity.astype(str).astype(object),
        "breed": np.full(size, breed, dtype=object),
        "foot": where(found, rng.choice(_FEET, size=size, p=_OFTEN)),
        "claw": where(found & ~np.isin(which, (0, 5, 8)), rng.choice(("outer", "inner"), size=size, p=(0.7, 0.3))),
        "zone": where(found, zone),
        "lesion": lesion,
        "severity": where(found, rng.integers(1, 4, size=size).astype(str)),
        "dd_stage": where(found & (which == 0), rng.choice(("M1", "M2", "M3", "M4"), size=size)),
        "action": np.where(found & (rng.random(size) < 0.1), "block", "trim").astype(object),
        "recheck_on": where(found & (rng.random(size) < 0.05), (day + 28).astype(str)),
        "locomotion_score": where(scored, score.astype(str)),
        "locomotion_scale": where(scored, np.full(size, "1-5")),
        "note": where(rng.random(size) < NOTED, np.full(size, "seen twice, walks well")),
    }


def farms_of(findings: int) -> int:
    """How many farms hold about as many findings."""
    return max(1, findings // FINDINGS_A_FARM)


def batches(findings: int) -> Iterator[pa.Table]:
    """The rows of a sheet with about so many findings, in pieces of one farm's year."""
    for year in YEARS:
        for number in range(farms_of(findings)):
            yield pa.table({name: pa.array(values, pa.string()) for name, values in farm_year(number, year).items()})


def big_sheet(findings: int) -> Path:
    """A CSV with about so many findings, made once and kept under ``build/``."""
    path = FOLDER / f"sheet-{findings}.csv"
    if path.exists():
        return path
    FOLDER.mkdir(parents=True, exist_ok=True)
    draft = path.with_suffix(".part")
    first = next(batches(findings))
    pieces = (batch for piece in batches(findings) for batch in piece.to_batches())
    with duckdb.connect() as connection:
        connection.from_arrow(pa.RecordBatchReader.from_batches(first.schema, pieces)).write_csv(str(draft))
    draft.replace(path)
    return path
