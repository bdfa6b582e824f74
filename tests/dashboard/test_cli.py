"""The command as a stranger meets it: what it prints, where, and how it ends."""

from __future__ import annotations

import csv
import io
import json
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.measures.catalogue import MEASURES
from evenfoot.dashboard.cli import main as cli
from tests.ports import free_port

SHEET = """visit_date,farm,visit_kind,herd_size,cow,foot,claw,zone,lesion,severity,locomotion_score,housing
2026-03-02,Home,whole-herd,3,1,RH,lateral,4,sole ulcer,2,3,freestall
2026-03-02,Home,whole-herd,3,2,,,,none,,1,freestall
2026-03-02,Home,whole-herd,3,3,LH,,10,wart,1,4,tie-stall
2062-03-02,Home,whole-herd,3,4,RH,lateral,4,sole ulcer,2,2,tie-stall
2026-02-30,Home,whole-herd,3,5,RH,lateral,4,white line,2,2,tie-stall
"""
LINE = "2026-03-02,Home,whole-herd,3,9,LH,lateral,{},{},2,1,tie-stall\n"

Run = Callable[..., tuple[int, str, str]]

FREE = "a free port"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command on a ledger of this test's own: (exit code, standard output, standard error)."""
    monkeypatch.setenv("EVENFOOT_LEDGER", str(tmp_path / "ledger.duckdb"))

    def call(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.argv", ["evenfoot", *map(str, words)])
        capsys.readouterr()
        try:
            cli.main()
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return code, said.out, said.err

    return call


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "sheet.csv"
    path.write_text(SHEET)
    return path


def counts(out: str) -> dict[str, Any]:
    """What ``import --json`` printed, without the notes."""
    said = json.loads(out)
    assert all(isinstance(note, str) for note in said.pop("notes"))
    return said


def test_import_prints_its_counts_as_json(run: Run, sheet: Path) -> None:
    code, out, err = run("import", sheet, "--json")
    assert code == 4
    first = {
        "file": "sheet.csv", "kind": "trims", "rows_read": 5, "records": 3, "set_aside": 2, "questions": [],
        "read": 5, "added": 3, "already_known": 0, "import": 1,
    }  # fmt: skip
    assert counts(out) == first
    assert "Set aside: sheet.csv, row 5, visit_date '2062-03-02'" in err and "row 6, visit_date '2026-02-30'" in err
    assert "Rows set aside: 2; `evenfoot rejected 1` gives them" in err
    code, out, _ = run("import", sheet, "--json")
    assert code == 4 and counts(out) == {**first, "added": 0, "already_known": 3, "import": 2}


def test_a_sheet_that_goes_in_whole_ends_with_0(run: Run, sheet: Path) -> None:
    sheet.write_text("".join(SHEET.splitlines(keepends=True)[:4]))
    for added, known in ((3, 0), (0, 3)):
        code, out, err = run("import", sheet, "--json")
        said = counts(out)
        assert (code, said["added"], said["already_known"], said["set_aside"]) == (0, added, known, 0)
        assert "aside" not in err and "blank" not in err


def test_a_cell_that_is_left_blank_is_told(run: Run, sheet: Path) -> None:
    sheet.write_text("".join(SHEET.splitlines(keepends=True)[:4]) + LINE.format(40, "sole ulcer"))
    code, out, err = run("import", sheet, "--json")
    said = counts(out)
    assert (code, said["records"], said["added"], said["set_aside"]) == (4, 4, 4, 0)
    assert "Left blank: sheet.csv, row 5, zone '40': It must be from 0 to 12." in err
    assert "Cells left blank, their rows kept: 1; `evenfoot rejected 1` gives them" in err and "Rows set" not in err
    _, out, _ = run("rejected", 1)
    [row] = list(csv.DictReader(io.StringIO(out.lstrip("\ufeff"))))
    assert (row["cow"], row["zone"]) == ("9", "40")
    assert run("import", sheet, "--json")[0] == 4


def test_a_tab_that_is_not_read_is_told(run: Run, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for line in SHEET.splitlines()[:4]:
        book.active.append(line.split(","))
    prose = book.create_sheet("diary")
    prose.append(["Rain all week, the gates stick."])
    path = tmp_path / "book.xlsx"
    book.save(path)
    code, out, err = run("import", path, "--json")
    said = counts(out)
    assert (code, said["added"], said["set_aside"]) == (4, 3, 0)
    assert "Not read" in err and "diary" in err


def test_an_open_question_writes_nothing(run: Run, sheet: Path, tmp_path: Path) -> None:
    sheet.write_text(SHEET.replace("white line", "squishy"))
    for words in (("import", sheet), ("check", sheet)):
        code, out, err = run(*words)
        assert code == 3 and "Question word:squishy: What does 'squishy' say?" in err
        assert "--answer 'word:squishy=DD'" in err
    assert "nothing was written. Questions that are open: 1." in run("import", sheet)[2]
    said = json.loads(run("import", sheet, "--json")[1])
    assert [(one["id"], one["default"]) for one in said["questions"]] == [("word:squishy", "aside")]
    assert "added" not in said and not (tmp_path / "ledger.duckdb").exists()
    code, out, _ = run("import", sheet, "--json", "--accept")
    assert (code, counts(out)["added"], counts(out)["set_aside"]) == (4, 3, 2)
    assert run("import", sheet, "--answer", "word:squishy=blue")[0] == 2


def test_an_answer_is_taken_and_remembered(run: Run, sheet: Path) -> None:
    rows = "".join(SHEET.splitlines(keepends=True)[:4])
    sheet.write_text(rows + LINE.format(3, "squishy"))
    code, out, err = run("import", sheet, "--json", "--answer", "word:squishy=WL")
    assert (code, counts(out)["added"], counts(out)["set_aside"]) == (0, 4, 0), err
    assert "word:squishy = WL" in run("layouts")[1]
    sheet.write_text((rows + LINE.format(3, "squishy")).replace("2026-03-02", "2026-03-03"))
    code, out, err = run("import", sheet, "--json")
    assert (code, counts(out)["added"], counts(out)["questions"]) == (0, 4, []), err


def test_an_unknown_word_in_few_rows_is_set_aside_without_asking(run: Run, sheet: Path) -> None:
    rows = "".join(LINE.format(4, "sole ulcer").replace(",9,", f",{cow},") for cow in range(10, 30))
    sheet.write_text(SHEET.splitlines(keepends=True)[0] + rows + LINE.format(4, "squishy"))
    code, out, err = run("import", sheet, "--json")
    said = counts(out)
    assert (code, said["added"], said["set_aside"]) == (4, 20, 1)
    assert "lesion 'squishy'" in err


def test_check_writes_nothing(run: Run, sheet: Path, tmp_path: Path) -> None:
    code, out, _ = run("check", sheet)
    assert code == 4 and "3 would be added" in out
    assert not (tmp_path / "ledger.duckdb").exists()


def test_set_aside_rows_can_be_fixed_and_imported_again(run: Run, sheet: Path, tmp_path: Path) -> None:
    run("import", sheet)
    _, out, _ = run("rejected", 1)
    rows = list(csv.DictReader(io.StringIO(out.lstrip("\ufeff"))))
    assert [row["cow"] for row in rows] == ["4", "5"]
    assert all(row["evenfoot_remedy"] for row in rows)
    fixed = tmp_path / "fixed.csv"
    fixed.write_text(out.replace("2062-", "2026-").replace("2026-02-30", "2026-03-02"))
    code, out, err = run("import", fixed, "--json")
    assert (code, json.loads(out)["added"]) == (0, 2), err
    assert run("rejected", 99)[0] == 2


def test_imports_and_undo(run: Run, sheet: Path) -> None:
    run("import", sheet)
    assert "sheet.csv" in run("imports")[1]
    assert "3 rows taken out" in run("undo", 1)[1]
    code, _, err = run("undo", 1)
    assert code == 2 and "undone already" in err
    assert json.loads(run("import", sheet, "--json")[1])["added"] == 3


def test_verify_and_history(run: Run, sheet: Path, tmp_path: Path) -> None:
    assert run("verify")[0] == 2 and run("history")[0] == 2
    run("import", sheet)
    run("undo", 1, "--no-backup")
    assert not (tmp_path / "backups").exists()
    run("import", sheet)
    code, out, _ = run("verify")
    assert code == 0 and "is whole. Imports: 1. Rows: 3." in out
    assert "import undone: import 1" in run("history")[1]
    lines = json.loads(run("history", "--format", "json")[1])
    assert [line["what"] for line in lines] == ["import added", "import undone", "import added"]
    assert len(list(csv.DictReader(io.StringIO(run("history", "--format", "csv")[1])))) == 3
    assert run("history", "--format", "stone")[0] == 2
    with open_ledger(tmp_path / "ledger.duckdb").writing() as connection:
        connection.execute("DELETE FROM trim_rows WHERE cow = '2'")
    code, out, err = run("verify")
    assert code == 1 and "trim_rows holds 2 rows, but 3 came in" in out and "is not whole" in err


def test_a_farm_is_erased(run: Run, sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run("import", sheet)
    kept = tmp_path / "kept.duckdb"
    run("backup", kept)
    assert run("erase-farm", "Nowhere", "--yes")[0] == 2
    code, _, err = run("erase-farm", "Home", "--delete-copies")
    assert code == 2 and "only after a question" in err and kept.exists()
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: "no")
    assert "Nothing was erased" in run("erase-farm", "Home")[2]
    monkeypatch.setattr("builtins.input", lambda _: "Home")
    code, out, _ = run("erase-farm", "Home", "--delete-copies")
    assert code == 0 and "Rows: 3. Imports concerned: 1." in out and f"Deleted {kept}" in out
    assert not kept.exists() and open_ledger(tmp_path / "ledger.duckdb").farms() == []


def test_tables_in_every_format_agree(run: Run, sheet: Path) -> None:
    run("import", sheet)
    words = ("table", "prevalence", "--by", "lesion")
    code, out, err = run(*words, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert code == 0
    assert list(rows[0])[:8] == ["lesion", "cases", "at_risk", "prevalence", "low", "high", "n_farms", "n_visits"]
    assert {row["lesion"]: (row["cases"], row["at_risk"]) for row in rows} == {"DD": ("1", "3"), "SU": ("1", "3")}
    assert "Rests on 1 visit to 1 farm, 3 cows" in err and "Caution: Cows looked at: 3." in err
    answer = json.loads(run(*words, "--format", "json")[1])
    assert [row["cases"] for row in answer["table"]] == [1, 1]
    assert answer["basis"]["cows"] == 3 and answer["cautions"]
    assert "DD" in run(*words)[1]


def test_locomotion_and_comparison_columns(run: Run, sheet: Path) -> None:
    run("import", sheet)
    [row] = json.loads(run("table", "locomotion", "--format", "json")[1])["table"]
    assert (row["period"], row["scored"], row["lame"], row["severe"]) == ("2026-03", 3, 2, 1)
    words = ("comparison", "--by", "housing", "--reference", "tie-stall", "--lesion", "SU", "--format", "csv")
    _, out, _ = run("table", *words)
    head = next(csv.reader(io.StringIO(out)))
    assert head[:13] == [
        "group", "cases", "at_risk", "prevalence", "low", "high", "risk_ratio", "rr_low", "rr_high", "odds_ratio",
        "or_low", "or_high", "p_value",
    ]  # fmt: skip
    rows = list(csv.DictReader(io.StringIO(out)))
    assert rows[0]["group"] == "tie-stall" and float(rows[0]["risk_ratio"]) == float(rows[0]["odds_ratio"]) == 1
    _, out, _ = run("table", *words, "--stratify", "parity")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert next(iter(rows[0])) == "stratum"
    assert rows[0]["stratum"] == "all" and {row["stratum"] for row in rows} > {"all"}
    assert {row["group"] for row in rows if row["stratum"] != "all"} <= {row["group"] for row in rows[:2]}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("table", "milk"), "There is no measure 'milk'"),
        (("table", "prevalence", "--by", "colour"), "grouped by 'colour'"),
        (("table", "prevalence", "--per", "herd"), "not a level of counting"),
        (("table", "prevalence", "--farm", "Nowhere"), "'Nowhere' is not in the ledger"),
        (("table", "prevalence", "--lesion", "squishy"), "'squishy' is not understood"),
        (("table", "prevalence", "--since", "yesterday"), "cannot be read"),
        (("table", "prevalence", "--since", "2026-02-01", "--until", "2026-01-01"), "before it begins"),
        (("table", "prevalence", "--visits", "sometimes"), "not a kind of visit"),
        (("table", "prevalence", "--format", "stone"), "not a format"),
        (("table", "prevalence", "--level", "95"), "between 0 and 1"),
        (("table", "comparison", "--by", "housing", "--reference", "igloo"), "'igloo'"),
        (("serve", "--host", "0.0.0.0", "--port", FREE), "no accounts yet"),
        (("serve", "--port", "700000"), "not a port"),
        (("import", "absent.csv"), "no file absent.csv"),
        (("import", "."), "is a folder"),
        (("undo", "44"), "no import 44"),
        (("table", "prevalence", "--ledger", "mongodb://x"), "cannot be opened"),
    ],
)  # fmt: skip
def test_a_bad_request_is_one_sentence_and_exit_2(run: Run, sheet: Path, words: tuple[str, ...], said: str) -> None:
    run("import", sheet)
    code, _, err = run(*(str(free_port()) if word is FREE else word for word in words))
    assert code == 2
    assert said in err
    assert err.startswith("Evenfoot: ") and err.count("\n") == 1


