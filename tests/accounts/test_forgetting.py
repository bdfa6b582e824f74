"""A farm that is erased leaves the accounts file as well, to the last byte."""

from __future__ import annotations

from pathlib import Path

from dashboard.accounts import links, people
from dashboard.accounts.forgetting import forget_farm
from dashboard.accounts.history import history
from dashboard.accounts.store import Store
from dashboard.accounts.viewer import OWNER


def test_grants_and_links_of_a_farm_go(tmp_path: Path) -> None:
    store = Store(tmp_path / "accounts.sqlite")
    forget_farm(store, "Quillwort")
    assert not store.exists
    people.add(store, "Anna", "owner", password="a long pass phrase 1")
    people.add(store, "Ben", "adviser", farms=("Quillwort", "Alder"), password="a long pass phrase 2")
    links.make(store, OWNER, "Quillwort")
    assert b"Quillwort" in b"".join(path.read_bytes() for path in tmp_path.iterdir())
    forget_farm(store, "Quillwort")
    assert b"Quillwort" not in b"".join(path.read_bytes() for path in tmp_path.iterdir())
    lines = history(store)
    assert lines["what"].tolist()[-1] == "farm erased" and lines["farm"].dropna().tolist() == ["Alder"]
    [ben] = [one for one in people.listed(store) if one.name == "Ben"]
    assert ben.farms == ("Alder",)
