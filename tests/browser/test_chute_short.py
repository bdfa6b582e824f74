"""The whole road once: a cow with a finding and a clean one, written down with no network, sent, in the ledger."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser

from tests.browser.phone import Phone, herd, rows, serving


def test_two_cows_with_no_network(browser: Browser, tmp_path: Path) -> None:
    herd(tmp_path / "ledger.duckdb", 30)
    with (
        serving(tmp_path / "ledger.duckdb") as address,
        browser.new_context(viewport={"width": 390, "height": 844}) as context,
    ):
        phone = Phone(context, address)
        phone.begin()
        context.set_offline(True)
        phone.page.reload()
        phone.number("01")
        phone.touch("cow-1001")
        assert "ask your veterinarian" in phone.page.inner_text(".band")
        for key in ("foot-RH", "zone-lateral-4", "lesion-SU", "severity-2", "block-medial", "next"):
            phone.touch(key)
        phone.number("1002")
        phone.touch("next")
        phone.touch("day")
        assert phone.unsent() == "2 not sent"
        assert "All stays on this phone" in phone.send()
        context.set_offline(False)
        assert phone.send() == "Arrived: 2 new, 0 there already, 0 set aside."
        assert phone.unsent() == "All sent" and not phone.errors
    assert rows(tmp_path / "ledger.duckdb") == [
        ("1001", "RH", 4, "SU", 2, "block"),
        ("1002", None, None, None, None, None),
    ]
