"""Names told once: remembered, found again, taken back, kept whole wherever the ledger goes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.aliases import KnownNames, add_alias, aliases, known_names, take_back_alias
from evenfoot.analytics.ledger.exports.folder import export_folder
from evenfoot.analytics.ledger.exports.saved_answers import FILE, is_remembered, take_remembered
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.layout_answers import layouts, save_answers
from tests.sheets import checked, ledger_of


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    rows: list[dict[str, Any]] = [
        {"farm": farm, "visit_date": "2026-03-02", "cow": cow, "trimmer": "K. Vance"}
        for farm, cow in (("Brookend", "0042"), ("Brookend", "107"), ("Alder", "42"))
    ]
    return ledger_of(tmp_path / "l.duckdb", checked("trims", rows))


def known(ledger: Ledger, *farms: str) -> KnownNames:
    with ledger.reading() as cursor:
        return known_names(cursor, farms)


def test_names_are_known(ledger: Ledger) -> None:
    names = known(ledger, "Brookend")
    assert (names.farms, names.trimmers) == (("Alder", "Brookend"), ("K. Vance",))
    assert names.cows == {"Brookend": ("0042", "107")}
    assert names.meaning("farm", "Brook End") is None


def test_a_name_told_is_found_again_and_taken_back(ledger: Ledger) -> None:
    add_alias(ledger, "farm", "Brook End", "Brookend")
    add_alias(ledger, "farm", "brook  end", "Brookend")
    add_alias(ledger, "cow", "42", "0042", "Brookend")
    add_alias(ledger, "trimmer", "KV", "K. Vance")
    names = known(ledger)
    assert names.meaning("farm", "BROOK END ") == "Brookend"
    assert names.meaning("cow", "42", "Brookend") == "0042" and names.meaning("cow", "42", "Alder") is None
    assert names.meaning("trimmer", "kv") == "K. Vance"
    assert verify(ledger).findings == ()
    take_back_alias(ledger, "farm", "brook end")
    assert known(ledger).meaning("farm", "Brook End") is None
    with pytest.raises(UserError, match="Nothing is remembered of the name 'Brook End'"):
        take_back_alias(ledger, "farm", "Brook End")
    with pytest.raises(UserError, match="Nothing is remembered"):
        take_back_alias(ledger, "cow", "42", "Alder")
    frame = aliases(ledger)
    assert frame["said"].tolist() == ["Brook End", "brook end", "42", "KV"]
    assert frame["taken_back_at"].isna().tolist() == [False, False, True, True]
    assert frame["farm"].fillna("").tolist() == ["Brookend", "Brookend", "Brookend", ""]
    lines = history(ledger).iloc[1:]
    assert lines["what"].tolist() == ["name set"] * 4 + ["name taken back"]
    assert json.loads(lines["after"].iloc[0]) == {"means": "Brookend"}


def test_the_last_word_holds(ledger: Ledger) -> None:
    add_alias(ledger, "farm", "Brook End", "Brookend")
    add_alias(ledger, "farm", "Brook End", "Brook End")
    assert known(ledger).meaning("farm", "Brook End") == "Brook End"
    add_alias(ledger, "farm", "Brook End", "Brook End Farm")
    add_alias(ledger, "farm", "Brook End Farm", "Brookend")
    assert known(ledger).meaning("farm", "Brook End") == "Brookend"
    add_alias(ledger, "farm", "Brookend", "Brook End Farm")
    assert known(ledger).meaning("farm", "Brook End") == "Brook End Farm"
    assert known(ledger).meaning("farm", "Brookend") == "Brook End Farm"
    assert verify(ledger).findings == ()


def test_names_that_lead_in_a_circle_end(ledger: Ledger) -> None:
    for said, means in (("A", "B"), ("B", "C"), ("C", "A")):
        add_alias(ledger, "trimmer", said, means)
    assert known(ledger).meaning("trimmer", "A") in ("A", "B", "C")


def test_what_cannot_be_remembered_is_refused(ledger: Ledger) -> None:
    with pytest.raises(UserError, match="'barn' is no kind of name"):
        add_alias(ledger, "barn", "A", "B")
    with pytest.raises(UserError, match="whose cow"):
        add_alias(ledger, "cow", "42", "0042")
    with pytest.raises(UserError, match="blank"):
        add_alias(ledger, "farm", " ", "Brookend")
    assert aliases(ledger).empty


def test_damage_is_found(ledger: Ledger) -> None:
    add_alias(ledger, "farm", "Brook End", "Brookend")
    with ledger.writing() as connection:
        connection.execute("INSERT INTO aliases SELECT * REPLACE ('Alder' AS means) FROM aliases")
    assert "1 names are said to mean two things." in [str(said) for said in verify(ledger).findings]


def test_names_and_answers_go_where_the_records_go(ledger: Ledger, tmp_path: Path) -> None:
    add_alias(ledger, "farm", "Brook End", "Brookend")
    add_alias(ledger, "cow", "42", "0042", "Brookend")
    add_alias(ledger, "farm", "Old Alder", "Alder")
    add_alias(ledger, "trimmer", "KV", "K. Vance")
    save_answers(ledger, "book.csv", ["Date", "U"], "K. Vance", {"U": "SU", "farm": "Alder"})
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    restore(open_ledger(tmp_path / "other.duckdb"), copy)
    other = open_ledger(tmp_path / "other.duckdb")
    assert aliases(other).equals(aliases(ledger)) and layouts(other).equals(layouts(ledger))
    written = export_folder(ledger, tmp_path / "all", format="csv")
    assert written == {"trims.csv": 3, FILE: 5}
    content = (tmp_path / "all" / FILE).read_bytes()
    assert is_remembered(content)
    fresh = open_ledger(tmp_path / "fresh.duckdb")
    assert take_remembered(fresh, content) == (4, 1) == take_remembered(fresh, content)
    assert aliases(fresh)[["kind", "said", "means", "farm"]].equals(aliases(ledger)[["kind", "said", "means", "farm"]])
    assert layouts(fresh)["answers"].tolist() == layouts(ledger)["answers"].tolist()
    export_folder(ledger, tmp_path / "one", format="csv", farms=["Brookend"])
    told = json.loads((tmp_path / "one" / FILE).read_text(encoding="utf-8"))
    assert [line["said"] for line in told["names"]] == ["Brook End", "42", "KV"]
    assert told["layouts"][0]["answers"] == {"U": "SU"}


@pytest.mark.parametrize(
    "content",
    [
        "", "[]", "{}", '{"names": [], "layouts": [3]}', '{"names": [{"kind": "barn"}], "layouts": []}', "[" * 5000,
        '{"names": [{"kind": "cow", "said": "1", "means": "2", "farm": null}], "layouts": []}',
        '{"names": [], "layouts": [{"name": "a", "trimmer": null, "answers": {}, "headings": []}]}',
    ],
)  # fmt: skip
def test_another_file_is_refused(content: str, tmp_path: Path) -> None:
    assert not is_remembered(content.encode())
    with pytest.raises(UserError, match="does not hold names and layouts"):
        take_remembered(open_ledger(tmp_path / "l.duckdb"), content.encode())


def test_an_erased_farm_takes_its_names_along(ledger: Ledger) -> None:
    add_alias(ledger, "farm", "Brook End", "Brookend")
    add_alias(ledger, "farm", "Brookend Farm", "Alder")
    add_alias(ledger, "farm", "Old Alder", "Alder")
    add_alias(ledger, "cow", "42", "0042", "Brookend")
    save_answers(ledger, "Brookend.csv", ["Date", "U"], None, {"U": "SU", "farm": "Brookend"})
    save_answers(ledger, "b.csv", ["Brookend 2026", "U"], None, {"U": "SU"})
    erase_farm(ledger, "Brookend")
    assert aliases(ledger)["said"].tolist() == ["Old Alder"]
    assert layouts(ledger)[["name", "answers"]].values.tolist() == [["erased", '{"U": "SU"}']]
    for table in ("aliases", "layouts", "history"):
        assert "brookend" not in ledger.frame(f"SELECT * FROM {table}").to_string().casefold()
    assert verify(ledger).findings == ()
