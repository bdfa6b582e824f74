"""Write the demonstration herds: ``python -m evenfoot.sample_data.generate``. The same bytes every time."""

from __future__ import annotations

import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from evenfoot.sample_data import HERDS, farms, messy, truths
from evenfoot.sample_data.herds import Cow
from evenfoot.sample_data.rounds import Farmyard, Records, Row
from evenfoot.sample_data.sheets import SCORE_COLUMNS, TRIM_COLUMNS, frame_of, said_day, write_csv, write_workbook

HOUSING_FROM_SHEET = farms.LONG_HEATH.name
"""This farm's trimmer does not write the housing down; it follows from the group and the housing periods."""


def _register_row(farm: farms.Farm, cow: Cow) -> Row:
    last = (cow.left or farms.END + timedelta(days=1)) - timedelta(days=1)
    moves = [(on, group) for on, group in cow.moves(farm.groups) if on <= last]
    before = [move for move in moves if move[0] <= farms.START]
    moves = before[-1:] + [move for move in moves if move[0] > farms.START]
    return {
        "farm": farm.name,
        "cow": cow.tag,
        "birth_date": said_day(cow.born),
        "calvings": "; ".join(on.isoformat() for on in cow.calvings if on <= last),
        "breed": cow.breed,
        "sire": cow.sire,
        "group_moves": "; ".join(f"{on.isoformat()} {group}" for on, group in moves),
        "entered_on": said_day(cow.entered),
        "left_on": said_day(cow.left),
    }


def _housing_row(stay: farms.Stay) -> Row:
    return {
        "farm": stay.farm,
        "group": stay.group,
        "from": said_day(stay.starts_on),
        "to": said_day(stay.ends_on),
        "housing": stay.housing,
        "floor": stay.floor,
        "bedding": stay.bedding,
        "pasture": "yes" if stay.pasture else "no",
        "wetness": stay.wetness or "",
    }


def farm_records() -> dict[str, Records]:
    """Three years of every farm, each from a random stream of its own: tuning one moves no other."""
    return {
        farm.name: Farmyard(farm, np.random.default_rng([truths.RANDOM_START, number])).work()
        for number, farm in enumerate(farms.FARMS)
    }


def write_herds(folder: Path) -> None:
    """Write every sheet into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    everything = farm_records()
    register = [_register_row(farm, cow) for farm in farms.FARMS for cow in everything[farm.name].cows]
    write_csv(frame_of(register, list(register[0])), folder / "register.csv")
    housing = [_housing_row(stay) for stay in farms.STAYS]
    write_csv(frame_of(housing, list(housing[0])), folder / "housing.csv")
    changes: list[Row] = [
        {
            "farm": change.farm,
            "date": said_day(change.on),
            "what": change.what,
            "note": change.note,
            "lesions": change.lesion,
        }
        for change in truths.CHANGES
    ]
    write_csv(frame_of(changes, list(changes[0])), folder / "changes.csv")
    scores: list[Row] = []
    for farm in farms.FARMS:
        records = everything[farm.name]
        columns = [
            column
            for column in TRIM_COLUMNS
            if farm.name != HOUSING_FROM_SHEET or column not in ("housing", "floor", "bedding")
        ]
        trims = frame_of(records.trims, columns)
        if farm is farms.OSIER_END:
            write_workbook(
                {"trims": trims, "locomotion": frame_of(records.scores, SCORE_COLUMNS)},
                folder / "osier_end.xlsx",
            )
        else:
            write_csv(trims, folder / f"{farm.name.lower().replace(' ', '_')}_trims.csv")
            scores += records.scores
    scores.sort(key=lambda row: (row["date"], row["farm"]) if isinstance(row["date"], date) else ())
    write_csv(frame_of(scores, SCORE_COLUMNS), folder / "locomotion.csv")
    messy.write_notebook(folder / "messy_notebook.csv")


if __name__ == "__main__":
    write_herds(Path(sys.argv[1]) if len(sys.argv) > 1 else HERDS)
