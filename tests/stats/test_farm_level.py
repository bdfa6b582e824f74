"""A herd's level in place of its own term: near the same answer where both can be had."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats.farm_level import with_herd_level
from evenfoot.analytics.stats.random_herd import random_herd_logit


def test_near_the_answer_of_a_term_a_herd() -> None:
    draw = np.random.default_rng(11)
    sires = {name: effect for name, effect in zip("ABCDEFGHIJKL", np.linspace(-0.8, 0.8, 12), strict=True)}
    rows = [
        {"herd": f"h{herd}", "sire": sire, "n": 40, "level": level, "effect": effect}
        for herd, level in enumerate(np.linspace(-2, 0, 8))
        for sire, effect in sires.items()
    ]
    frame = pd.DataFrame(rows)
    frame["cases"] = draw.binomial(40, 1 / (1 + np.exp(-(frame["level"] + frame["effect"]))))
    few, by_term = with_herd_level(frame, "cases", "n", "herd")
    many, by_level = with_herd_level(frame, "cases", "n", "herd", most_terms=3)
    assert (by_term, by_level) == (["herd"], ["herd_level"])
    one = random_herd_logit(few, "cases", by_term, "sire", n="n", nodes=7, profile=False)
    other = random_herd_logit(many, "cases", by_level, "sire", n="n", nodes=7, profile=False)
    assert other.sd == pytest.approx(one.sd, rel=0.05)
    assert np.corrcoef(one.effects["effect"], other.effects["effect"])[0, 1] > 0.999
    assert other.coefficients.set_index("term").loc["herd_level", "estimate"] == pytest.approx(1, abs=0.15)


def test_one_herd_needs_nothing() -> None:
    frame = pd.DataFrame({"herd": ["a", "a"], "cases": [0, 3], "n": [3, 3]})
    assert with_herd_level(frame, "cases", "n", "herd")[1] == []
    nothing = pd.DataFrame({"herd": list("abc"), "cases": [0, 3, 1], "n": [3, 3, 0 + 3]})
    made, columns = with_herd_level(nothing, "cases", "n", "herd", most_terms=2)
    assert columns == ["herd_level"] and np.isfinite(made["herd_level"]).all()
