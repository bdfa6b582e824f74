"""A phone at the chute: touches, counted; what is said; and what the ledger has at the end."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page

from evenfoot.analytics.ledger import open_ledger
from tests.browser.conftest import start_server
from tests.sheets import checked, ledger_of

FARM = "Home Farm"
DAY = "2026-10-30"
PATIENCE_MS = 20_000
ENTER = """async (cows) => {
  const at = key => document.querySelector(`[data-key="${key}"]`);
  const touch = key => at(key).click();
  for (const cow of cows) {
    if (at("to_number")) touch("to_number");
    while (at("cow").value) touch("less");
    for (const digit of cow) touch("digit-" + digit);
    if (Number(cow) % 3 === 0 && !document.querySelector(".found")) {
      touch("foot-RH"); touch("zone-lateral-4"); touch("lesion-SU"); touch("severity-2"); touch("action-trim");
    }
    touch("next");
    await new Promise(done => setTimeout(done, 5));
  }
}"""
"""Cows written down by the touches of the page, as fast as it draws; every third has a finding."""


def herd(path: Path, cows: int = 240) -> None:
    """A ledger with one herd: registered, and trimmed once."""
    numbers = [str(1000 + n) for n in range(cows)]
    register = [{"farm": FARM, "cow": cow, "birth_date": "2021-01-05", "entered_on": "2024-01-01"} for cow in numbers]
    seen = [
        {"visit_date": "2026-09-20", "farm": FARM, "trimmer": "KV", "visit_kind": "whole-herd", "herd_size": cows,
         "cow": cow, "action": "refer" if cow == "1001" else None, "locomotion_score": 2, "locomotion_scale": "1-5"}
        for cow in numbers
    ]  # fmt: skip
    ledger_of(path, checked("register", register), checked("trims", seen)).lease.drop_if_idle()


@contextmanager
def serving(path: Path, port: int | None = None) -> Iterator[str]:
    """The address of a server on a ledger; it is killed at the end."""
    process, address = start_server(path, port)
    with process:
        try:
            yield address
        finally:
            process.kill()


def rows(path: Path, day: str = DAY) -> list[tuple[Any, ...]]:
    """What the ledger has of a day: cow, foot, zone, lesion, severity, action of every row, by cow."""
    frame = open_ledger(str(path)).frame(
        f"SELECT cow, foot, zone, lesion, severity, action FROM trim_rows WHERE visit_date = DATE '{day}' ORDER BY ALL"
    )
    return list(frame.astype(object).where(frame.notna(), None).itertuples(index=False, name=None))


class Phone:
    """One tab of one phone.

    Attributes
    ----------
    touches : int
        How often it was touched.
    saved : list of str
        Cows that the page said it has saved.
    """

    def __init__(self, context: BrowserContext, address: str, language: str = "") -> None:
        self.context, self.address = context, address
        self.search = f"?language={language}" if language else ""
        self.touches = 0
        self.saved: list[str] = []
        self.errors: list[str] = []
        self.open()

    def open(self) -> None:
        """Open the page, as after the tab was killed."""
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda said: self._heard(said.text))
        self.page.add_init_script(
            """addEventListener("DOMContentLoaded", () => new MutationObserver(() => {
              const said = document.querySelector("#said").textContent;
              if (/^(Saved|Guardada): /.test(said)) console.log("saved " + said.split(": ")[1]);
            }).observe(document.querySelector("#said"), { childList: true }))"""
        )
        self.page.goto(self.address + "/chute" + self.search)
        self.page.wait_for_selector("#bar button")

    def _heard(self, text: str) -> None:
        if text.startswith("saved "):
            self.saved.append(text.removeprefix("saved "))

    def ready(self) -> None:
        """Wait until the page is kept for later and the herd is there."""
        self.page.wait_for_selector("html[data-ready]")
        self.page.evaluate("navigator.serviceWorker.ready.then(() => null)")

    def begin(self, *, walk: bool = False, kind: str = "lame-cow", who: str = "KV") -> None:
        """Say farm, date, trimmer and kind of visit."""
        self.ready()
        if walk:
            self.page.locator(".chips .chip").nth(1).click()
        self.page.fill("#field-date", DAY)
        self.page.fill("#field-who", who)
        if not walk:
            self.page.select_option("#field-kind", kind)
        self.touch("begin")
        self.page.wait_for_selector("[data-key=digit-1]")

    def touch(self, key: str) -> None:
        self.page.click(f'[data-key="{key}"]')
        self.touches += 1

    def number(self, cow: str) -> None:
        for digit in cow:
            self.touch(f"digit-{digit}")

    def enter(self, cows: list[str]) -> None:
        self.page.evaluate(ENTER, cows)

    def kept(self, cows: list[str]) -> None:
        """Wait until the page has said that it saved these cows."""
        until = time.monotonic() + PATIENCE_MS / 1000
        while not set(cows) <= set(self.saved):
            assert time.monotonic() < until, f"saved are {self.saved}, and not all of {cows}"
            self.page.wait_for_timeout(20)

    def unsent(self) -> str:
        """What stands in the count."""
        return self.page.inner_text("#count span").strip()

    def send(self, key: str = "send") -> str:
        """Send, and what the page says then."""
        if self.page.locator("[data-key=send]").count() == 0:
            self.touch("day")
        self.touch(key)
        self.page.wait_for_selector(".answer, .caution")
        return self.page.locator(".answer, .caution").first.inner_text()
