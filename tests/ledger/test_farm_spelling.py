"""One farm has one name, whoever writes at the same moment; a name that may mean two farms is refused."""

from __future__ import annotations

import threading
import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.intake.large_files.stream import check_stream
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.imports.bulk import add_stream
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.farm_mentions import FarmMentions
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.limits import set_limit
from evenfoot.dashboard.auth import people
from evenfoot.dashboard.auth.store import store_of
from evenfoot.dashboard.cli import accounts as accounts_command
from evenfoot.dashboard.ui.tables import known_farms

HEAD = "visit_date,farm,cow,foot,lesion\n"
SPELLINGS = ("Racé Farm", "racé farm", "RACÉ  FARM", unicodedata.normalize("NFD", "Racé Farm"))


def sheet(farm: str, cow: int) -> bytes:
    return f"{HEAD}2026-03-02,{farm},{cow},LH,SU\n".encode()


def twins(path: Path) -> Ledger:
    """A ledger from before names were matched: two farms that differ in case only."""
    ledger = open_ledger(str(path))
    for cow, farm in enumerate(("Race Farm", "Pace Farm")):
        add_sheets(ledger, check_file(sheet(farm, cow), f"{cow}.csv"), f"{cow}.csv", "0" * 64)
    with ledger.writing() as connection:
        for table in ("trim_rows", "trims", "findings", "cows"):
            connection.execute(f"UPDATE {table} SET farm = 'race farm' WHERE farm = 'Pace Farm'")
    assert ledger.farms() == ["Race Farm", "race farm"]
    return ledger