def test_a_ledger_that_is_not_there_is_said(run: Run) -> None:
    for words in (("table", "prevalence"), ("imports",), ("rejected",)):
        code, _, err = run(*words)
        assert code == 2 and "no ledger" in err


def test_a_taken_port_is_said(run: Run) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        code, _, err = run("serve", "--port", other.getsockname()[1])
    assert code == 2 and "another program has it" in err


def test_one_unreadable_file_does_not_stop_the_others(run: Run, sheet: Path, tmp_path: Path) -> None:
    junk = tmp_path / "picture.csv"
    junk.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20)
    code, out, err = run("import", junk, sheet)
    assert code == 2 and "picture.csv" in err
    assert "3 added" in out


def test_what_is_remembered_travels_with_an_export(run: Run, tmp_path: Path) -> None:
    """An answer given on one machine is not asked for on another that the export was brought to."""
    own, later = tmp_path / "own.csv", tmp_path / "later.csv"
    own.write_text("Date,Farm,Cow,Foot,Lesion\n2026-08-25,Elm End,14,RH,U\n2026-08-25,Elm End,15,,none\n")
    later.write_text(own.read_text().replace("08-25", "09-25"))
    assert run("import", own)[0] == 3
    assert run("import", own, "--answer", "word:u=SU")[0] == 0
    assert "word:u = SU" in run("layouts")[1]
    assert run("export", "--out", tmp_path / "out")[0] == 0
    there = ("--ledger", tmp_path / "other.duckdb")
    code, out, _ = run("import", tmp_path / "out" / "remembered.json", *there)
    assert code == 0 and "1 layouts remembered" in out
    assert run("import", later, *there)[0] == 0
    assert run("layouts", "remove", "1", *there)[0] == 0
    assert "No layout" in run("layouts", *there)[1]


