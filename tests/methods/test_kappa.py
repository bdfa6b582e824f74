from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.methods.kappa import cohen_kappa, intraclass, kappa_of_table


def test_perfect_and_chance() -> None:
    perfect = cohen_kappa([1, 2, 3, 2], [1, 2, 3, 2], weights="quadratic")
    assert perfect.kappa == pytest.approx(1) and perfect.agreement == 1 and np.isnan(perfect.bias_p_value)
    chance = kappa_of_table(np.outer([30, 20, 50], [40, 40, 20]) / 10)
    assert chance.kappa == pytest.approx(0, abs=1e-12)
    assert chance.agreement == pytest.approx(chance.expected)


def test_two_grades_weigh_nothing() -> None:
    table = [[20, 5], [10, 15]]
    values = [kappa_of_table(table, weights=w).kappa for w in ("none", "linear", "quadratic")]
    assert values == pytest.approx([0.4] * 3)
    # McNemar without correction: (10 - 5)^2 / 15 = 1.667, p = .197.
    assert kappa_of_table(table).bias_p_value == pytest.approx(0.1967, abs=1e-4)


def test_quadratic_kappa_forgives_near_misses() -> None:
    a, b = [1, 2, 3, 4, 5] * 6, [2, 3, 4, 5, 5] * 6
    none, quadratic = (cohen_kappa(a, b, weights=w, grades=[1, 2, 3, 4, 5]) for w in ("none", "quadratic"))
    assert none.kappa < 0.1 < 0.6 < quadratic.kappa
    assert quadratic.bias_p_value < 0.001


def test_missing_grades_are_left_out() -> None:
    found = cohen_kappa([1.0, np.nan, 2, 3], [1.0, 2, np.nan, 3])
    assert found.n == 2 and found.table.shape == (2, 2)


@pytest.mark.parametrize("pair", [([], []), ([1], [1]), ([2, 2, 2], [2, 2, 2])])
def test_too_little_to_agree_on(pair) -> None:
    found = cohen_kappa(*pair)
    assert np.isnan(found.kappa) and np.isnan(found.kappa_low)


def test_kappa_refuses() -> None:
    with pytest.raises(ValueError, match="same units"):
        cohen_kappa([1], [1, 2])
    with pytest.raises(ValueError, match="not among"):
        cohen_kappa([1], [7], grades=[1, 2])
    with pytest.raises(ValueError, match="square"):
        kappa_of_table(pd.DataFrame([[1, 2, 3], [1, 2, 3]]))
    with pytest.raises(ValueError, match="weights"):
        kappa_of_table([[1, 0], [0, 1]], weights="cubic")  # type: ignore[arg-type]


def test_icc_finds_the_share_between_units() -> None:
    rng = np.random.default_rng(0)
    x = 2 * rng.standard_normal((400, 1)) + rng.standard_normal((400, 3))
    found = intraclass(x)
    assert found.icc == pytest.approx(0.8, abs=0.04) and found.low < 0.8 < found.high
    shifted = x + np.array([0.0, 3.0, -3.0])
    assert intraclass(shifted, kind="consistency").icc == pytest.approx(intraclass(x, kind="consistency").icc)
    assert intraclass(shifted).icc < 0.4


def test_icc_limits_cover() -> None:
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(300):
        x = rng.standard_normal((25, 1)) + rng.standard_normal((25, 2))
        found = intraclass(x, kind="consistency")
        held += found.low <= 0.5 <= found.high
    assert 0.92 <= held / 300 <= 0.98


def test_icc_with_too_little() -> None:
    assert np.isnan(intraclass([[1.0, 2.0]]).icc)
    assert np.isnan(intraclass([[1.0], [2.0]]).icc)
    assert np.isnan(intraclass([[2.0, 2.0], [2.0, 2.0]]).icc)
    assert intraclass([[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]]).icc == pytest.approx(1)
    assert intraclass([[1.0, np.nan], [2.0, 2.1], [3.0, 3.1]]).units == 2
    with pytest.raises(ValueError, match="table"):
        intraclass([1.0, 2.0])
    with pytest.raises(ValueError, match="kind"):
        intraclass([[1.0, 2.0], [2.0, 3.0]], kind="average")  # type: ignore[arg-type]