@pytest.mark.parametrize("second", SPELLINGS[1:])
def test_two_first_imports_make_one_farm(second: str, tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    prepared = [prepare_import(ledger, sheet(farm, n), f"{n}.csv") for n, farm in enumerate((SPELLINGS[0], second))]
    for one in prepared:
        assert run_import(ledger, one, "0" * 64).added == 1
    assert ledger.farms() == [SPELLINGS[0]]
    assert verify(ledger).findings == ()


def test_a_large_file_takes_the_spelling_of_the_ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("evenfoot.analytics.intake.large_files.stream.LARGEST_UNFOLDED", 0)
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    stated, bare = tmp_path / "stated.csv", tmp_path / "bare.csv"
    stated.write_bytes(sheet(SPELLINGS[1], 2))
    bare.write_text("visit_date,cow,foot,lesion\n2026-03-02,3,LH,SU\n")
    streams = [check_stream(stated, "s.csv", big_from=1), check_stream(bare, "b.csv", farm=SPELLINGS[2], big_from=1)]
    add_sheets(ledger, check_file(sheet(SPELLINGS[0], 1), "1.csv"), "1.csv", "0" * 64)
    for stream in streams:
        assert stream is not None
        assert add_stream(ledger, stream, "s.csv", "0" * 64).added == 1
    assert ledger.farms() == [SPELLINGS[0]]
    assert ledger.frame("SELECT COUNT(*) AS n FROM trims")["n"].tolist() == [3]
    assert verify(ledger).findings == ()


def test_many_at_one_moment_make_one_farm(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    prepared = [prepare_import(ledger, sheet(SPELLINGS[n % 4], n), f"{n}.csv") for n in range(8)]
    errors = at_once([lambda one=one: run_import(ledger, one, "0" * 64) for one in prepared])  # type: ignore[misc]
    assert not errors
    assert len(ledger.farms()) == 1 and len(ledger.frame("SELECT * FROM trims")) == 8


def at_once(acts: list[Callable[[], object]]) -> list[BaseException]:
    """Do all of them in threads that begin together; what went wrong."""
    barrier, errors = threading.Barrier(len(acts)), list[BaseException]()

    def do(act: Callable[[], object]) -> None:
        barrier.wait(60)
        try:
            act()
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=do, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return errors


def test_of_two_farms_with_one_key_the_exact_one_is_meant_and_else_none(tmp_path: Path) -> None:
    ledger = twins(tmp_path / "l.duckdb")
    assert known_farms(ledger, ["race farm", "Race Farm"]) == ("race farm", "Race Farm")
    with pytest.raises(UserError, match="may be any of 'Race Farm', 'race farm'"):
        known_farms(ledger, ["RACE FARM"])
    with pytest.raises(UserError, match="letter for letter"):
        add_sheets(ledger, check_file(sheet("RACE FARM", 4), "4.csv"), "4.csv", "0" * 64)
    with pytest.raises(UserError, match="letter for letter"):
        check_file(sheet("RACE FARM", 4), "4.csv", known_farms=ledger.farms())
    add_sheets(ledger, check_file(sheet("race farm", 4), "4.csv", known_farms=ledger.farms()), "4.csv", "0" * 64)
    assert ledger.frame("SELECT cow FROM trims WHERE farm = 'race farm' ORDER BY cow")["cow"].tolist() == ["1", "4"]


def test_erasing_one_of_two_farms_leaves_the_other(tmp_path: Path) -> None:
    ledger = twins(tmp_path / "l.duckdb")
    bad = check_file(f"{HEAD}2026-03-02,Race Farm,9,LH,no such thing\n".encode(), "bad.csv")
    add_sheets(ledger, bad, "bad.csv", "0" * 64)
    set_limit(ledger, "long_toe_mm", 81, farm="Race Farm")
    before = ledger.frame("SELECT * FROM history WHERE farm = 'Race Farm'")
    assert len(before) == 1
    [name] = known_farms(ledger, ["race farm"])
    assert erase_farm(ledger, name).rows == 1
    assert ledger.farms() == ["Race Farm"]
    assert len(ledger.frame("SELECT * FROM trim_rows")) == 1
    assert len(ledger.set_aside()) == 1
    assert ledger.frame("SELECT * FROM history WHERE farm = 'Race Farm'").equals(before)


def test_a_grant_of_either_farm_is_revoked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ledger = twins(tmp_path / "l.duckdb")
    store = store_of(ledger)
    people.add(store, "Anna", "owner", password="a long pass phrase 1")
    people.add(store, "Ben", "adviser", farms=("Race Farm", "race farm", "Gone Farm"), password="a long pass phrase 2")
    with pytest.raises(UserError, match="may be any of"):
        accounts_command.revoke(ledger.address, "Ben", ["RACE farm"])
    accounts_command.revoke(ledger.address, "Ben", ["Race Farm"])
    accounts_command.revoke(ledger.address, "Ben", ["RACE  farm", "gone farm"])
    assert "no longer see race farm, Gone Farm" in capsys.readouterr().out
    [ben] = [one for one in people.listed(store) if one.name == "Ben"]
    assert ben.farms == ()


@pytest.mark.parametrize(
    ("farm", "others", "text", "named"),
    [
        ("Quillwort End", (), '{"farm": "quillwort\\u00a0 END", "cow": "1"}', True),
        ("Quillwort End", (), '{"farm": "Quillwort\\tend"}', True),
        ("Quillwort End", (), "visit_QuillwortEnd.csv", True),
        ("Café End", (), '{"note": ["of cafe\\u0301 end"]}', True),
        ("Quillwort", ("Quillwort End",), "Quillwort End was read", False),
        ("Quillwort", ("Quillwort End",), "Quillwort, Quillwort End", True),
        ("Quillwort End", ("Quillwort",), "Quillwort", False),
        ("Ash", (), "wash the foot", False),
        ("Ash", (), "of_ASH.csv", True),
        ("Race Farm", ("race farm",), "race farm", False),
        ("Race Farm", ("race farm",), "RACE FARM", True),
        ("Quillwort", (), 7, False),
    ],
)
def test_a_farm_is_named_in_any_writing_and_no_other_farm_is(
    farm: str, others: tuple[str, ...], text: object, named: bool
) -> None:
    assert FarmMentions(farm, others).is_in(text) is named
