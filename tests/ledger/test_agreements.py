"""What was agreed: written down, done, changed, removed and put back; its history, its file, and its end."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, agreements, open_ledger
from evenfoot.analytics.ledger.exports.agreements_file import FILE, is_agreements, take_agreements
from evenfoot.analytics.ledger.exports.folder import DICTIONARY, export_folder, files_of_export
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.integrity.backup import back_up
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.measures.herds import trim
from tests.sheets import checked, ledger_of

DAY = dt.date(2025, 3, 3)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    rows = [trim(cow, on="2025-03-03") for cow in range(3)]
    rows += [{**trim(cow, on="2025-03-03"), "farm": "Birch"} for cow in range(3)]
    return ledger_of(tmp_path / "l.duckdb", checked("trims", rows))


def lines(ledger: Ledger) -> list[tuple[str, str, str]]:
    found = history(ledger)
    found = found[found["subject"].str.startswith("agreement")]
    return list(found[["what", "subject", "farm"]].itertuples(index=False, name=None))


def test_written_down_done_changed_removed_and_put_back(ledger: Ledger) -> None:
    number = agreements.add(
        ledger, "Ash", "  Rubber on the\n way to the parlour ", agreed_on=DAY, who="the farmer",
        due_on=dt.date(2025, 6, 1), lesion="SHC", place="hind, zone 4",
    )  # fmt: skip
    [row] = agreements.read(ledger).to_dict("records")
    assert (row["agreement_no"], row["farm"], row["text"]) == (number, "Ash", "Rubber on the way to the parlour")
    assert (row["lesion"], row["place"], row["who"]) == ("SH", "hind, zone 4", "the farmer")
    assert row["due_on"] == pd.Timestamp("2025-06-01") and pd.isna(row["done_on"])
    agreements.mark_done(ledger, number, done_on=dt.date(2025, 5, 1), outcome="two alleys of three")
    agreements.change(ledger, number, {"who": "", "place": "hind feet"})
    [row] = agreements.read(ledger).to_dict("records")
    assert row["done_on"] == pd.Timestamp("2025-05-01") and row["outcome"] == "two alleys of three"
    assert row["who"] is None and row["place"] == "hind feet"
    agreements.change(ledger, number, {"done_on": None})
    assert agreements.read(ledger)["done_on"].isna().all()
    agreements.remove(ledger, number)
    assert agreements.read(ledger).empty and len(agreements.read(ledger, removed=True)) == 1
    agreements.restore(ledger, number)
    assert len(agreements.read(ledger)) == 1
    subject = f"agreement {number}"
    said = ("added", "done", "changed", "changed", "removed", "put back")
    assert lines(ledger) == [(f"agreement {what}", subject, "Ash") for what in said]
    done = history(ledger).set_index("what").loc["agreement done"]
    assert "done_on" not in json.loads(done["before"]) and json.loads(done["after"])["done_on"] == "2025-05-01"
    assert verify(ledger).whole


def test_without_a_day_it_is_today(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EVENFOOT_TODAY", "2025-04-02")
    number = agreements.add(ledger, "Ash", "Wash the bath")
    agreements.mark_done(ledger, number)
    [row] = agreements.read(ledger).to_dict("records")
    assert row["agreed_on"] == row["done_on"] == pd.Timestamp("2025-04-02")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"farm": "Cedar"}, "'Cedar' is not in the ledger"),
        ({"text": " \n "}, "Say in a few words"),
        ({"text": "x" * 201}, "200 letters or fewer"),
        ({"who": "x" * 81}, "80 letters or fewer"),
        ({"lesion": "XX"}, "no code of a lesion"),
        ({"agreed_on": dt.date(2125, 1, 1)}, "still to come"),
        ({"due_on": dt.date(2025, 3, 2)}, "before it was agreed"),
        ({"allowed": ("Birch",)}, "'Ash' is not in the ledger"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_nothing_is_kept(
    ledger: Ledger, wrong: dict[str, object], said: str
) -> None:
    given = {"farm": "Ash", "text": "Rubber", "agreed_on": DAY} | wrong
    farm, text = given.pop("farm"), given.pop("text")
    with pytest.raises(UserError, match=said) as caught:
        agreements.add(ledger, farm, text, **given)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)
    assert agreements.read(ledger).empty and lines(ledger) == []


ACTS: dict[str, Callable[..., None]] = {
    "done": agreements.mark_done,
    "change": lambda ledger, number, **more: agreements.change(ledger, number, {"who": "the vet"}, **more),
    "remove": agreements.remove,
}


@pytest.mark.parametrize("act", ACTS)
def test_of_farms_not_allowed_nothing_is_changed_or_told(ledger: Ledger, act: str) -> None:
    number = agreements.add(ledger, "Ash", "Rubber", agreed_on=DAY)
    before = agreements.read(ledger)
    for other in (number, number + 1):
        with pytest.raises(UserError, match=f"There is no agreement {other}"):
            ACTS[act](ledger, other, allowed=("Birch",))
    agreements.remove(ledger, number)
    with pytest.raises(UserError, match="There is no agreement"):
        agreements.restore(ledger, number, allowed=("Birch",))
    agreements.restore(ledger, number, allowed=("Ash",))
    pd.testing.assert_frame_equal(agreements.read(ledger), before)
    assert agreements.read(ledger, allowed=("Birch",)).empty and len(agreements.read(ledger, ["Ash"])) == 1


def test_what_was_said_already_is_refused(ledger: Ledger, tmp_path: Path) -> None:
    number = agreements.add(ledger, "Ash", "Rubber", agreed_on=DAY)
    with pytest.raises(UserError, match="was not removed"):
        agreements.restore(ledger, number)
    with pytest.raises(UserError, match="says that already"):
        agreements.change(ledger, number, {"text": " Rubber "})
    with pytest.raises(UserError, match="'farm' cannot be changed"):
        agreements.change(ledger, number, {"farm": "Birch"})
    with pytest.raises(UserError, match="before it was agreed"):
        agreements.mark_done(ledger, number, done_on=dt.date(2025, 3, 2))
    agreements.mark_done(ledger, number, done_on=DAY)
    with pytest.raises(UserError, match="was done on 2025-03-03 already"):
        agreements.mark_done(ledger, number)
    agreements.remove(ledger, number)
    with pytest.raises(UserError, match="was removed"):
        agreements.mark_done(ledger, number)
    none = open_ledger(str(tmp_path / "none.duckdb"))
    with pytest.raises(UserError, match="There is no ledger yet"):
        agreements.remove(none, 1)
    assert not none.exists and agreements.read(none).empty


def agreed(ledger: Ledger) -> None:
    agreements.add(ledger, "Ash", '=1+1, "soft"', agreed_on=DAY, who="KV", due_on=DAY, lesion="DD", place="zone 10")
    agreements.mark_done(ledger, 1, done_on=dt.date(2025, 4, 1), outcome="half of it")
    agreements.add(ledger, "Birch", "Wash the bath", agreed_on=DAY)
    agreements.add(ledger, "Ash", "Never mind", agreed_on=DAY)
    agreements.remove(ledger, 3)


TOLD = [name for name in agreements.COLUMNS if name not in ("agreement_no",)]


@pytest.mark.parametrize("format", ["csv", "parquet"])
def test_it_leaves_with_an_export_and_comes_back(ledger: Ledger, tmp_path: Path, format: str) -> None:
    agreed(ledger)
    assert export_folder(ledger, tmp_path / "out", format=format)[FILE] == 2
    assert files_of_export(tmp_path / "out")[-1].name == FILE
    package = json.loads((tmp_path / "out" / DICTIONARY).read_text(encoding="utf-8"))
    [described] = [each for each in package["resources"] if each["path"] == FILE]
    content = (tmp_path / "out" / FILE).read_bytes()
    named = [each["name"] for each in described["schema"]["fields"]]
    assert is_agreements(content) and content.decode("utf-8-sig").splitlines()[0].split(",") == named
    fresh = ledger_of(tmp_path / "fresh.duckdb", checked("trims", [trim(1, on="2025-03-03")]))
    assert take_agreements(fresh, content, dry_run=True) == (2, 0) and agreements.read(fresh).empty
    assert take_agreements(fresh, content) == (2, 0)
    assert take_agreements(fresh, content) == (0, 2) == take_agreements(fresh, content, dry_run=True)
    pd.testing.assert_frame_equal(agreements.read(fresh)[TOLD], agreements.read(ledger)[TOLD])
    assert verify(fresh).whole
    assert take_agreements(ledger, content) == (0, 2)


def test_an_export_of_one_farm_has_its_own_alone(ledger: Ledger, tmp_path: Path) -> None:
    agreed(ledger)
    assert export_folder(ledger, tmp_path / "out", format="csv", farms=["Birch"])[FILE] == 1
    assert "Ash" not in (tmp_path / "out" / FILE).read_text(encoding="utf-8")
    assert FILE not in export_folder(ledger_of(tmp_path / "e.duckdb"), tmp_path / "none", format="csv")


def test_what_was_removed_stays_removed_when_an_older_export_comes_in(ledger: Ledger, tmp_path: Path) -> None:
    agreed(ledger)
    export_folder(ledger, tmp_path / "out", format="csv")
    agreements.remove(ledger, 2)
    assert take_agreements(ledger, (tmp_path / "out" / FILE).read_bytes()) == (0, 2)
    assert agreements.read(ledger)["agreement_no"].tolist() == [1]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Ash,soon,Rubber,,,,,,,2025-03-03 10:00:00", "Row 2 of agreements.csv .* written as 2026-03-31"),
        ("Ash,2025-03-03,Rubber,,,,,,,", "Row 2 of agreements.csv"),
        (",2025-03-03,Rubber,,,,,,,2025-03-03 10:00:00", "it names no farm"),
        ("Ash,2025-03-03,,,,,,,,2025-03-03 10:00:00", "Say in a few words"),
        ("Ash,2025-03-03,Rubber", "more or fewer cells"),
        ("Ash,2025-03-03,Rubber,,,,,,,2025-03-03 10:00:00,more", "more or fewer cells"),
        ("Ash,2025-03-03,Rubber,,,,,,,\udcff", "cannot be read"),
    ],
)
def test_a_file_that_is_wrong_is_refused_whole(ledger: Ledger, line: str, said: str) -> None:
    head = "farm,agreed_on,text,who,due_on,lesion,place,done_on,outcome,added_at\n"
    good = "Birch,2025-03-03,Rubber,,,,,,,2025-03-03 10:00:00\n"
    with pytest.raises(UserError, match=said) as caught:
        take_agreements(ledger, f"{head}{line}\n{good}".encode("utf-8", "surrogateescape"))
    assert "\n" not in str(caught.value) and agreements.read(ledger).empty
    assert not is_agreements(b"farm,date,what\n")


def test_a_farm_that_is_spelt_otherwise_is_the_ledgers(ledger: Ledger) -> None:
    head = "farm,agreed_on,text,who,due_on,lesion,place,done_on,outcome,added_at\n"
    assert take_agreements(ledger, f"{head} ASH ,2025-03-03,Rubber,,,,,,,2025-03-03 10:00:00\n".encode()) == (1, 0)
    assert agreements.read(ledger)["farm"].tolist() == ["Ash"]


def test_a_backup_has_them_and_erasing_a_farm_takes_its_own(ledger: Ledger, tmp_path: Path) -> None:
    agreed(ledger)
    agreements.add(ledger, "Birch", "See how Ash Farm does it", agreed_on=DAY)
    copy = open_ledger(str(back_up(ledger, tmp_path / "copy.duckdb")))
    pd.testing.assert_frame_equal(agreements.read(copy), agreements.read(ledger))
    done = erase_farm(ledger, "Ash")
    assert any("records of other farms have the name 'Ash'" in sentence for sentence in done.beyond)
    assert agreements.read(ledger)["farm"].unique().tolist() == ["Birch"]
    assert agreements.read(ledger, removed=True).empty
    assert {farm for _, _, farm in lines(ledger)} == {"Birch"}
    assert b"half of it" not in Path(ledger.name).read_bytes()
    assert verify(ledger).whole