def test_the_version_and_the_short_help(run: Run) -> None:
    code, out, _ = run("--version")
    assert code == 0 and out.startswith("evenfoot ") and out.split()[1][0].isdigit()
    assert run("-h")[1] == run("--help")[1]
    assert "Example: evenfoot undo 12" in run("undo", "-h")[1]


def test_the_help_of_table_has_every_measure_with_its_columns(run: Run) -> None:
    _, out, _ = run("table", "--help")
    for name, measure in MEASURES.items():
        assert f"\n{name}\n    {measure.question}\n" in out
    assert "--by --reference --per --adjust --stratify --level" in out and "detectable_fall" in out


def test_quiet_prints_results_alone(run: Run, sheet: Path) -> None:
    run("import", sheet, "--accept")
    loud, quiet = (run(*words, "table", "prevalence", "--format", "csv") for words in ((), ("--quiet",)))
    assert loud[1] == quiet[1] != ""
    assert loud[2] and not quiet[2]
    assert run("-q", "table", "nosuch")[2].startswith("Evenfoot: There is no measure")


def test_tables_go_to_a_file_in_every_format(run: Run, sheet: Path, tmp_path: Path) -> None:
    run("import", sheet, "--accept")
    for words in (("table", "prevalence"), ("imports",), ("history",), ("accounts", "history")):
        for format in ("text", "csv", "json"):
            out = tmp_path / f"{words[0]}.{format}"
            code, printed, _ = run(*words, "--format", format, "-o", out)
            assert (code, printed) == (0, "")
            assert out.read_text() == run(*words, "--format", format)[1]
    code, _, said = run("imports", "-o", tmp_path / "nowhere" / "x.csv")
    assert code == 2 and "cannot be written" in said and "choose another file" in said


