"""The examples in the docstrings of the intake are true."""

import doctest
import importlib
import pkgutil

import pytest

import evenfoot.analytics.intake

MODULES = [
    module.name for module in pkgutil.walk_packages(evenfoot.analytics.intake.__path__, "evenfoot.analytics.intake.")
]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_there_are_examples() -> None:
    assert sum(doctest.testmod(importlib.import_module(name)).attempted for name in MODULES) > 20
