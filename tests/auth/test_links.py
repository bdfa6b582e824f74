"""Links to a report: of one farm, signed, ending, revocable, and worth nothing to whoever changes them."""

from __future__ import annotations

import pytest
from itsdangerous import URLSafeSerializer

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth import links, people
from evenfoot.dashboard.auth.viewer import OWNER, Viewer
from tests.auth.asking import marks
from tests.auth.people import Clock, Office, cheap_hashes, staffed
from tests.auth.two_farms import MINE, OTHER, two_farms
from tests.report.made import has_browser


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Office:
    folder, patch = tmp_path_factory.mktemp("links"), pytest.MonkeyPatch()
    cheap_hashes(patch)
    clock = Clock()
    store = staffed(folder / "a.sqlite", {"Olive": ("owner", ()), "Kim": ("trimmer", (MINE,))}, clock)
    patch.undo()
    return Office(two_farms(folder / "l.duckdb"), store, clock)


def kim(office: Office) -> Viewer:
    return Viewer("Kim", (MINE,), "trimmer", people.number_of(office.store, "Kim"))


def test_a_link_shows_the_report_of_its_farm_to_anybody(office: Office) -> None:
    token = links.make(office.store, kim(office), MINE, days=7)
    answer = office.client().get(links.path_of(token))
    assert answer.status_code == 200 and "Home Farm" in answer.text
    assert not marks(answer.text, token)
    assert "script-src" not in answer.headers["Content-Security-Policy"] and "<script" not in answer.text
    assert answer.headers["Referrer-Policy"] == "no-referrer" and answer.headers["Cache-Control"] == "no-store"
    assert "noindex" in answer.headers["X-Robots-Tag"]
    [link] = [each for each in links.listed(office.store, kim(office)) if each.ends_at - each.made_at == 7 * links.DAY]
    assert link.opened == 1
    assert office.client().get("/_dash-layout").status_code == 401
    if has_browser():
        pdf = office.client().get(links.path_of(token) + "/report.pdf")
        assert pdf.status_code == 200 and pdf.data.startswith(b"%PDF")
        assert pdf.headers["Content-Disposition"] == 'attachment; filename="home-farm.pdf"'


def test_a_link_opens_nothing_else(office: Office) -> None:
    path = links.path_of(links.make(office.store, OWNER, MINE))
    for more in (
        "/../../import",
        "/report.html",
        "/report.pdf/..",
        "?farms=Zzother+Farm",
        "/report.pdf?farms=Zzother+Farm",
    ):
        answer = office.client().get(path + more)
        plain = answer.get_data().decode("latin1")[:3000].replace(path.rpartition("/")[2], "")
        assert "zzother" not in plain.casefold().replace("zzother+farm", "").replace("zzother%2bfarm", ""), more
        assert "react-entry-point" not in answer.get_data().decode("latin1")


def test_a_changed_link_leads_nowhere(office: Office) -> None:
    token = links.make(office.store, OWNER, MINE)
    body, _, signature = token.rpartition(".")
    said = URLSafeSerializer(office.store.secret(), salt="evenfoot report link").loads(token)
    forged = [
        body, body + ".", token[:-1], token + "A", signature, "x" * 5000, "\x00", "..",
        URLSafeSerializer(b"guessed", salt="evenfoot report link").dumps(said | {"farm": OTHER}),
        URLSafeSerializer(office.store.secret(), salt="another use").dumps(said),
        # Signed by us but not as the file has it: as if the secret had leaked.
        URLSafeSerializer(office.store.secret(), salt="evenfoot report link").dumps(said | {"farm": OTHER}),
        URLSafeSerializer(office.store.secret(), salt="evenfoot report link").dumps(said | {"id": "x" * 16}),
    ]  # fmt: skip
    assert links.follow(office.store, token) is not None
    texts = set()
    for each in forged:
        assert links.follow(office.store, each) is None, each
        answer = office.client().get("/shared/" + each.replace("\x00", "%00"))
        assert answer.status_code in (303, 308, 404), each
        if answer.status_code == 404:
            texts.add(answer.text)
    assert len(texts) == 1


def test_every_letter_of_a_link_counts(office: Office) -> None:
    """A hundred links, each with another letter changed."""
    token = links.make(office.store, OWNER, MINE)
    tried = 0
    for place in range(len(token) - 1):  # the last letter of base64 holds spare bits
        changed = token[:place] + ("A" if token[place] != "A" else "B") + token[place + 1 :]
        assert links.follow(office.store, changed) is None, place
        tried += 1
    assert tried > 100


def test_a_link_ends_by_itself_by_its_maker_and_with_him(office: Office) -> None:
    ending = links.make(office.store, OWNER, MINE, days=1)
    revoked = links.make(office.store, kim(office), MINE)
    granted = links.make(office.store, kim(office), MINE)
    [number] = [
        link.id
        for link in links.listed(office.store, OWNER)
        if links.follow(office.store, revoked).id == link.id  # type: ignore[union-attr]
    ]
    links.revoke(office.store, kim(office), number)
    assert links.follow(office.store, revoked) is None
    assert office.client().get(links.path_of(revoked)).status_code == 404
    assert links.follow(office.store, granted)
    people.revoke(office.store, "Kim", [MINE])
    assert links.follow(office.store, granted) is None
    people.grant(office.store, "Kim", [MINE])
    assert links.follow(office.store, granted)
    office.clock.now += links.DAY + 1
    assert links.follow(office.store, ending) is None
    people.remove(office.store, "Kim")
    assert links.follow(office.store, granted) is None


@pytest.mark.parametrize(
    ("viewer", "farm", "days"),
    [
        (Viewer("Max", (MINE,), "manager", 9), MINE, 7),
        (Viewer("Ada", (MINE,), "adviser", 9), MINE, 7),
        (Viewer("Kim", (MINE,), "trimmer", 9), OTHER, 7),
        (OWNER, MINE, 0),
        (OWNER, MINE, 100_000),
    ],
)
def test_who_may_not_share_cannot(office: Office, viewer: Viewer, farm: str, days: int) -> None:
    with pytest.raises(UserError):
        links.make(office.store, viewer, farm, days=days)