def test_sentences_that_fit(run: Run, sheet: Path) -> None:
    run("import", sheet, "--accept")
    assert run("undo", "abc")[::2] == (
        2,
        "Evenfoot: 'abc' is not the number of an import; `evenfoot imports` lists them.\n",
    )
    assert "the newest record of these farms is of 2026-03-02" in run("table", "prevalence", "--since", "2030-01-01")[2]
    assert "the first record of these farms is of 2026-03-02" in run("table", "prevalence", "--until", "2020-01-01")[2]
    code, out, said = run("limits", "--set", "long_toe_mm=75", "--breed", "Nosuch")
    assert code == 0 and "75 for Nosuch" in out
    assert said.startswith("No cow on record is of the breed 'Nosuch'; no breed is on record yet.")


def test_an_answer_to_no_question_is_told_and_nothing_is_written(run: Run, sheet: Path, tmp_path: Path) -> None:
    """Of one file and of several; an answer that another file asks for is no fault."""
    code, _, err = run("import", sheet, "--answer", "nosuch=1")
    assert code == 2 and "No question has the id 'nosuch'; nothing was written." in err
    other = tmp_path / "other.csv"
    other.write_text(SHEET.replace("white line", "squishy").replace("Home", "Elm"))
    assert run("import", sheet, other, "--answer", "nosuch=1", "--answer", "word:squishy=WL")[0] == 2
    assert not (tmp_path / "ledger.duckdb").exists()
    assert run("check", other, "--answer", "word:squashy=WL")[0] == 2
    code, out, err = run("import", sheet, other, "--answer", "word:squishy=WL", "--answer", "column:zone=zone")
    assert code == 4 and out.count("3 added") == 2, err


