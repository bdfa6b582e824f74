"""A ledger of two farms, one of which somebody may see; whatever is of the other begins with zz."""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import Ledger, agreements, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.limits import set_limit
from tests.sheets import checked

MINE = "Home Farm"
OTHER = "Zzother Farm"
LESIONS = (("SU", "4"), ("DD", "10"), ("WL", "3"), ("SH", "5"))


def two_farms(path: Path, *, other: int = 1) -> Ledger:
    """The ledger. With another *other* number the other farm has other records; the farm that may be seen is the same.

    Import 1 is of the farm that may be seen, 2 of both, 3 of the other.
    """
    ledger = open_ledger(str(path))
    mine, theirs = _sheets(MINE, "", 24, 1), _sheets(OTHER, "zz", 24 + 7 * other, 100 + other)
    add_sheets(ledger, mine, "home.csv", "1" * 64)
    both = [*_rows(MINE, "", 24, 3, 9), *_rows(OTHER, "zz", 10 + other, 5 + other, 8)]
    add_sheets(ledger, [checked("trims", both)], "zzboth.csv", "2" * 64)
    add_sheets(ledger, theirs, "zzother.csv", "3" * 64)
    set_limit(ledger, "long_toe_mm", 60 + other, farm=OTHER)
    set_limit(ledger, "long_toe_mm", 78, farm=MINE)
    day = dt.date(2025, 6, 1)
    agreements.add(ledger, MINE, "Lay rubber", agreed_on=day, lesion="SU")
    for n in range(other):
        agreements.add(ledger, OTHER, f"zzLay rubber {n}", agreed_on=day, who="zzMoss", lesion="DD", place="zzheel")
    return ledger


def _sheets(farm: str, mark: str, cows: int, seed: int) -> list[Any]:
    trims = [row for visit in range(8) for row in _rows(farm, mark, cows, seed + visit, visit)]
    chance = random.Random(seed)
    scores = [
        {"farm": farm, "cow": f"{mark}{cow}", "date": _day(visit, mark), "score": chance.randint(1, 4), "scale": "1-5",
         "scorer": f"{mark}Scorer{cow % 2}", "note": f"{mark}note"}
        for visit in range(8) for cow in range(cows)
    ]  # fmt: skip
    register = [
        {"farm": farm, "cow": f"{mark}{cow}", "birth_date": "2021-01-05", "calvings": f"2025-0{1 + cow % 9}-11",
         "breed": f"{mark}Breed", "sire": f"{mark}Sire {cow % 3}", "group_moves": f"2025-01-01 {mark}high",
         "entered_on": "2024-01-01"}
        for cow in range(cows)
    ]  # fmt: skip
    housing = [{"farm": farm, "starts_on": "2024-01-01", "housing": "freestall", "note": f"{mark}note"}]
    changes = [{"farm": farm, "date": "2025-06-01", "what": f"{mark}Rubber laid", "note": f"{mark}note"}]
    kinds = {"trims": trims, "locomotion": scores, "register": register, "housing": housing, "changes": changes}
    return [checked(kind, rows) for kind, rows in kinds.items()]


def _rows(farm: str, mark: str, cows: int, seed: int, visit: int) -> list[dict[str, Any]]:
    chance = random.Random(seed * 977 + visit)
    rows = []
    for cow in range(cows):
        row: dict[str, Any] = {
            "visit_date": _day(visit, mark), "farm": farm, "trimmer": f"{mark}Moss{cow % 2}",
            "visit_kind": "whole-herd", "herd_size": cows, "cow": f"{mark}{cow}", "group": f"{mark}high",
            "breed": f"{mark}Breed", "parity": 1 + cow % 4, "note": f"{mark}note", "toe_length_mm": 74 + cow % 9,
            "toe_length_after_mm": 74, "foot": "LH", "claw": "lateral", "shed_stage": cow % 4,
            "locomotion_score": chance.randint(1, 4),
        }  # fmt: skip
        if chance.random() < 0.45:
            lesion, zone = chance.choice(LESIONS)
            row |= {"lesion": lesion, "zone": zone, "severity": 1 + cow % 3, "action": "block"}
            row |= {"recheck_on": str(dt.date.fromisoformat(_day(visit, mark)) + dt.timedelta(days=30))}
        if cow == 5:
            row |= {"toe_break_mm": 12}
        rows.append(row)
    return rows


def _day(visit: int, mark: str) -> str:
    """The other farm's visits fall on other days and go on for longer."""
    step = 49 if mark else 40
    return str(dt.date(2025, 1, 15) + dt.timedelta(days=step * visit))
