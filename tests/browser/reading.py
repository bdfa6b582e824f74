"""A reader's tab: opens pages, waits until they are drawn, and notes everything that goes wrong on the way."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page

HERE = Path(__file__).parent
SETTLING = (HERE / "settling.js").read_text(encoding="utf-8")
LOOKING = (HERE / "looking.js").read_text(encoding="utf-8")
QUIET_MS = 150
PATIENCE = 60.0


class Reader:
    """One tab at one width.

    Attributes
    ----------
    page : Page
    troubles : list of str
        Words on the console, failed answers, requests to other hosts; emptied by :meth:`told`.
    """

    def __init__(self, browser: Browser, address: str, width: int, height: int = 900, **options: Any) -> None:
        self.address = address
        self.troubles: list[str] = []
        self.context: BrowserContext = browser.new_context(
            viewport={"width": width, "height": height}, accept_downloads=True, **options
        )
        self.context.add_init_script(SETTLING)
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(25_000)
        self.page.on("console", lambda said: self._note(said.text) if said.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: self._note(str(error)))
        self.page.on("requestfailed", lambda asked: self._note(f"failed: {asked.url} {asked.failure}"))
        self.page.on("response", lambda got: self._note(f"{got.status}: {got.url}") if got.status >= 400 else None)
        self.page.on("request", lambda asked: self._own(asked.url))

    def _note(self, words: str) -> None:
        # A request dropped because its page was left, or answered by nothing to change, is no failure.
        if "ERR_ABORTED" not in words:
            self.troubles.append(words)

    def _own(self, url: str) -> None:
        if not url.startswith((self.address, "data:", "blob:")):
            self.troubles.append(f"asked elsewhere: {url}")

    def open(self, path: str) -> None:
        """Load a page anew and wait until it is drawn."""
        self.page.goto(self.address + path)
        self.settle()

    def follow(self, href: str) -> None:
        """Go to an address as a link of the page does, and wait."""
        self.page.evaluate("window.evenfootClock.start()")
        self.page.evaluate(
            "href => { history.pushState({}, '', href); dispatchEvent(new CustomEvent('_dashprivate_pushstate')); }",
            href,
        )
        self.settle()

    def settle(self, quiet: int = QUIET_MS) -> tuple[float, float]:
        """Wait until nothing changes; gives ms until the first window and the whole page were filled."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            got = self.page.evaluate(f"window.evenfootClock && window.evenfootClock.settled({quiet})")
            if got:
                return float(got[0]), float(got[1])
            self.page.wait_for_timeout(30)
        raise AssertionError(f"{self.page.url} was not drawn within {PATIENCE:.0f} s")

    def looks_wrong(self) -> list[str]:
        """What is wrong with the page as it stands."""
        found: list[str] = self.page.evaluate(LOOKING)
        return found

    def told(self) -> list[str]:
        """The troubles so far, and forget them."""
        out, self.troubles = self.troubles, []
        return out

    def close(self) -> None:
        self.context.close()
