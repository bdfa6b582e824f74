"""Horn against published figures, and the models behind it against published fits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels

from evenfoot.analytics.domain import horn
from evenfoot.analytics.domain.shedding import STANDING
from evenfoot.analytics.measures.horn.growth import growth
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.nested_model import nested_model
from evenfoot.analytics.stats.ordinal_regression import proportional_odds
from tests.sheets import checked, ledger_of

# [pub: Madsen 1976, satisfaction of 1681 residents of Copenhagen; the table `housing` of Venables & Ripley
# 2002, Modern Applied Statistics with S, R package MASS]: Low, Medium, High for every influence (Low, Medium,
# High) within type (Tower, Apartment, Atrium, Terrace) within contact (Low, High).
COPENHAGEN = """
21 21 28 34 22 36 10 11 36 61 23 17 43 35 40 26 18 54 13 9 10 8 8 12 6 7 9 18 6 7 15 13 13 7 5 11
14 19 37 17 23 40 3 5 23 78 46 43 48 45 86 15 25 62 20 23 20 10 22 24 7 10 21 57 23 13 31 21 13 5 6 13
"""


def test_proportional_odds_on_the_copenhagen_housing_table() -> None:
    """[pub: Venables & Ripley 2002, section 7.3, polr(Sat ~ Infl + Type + Cont)]"""
    counts = np.array(COPENHAGEN.split(), dtype=int)
    assert counts.sum() == 1681
    contact, kind, influence, stage = np.meshgrid(*(range(n) for n in (2, 4, 3, 3)), indexing="ij")
    flat = [np.repeat(each.ravel(), counts) for each in (contact, kind, influence, stage)]
    design = pd.DataFrame(
        {
            "InflMedium": flat[2] == 1,
            "InflHigh": flat[2] == 2,
            "TypeApartment": flat[1] == 1,
            "TypeAtrium": flat[1] == 2,
            "TypeTerrace": flat[1] == 3,
            "ContHigh": flat[0] == 1,
        }
    ).astype(float)
    fit = proportional_odds(flat[3], design)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(
        [0.5664, 1.2888, -0.5724, -0.3662, -1.0910, 0.3603], abs=2e-4
    )
    assert fit.coefficients["se"].to_numpy() == pytest.approx(
        [0.1047, 0.1272, 0.1192, 0.1552, 0.1515, 0.0955], abs=3e-4
    )
    assert fit.thresholds == pytest.approx([-0.4961, 0.6907], abs=2e-4)
    assert -2 * fit.log_likelihood == pytest.approx(3479.149, abs=1e-3)


def test_proportional_odds_on_the_graduate_school_data() -> None:
    """[pub: UCLA Statistical Consulting, Stata annotated output, ologit; the data ship with statsmodels]"""
    place = Path(statsmodels.__file__).parent / "miscmodels/tests/results/ologit_ucla.csv"
    data = pd.read_csv(place)
    stage = data["apply"].map({"unlikely": 0, "somewhat likely": 1, "very likely": 2})
    fit = proportional_odds(stage, data[["pared", "public", "gpa"]])
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx([1.047664, -0.0586828, 0.6157458], abs=1e-5)
    assert fit.coefficients["se"].to_numpy() == pytest.approx([0.2657891, 0.2978588, 0.2606311], abs=2e-4)
    assert fit.thresholds == pytest.approx([2.203323, 4.298767], abs=1e-5)


def test_nested_model_on_the_paste_data() -> None:
    """[pub: Davies & Goldsmith 1972, strength of paste by batch and cask; the lme4 documentation gives REML
    criterion 247.0, variances 8.434 (cask), 1.657 (batch), 0.678, mean 60.0533 with standard error 0.6769]"""
    data = pd.read_csv(Path(statsmodels.__file__).parent / "regression/tests/results/pastes.csv")
    fit = nested_model(data["strength"], np.ones((len(data), 1)), data["batch"] + data["cask"], data["batch"])
    assert fit.deviance == pytest.approx(246.99, abs=0.01)
    assert (fit.sd_cow**2, fit.sd_herd**2, fit.sd**2) == pytest.approx((8.434, 1.657, 0.678), abs=2e-3)
    assert fit.coefficients[0] == pytest.approx(60.0533, abs=1e-4)
    assert fit.se[0] == pytest.approx(0.6769, abs=1e-4)
    assert fit.df[0] == pytest.approx(9, abs=0.01)  # ten batches, balanced: exactly nine


def test_growth_is_the_published_rate() -> None:
    """[pub: University of Kentucky, Hoof Trimming of Dairy Cows: about 5 cm a year, some 4 mm a month]"""
    assert horn.GROWTH_MM_PER_MONTH == 4.0
    assert abs(50 / 12 - horn.GROWTH_MM_PER_MONTH) < 0.5


def test_horn_is_shed_from_the_ulcer_site_outward() -> None:
    """Order of shedding [common practice, no source]: the typical sole ulcer site (zone 4) first, then the rest of the
    sole, the heel, and last the abaxial wall and the toe."""
    gone = [set(STANDING[stage].shed) | set(STANDING[stage].partly) for stage in range(6)]
    assert gone[0] == set() and gone[1] == {4} and gone[2] == {4, 5}
    assert 6 not in gone[3] and {2, 3, 7, 8, 1} <= set(STANDING[3].standing)  # heel left high, wall standing
    assert set(STANDING[4].standing) == {1, 7} and STANDING[4].partly == (8,)  # toe and a rim of wall
    assert gone[5] == {4, 5, 6, 2, 3, 8, 1, 7}


def test_a_toe_growing_at_the_published_rate_is_found_at_it(tmp_path: Path) -> None:
    """[pub: University of Kentucky, Hoof Trimming of Dairy Cows: some 4 mm a month, 75 mm after trimming]"""
    rows = [
        {
            "farm": "Ash",
            "visit_date": day,
            "visit_kind": "whole-herd",
            "cow": str(cow),
            "foot": "RH",
            "claw": "lateral",
            "toe_length_mm": length,
            "toe_length_after_mm": horn.TARGET_TOE_LENGTH_MM,
        }
        for cow in range(40)
        for day, length in (("2025-01-15", 80.0), ("2025-07-15", 75 + 4 * 181 / 30.4375 + (cow % 5 - 2)))
    ]
    ledger = ledger_of(tmp_path / "k.duckdb", checked("trims", rows))
    row = growth(ledger, Selection(), by=()).table.iloc[0]
    assert row["low"] < horn.GROWTH_MM_PER_MONTH < row["high"]
    assert row["mm_per_month"] == pytest.approx(horn.GROWTH_MM_PER_MONTH, abs=0.02)
