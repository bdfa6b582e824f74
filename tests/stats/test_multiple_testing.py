"""The adjustment for many questions, held to scipy's on random p-values, ties and gaps included."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import false_discovery_control

from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg

P = st.one_of(st.floats(0, 1), st.sampled_from([0.0, 0.01, 0.05, 0.5, 1.0]))


@given(st.lists(st.one_of(P, st.just(float("nan"))), min_size=1, max_size=40))
def test_agrees_with_scipy(p: list[float]) -> None:
    values = np.array(p)
    known = ~np.isnan(values)
    adjusted, called = benjamini_hochberg(values)
    assert np.isnan(adjusted[~known]).all() and not called[~known].any()
    if known.any():
        np.testing.assert_allclose(adjusted[known], false_discovery_control(values[known], method="bh"), rtol=1e-12)


def test_benjamini_hochberg_keeps_gaps_and_order() -> None:
    adjusted, called = benjamini_hochberg([0.5, np.nan, 0.001, 0.02])
    assert adjusted[[0, 2, 3]] == pytest.approx([0.5, 0.003, 0.03])
    assert np.isnan(adjusted[1]) and list(called) == [False, False, True, True]
    assert len(benjamini_hochberg([])[0]) == 0
    with pytest.raises(ValueError, match="between"):
        benjamini_hochberg([1.2])
