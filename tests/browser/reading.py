"""A reader's tab: opens pages, waits until they are drawn, and notes everything that goes wrong on the way."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Locator, Page
from playwright.sync_api import Error as PlaywrightError

HERE = Path(__file__).parent
SETTLING = (HERE / "settling.js").read_text(encoding="utf-8")
LOOKING = (HERE / "looking.js").read_text(encoding="utf-8")
QUIET_MS = 150
PATIENCE = 120.0
STILL = """([quiet, patience]) => new Promise(done => {
  const until = performance.now() + patience;
  const look = () => {
    const got = window.evenfootClock && window.evenfootClock.settled(quiet);
    if (got || performance.now() > until) done(got); else setTimeout(look, 25);
  };
  look();
})"""
"""Waits in the page itself: to ask from outside again and again takes a tenth of what drawing takes."""

_known: dict[Browser, BrowserContext] = {}


def returning(browser: Browser) -> BrowserContext:
    """The context of somebody who has been here before: scripts are kept, cookies are not."""
    if browser not in _known:
        _known[browser] = browser.new_context(accept_downloads=True)
    _known[browser].clear_cookies()
    return _known[browser]


class Reader:
    """One tab at one width, in a *context* or, with *options* or without, in one of its own.

    Attributes
    ----------
    page : Page
    troubles : list of str
        Words on the console, failed answers, requests to other hosts; emptied by :meth:`told`.
    """

    def __init__(
        self,
        browser: Browser,
        address: str,
        width: int,
        height: int = 900,
        context: BrowserContext | None = None,
        **options: Any,
    ) -> None:
        self.address = address
        self.troubles: list[str] = []
        self.context = context or browser.new_context(accept_downloads=True, **options)
        self._alone = context is None
        self.page: Page = self.context.new_page()
        self.page.set_viewport_size({"width": width, "height": height})
        self.page.add_init_script(SETTLING)
        self.page.set_default_timeout(25_000)
        self.page.on("console", lambda said: self._note(said.text) if said.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: self._note(str(error)))
        self.page.on("requestfailed", lambda asked: self._note(f"failed: {asked.url} {asked.failure}"))
        self.page.on("response", lambda got: self._note(f"{got.status}: {got.url}") if got.status >= 400 else None)
        self.page.on("request", lambda asked: self._at_home(asked.url))

    def _note(self, words: str) -> None:
        # A request dropped because its page was left, or answered by nothing to change, is no failure.
        if "ERR_ABORTED" not in words:
            self.troubles.append(words)

    def _at_home(self, url: str) -> None:
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
            "href => window.dash_clientside.set_props('address', { href: new URL(href, location.href).href })", href
        )
        self.settle()

    def settle(self, quiet: int = QUIET_MS) -> tuple[float, float]:
        """Wait until nothing changes; gives ms until the first window and the whole page were filled."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            try:
                got = self.page.evaluate(STILL, [quiet, 1000 * (until - time.monotonic())])
            except PlaywrightError:
                # The page was left for another while this waited.
                self.page.wait_for_timeout(30)
                continue
            if got:
                return float(got[0]), float(got[1])
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
        self.page.close()
        if self._alone:
            self.context.close()


def saved(reader: Reader, take: Locator) -> bytes:
    """The file that a click on *take* gives."""
    with reader.page.expect_download() as waiting:
        take.click()
    assert waiting.value.suggested_filename.startswith("evenfoot-")
    return Path(waiting.value.path()).read_bytes()
