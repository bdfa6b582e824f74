"""Who may write down at the chute, and of which farms."""

from __future__ import annotations

import json
import re

import pytest

from tests.auth.asking import marks
from tests.auth.people import PASSWORD, Clock, Office, cheap_hashes, staffed
from tests.auth.two_farms import MINE, OTHER, two_farms

STAFF = {
    "Olive": ("owner", ()),
    "Kim": ("trimmer", (MINE,)),
    "Max": ("manager", (MINE,)),
    "Ada": ("adviser", (MINE,)),
}
ROW = "visit_date,farm,visit_kind,cow,lesion\n2026-04-01,{farm},lame-cow,77,none\n"


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Office:
    folder = tmp_path_factory.mktemp("chute")
    with pytest.MonkeyPatch.context() as patch:
        cheap_hashes(patch)
        store = staffed(folder / "accounts.sqlite", STAFF, Clock())
    return Office(two_farms(folder / "ledger.duckdb"), store, store.clock)  # type: ignore[arg-type]


def test_nobody_gets_nothing(office: Office) -> None:
    nobody = office.client()
    for path in ("/chute", "/chute/facts", "/chute/farms", "/chute/herd?farm=Home+Farm", "/chute/chute.js"):
        assert nobody.get(path).status_code == 303, path
    assert nobody.post("/chute/visit", json={"name": "a", "csv": ROW.format(farm=MINE)}).status_code == 401


@pytest.mark.parametrize("path, form", [("/logout", {}), ("/account", {"act": "sign out everywhere"})])
def test_the_sign_in_page_wipes_the_browser_after_signing_out_alone(
    office: Office, path: str, form: dict[str, str]
) -> None:
    kim = office.client()
    assert "script" not in kim.get("/login").text + kim.get("/login").headers["Content-Security-Policy"]
    kim.sign_in("Kim", PASSWORD)
    answer = kim.post(path, data=form)
    assert answer.status_code == 303 and answer.headers["Location"] == "/login"
    assert "storage" not in answer.headers["Clear-Site-Data"], "records that were not sent are in it"
    page = kim.get("/login")
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    for name in re.findall(r'src="(/chute/[^"]+)"', page.text) + ["/chute/wiping.js"]:
        assert kim.get(name).mimetype == "text/javascript", name
    kim.sign_in("Kim", PASSWORD)
    kim.client.delete_cookie(office.store.cookie("evenfoot-session"), domain="localhost")
    assert "script" not in kim.get("/login").text, "a session that ends by itself wipes nothing"


@pytest.mark.parametrize("who", ["Max", "Ada"])
def test_who_may_not_bring_sheets_in_may_not_write_down(office: Office, who: str) -> None:
    browser = office.signed_in(who)
    before = len(office.ledger.imports())
    assert browser.get("/chute").status_code == browser.get("/chute/facts").status_code == 403
    for answer in (
        browser.get("/chute/farms"),
        browser.get("/chute/herd?farm=Home+Farm"),
        browser.post("/chute/visit", json={"name": "a", "csv": ROW.format(farm=MINE)}),
    ):
        assert answer.status_code == 409 and "may not bring sheets in" in answer.text
    assert len(office.ledger.imports()) == before


def test_a_trimmer_has_the_farms_granted_and_no_other(office: Office) -> None:
    kim = office.signed_in("Kim")
    assert json.loads(kim.get("/chute/farms").text)["farms"] == [MINE]
    herd = kim.get("/chute/herd?farm=Home+Farm")
    assert herd.status_code == 200 and not marks(herd.text)
    assert kim.get("/chute/herd?farm=Zzother+Farm").status_code == 404
    before = len(office.ledger.imports())
    refused = kim.post("/chute/visit", json={"name": "a", "csv": ROW.format(farm=OTHER)})
    assert refused.status_code == 409 and "not granted" in refused.text
    assert len(office.ledger.imports()) == before
    added = kim.post("/chute/visit", json={"name": "a", "csv": ROW.format(farm=MINE)})
    assert json.loads(added.text)["added"] == 1, added.text
    assert len(office.ledger.imports()) == before + 1
    with office.store.look() as connection:
        assert [row["import_no"] for row in connection.execute("SELECT import_no FROM brought")] == [before + 1]


def test_another_site_cannot_send(office: Office) -> None:
    olive = office.signed_in("Olive")
    body = {"name": "a", "csv": ROW.format(farm=MINE)}
    assert olive.post("/chute/visit", json=body, headers={"X-CSRFToken": "guessed"}).status_code == 403
    assert olive.post("/chute/visit", json=body, headers={"Origin": "https://elsewhere.example"}).status_code == 421
