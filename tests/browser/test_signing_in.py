"""Signing in, working, sharing and signing out in a real browser, at the width of a laptop and of a phone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from evenfoot.dashboard.auth import people
from evenfoot.dashboard.auth.store import Store
from tests.auth.people import PASSWORD
from tests.browser.barriers import barriers
from tests.browser.conftest import start_server
from tests.effort import some
from tests.report.made import herd

pytestmark = pytest.mark.long

UNAUTHORIZED = "401 (UNAUTHORIZED)"
"""What the browser itself says of a sign-in that failed or a session that ended: asked for here."""

READ_TWICE = "body stream already read"
"""What Dash says when a callback is refused because the session has ended: it reads the refusal twice."""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    path: Path = tmp_path_factory.mktemp("door") / "l.duckdb"
    herd(path, "Home Farm", 25, lesions=6).lease.drop_if_idle()
    store = Store(Path(f"{path}.accounts.sqlite"))
    people.add(store, "Olive", "owner", PASSWORD)
    people.add(store, "Kim Vale", "trimmer", PASSWORD, farms=["Home Farm"])
    process, address = start_server(path)
    yield address
    process.terminate()
    process.wait(120)


def wrong(page: Page) -> list[str]:
    wide = page.evaluate("() => document.documentElement.scrollWidth > window.innerWidth")
    return barriers(page) + ["too wide"] * wide


@pytest.mark.parametrize("width", some([390, 1280], 2))
def test_in_and_out(browser: Browser, address: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    tab = context.new_page()
    trouble: list[str] = []
    tab.on("console", lambda said: trouble.append(said.text) if said.type == "error" else None)
    tab.on("pageerror", lambda error: trouble.append(str(error)))
    tab.set_default_timeout(30_000)

    tab.goto(f"{address}/report?farms=Home+Farm")
    expect(tab.get_by_role("heading", name="Sign in")).to_be_visible()
    expect(tab.get_by_label("Name")).to_be_focused()
    assert wrong(tab) == []
    tab.keyboard.type("kim vale")
    tab.keyboard.press("Tab")
    tab.keyboard.type("not the right words")
    tab.keyboard.press("Enter")
    expect(tab.get_by_role("alert")).to_have_text("The name or the password is not right.")
    expect(tab.get_by_label("Password")).to_be_focused()
    tab.keyboard.type(PASSWORD)
    tab.keyboard.press("Enter")

    tab.get_by_role("button", name="Make a link").click()
    link = tab.get_by_label("Link to the report").input_value()
    assert link.startswith(f"{address}/shared/") and tab.url == f"{address}/report?farms=Home+Farm"
    visitor = browser.new_context(viewport={"width": width, "height": 900}).new_page()
    visitor.goto(link, timeout=90_000)
    expect(visitor.get_by_role("heading", name="Home Farm")).to_be_visible()
    revoke = tab.get_by_role("button", name="Revoke the link to Home Farm")
    expect(revoke).to_have_count(1)
    revoke.click()
    expect(tab.get_by_text("leads nowhere now")).to_be_visible()
    visitor.reload(timeout=90_000)
    expect(visitor.get_by_text("This link leads nowhere")).to_be_visible()
    visitor.context.close()

    tab.get_by_role("link", name="Kim Vale").click()
    expect(tab.get_by_role("heading", name="Kim Vale")).to_be_visible()
    assert wrong(tab) == []
    tab.get_by_role("link", name="Back to the herd").click()
    expect(tab.get_by_role("heading", name="Today", exact=True)).to_be_visible()

    # The session ends elsewhere while the page is open: what is done next leads to signing in, and back.
    expect(tab.locator("main .skeleton")).to_have_count(0, timeout=60_000)
    context.clear_cookies(name=re.compile("^evenfoot-session"))
    tab.get_by_role("link", name="Herd", exact=True).first.click()
    expect(tab.get_by_label("Password")).to_be_visible()
    tab.get_by_label("Name").fill("Kim Vale")
    tab.get_by_label("Password").fill(PASSWORD)
    tab.get_by_role("button", name="Sign in").click()
    expect(tab.get_by_role("heading", name="Lesions", exact=True)).to_be_visible()
    tab.goto(f"{address}/account")
    tab.get_by_role("button", name="Sign out", exact=True).click()
    expect(tab.get_by_label("Password")).to_be_visible()
    tab.go_back()
    tab.goto(address)
    expect(tab.get_by_label("Password")).to_be_visible()
    assert [said for said in trouble if UNAUTHORIZED not in said and READ_TWICE not in said] == []
    context.close()
