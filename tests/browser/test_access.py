"""Every page against the rules of WCAG 2.2 AA, as axe-core checks them."""

from __future__ import annotations

from pathlib import Path

import axe_core_python
import pytest
from playwright.sync_api import Page, expect

AXE = (Path(axe_core_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PATHS = [
    "/",
    "/?farms=Larkmoor",
    "/lesions?farms=Larkmoor&lesions=SU&feet=RH&claws=lateral&zones=4",
    "/locomotion",
    "/comparison?by=season&farms=Larkmoor",
    "/cow?farms=Larkmoor&cow=1180",
    "/import",
]


@pytest.mark.parametrize("path", PATHS)
def test_no_barrier_is_found(page: Page, served: tuple[str, Path], path: str) -> None:
    page.goto(served[0] + path)
    page.wait_for_selector("h1")
    expect(page.locator(".skeleton")).to_have_count(0)
    page.wait_for_timeout(300)
    page.evaluate(AXE)
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", RULES)
    barriers = [
        f"{each['id']}: {each['help']}: {each['nodes'][0]['html'][:160]} ({len(each['nodes'])} places)"
        for each in found["violations"]
    ]
    assert not barriers, "\n".join(barriers)
