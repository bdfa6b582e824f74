"""The pictures of README and docs, taken anew from the demo herds: ``make screenshots``."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

from evenfoot.dashboard.cli.demo import build
from tests.browser.conftest import FLAGS, find_browser, start_server
from tests.browser.phone import Phone

PICTURES = Path(__file__).resolve().parents[2] / "docs" / "pictures"
YEAR = "since=2025-11-01&until=2026-10-31"
SHOTS = {
    "today-1280": (1280, 800, f"/today?farms=Osier+End&{YEAR}"),
    "today-390": (390, 844, f"/today?farms=Osier+End&{YEAR}"),
    "lesions-1280": (1280, 1240, f"/lesions?farms=Larkmoor&lesions=SU&{YEAR}"),
    "comparison-1280": (1280, 900, "/comparison?lesions=SU"),
    "warning-1280": (1280, 900, "/warning?farms=Osier+End"),
    "cow-1280": (1280, 900, "/cow?farms=Larkmoor&cow=1022#title-cow-timeline"),
    "lesions-390": (390, 844, f"/lesions?farms=Larkmoor&{YEAR}#title-lesion-types"),
    "feet-390": (390, 844, f"/lesions?farms=Larkmoor&{YEAR}#title-lesion-feet"),
}
"""Name -> width, height, address; with a title after ``#`` the page is taken from there on."""

COLOURS = 128
"""Charts have few colours: so many keep a picture small and look the same."""


def take(page: Page, path: str, file: Path) -> None:
    """Take a picture once every chart stands."""
    address, _hash, title = path.partition("#")
    page.goto(address)
    expect(page.locator(".panel").first).to_be_visible()
    expect(page.locator(".skeleton, [data-dash-is-loading=true]")).to_have_count(0, timeout=60_000)
    page.wait_for_timeout(1200)
    if title:
        page.evaluate("title => document.getElementById(title).closest('.panel').scrollIntoView()", title)
        page.wait_for_timeout(400)
    save(page, file)


def save(page: Page, file: Path) -> None:
    """Save what is in the window, in few colours."""
    page.screenshot(path=file)
    Image.open(file).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(file, optimize=True)


AT_THE_CHUTE = {"chute-390": (390, 844), "chute-820": (820, 1180)}
"""Name -> width and height of a phone and of a tablet."""

STEPS = {
    "farms": ("farms",),
    "cow": (),
    "foot": ("foot-RH",),
    "finding": ("zone-lateral-4", "lesion-SU", "severity-2", "block-wrap"),
    "day": ("next", "day"),
}
"""Part of a picture's name -> what is touched before it is taken, one after the other."""


def take_chute(browser: Browser, address: str) -> None:
    """Take pictures of the main steps at the chute: farms loaded, a cow, her foot, a finding, the day."""
    for name, (width, height) in AT_THE_CHUTE.items():
        context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
        phone = Phone(context, address)
        phone.ready()
        for part, keys in STEPS.items():
            if part == "cow":
                phone.begin()
                phone.number("1420")
            for key in keys:
                phone.touch(key)
            if part == "farms":
                for farm in ("Osier End", "Withy Flat"):
                    phone.touch(f"farm-{farm}")
                phone.touch("load-farms")
                phone.page.wait_for_selector("[data-key=load-farms]:not([disabled])", timeout=60_000)
                phone.page.locator("[data-key=farms]").scroll_into_view_if_needed()
                phone.page.evaluate("document.querySelector('[data-key=farms]').scrollIntoView({ block: 'center' })")
            phone.page.wait_for_timeout(400)
            save(phone.page, PICTURES / f"{name}-{part}.png")
        context.close()


def main() -> int:
    """Take every picture; gives the exit code."""
    browser_path = find_browser()
    if browser_path is None:
        print("No Chromium, Chrome or Edge on this machine; the pictures need one.", file=sys.stderr)
        return 2
    PICTURES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        ledger = build(str(Path(folder) / "demo.duckdb"))
        ledger.lease.drop_if_idle()
        process, address = start_server(Path(ledger.name))
        browser = playwright.chromium.launch(executable_path=browser_path, args=FLAGS)
        try:
            for name, (width, height, path) in SHOTS.items():
                page = browser.new_page(viewport={"width": width, "height": height})
                take(page, address + path, PICTURES / f"{name}.png")
                page.close()
                print(f"{name}.png")
            take_chute(browser, address)
        finally:
            browser.close()
            process.terminate()
            process.wait()
    return 0


if __name__ == "__main__":
    sys.exit(main())
