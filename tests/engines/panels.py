"""The panels of every page over a ledger, asked as a browser asks, and what differs between two such answers."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.pages import PANELS
from tests.auth.asking import STAMPED, contents
from tests.auth.people import Clock, Office
from tests.engines.alike import DIGITS

POINTED = re.compile(r"\d+\.\d{6,}(?:e-?\d+)?")
"""Numbers written out in full, as a CSV in a link has them."""

FAILED = "because of an error in Evenfoot"


def office_of(ledger: Ledger, folder: Path) -> Office:
    """The dashboard over a ledger, without accounts."""
    clock = Clock()
    return Office(ledger, Store(folder / f"{ledger.dialect}.accounts.sqlite", clock), clock)


def drawn(office: Office, name: str, search: str) -> tuple[int, str]:
    """Status and text of what a panel shows for an address."""
    return contents(office, office.client(), name, search)


def shown_by(office: Office, search: str, names: Iterable[str] = tuple(PANELS)) -> dict[str, Any]:
    """Panel -> what it shows; every one is shown without a failure."""
    shown = {}
    for name in names:
        code, text = drawn(office, name, search)
        assert code == 200 and FAILED not in text, (name, search, text[:500])
        shown[name] = json.loads(text)
    return shown


def unlike(ours: Any, theirs: Any, where: str = "") -> list[str]:
    """Where two answers differ: words and whole numbers exactly, other numbers by more than nine digits."""
    if isinstance(ours, dict) and isinstance(theirs, dict):
        if ours.keys() != theirs.keys():
            return [f"{where}: {sorted(set(ours) ^ set(theirs))} is in only one"]
        if "bdata" in ours:
            return unlike(_numbers(ours), _numbers(theirs), where)
        return [line for key in ours for line in unlike(ours[key], theirs[key], f"{where}.{key}")]
    if isinstance(ours, list) and isinstance(theirs, list):
        if len(ours) != len(theirs):
            return [f"{where}: {len(ours)} and {len(theirs)} of them"]
        return [
            line for n, (one, other) in enumerate(zip(ours, theirs, strict=True))
            for line in unlike(one, other, f"{where}[{n}]")
        ]  # fmt: skip
    if isinstance(ours, float) or isinstance(theirs, float):
        same = type(theirs) in (int, float) and bool(np.isclose(ours, theirs, rtol=DIGITS, atol=1e-12, equal_nan=True))
        return [] if same else [f"{where}: {ours!r} and {theirs!r}"]
    if isinstance(ours, str) and isinstance(theirs, str) and POINTED.search(ours):
        one, other = (STAMPED.sub("", text) for text in (ours, theirs))
        numbers = zip(POINTED.findall(one), POINTED.findall(other), strict=False)
        same = POINTED.sub("#", one) == POINTED.sub("#", other)
        return [f"{where}: {ours!r} and {theirs!r}"] if not same else [
            line for n, pair in enumerate(numbers) for line in unlike(*map(float, pair), f"{where}, number {n}")
        ]  # fmt: skip
    if isinstance(ours, str) and isinstance(theirs, str):
        ours, theirs = STAMPED.sub("", ours), STAMPED.sub("", theirs)
    return [] if ours == theirs else [f"{where}: {ours!r} and {theirs!r}"]


def _numbers(packed: dict[str, Any]) -> list[Any]:
    values: list[Any] = np.frombuffer(base64.b64decode(packed["bdata"]), dtype=packed["dtype"]).tolist()
    return values
