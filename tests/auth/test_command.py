"""The commands for accounts and links, as the owner of the machine runs them."""

from __future__ import annotations

import getpass
import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfoot.dashboard.auth import people
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.cli.main import main
from tests.auth.people import PASSWORD, cheap_hashes
from tests.report.made import herd

COMMAND = (sys.executable, "-c", "from evenfoot.dashboard.cli.main import main; main()")


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    herd(tmp_path / "l.duckdb", "Home Farm", 5).lease.drop_if_idle()
    return tmp_path / "l.duckdb"


Said = subprocess.CompletedProcess[str]
Run = Callable[..., Said]


def in_a_process(ledger: Path, *words: str, typed: str = "") -> Said:
    env = {**os.environ, "EVENFOOT_LEDGER": str(ledger), "PYTHONWARNINGS": "ignore"}
    env.pop("EVENFOOT_ACCOUNTS", None)
    return subprocess.run([*COMMAND, *words], input=typed, capture_output=True, text=True, env=env, timeout=600)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command without a process of its own, of which each takes a second."""

    def call(ledger: Path, *words: str, typed: str = "") -> Said:
        monkeypatch.setenv("EVENFOOT_LEDGER", str(ledger))
        monkeypatch.delenv("EVENFOOT_ACCOUNTS", raising=False)
        monkeypatch.setattr(sys, "argv", ["evenfoot", *words])
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        capsys.readouterr()
        code: object = 0
        try:
            main()
        except SystemExit as left:
            code = left.code or 0
        out, err = capsys.readouterr()
        return subprocess.CompletedProcess(words, int(str(code)), out, err)

    return call


def test_accounts_are_made_listed_and_changed(ledger: Path, run: Run) -> None:
    made = in_a_process(ledger, "accounts", "add", "Olive", "--role", "owner", typed=PASSWORD + "\n")
    assert made.returncode == 0, made.stderr
    assert PASSWORD not in made.stdout + made.stderr
    run(ledger, "accounts", "add", "Kim", "--role", "trimmer", "--farm", "home  FARM", typed=PASSWORD + "\n")
    listed = run(ledger, "accounts", "list").stdout
    assert listed == "Kim: trimmer, Home Farm; signs in by password\nOlive: owner, every farm; signs in by password\n"
    told = run(ledger, "accounts", "grant", "kim", "--farm", "Next Farm")
    assert "Next Farm is not in the ledger yet" in told.stderr
    store = Store(Path(f"{ledger}.accounts.sqlite"))
    assert people.listed(store)[0].farms == ("Home Farm", "Next Farm")
    assert run(ledger, "accounts", "remove", "Olive").returncode == 2
    link = run(ledger, "share", "home farm", "--days", "3", "--public-name", "herd.example.org").stdout
    assert link.startswith("https://herd.example.org/shared/")
    mark = run(ledger, "share", "--list").stdout.split(":")[0]
    assert "leads nowhere" in run(ledger, "share", "--revoke", mark).stdout
    assert "revoked" in run(ledger, "share", "--list").stdout
    run(ledger, "accounts", "revoke", "Kim", "--farm", "Next Farm")
    run(ledger, "accounts", "password", "Kim", typed="another four words here\n")
    run(ledger, "accounts", "sign-out-everywhere", "Kim")
    run(ledger, "accounts", "remove", "Kim")
    lines = json.loads(run(ledger, "accounts", "history", "--format", "json").stdout)
    assert [(line["what"], line["subject"], line["farm"]) for line in lines] == [
        ("account made, owner", "account Olive", None),
        ("account made, trimmer", "account Kim", "Home Farm"),
        ("farm granted", "account Kim", "Next Farm"),
        ("link made, for 3 days", f"link {mark}", "Home Farm"),
        ("link revoked", f"link {mark}", "Home Farm"),
        ("farm taken away", "account Kim", "Next Farm"),
        ("password changed", "account Kim", None),
        ("signed out everywhere", "account Kim", None),
        ("account removed", "account Kim", None),
    ]
    assert {(line["who"], line["through"]) for line in lines} == {(getpass.getuser(), "command")}
    shown = run(ledger, "accounts", "history").stdout.splitlines()
    assert len(shown) == len(lines) and "UTC" in shown[2] and "(Next Farm)" in shown[2]
    told = run(ledger, "accounts", "history", "--format", "xml")
    assert told.returncode == 2 and "not a format" in told.stderr


@pytest.mark.parametrize(
    ("words", "typed", "said"),
    [
        (("add", "Kim", "--role", "trimmer", "--farm", "Home Farm"), PASSWORD, "first account must be an owner"),
        (("add", "Kim", "--role", "king"), PASSWORD, "not a role"),
        (("add", "Olive", "--role", "owner"), "short", "too short"),
        (("add", "Olive", "--role", "owner"), "", "too short"),
        (("add", "Olive", "--role", "owner", "--farm", "Home Farm"), PASSWORD, "sees every farm"),
        (("add", " ", "--role", "owner"), PASSWORD, "1 to 64 letters"),
        (("add", "Olive", "--role", "owner", "--no-password"), "", "Give a password"),
        (("password", "Olive"), PASSWORD, "no accounts yet"),
        (("grant", "Olive", "--farm", "Home Farm"), "", "no accounts yet"),
    ],
)
def test_what_makes_no_sense_is_one_sentence(
    ledger: Path, words: tuple[str, ...], typed: str, said: str, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    cheap_hashes(monkeypatch)
    monkeypatch.setenv("EVENFOOT_LEDGER", str(ledger))
    monkeypatch.setattr(sys, "argv", ["evenfoot", "accounts", *words])
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed + "\n"))
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 2
    assert said in capsys.readouterr().err
    assert not Path(f"{ledger}.accounts.sqlite").exists() or not people.listed(Store(Path(f"{ledger}.accounts.sqlite")))


def test_two_people_cannot_have_one_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from evenfoot.analytics.errors import UserError

    cheap_hashes(monkeypatch)
    store = Store(tmp_path / "a.sqlite")
    people.add(store, "Olive", "owner", PASSWORD)
    with pytest.raises(UserError, match="already"):
        people.add(store, " OLIVE ", "owner", PASSWORD)
    assert len(people.listed(store)) == 1


def test_a_file_that_is_no_accounts_file_is_said(tmp_path: Path) -> None:
    from evenfoot.analytics.errors import UserError

    (tmp_path / "a.sqlite").write_text("not a database at all, only words " * 40)
    with pytest.raises(UserError, match="cannot be used"):
        people.listed(Store(tmp_path / "a.sqlite"))
    with pytest.raises(UserError, match="cannot be used"):
        people.add(Store(tmp_path / "a.sqlite"), "Olive", "owner", None, email="o@example.org")
