"""Every page against the rules of WCAG 2.2 AA, as axe-core checks them."""

from __future__ import annotations

from pathlib import Path

import axe_core_python
import pytest
from playwright.sync_api import Browser, expect

AXE = (Path(axe_core_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PATHS = [
    "/",
    "/?farms=Larkmoor",
    "/lesions?farms=Larkmoor&lesions=SU&feet=RH&claws=lateral&zones=4",
    "/locomotion",
    "/warning?farms=Osier+End",
    "/comparison?by=season&farms=Larkmoor",
    "/change?farms=Larkmoor&lesions=DD",
    "/followup?farms=Nether+Ash",
    "/horn?farms=Nether+Ash",
    "/worklist?farms=Nether+Ash",
    "/plan?farms=Nether+Ash",
    "/farms",
    "/planning?farms=Nether+Ash",
    "/records?farms=Nether+Ash",
    "/cow?farms=Larkmoor&cow=1180",
    "/report?farms=Nether+Ash",
    "/import",
]
NIGHT = ["/?farms=Larkmoor&theme=night", "/lesions?farms=Larkmoor&theme=night", "/import?theme=night"]
PHONE = ["/?farms=Larkmoor", "/lesions?farms=Larkmoor&lesions=DD", "/worklist?farms=Nether+Ash"]
LOOKS = [*((1280, path) for path in (*PATHS, *NIGHT)), *((390, path) for path in PHONE)]


@pytest.mark.parametrize(("width", "path"), LOOKS)
def test_no_barrier_is_found(browser: Browser, served: tuple[str, Path], width: int, path: str) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    page.goto(served[0] + path)
    expect(page.locator("h1")).to_be_visible()
    expect(page.locator(".skeleton")).to_have_count(0)
    page.wait_for_timeout(300)
    page.evaluate(AXE)
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", RULES)
    barriers = [
        f"{each['id']}: {each['help']}: {each['nodes'][0]['html'][:160]} ({len(each['nodes'])} places)"
        for each in found["violations"]
    ]
    context.close()
    assert not barriers, "\n".join(barriers)
