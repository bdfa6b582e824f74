"""Ordered outcomes against printed output. The source stands beside the check."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats.ordinal_regression import proportional_odds


# MASS (Venables & Ripley 2002, section 7.3), ?polr, housing satisfaction in Copenhagen (Madsen 1976).
def test_copenhagen_housing() -> None:
    counts = [
        21, 21, 28, 34, 22, 36, 10, 11, 36, 61, 23, 17, 43, 35, 40, 26, 18, 54, 13, 9, 10, 8, 8, 12, 6, 7, 9,
        18, 6, 7, 15, 13, 13, 7, 5, 11, 14, 19, 37, 17, 23, 40, 3, 5, 23, 78, 46, 43, 48, 45, 86, 15, 25, 62,
        20, 23, 20, 10, 22, 24, 7, 10, 21, 57, 23, 13, 31, 21, 13, 5, 6, 13,
    ]  # fmt: skip
    rows = [
        (satisfaction, influence, kind, contact)
        for contact in ("low", "high")
        for kind in ("tower", "apartment", "atrium", "terrace")
        for influence in ("low", "medium", "high")
        for satisfaction in (1, 2, 3)
    ]
    frame = pd.DataFrame(rows, columns=["sat", "infl", "type", "cont"]).assign(freq=counts)
    units = frame.loc[frame.index.repeat(frame["freq"])].reset_index(drop=True)
    x = pd.DataFrame(
        {
            f"{column}={level}": (units[column] == level).astype(float)
            for column, levels in (
                ("infl", ("medium", "high")),
                ("type", ("apartment", "atrium", "terrace")),
                ("cont", ("high",)),
            )
            for level in levels
        }
    )
    found = proportional_odds(units["sat"], x)
    printed = {
        "infl=medium": (0.5664, 0.1047), "infl=high": (1.2888, 0.1272), "type=apartment": (-0.5724, 0.1192),
        "type=atrium": (-0.3662, 0.1552), "type=terrace": (-1.0910, 0.1515), "cont=high": (0.3603, 0.0955),
    }  # fmt: skip
    table = found.coefficients.set_index("term")
    for term, (estimate, se) in printed.items():
        assert table.loc[term, "estimate"] == pytest.approx(estimate, abs=1e-4)
        assert table.loc[term, "se"] == pytest.approx(se, abs=1e-4)
    assert np.asarray(found.thresholds) == pytest.approx([-0.4961, 0.6907], abs=1e-3)
