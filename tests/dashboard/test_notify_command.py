"""``evenfoot notify``: a visit is told once, a farm once a month, and what failed is told again."""

from __future__ import annotations

import datetime as dt
import json
import re
import smtplib
import subprocess
import sys
from pathlib import Path

import pytest
from icalendar import Calendar

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.notices import Given, given, giving
from evenfoot.dashboard.report.notices import LUCK
from tests.dashboard.test_cli import Run, run  # noqa: F401
from tests.report.test_mail import SETTINGS, Post, post  # noqa: F401

HEADS = "visit_date,farm,visit_kind,cow,foot,lesion,action\n"
QUARTERS = [dt.date(2023, 3, 1) + dt.timedelta(days=91 * n) for n in range(8)]


def visit(day: dt.date, farm: str, sick: int, refer: int = 0) -> str:
    """Sixty cows of which so many have digital dermatitis, and so many are referred to the veterinarian."""
    return "".join(
        f"{day},{farm},whole-herd,{cow},LH,{'DD' if (cow * 7 + day.month) % 60 < sick else 'none'},"
        f"{'refer' if cow < refer else ''}\n"
        for cow in range(60)
    )


@pytest.fixture
def bring(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:  # noqa: F811
    """The command, on a ledger of two farms: Alder has much more dermatitis at its last visit, Birch has not."""
    monkeypatch.setenv("EVENFOOT_TODAY", str(QUARTERS[-1] + dt.timedelta(days=2)))
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(
        HEADS + "".join(visit(day, "Birch", 6) + visit(day, "Alder", 6) for day in QUARTERS[:-1])
        + visit(QUARTERS[-1], "Birch", 6, refer=1) + visit(QUARTERS[-1], "Alder", 40, refer=14)
    )  # fmt: skip
    assert run("import", sheet, "--accept")[0] == 0
    return run


def more(bring: Run, tmp_path: Path, text: str) -> None:
    sheet = tmp_path / "more.csv"
    sheet.write_text(HEADS + text)
    assert bring("import", sheet, "--accept")[0] == 0


def at(monkeypatch: pytest.MonkeyPatch, day: dt.date) -> None:
    monkeypatch.setenv("EVENFOOT_TODAY", str(day))


def test_what_is_worse_is_told_once_with_the_cows_and_how_often_luck_says_so(bring: Run) -> None:
    code, out, err = bring("notify")
    out = out.replace("\u00a0", " ")
    assert code == 0 and not err
    assert out.startswith("Alder: worse at the visit of 27 Nov 2024\n")
    assert "Digital dermatitis: 40 of 60 cows trimmed, 27 Nov 2024. Worse." in out
    assert "For the veterinarian:" in out and " and 6 more." in out and "Ask your veterinarian" in out
    assert "18 cows are due, or come due within 28 days." in out and "by luck alone" in out and "Birch" not in out
    assert bring("notify") == (0, "", "No farm has anything new to be told.\n")
    assert bring("--quiet", "notify") == (0, "", "")


def test_the_same_visit_is_not_told_in_the_next_month_and_a_new_one_is(
    bring: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Alder: worse" in bring("notify")[1]
    at(monkeypatch, dt.date(2025, 1, 10))
    assert bring("notify")[1] == ""
    more(bring, tmp_path, visit(dt.date(2025, 1, 12), "Alder", 42))
    at(monkeypatch, dt.date(2025, 1, 13))
    assert "Alder: worse at the visit of 12" in bring("notify")[1]


def test_a_second_visit_of_a_month_waits_for_the_next(
    bring: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at(monkeypatch, dt.date(2024, 12, 2))
    assert "Alder: worse" in bring("notify")[1]
    more(bring, tmp_path, visit(dt.date(2024, 12, 15), "Alder", 44))
    at(monkeypatch, dt.date(2024, 12, 31))
    assert bring("notify")[1] == ""
    at(monkeypatch, dt.date(2025, 1, 1))
    assert "Alder: worse at the visit of 15" in bring("notify")[1]


def test_an_old_visit_is_no_news(bring: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    at(monkeypatch, QUARTERS[-1] + dt.timedelta(days=184))
    assert bring("notify")[1] == ""
    at(monkeypatch, QUARTERS[-1] + dt.timedelta(days=183))
    assert "Alder: worse" in bring("notify")[1]


def test_cows_for_the_veterinarian_alone_are_told_where_asked(bring: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    code, out, _ = bring("notify", "--farm", "birch", "--cows")
    assert code == 0 and out.startswith("Birch: cows for the veterinarian\n") and "For the veterinarian: 0." in out
    assert "luck" not in out, "nothing is called here"
    at(monkeypatch, dt.date(2024, 12, 10))
    assert bring("notify", "--farm", "Birch", "--cows")[1] == "", "the same record is told once"


def test_it_is_mailed_in_the_language_asked_and_remembered(
    bring: Run, tmp_path: Path, post: type[Post], monkeypatch: pytest.MonkeyPatch  # noqa: F811
) -> None:  # fmt: skip
    for name, value in SETTINGS.items():
        monkeypatch.setenv(name, value)
    code, _, _ = bring(
        "notify", "--mail-to", "vet@example.org", "--mail-to", "ann@example.org", "--calendar", tmp_path / "n",
        "--language", "es",
    )  # fmt: skip
    [sent] = post.got
    assert code == 0 and sent["To"] == "vet@example.org, ann@example.org" and sent["Subject"].startswith("Alder:")
    body = sent.get_body()
    assert body is not None and "Dermatitis digital: 40 de 60" in body.get_content()
    assert [part.get_filename() for part in sent.iter_attachments()] == ["alder-2024-11-29.ics"]
    ledger = open_ledger(str(tmp_path / "ledger.duckdb"))
    assert given(ledger) == {"Alder": Given(dt.date(2024, 11, 29), QUARTERS[-1], QUARTERS[-1])}
    lines = json.loads(bring("history", "--format", "json")[1])
    assert [line["farm"] for line in lines if line["what"] == "notice given"] == ["Alder"]
    assert bring("verify")[0] == 0


def test_what_was_not_mailed_is_told_again(
    bring: Run, post: type[Post], monkeypatch: pytest.MonkeyPatch  # noqa: F811
) -> None:  # fmt: skip
    for name, value in SETTINGS.items():
        monkeypatch.setenv(name, value)
    post.fail = smtplib.SMTPNotSupportedError
    monkeypatch.setenv("EVENFOOT_SMTP_PORT", "587")
    code, _, err = bring("notify", "--mail-to", "vet@example.org")
    assert code == 2 and "1 of 1 notices were not given. Alder:" in err
    post.fail = None
    assert bring("notify", "--mail-to", "vet@example.org")[0] == 0
    assert len(post.got) == 1


def test_of_two_runs_at_the_same_moment_one_tells(bring: Run, tmp_path: Path) -> None:
    ledger = str(tmp_path / "ledger.duckdb")
    command = [sys.executable, "-m", "evenfoot", "notify", "--ledger", ledger]
    both = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    said = ["".join(one.communicate(timeout=120)) for one in both]
    assert [one.returncode for one in both] == [0, 0], said
    assert sum("Alder: worse" in text for text in said) == 1, said
    lines = json.loads(bring("history", "--format", "json")[1])
    assert len([line for line in lines if line["what"] == "notice given"]) == 1


def test_a_notice_given_meanwhile_is_not_given_again(bring: Run, tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "ledger.duckdb"))
    notice = Given(dt.date(2024, 11, 29), QUARTERS[-1])
    for still in (True, False):
        with giving(ledger, "Alder", notice) as found:
            assert found is still
    with pytest.raises(UserError), giving(ledger, "Birch", notice):
        raise UserError("the mail was not taken")
    assert set(given(ledger)) == {"Alder"}


def test_the_calendar_file_holds_one_event_that_leaves_the_day_free(bring: Run, tmp_path: Path) -> None:
    code, _, err = bring("notify", "--calendar", tmp_path / "notices")
    [path] = (tmp_path / "notices").iterdir()
    assert code == 0 and f"Wrote {path}" in err
    [event] = Calendar.from_ical(path.read_bytes()).walk("VEVENT")
    assert event["DTSTART"].dt == dt.date(2024, 11, 29) and event["TRANSP"] == "TRANSPARENT"
    assert str(event["SUMMARY"]).startswith("Alder: worse at the visit of")
    assert "Digital dermatitis: 40 of 60" in str(event["DESCRIPTION"])


def test_a_dry_run_prints_and_remembers_nothing(bring: Run, tmp_path: Path) -> None:
    folder = tmp_path / "notices"
    for _ in range(2):
        code, out, _ = bring("notify", "--dry-run", "--mail-to", "vet@example.org", "--calendar", folder)
        assert code == 0 and out.startswith("Alder: worse")
    assert not folder.exists() and given(open_ledger(str(tmp_path / "ledger.duckdb"))) == {}


def test_an_erased_farm_leaves_no_notice(bring: Run, tmp_path: Path) -> None:
    assert "Alder: worse" in bring("notify")[1]
    assert bring("erase-farm", "Alder", "--yes")[0] == 0
    assert given(open_ledger(str(tmp_path / "ledger.duckdb"))) == {}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--farm", "Cedar"], "Cedar"),
        (["--mail-to", "nobody"], "not a mail address"),
        (["--mail-to", "vet@example.org"], "EVENFOOT_SMTP_HOST"),
        (["--language", "xx"], "no language 'xx'"),
        (["--calendar", "sheet.csv/in"], "cannot be written"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_exit_code_2(
    bring: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    code, _, err = bring("notify", *words)
    assert code == 2 and said in err and len(err.strip().splitlines()) == 1
    assert given(open_ledger(str(tmp_path / "ledger.duckdb"))) == {}


def test_how_often_luck_says_so_is_what_the_guide_measured() -> None:
    guide = (Path(__file__).parents[2] / "docs" / "accuracy.md").read_text(encoding="utf-8")
    rows = [line for line in guide.partition("a notice of `evenfoot notify` in a year")[2].splitlines() if "±" in line]
    shares = [[float(cell) for cell in re.findall(r"([\d.]+) ±", row)] for row in rows[:2]]
    assert [max(round(row[at]) for row in shares) for at in (0, 2)] == list(LUCK)


def test_no_records_no_notice(run: Run) -> None:  # noqa: F811
    code, _, err = run("notify")
    assert code == 2 and "import a sheet first" in err
