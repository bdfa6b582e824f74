"""Short runs of the tortures; ``make torture`` runs them hundreds of times."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

SHORT = {"killed": 4, "torn": 6, "full_disk": 6, "two_writers": 1, "places": 19, "any_bytes": 120}
"""Module -> times. Each turn takes a good part of a second."""


@pytest.mark.parametrize("name", SHORT)
def test_nothing_is_lost(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", f"tests.torture.{name}", "--times", str(SHORT[name])],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing lost" in done.stdout
