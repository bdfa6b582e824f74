"""``evenfoot agreed``: what was agreed is written down, listed, done, changed, removed, put back, and travels."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.agreements import read
from tests.dashboard.test_cli import Run, run  # noqa: F401

SHEET = "visit_date,farm,visit_kind,cow,foot,lesion\n" + "".join(
    f"{day},{farm},whole-herd,{cow},LH,{'DD' if cow < sick else 'none'}\n"
    for day, sick in (("2025-03-03", 12), ("2025-09-03", 3))
    for farm in ("Alder", "Birch")
    for cow in range(30)
)


@pytest.fixture
def agreed(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:  # noqa: F811
    """The command, on a ledger of two farms, on the first of October 2025."""
    monkeypatch.setenv("EVENFOOT_TODAY", "2025-10-01")
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(SHEET)
    assert run("import", sheet, "--accept")[0] == 0
    return run


def written(agreed: Run) -> None:
    code, out, _ = agreed(
        "agreed", "add", "--farm", "alder", "--text", "Foot bath twice a week", "--who", "Anna", "--due", "2025-06-01",
        "--lesion", "digital dermatitis", "--place", "hind heels", "--on", "2025-03-03",
    )  # fmt: skip
    assert (code, out) == (0, "Agreement 1 was written down.\n")
    assert agreed("agreed", "add", "--farm", "Birch", "--text", "Come a week earlier")[0] == 0


def test_the_list_says_who_by_when_and_what_became_of_the_lesion(agreed: Run) -> None:
    assert agreed("agreed")[:2] == (0, "Nothing that was agreed is written down.\n")
    written(agreed)
    code, out, _ = agreed("agreed", "--farm", "Alder")
    first, second = out.splitlines()
    assert code == 0 and first == (
        "1  2025-03-03 Alder: Foot bath twice a week (Anna; by 2025-06-01; digital dermatitis; hind heels): overdue"
    )
    assert second.strip().startswith(("Better.", "No clear change.", "Too few to say."))
    assert "40 of 100 cows had it (12 of 30 looks at cows), at the newest visit on 2025-09-03 10 of 100" in second
    assert "2  2025-10-01 Birch: Come a week earlier: open" in agreed("agreed")[1].splitlines()
    assert ": open" in agreed("agreed", "--farm", "Alder", "--on", "2025-05-01")[1]


def test_done_changed_removed_and_put_back(agreed: Run, tmp_path: Path) -> None:
    written(agreed)
    assert agreed("agreed", "done", "1", "--on", "2025-05-20", "--note", "two alleys")[:2] == (
        0, "Agreement 1 is done.\n",
    )  # fmt: skip
    assert ": done on 2025-05-20, two alleys" in agreed("agreed")[1]
    assert agreed("agreed", "change", "1", "--not-done", "--note", "", "--who", "", "--due", "2025-12-01")[0] == 0
    assert "(by 2025-12-01; digital dermatitis; hind heels): open" in agreed("agreed")[1]
    assert agreed("agreed", "remove", "1")[0] == 0
    assert "Foot bath" not in agreed("agreed")[1] and ": removed" in agreed("agreed", "--removed")[1]
    assert agreed("agreed", "restore", "1")[:2] == (0, "Agreement 1 is back.\n")
    assert "Foot bath" in agreed("agreed")[1]
    lines = json.loads(agreed("history", "--format", "json")[1])
    assert [line["what"] for line in lines if line["subject"] == "agreement 1"] == [
        f"agreement {what}" for what in ("added", "done", "changed", "removed", "put back")
    ]
    assert agreed("verify")[0] == 0


def test_as_csv_as_json_and_as_a_table(agreed: Run, tmp_path: Path) -> None:
    written(agreed)
    rows = list(csv.DictReader(io.StringIO(agreed("agreed", "--format", "csv")[1])))
    assert (rows[0]["number"], rows[0]["state"], rows[0]["before_cases"]) == ("1", "overdue", "12")
    assert rows[1]["before_cases"] == ""
    out = tmp_path / "agreed.json"
    assert agreed("agreed", "--format", "json", "-o", out)[0] == 0
    told = json.loads(out.read_text())
    assert told[0]["due_on"] == "2025-06-01" and told[1]["due_on"] is None and told[1]["since"] is None
    assert json.loads(agreed("table", "agreed", "--farm", "Alder", "--format", "json")[1])["table"][0]["text"]


def test_it_travels_with_an_export(agreed: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(agreed)
    assert "agreements.csv: 2 rows" in agreed("export", "-o", tmp_path / "out")[1]
    before = read(open_ledger(str(tmp_path / "ledger.duckdb")))
    monkeypatch.setenv("EVENFOOT_LEDGER", str(tmp_path / "other.duckdb"))
    assert "2 agreements would be added" in agreed("check", tmp_path / "out")[1]
    code, out, _ = agreed("import", tmp_path / "out")
    assert code == 0 and "agreements.csv: 2 agreements added, 0 already known." in out
    assert "0 agreements added, 2 already known" in agreed("import", tmp_path / "out")[1]
    after = read(open_ledger(str(tmp_path / "other.duckdb")))
    assert before.drop(columns="agreement_no").equals(after.drop(columns="agreement_no"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--farm", "Cedar"], "The farm 'Cedar' is not in the ledger"),
        (["--format", "xml"], "'xml' is not a format"),
        (["add", "--farm", "Cedar", "--text", "x"], "The farm 'Cedar' is not in the ledger"),
        (["add", "--farm", "Alder", "--text", " "], "Say in a few words what was agreed."),
        (["add", "--farm", "Alder", "--text", "x", "--due", "soon"], "The --due date 'soon' cannot be read"),
        (["add", "--farm", "Alder", "--text", "x", "--due", "2025-01-01"], "before it was agreed"),
        (["add", "--farm", "Alder", "--text", "x", "--on", "2026-01-01"], "still to come"),
        (["add", "--farm", "Alder", "--text", "x", "--lesion", "spots"], "The lesion 'spots' is not understood"),
        (["done", "9"], "There is no agreement 9"),
        (["done", "two"], "'two' is not the number of an agreement"),
        (["done", "99999999999"], "is not the number of an agreement"),
        (["done", "1", "--on", "2025-01-01"], "before it was agreed"),
        (["change", "1"], "says that already"),
        (["remove", "9"], "There is no agreement 9"),
        (["restore", "1"], "was not removed"),
        (["--farm", "Alder", "remove", "1"], "Write --farm after 'remove'."),
    ],
)
def test_what_cannot_be_is_one_sentence_and_exit_code_2(agreed: Run, words: list[str], said: str) -> None:
    written(agreed)
    code, out, err = agreed("agreed", *words)
    assert code == 2 and said in err and not out and len(err.strip().splitlines()) == 1
    assert "Foot bath" in agreed("agreed")[1]


def test_every_help_has_an_example(agreed: Run) -> None:
    for name in ([], ["add"], ["done"], ["change"], ["remove"], ["restore"]):
        assert "Example: evenfoot agreed" in agreed("agreed", *name, "--help")[1]
