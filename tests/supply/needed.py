"""Which packages Evenfoot needs to run, from what is installed: its own, and those they need in turn."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent.parent
EXTRAS = ("postgres", "oidc")
"""Extras that people install; developers' tools and Spark, which is not in the lock, are none of them."""


def locked() -> dict[str, set[str]]:
    """Name to versions of everything in the lock; more than one where they differ between versions of Python."""
    text = (ROOT / "requirements-dev.lock").read_text(encoding="utf-8")
    out: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([A-Za-z0-9][\w.-]*)(?:\[[\w,]+\])?==([^\s;\\]+)", text, re.M):
        out.setdefault(canonicalize_name(name), set()).add(version)
    return out


def needed() -> dict[str, str]:
    """Name to version of the installed packages that are needed to run, with the extras people install."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = list(project["dependencies"])
    for extra in EXTRAS:
        lines += project["optional-dependencies"][extra]
    found: dict[str, str] = {}
    _follow(lines, (), found, set())
    return dict(sorted(found.items()))


def _follow(lines: Iterable[str], extras: Iterable[str], found: dict[str, str], seen: set[tuple[str, str]]) -> None:
    for line in lines:
        asked = Requirement(line)
        if asked.marker is not None and not any(asked.marker.evaluate({"extra": extra}) for extra in ("", *extras)):
            continue
        name, wanted = canonicalize_name(asked.name), ",".join(sorted(asked.extras))
        if (name, wanted) in seen:
            continue
        seen.add((name, wanted))
        try:
            there = distribution(name)
        except PackageNotFoundError:
            continue  # for another system or Python
        found[name] = there.version
        _follow(there.requires or (), asked.extras, found, seen)
