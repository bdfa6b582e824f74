"""The sheets speak the trade's language: every code is one the vocabulary knows."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain import feet, housing, lesions, locomotion, visits
from evenfoot.sample_data import HERDS, farms, messy, truths


def test_codes_in_the_trim_sheets_are_the_trades(trims: pd.DataFrame) -> None:
    assert set(trims["case"].dropna()) <= set(lesions.PARENTS)
    details = trims[["lesion", "lesion_detail"]].dropna().drop_duplicates()
    assert all(lesions.parent_of(detail) == lesion for lesion, detail in details.itertuples(index=False))
    assert set(trims["dd_stage"].dropna()) <= set(lesions.DD_STAGES)
    assert set(trims["foot"].dropna()) == set(feet.FEET)
    assert set(trims["claw"].dropna()) == set(feet.CLAWS)
    assert set(trims["zone"].dropna()) <= set(feet.ZONES)
    assert set(trims["visit_kind"].dropna()) <= set(visits.VISIT_KINDS)
    assert set(trims["locomotion_scale"].dropna()) <= set(locomotion.SCALES)
    assert all(feet.understand_feet(seen) for seen in trims["feet_seen"].dropna().unique())


def test_ways_of_housing_are_the_trades() -> None:
    sheet = pd.read_csv(HERDS / "housing.csv")
    assert set(sheet["housing"]) == set(housing.HOUSINGS)
    assert set(sheet["floor"]) <= set(housing.FLOORS)
    assert set(sheet["wetness"].dropna()) == set(housing.WETNESS)


def test_lesion_families_are_the_trades() -> None:
    for lesion in truths.LESIONS.values():
        assert lesions.LESIONS[lesion.code].family == lesion.family
        assert all(lesions.parent_of(detail) == lesion.code for detail in lesion.details)


def test_the_notebooks_words_can_be_understood_but_the_planted_ones() -> None:
    bad = {(one.row, one.field) for one in truths.MESSY_BAD_ROWS}
    for number, row in enumerate(messy.notebook_rows(), start=messy.FIRST_ROW):
        if row is None:
            continue
        word = row["lesion"]
        understood = lesions.understand_lesion(word) is not None or lesions.says_nothing_found(word)
        assert understood != ((number, "lesion") in bad), (number, word)
        assert not row["foot"] or feet.understand_foot(row["foot"])
        assert not row["claw"] or feet.understand_claw(row["claw"])
        assert visits.understand_visit_kind(row["visit_kind"])


def test_every_farm_is_housed_on_every_day() -> None:
    for farm in farms.FARMS:
        for group in farm.groups:
            for day in pd.date_range(farms.START, farms.END):
                assert farms.stay_of(farm.name, group, day.date()).farm == farm.name