def test_both_versions_of_a_corrected_visit_are_shown(run: Run, sheet: Path) -> None:
    assert run("import", sheet)[0] == 4
    sheet.write_text(SHEET.replace("ulcer,2,3", "ulcer,3,3").replace(",3,LH,,10", ",7,LH,,10"))
    for command in ("check", "import"):
        code, _, err = run(command, sheet)
        assert code == 3 and "sheet.csv differs from what is here (here -> in the file):" in err
        assert "Row 2, cow 1: severity 2 -> 3" in err and "Row 4, cow 7: cow '3' -> '7'" in err
    said = json.loads(run("check", sheet, "--json")[1])["differences"]
    assert [(one["row"], one["field"], one["before"], one["now"]) for one in said] == [
        (2, "severity", 2, 3), (4, "cow", "3", "7"),
    ]  # fmt: skip
    assert run("import", sheet, "--answer", "same-visits=replace")[0] == 4


@pytest.mark.parametrize("format", ["csv", "parquet", "ade"])
def test_the_folder_of_an_export_comes_back_whole_and_once(run: Run, tmp_path: Path, format: str) -> None:
    trims = "".join(SHEET.splitlines(keepends=True)[:4]).replace("whole-herd,3,", "whole-herd,60,")
    files = {
        "trims.csv": trims,
        "scores.csv": "date,farm,cow,score,group\n2026-03-09,Home,1,4,high\n2026-03-09,Home,01,3,low\n",
        "register.csv": "farm,cow,birth_date\nHome,1,2020-01-02\n",
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text)
        assert run("import", tmp_path / name, "--accept")[0] == 0
    assert run("export", "--out", tmp_path / "out", "--format", format)[0] == 0
    there = ("--ledger", tmp_path / "other.duckdb")
    code, out, err = run("import", tmp_path / "out", *there)
    assert code == 0 and "0 added" not in out, err
    code, out, err = run("import", tmp_path / "out", *there)
    assert code == 0 and out.count(" 0 added") == out.count("records read") == (1 if format == "ade" else 3), err
    if format != "ade":
        again = open_ledger(str(tmp_path / "other.duckdb")), open_ledger(str(tmp_path / "ledger.duckdb"))
        for table in ("trims", "scores", "findings", "cows"):
            ours, theirs = (ledger.frame(f"SELECT * FROM {table} ORDER BY ALL") for ledger in again)
            assert ours.equals(theirs)


