"""Reports of ledgers of every sort come out whole: two farms, farms without whole-herd visits, names of every kind."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.dashboard.cli import report as asking
from evenfoot.dashboard.cli.report import report_every, report_one
from evenfoot.dashboard.pages import report as page
from evenfoot.dashboard.report import all_farms, contents, document, mail
from evenfoot.dashboard.report.all_farms import report_all
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.request import SECTIONS, Request
from evenfoot.dashboard.report.writing import save
from tests.effort import some
from tests.report.made import has_browser, pdf_text, plain
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

Rows = list[dict[str, Any]]

NAMES = (
    "x" * 200, "x" * 199 + "y", "../../etc/passwd", "a\"b'c<d>&{e}", "%s", "\N{COW}\N{COW}",
    "\N{RIGHT-TO-LEFT OVERRIDE}live", "مزرعة", "牧場", "農場", "Звезда", "CON", "con.", "Home Farm", "Home-Farm",
)  # fmt: skip


def trims(farm: str, *, day: str = "2026-03-02", cows: int = 10, lesions: int = 3, **more: Any) -> Rows:
    """One visit to a farm, by default of the whole herd, at which the first cows have a sole ulcer."""
    found = {"foot": "LH", "claw": "lateral", "zone": 4, "lesion": "SU"}
    seen = {"visit_date": day, "farm": farm, "visit_kind": "whole-herd", "herd_size": cows}
    return [{**seen, "cow": str(cow + 1), **(found if cow < lesions else {}), **more} for cow in range(cows)]


def scores(farm: str, *, day: str = "2026-03-02", cows: int = 10, lame: int = 2) -> Rows:
    return [
        {"date": day, "farm": farm, "cow": str(cow + 1), "score": 3 if cow < lame else 1, "scale": "1-5"}
        for cow in range(cows)
    ]


def monthly(make: Callable[..., Rows], farm: str, months: int, **more: Any) -> Rows:
    days = [f"{2024 + month // 12}-{1 + month % 12:02d}-10" for month in range(months)]
    return [row for day in days for row in make(farm, day=day, **more)]


def test_a_list_of_lame_cows_says_nothing_of_the_herd(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("locomotion", scores("A", cows=25, lame=25)))
    said = plain(document.document(collect(ledger, Request("A"))))
    assert "these lists cannot show whether more of the herd are" in said
    assert "Only part of the herd was scored in this period" in said
    assert "No locomotion was scored" not in said and "never trimmed" not in said


def test_ulcers_without_a_foot_make_no_claw_sound(tmp_path: Path) -> None:
    placed = {"foot": None, "claw": None, "zone": None}
    rows = [row | placed for row in trims("A", cows=60, lesions=12)]
    said = plain(document.document(collect(ledger_of(tmp_path / "l.duckdb", checked("trims", rows)), Request("A"))))
    assert "12 findings do not say all of the foot, claw and zone they are on" in said
    assert "Outer hind claws" not in said


def test_two_changes_of_one_day_are_judged_on_what_each_aims_at(tmp_path: Path) -> None:
    """Digital dermatitis is halved by the bath; sole ulcers, at which the mats aim, stay as they were."""
    rows = [
        {
            "farm": "A", "visit_date": f"{2023 + month // 12}-{1 + month % 12:02d}-08", "visit_kind": "whole-herd",
            "cow": str(cow), "foot": "LH" if code else None, "lesion": code,
        }
        for month in range(24)
        for cow in range(60)
        for code in [
            "DD" if (cow + 7 * month) % 60 < (24 if month < 12 else 8)
            else "SU" if (cow + 7 * month) % 60 >= 52 else None
        ]
    ]  # fmt: skip
    made = [
        {"farm": "A", "date": "2024-01-02", "what": "Foot bath twice a week"},
        {"farm": "A", "date": "2024-01-02", "what": "New mats", "lesions": "SU"},
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows), checked("changes", made))
    found = collect(ledger, Request("A", sections=("changes",)))
    aimed = [found.answers[f"change {place}"].extra["verdict"].iloc[0] for place in range(2)]
    assert [(row["lesions"], row["verdict"]) for row in aimed] == [
        ("DD ID IP HHE", "better"), ("SU", "no-clear-change"),
    ]  # fmt: skip


def test_the_report_judges_no_month_of_the_first_year(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("locomotion", monthly(scores, "A", 10, cows=40, lame=5)))
    said = plain(document.document(collect(ledger, Request("A"))))
    assert "Lameness: not enough months with records to say whether one is unlike the others." in said


PLACELESS = {"foot": None, "claw": None, "zone": None}

ODD: dict[str, dict[str, Rows]] = {
    "one farm, one visit": {"trims": trims("A")},
    "two farms": {"trims": trims("A") + trims("B", lesions=6)},
    "two farms over months": {
        "trims": monthly(trims, "A", 5) + monthly(trims, "B", 3),
        "locomotion": monthly(scores, "A", 9),
    },
    "two farms, one without a whole-herd visit": {"trims": trims("A") + trims("B", visit_kind="part-herd")},
    "three farms": {"trims": trims("A") + trims("B") + trims("C")},
    "three farms, one only rechecked": {"trims": trims("A") + trims("B") + trims("C", visit_kind="recheck")},
    "three farms, one with one cow": {"trims": trims("A") + trims("B") + trims("C", cows=1, lesions=1)},
    "three farms without a lesion": {"trims": trims("A", lesions=0) + trims("B", lesions=0) + trims("C", lesions=0)},
    "one cow, scored": {"locomotion": scores("A", cows=1, lame=1)},
    "scores only": {"locomotion": monthly(scores, "A", 14)},
    "nobody lame": {"locomotion": monthly(scores, "A", 14, lame=0)},
    "no scores": {"trims": monthly(trims, "A", 8)},
    "no lesions": {"trims": monthly(trims, "A", 4, lesions=0)},
    "lesions without feet": {"trims": trims("A", **PLACELESS)},
    "changes before the first visit and after the last": {
        "trims": monthly(trims, "A", 4),
        "changes": [
            {"farm": "A", "date": "2020-01-01", "what": "{before}"},
            {"farm": "A", "date": "2026-03-01", "what": "%s"},
        ],
    },
    "horn of one claw": {
        "trims": trims("A", cows=1, lesions=0, foot="LH", claw="lateral", toe_length_mm=80.0, shed_stage=5)
    },
}  # fmt: skip


def made(folder: Path, sheets: dict[str, Rows]) -> Ledger:
    return ledger_of(folder / "ledger.duckdb", *(checked(kind, rows) for kind, rows in sheets.items()))


@pytest.mark.parametrize("name", some(ODD, 2))
def test_every_farm_of_an_odd_ledger_gets_its_report_and_workbook(name: str, tmp_path: Path) -> None:
    ledger = made(tmp_path, ODD[name])
    outcomes = report_all(ledger, Request("", sections=SECTIONS), tmp_path / "out", formats=("html", "xlsx"), workers=1)
    assert [(outcome.farm, outcome.trouble) for outcome in outcomes] == [(farm, "") for farm in ledger.farms()]
    for outcome in outcomes:
        html, book = outcome.files
        said = plain(html.read_text(encoding="utf-8"))
        assert not re.search(r"\b(nan|NaN|None|NaT)\b", said)
        assert openpyxl.load_workbook(book).sheetnames


def test_two_farms_are_told_what_two_can_say_and_nothing_of_each_other(tmp_path: Path) -> None:
    ledger = made(tmp_path, {"trims": trims("Ash", lesions=3) + trims("Elm", lesions=6)})
    said = plain(document.document(collect(ledger, Request("Ash"))))
    assert "Trims with any lesion in the period: 3 of 10 here, 30.0%." in said
    assert "Other farms on record: 1, too few to compare with." in said
    assert "60.0%" not in said and "Elm" not in said
    spanish = document.document(collect(ledger, Request("Ash", language="es")))
    assert 'id="benchmark"' in spanish


@pytest.mark.parametrize("kind", ["html", "pdf", "xlsx"])
def test_two_farms_in_every_format_by_command_and_by_page(kind: str, tmp_path: Path) -> None:
    ledger = made(tmp_path, ODD["two farms"])
    if kind == "pdf" and not has_browser():
        assert os.environ.get("CI") != "true", "the build machine needs a browser"
        with pytest.raises(UserError, match="was written as"):
            report_one(ledger.name, "A", tmp_path / "a.pdf")
        assert "too few to compare with" in plain((tmp_path / "a.html").read_text(encoding="utf-8"))
        return
    [out] = report_one(ledger.name, "A", tmp_path / f"a.{kind}")
    assert out.stat().st_size > 1000
    if kind == "pdf":
        assert "too few to compare with" in pdf_text(out)
    report_every(ledger.name, tmp_path / "all", formats=kind)
    assert {path.name for path in (tmp_path / "all").glob(f"*.{kind}")} == {f"a.{kind}", f"b.{kind}"}
    _nothing, sent = page.made(ledger, Request("B"), kind)
    assert sent["filename"] == f"b.{kind}"
    shown, _ = page.made(ledger, Request("B"), "show")
    assert "too few to compare with" in plain(shown.srcDoc)


def test_two_farms_are_mailed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[list[str | None]] = []
    monkeypatch.setenv("EVENFOOT_SMTP_HOST", "mail.example.org")
    monkeypatch.setenv("EVENFOOT_MAIL_FROM", "trimmer@example.org")
    monkeypatch.setattr(
        asking, "send", lambda server, letter: sent.append([one.get_filename() for one in letter.iter_attachments()])
    )
    ledger = made(tmp_path, ODD["two farms"])
    report_every(ledger.name, tmp_path / "all", formats="html,xlsx", mail_to=["farmer@example.org"])
    assert sent == [["a.html", "a.xlsx"], ["b.html", "b.xlsx"]]
    assert asking.send is not mail.send


def test_farms_of_any_name_have_files_of_their_own_with_their_own_report(tmp_path: Path) -> None:
    ledger = made(tmp_path, {"trims": [row for name in NAMES for row in trims(name, cows=2, lesions=1)]})
    outcomes = report_all(
        ledger, Request("", sections=("remarks",)), tmp_path / "out", formats=("html", "xlsx"), workers=1
    )
    assert [outcome.trouble for outcome in outcomes] == [""] * len(NAMES)
    files = [path for outcome in outcomes for path in outcome.files]
    assert len({path.name.casefold() for path in files}) == 2 * len(NAMES)
    for outcome in outcomes:
        said = plain(outcome.files[0].read_text(encoding="utf-8"))
        assert " ".join(outcome.farm.split()) in said
        assert outcome.files[0].parent == tmp_path / "out"


def test_a_section_that_cannot_be_worked_out_says_why_and_the_others_stand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = contents.answer

    def refused(name: str, *given: Any, **options: Any) -> Any:
        if name == "locomotion":
            raise UserError(say("There is no measure '{name}'; use one of {listed}.", name="gait", listed="none"))
        return answer(name, *given, **options)

    ledger = made(tmp_path, ODD["three farms"])
    whole = document.document(collect(ledger, Request("A", sections=SECTIONS)))
    monkeypatch.setattr(contents, "answer", refused)
    collected = collect(ledger, Request("A", sections=SECTIONS))
    without = document.document(collected)
    heads = [re.findall('<section id="([a-z]+)">', said) for said in (whole, without)]
    assert heads[0] == heads[1]
    section = without.partition('<section id="locomotion">')[2].partition("</section>")[0]
    assert "This could not be worked out: There is no measure" in plain(section)
    assert "No locomotion was scored" not in plain(section)
    [book] = save(collected, tmp_path / "a.xlsx")
    method = openpyxl.load_workbook(book)["Method"]
    assert any("This could not be worked out" in str(cell.value) for cell in method["A"])


def test_a_mistake_while_a_section_is_written_stays_in_that_section(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_given: Any) -> Any:
        raise UserError("The costs make no sense.")

    monkeypatch.setitem(document.MAKERS, "cost", refused)
    said = document.document(collect(made(tmp_path, ODD["three farms"]), Request("A", sections=SECTIONS)))
    assert "This could not be worked out: The costs make no sense." in plain(said)
    assert 'id="basis"' in said


def test_an_error_of_the_program_is_no_mistake_and_stops_no_other_farm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = made(tmp_path, ODD["three farms"])

    def faulty(asked: Ledger, request: Request) -> Any:
        if request.farm == "B":
            raise ZeroDivisionError("division by zero")
        return collect(asked, request)

    monkeypatch.setattr(all_farms, "collect", faulty)
    with pytest.raises(UserError, match=r"1 of 3 reports.*B: .*error in Evenfoot \(ZeroDivisionError"):
        report_every(ledger.name, tmp_path / "out", formats="html", sections="summary")
    assert {path.name for path in (tmp_path / "out").glob("*.html")} == {"a.html", "c.html"}
    monkeypatch.setattr(contents, "answer", lambda *_given, **_options: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        report_one(ledger.name, "B", tmp_path / "b.html")
