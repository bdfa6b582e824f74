"""Every example in the statistics rooms' docstrings runs and prints what it says."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import evenfoot.analytics.stats

MODULES = [m.name for m in pkgutil.walk_packages(evenfoot.analytics.stats.__path__, "evenfoot.analytics.stats.")]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0, f"{name} shows no example"
    assert result.failed == 0


def test_modules_are_found() -> None:
    assert "evenfoot.analytics.stats.intervals" in MODULES
