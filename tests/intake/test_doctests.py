"""The examples in the docstrings of the intake are true."""

import doctest
import importlib
import pkgutil

import pytest

import analytics.intake

MODULES = [f"analytics.intake.{module.name}" for module in pkgutil.iter_modules(analytics.intake.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_there_are_examples() -> None:
    assert sum(doctest.testmod(importlib.import_module(name)).attempted for name in MODULES) > 20
