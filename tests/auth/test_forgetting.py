"""A farm that is erased leaves the accounts file as well, to the last byte."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth import links, people
from evenfoot.dashboard.auth.forgetting import forget_farm
from evenfoot.dashboard.auth.history import history
from evenfoot.dashboard.auth.store import Store, store_of
from evenfoot.dashboard.auth.viewer import OWNER
from evenfoot.dashboard.cli.maintenance import erase_farm
from tests.sheets import checked, ledger_of


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


def test_an_erasing_cut_short_between_ledger_and_accounts_is_finished_by_doing_it_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [{"visit_date": "2026-03-02", "farm": farm, "cow": "1"} for farm in ("Quillwort", "Alder")]
    ledger = ledger_of(tmp_path / "ledger.duckdb", checked("trims", rows))
    store = store_of(ledger)
    people.add(store, "Anna", "owner", password="a long pass phrase 1")
    people.add(store, "Ben", "adviser", farms=("Quillwort",), password="a long pass phrase 2")

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("evenfoot.dashboard.auth.forgetting.forget_farm", killed)
        with pytest.raises(KeyboardInterrupt):
            erase_farm(ledger.name, "Quillwort", yes=True, delete_copies=False)
    assert ledger.farms() == ["Alder"]
    erase_farm(ledger.name, " quillWORT", yes=True, delete_copies=False)
    assert "erased from the accounts" in capsys.readouterr().out
    assert b"Quillwort" not in b"".join(path.read_bytes() for path in tmp_path.glob("*.sqlite*"))
    with pytest.raises(UserError, match="not in the ledger"):
        erase_farm(ledger.name, "Quillwort", yes=True, delete_copies=False)