def test_a_folder_that_is_no_export_is_refused_and_the_files_beside_it_come_in(
    run: Run, sheet: Path, tmp_path: Path
) -> None:
    (tmp_path / "pictures").mkdir()
    code, out, err = run("import", tmp_path / "pictures", sheet)
    assert code == 2 and "not one that `evenfoot export` wrote" in err and "3 added" in out
    assert run("export", "--out", tmp_path / "out")[0] == 0
    (tmp_path / "out" / "trims.csv").unlink()
    assert "has no file trims.csv" in run("import", tmp_path / "out")[2]


def test_names_are_listed_and_taken_back(run: Run, tmp_path: Path) -> None:
    assert "No name is remembered yet." in run("aliases")[1]
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text("visit_date,farm,visit_kind,cow,lesion\n2026-03-02,Brook End,part-herd,7,none\n")
    second.write_text("visit_date,farm,visit_kind,cow,lesion\n2026-04-02,Brookend,part-herd,8,none\n")
    assert run("import", first)[0] == 0
    assert run("import", second, "--answer", "same-farm:Brook End=same")[0] == 0
    assert run("aliases")[1] == "1  farm: Brookend = Brook End\n"
    assert run("aliases", "remove", "2")[0] == 2
    code, out, _ = run("aliases", "remove", "1")
    assert code == 0 and "What was said of Brookend was taken back." in out
    assert "No name is remembered yet." in run("aliases")[1]
    assert run("aliases", "remove", "1")[0] == 2


def test_old_names_of_commands_answer_with_the_new_ones(run: Run, sheet: Path) -> None:
    run("import", sheet, "--accept")
    code, out, said = run("set-aside", 1)
    assert (code, out) == run("rejected", 1)[:2] and said == "This command is called `evenfoot rejected` now.\n"
    assert run("mend")[::2] == (0, "This command is called `evenfoot repair` now.\n")
    helped = run("--help")[1]
    assert "rejected" in helped and "repair" in helped and "set-aside" not in helped and "mend " not in helped
    run("limits", "--set", "long_toe_mm=75")
    assert "75" not in run("limits", "--remove", 1)[1]
