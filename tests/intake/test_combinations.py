"""Rows by the code that stands in them."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from evenfoot.analytics.intake.parsing.combinations import rows_of


@given(st.lists(st.integers(0, 9), max_size=60), st.sets(st.integers(0, 9)))
def test_each_wanted_code_has_all_its_rows_in_order(codes: list[int], wanted: set[int]) -> None:
    found = rows_of(np.array(codes, dtype=np.int32), wanted, 10)
    looked_for = {code: [row for row, here in enumerate(codes) if here == code] for code in wanted}
    assert {code: rows.tolist() for code, rows in found.items()} == {c: r for c, r in looked_for.items() if r}


def test_many_codes_in_one_sorting() -> None:
    """Looking for each of a million codes by itself would take hours."""
    codes = np.random.default_rng(1).permutation(1_000_000).astype(np.int32)
    found = rows_of(codes, range(0, 1_000_000, 2), 1_000_000)
    assert len(found) == 500_000
    assert all(codes[rows[0]] == code and len(rows) == 1 for code, rows in found.items())
