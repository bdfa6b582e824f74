"""Many charts at once say of each series what its own chart says."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.methods.baseline_chart import baseline_chart
from analytics.methods.many_charts import many_charts

BASELINE = 12


def made_up(seed: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Series of every length, common and rare, steady and uneven, some rising, some without any case."""
    rng = np.random.default_rng(seed)
    out = []
    for series in range(60):
        length = int(rng.integers(1, 60))
        n = rng.integers(1, (4, 40, 400)[series % 3], size=length)
        risk = np.clip(rng.choice([0.0, 0.01, 0.1, 0.4, 0.97]) + rng.normal(0, (0, 0.08)[series % 2], length), 0, 1)
        risk[length // 2 :] = np.clip(risk[length // 2 :] + rng.choice([0.0, 0.15, -0.1]), 0, 1)
        out.append((rng.binomial(n, risk), n))
    return out


@pytest.mark.parametrize("seed", range(4))
def test_each_series_is_its_own_chart(seed: int) -> None:
    series = made_up(seed)
    longest = max(len(n) for _cases, n in series)
    cases, units = np.zeros((len(series), longest)), np.zeros((len(series), longest))
    for row, (c, n) in enumerate(series):
        cases[row, : len(c)], units[row, : len(n)] = c, n
    many = many_charts(cases, units, BASELINE)
    signals = 0
    for row, (c, n) in enumerate(series):
        own = baseline_chart(c, n, np.arange(len(c)) < BASELINE)
        assert many.reasons[row] == own.reason
        here = slice(0, len(c))
        for name in ("low", "high"):
            assert getattr(many, name)[row, here] == pytest.approx(own.table[name].to_numpy(), nan_ok=True)
        for name in ("outside", "run", "drift"):
            assert getattr(many, name)[row, here].tolist() == own.table[name].tolist()
            assert not getattr(many, name)[row, len(c) :].any()
            signals += int(np.abs(own.table[name]).sum())
        assert many.centre[row] == pytest.approx(own.centre, nan_ok=True)
    assert signals > 20


def test_what_cannot_be_counted_is_refused() -> None:
    with pytest.raises(ValueError, match="among the units"):
        many_charts(np.array([[3.0]]), np.array([[2.0]]), BASELINE)
    with pytest.raises(ValueError, match="at the end"):
        many_charts(np.array([[0.0, 1.0]]), np.array([[0.0, 2.0]]), BASELINE)
