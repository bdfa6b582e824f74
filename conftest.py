"""Runs the examples of docstrings under the name that everything is imported by."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parent
PARTS = ("analytics", "dashboard", "sample_data")


def pytest_configure(config: pytest.Config) -> None:
    """Read ``analytics`` as ``evenfoot/analytics``: pytest names a module by its path, and two names are two
    modules."""
    config.args = [_by_import_name(arg, config.invocation_params.dir) for arg in config.args]


def _by_import_name(arg: str, here: Path) -> str:
    path, *rest = arg.split("::")
    whole = here / path
    if not whole.is_relative_to(ROOT) or whole.relative_to(ROOT).parts[:1] not in {(part,) for part in PARTS}:
        return arg
    return "::".join([str(ROOT / "evenfoot" / whole.relative_to(ROOT)), *rest])
