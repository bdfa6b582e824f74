"""The examples in the docstrings of the trade are true."""

import doctest
import importlib
import pkgutil

import pytest

import analytics.trade

MODULES = [f"analytics.trade.{module.name}" for module in pkgutil.iter_modules(analytics.trade.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_there_are_examples() -> None:
    assert sum(doctest.testmod(importlib.import_module(name)).attempted for name in MODULES) > 20
